package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"reflect"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/store"
)

func newCaptureRecompute(app *App) *cobra.Command {
	return &cobra.Command{
		Use:   "recompute FINDING",
		Short: "Compute a finding again and compare",
		Long: `Computes from the same raw files under the settings recorded with the finding,
records nothing, and says whether the result is the same. It can differ only if
the raw files were altered, or the program is another version.`,
		Example: "  dieglow capture recompute finding-1",
		Args:    args("the finding's handle"),
		RunE:    func(cmd *cobra.Command, args []string) error { return app.recompute(cmd, args[0]) },
	}
}

// recomputed is what capture recompute gives as JSON.
type recomputed struct {
	Finding    string   `json:"finding"`
	Same       bool     `json:"same"`
	Recorded   string   `json:"program_then"`
	Now        string   `json:"program_now"`
	Difference []string `json:"differences"`
}

func (app *App) recompute(cmd *cobra.Command, name string) error {
	out := recomputed{Now: app.Source.Tool, Difference: []string{}}
	err := app.view(cmd.Context(), func(tx *store.Tx) error {
		r, err := store.Get[notebook.Finding](tx, name)
		if err != nil {
			return err
		}
		out.Finding, out.Recorded = r.Ref.String(), r.Body.Program
		if r.Body.Quantity == notebook.EmissivityMap {
			return fault.Invalidf("%s is an emissivity map, which is compared pixel by pixel elsewhere", r.Handle).
				WithHint("make it again with dieglow capture emissivity: the same map has the same SHA-256")
		}
		again, files, err := app.again(cmd, tx, r.Body)
		if err != nil {
			return err
		}
		out.Difference = append(out.Difference, compareFindings(r.Body, again)...)
		for i, d := range files {
			if i < len(r.Body.Derived) && strings.HasSuffix(d.name, ".npy") && hashOf(d.data) != r.Body.Derived[i].SHA256 {
				out.Difference = append(out.Difference, d.name+": other bytes")
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	out.Same = len(out.Difference) == 0
	if err := app.emit(out, func() error { return app.printRecomputed(out) }); err != nil || out.Same {
		return err
	}
	return fault.Conflictf("%s comes out differently", out.Finding).WithHint("the raw files have their hashes, so the program is what changed: %s then, %s now", out.Recorded, out.Now)
}

// again computes a finding from its own settings and raw file.
func (app *App) again(cmd *cobra.Command, tx *store.Tx, f notebook.Finding) (notebook.Finding, []derivedFile, error) {
	if f.Quantity == resistanceQuantity {
		return app.resistanceAgain(tx, f)
	}
	c, err := store.GetRef[notebook.Capture](tx, f.Capture)
	if err != nil {
		return f, nil, err
	}
	m := measurement{app: app, tx: tx, ctx: cmd.Context(), capture: c, settings: f.Settings}
	for _, file := range c.Body.Frames {
		if file.SHA256 == f.RawFiles[0] {
			m.file = file
		}
	}
	if f.Analysis != nil {
		return m.analyseAgain(f, app.input(cmd))
	}
	if used := f.Settings.Map; used != nil {
		mapped, err := store.Get[notebook.Finding](tx, used.Finding)
		if err != nil {
			return f, nil, err
		}
		if err := m.loadMap(mapped.Body.Derived[0]); err != nil {
			return f, nil, err
		}
	}
	return m.finding()
}

// compareFindings names what differs between two results.
func compareFindings(then, now notebook.Finding) []string {
	var out []string
	differs := func(what string, a, b any) {
		if !reflect.DeepEqual(a, b) {
			out = append(out, fmt.Sprintf("%s: %v then, %v now", what, a, b))
		}
	}
	differs("quantity", then.Quantity, now.Quantity)
	differs("place", [2]int{then.X, then.Y}, [2]int{now.X, now.Y})
	differs("value in kelvin", rounded(then.ValueK), rounded(now.ValueK))
	for i, r := range then.Results {
		if i >= len(now.Results) {
			out = append(out, r.Name+": not computed now")
			continue
		}
		n := now.Results[i]
		differs(r.Name, rounded(&r.Value), rounded(&n.Value))
		differs("standard uncertainty of "+r.Name, roundedU(r.Value.U), roundedU(n.Value.U))
	}
	if then.Budget != nil && now.Budget != nil {
		differs("standard uncertainty", roundedU(then.Budget.UK), roundedU(now.Budget.UK))
		differs("method", then.Budget.Method, now.Budget.Method)
	}
	return out
}

// rounded is a value to a part in 10^12, below which machines may differ.
func rounded(e *quantity.Estimate) string {
	if e == nil {
		return "none"
	}
	return fmt.Sprintf("%.12g", e.Value)
}

func roundedU(u *float64) string {
	if u == nil {
		return "none"
	}
	return fmt.Sprintf("%.9g", math.Abs(*u))
}

func (app *App) printRecomputed(r recomputed) error {
	if r.Same {
		_, err := fmt.Fprintf(app.Out, "%s: the same, by %s\n", r.Finding, r.Now)
		return err
	}
	for _, d := range r.Difference {
		if _, err := fmt.Fprintf(app.Out, "%s: %s\n", r.Finding, d); err != nil {
			return err
		}
	}
	return nil
}

func hashOf(data []byte) string {
	h := sha256.Sum256(data)
	return hex.EncodeToString(h[:])
}
