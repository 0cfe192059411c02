package cli

import (
	"encoding/json"

	"github.com/spf13/cobra"

	"dieglow/notebook/report"
	"dieglow/store"
)

func newTrail(app *App) *cobra.Command {
	return &cobra.Command{
		Use:   "trail NAME",
		Short: "How a thing came to be: revisions, parts, conditions, files, amendments",
		Long: `For any record: each of its revisions with what changed and why, every record it
rests on in the revision that was used, the raw files with their hashes, and what
rests on it in turn.`,
		Example: "  dieglow trail capture-3",
		Args:    args("a name or handle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var t report.Trail
			err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
				t, err = trailOf(tx, args[0])
				if err == nil {
					t.Seal, err = app.seal(tx)
				}
				return err
			})
			if err != nil {
				return err
			}
			return app.emit(t, func() error { return app.screen().Markdown(report.TrailReport(t)) })
		},
	}
}

func trailOf(tx *store.Tx, name string) (report.Trail, error) {
	top, err := tx.GetRaw(name)
	if err != nil {
		return report.Trail{}, err
	}
	t := report.Trail{Of: top.Label()}
	if t.Facts, err = factsOf(tx, top.Ref, top.Kind); err != nil {
		return t, err
	}
	var before json.RawMessage
	for revision := 1; revision <= top.Revision; revision++ {
		r, err := tx.RawRevision(top.ID, revision)
		if err != nil {
			return t, err
		}
		step, err := report.Step(r.Meta, r.Hash, r.Record, before)
		if err != nil {
			return t, err
		}
		t.Revisions = append(t.Revisions, step)
		before = r.Record
	}
	seen := map[string]bool{top.Ref.String(): true}
	if err := restsOn(tx, top, seen, &t.RestsOn); err != nil {
		return t, err
	}
	t.RestingOn, err = tx.RestingOn(top.Meta)
	return t, err
}

// restsOn follows the references of a record down to records that have none.
func restsOn(tx *store.Tx, r store.Raw, seen map[string]bool, out *[]report.TrailStep) error {
	for _, ref := range report.RefsIn(r.Record) {
		if seen[ref.String()] {
			continue
		}
		seen[ref.String()] = true
		part, err := tx.RawRevision(ref.ID, ref.Revision)
		if err != nil {
			return err
		}
		step, err := report.Step(part.Meta, part.Hash, part.Record, nil)
		if err != nil {
			return err
		}
		*out = append(*out, step)
		if err := restsOn(tx, part, seen, out); err != nil {
			return err
		}
	}
	return nil
}
