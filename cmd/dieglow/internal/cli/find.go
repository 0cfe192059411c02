package cli

import (
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

func newFind(app *App) *cobra.Command {
	return newGroup("find", "Answers from the record: setups, captures, specimens, losses, gaps", "",
		"  dieglow find setups --resolved 50um\n  dieglow find gaps --project kestrel",
		newFindSetups(app), newFindCaptures(app), newFindSpecimens(app), newFindLosses(app), newFindGaps(app))
}

func newFindSetups(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "setups",
		Short: "Which setup resolved a feature, or should",
		Long: `--resolved answers from evidence: each setup with the smallest feature it was
shown to resolve, on what, in which capture. --predicted answers from optics, and
says so. The two are never mixed.`,
		Example: "  dieglow find setups --resolved 50um\n  dieglow find setups --predicted 50um",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			var resolved, predicted *float64
			in.value("resolved", quantity.Micrometre, &resolved)
			in.value("predicted", quantity.Micrometre, &predicted)
			for flag, v := range map[string]*float64{"resolved": resolved, "predicted": predicted} {
				if v != nil && !(*v > 0) {
					in.fail(flag, fault.Invalidf("a size of %s µm is not possible", quantity.Fixed(*v, 6)).WithHint("give a size above zero, for example 50um"))
				}
			}
			switch {
			case in.err != nil:
				return in.err
			case (resolved == nil) == (predicted == nil):
				return fault.Usagef("find setups answers from evidence or from optics, one at a time").WithHint("give --resolved 50um or --predicted 50um")
			case resolved != nil:
				return app.findResolved(cmd, *resolved)
			}
			return app.findPredicted(cmd, *predicted)
		},
	}
	textFlags(cmd.Flags(), "resolved", "size of the feature to have been resolved", "predicted", "size of the feature that optics says is resolved")
	return cmd
}

func (app *App) findResolved(cmd *cobra.Command, um float64) error {
	var list []store.ResolvedSetup
	err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
		list, err = tx.FindResolved(um)
		return err
	})
	if err != nil {
		return err
	}
	return app.emit(nonNil(list), func() error {
		t := term.Table{Columns: []term.Column{{Header: "setup"}, {Header: "resolved", Align: term.Right}, {Header: "on"}, {Header: "known"}, {Header: "judged"}, {Header: "evidence"}, {Header: "when"}, {Header: "cost"}}}
		for _, s := range list {
			size := quantity.Estimate{Value: s.FeatureUM, U: s.UUM}.Format(quantity.Micrometre)
			t.Rows = append(t.Rows, []string{setupLabel(s.Name, s.Setup), size, s.On, s.KnownBy, orDash(s.Judged), s.Capture + ", " + s.Outcome, orDash(s.When.Day()), orDash(s.Costs)})
		}
		if len(list) == 0 {
			app.notef("no setup was shown to resolve %s µm; --predicted says which should", quantity.Fixed(um, 6))
		}
		return app.screen().Table(t)
	})
}

func (app *App) findPredicted(cmd *cobra.Command, um float64) error {
	var list []store.PredictedSetup
	err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
		list, err = tx.FindPredicted(um)
		return err
	})
	if err != nil {
		return err
	}
	return app.emit(nonNil(list), func() error {
		t := term.Table{Columns: []term.Column{{Header: "setup"}, {Header: "limit", Align: term.Right}, {Header: "Rayleigh limit", Align: term.Right}, {Header: "sampling limit", Align: term.Right},
			{Header: "working distance", Align: term.Right}, {Header: "field", Align: term.Right}, {Header: "cost"}}}
		for _, s := range list {
			t.Rows = append(t.Rows, []string{setupLabel(s.Name, s.Setup), quantity.Fixed(s.PredictedUM, 3) + " µm", quantity.Fixed(s.RayleighUM, 3) + " µm", quantity.Fixed(s.SamplingUM, 3) + " µm",
				quantity.Fixed(s.WorkingDistanceMM, 3) + " mm", quantity.Fixed(s.FieldXMM, 3) + " x " + quantity.Fixed(s.FieldYMM, 3) + " mm", orDash(s.Costs)})
		}
		if len(list) == 0 {
			app.notef("no setup is predicted to resolve %s µm", quantity.Fixed(um, 6))
		}
		app.notef("a prediction by paraxial optics, aberrations left out; --resolved answers from evidence")
		return app.screen().Table(t)
	})
}

// setupLabel is a setup's name and its handle with the revision.
func setupLabel(name, ref string) string {
	if name == "" {
		return ref
	}
	return name + " (" + ref + ")"
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

// captureFilterFlags declares the flags that narrow a list of captures.
func captureFilterFlags(f *pflag.FlagSet) {
	textFlags(f, "project", "only those of a project", "specimen", "only those of a specimen", "setup", "only those with a setup; setup-2@1 for one revision", "on", "only those of an artefact",
		"purpose", "only those of a purpose", "from", "taken on or after a day", "to", "taken on or before a day",
		"power", "range of power, 1W..2W", "ambient", "range of ambient temperature, 20C..25C", "hottest", "range of the hottest pixel's apparent temperature, 60C..", "limit", "show at most so many; 0 for all")
}

func captureFilter(in *input) (store.CaptureFilter, error) {
	f := store.CaptureFilter{Limit: 200}
	in.text("project", &f.Project)
	in.text("specimen", &f.Specimen)
	in.text("setup", &f.Setup)
	in.text("on", &f.Artefact)
	in.text("purpose", &f.Purpose)
	in.when("from", &f.From)
	in.when("to", &f.To)
	f.PowerW.Low, f.PowerW.High = in.interval("power", quantity.Watt)
	f.AmbientK.Low, f.AmbientK.High = in.interval("ambient", quantity.Kelvin)
	f.HottestK.Low, f.HottestK.High = in.interval("hottest", quantity.Kelvin)
	limit := &f.Limit
	in.count("limit", &limit)
	if limit != nil {
		f.Limit = *limit
	}
	if f.Limit < 0 {
		in.fail("limit", fault.Invalidf("a list of %d is not possible", f.Limit).WithHint("give --limit 50, or 0 for all"))
	}
	if f.Purpose != "" {
		in.fail("purpose", notebook.CheckPurpose(f.Purpose))
	}
	return f, in.err
}

func newFindCaptures(app *App) *cobra.Command {
	return captureListing(app, "captures", "Captures by project, specimen, setup, date, power and temperature", "  dieglow find captures --specimen drv-1 --power 1W..2W --hottest 60C..", false)
}

func newCaptureList(app *App) *cobra.Command {
	return captureListing(app, "list", "List the captures", "  dieglow capture list --specimen drv-1", false)
}

func newFindGaps(app *App) *cobra.Command {
	return captureListing(app, "gaps", "Captures with conditions not recorded", "  dieglow find gaps --project kestrel", true)
}

func captureListing(app *App, use, short, example string, gaps bool) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, Example: example, Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			filter, err := captureFilter(app.input(cmd))
			if err != nil {
				return err
			}
			filter.OnlyGaps = gaps
			return app.listCaptures(cmd, filter)
		},
	}
	captureFilterFlags(cmd.Flags())
	return cmd
}

func (app *App) listCaptures(cmd *cobra.Command, filter store.CaptureFilter) error {
	var list []store.FoundCapture
	var total int
	err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
		list, total, err = tx.FindCaptures(filter)
		return err
	})
	if err != nil {
		return err
	}
	if len(list) < total {
		app.notef("the first %d of %d; --limit 0 shows all", len(list), total)
	}
	return app.emit(nonNil(list), func() error {
		app.noteEmpty(total, "capture")
		if filter.OnlyGaps {
			return app.gapTable(list)
		}
		t := term.Table{Columns: []term.Column{{Header: "capture"}, {Header: "shows"}, {Header: "setup"}, {Header: "when"}, {Header: "power", Align: term.Right},
			{Header: "hottest, apparent", Align: term.Right}, {Header: "not recorded"}}}
		for _, c := range list {
			t.Rows = append(t.Rows, []string{c.Capture, c.Purpose + " of " + c.Subject, c.Setup, orDash(c.When.Day()), number(c.PowerW, quantity.Watt), number(c.HottestK, quantity.Kelvin), orDash(c.NotStated)})
		}
		return app.screen().Table(t)
	})
}

func (app *App) gapTable(list []store.FoundCapture) error {
	t := term.Table{Columns: []term.Column{{Header: "capture"}, {Header: "of"}, {Header: "when"}, {Header: "not recorded"}}}
	for _, c := range list {
		t.Rows = append(t.Rows, []string{c.Capture, c.Subject, orDash(c.When.Day()), c.NotStated})
	}
	return app.screen().Table(t)
}

// number prints a value to five digits with its unit, or a dash.
func number(v *float64, unit quantity.Unit) string {
	if v == nil {
		return "-"
	}
	return quantity.Shown(*v, 5, unit)
}

func newFindSpecimens(app *App) *cobra.Command {
	var filter store.SpecimenFilter
	cmd := &cobra.Command{
		Use: "specimens", Short: "Specimens by project, form and what became of them", Example: "  dieglow find specimens --state lost", Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error { return app.findSpecimens(cmd, filter) },
	}
	specimenFilterFlags(cmd.Flags(), &filter)
	return cmd
}

func newFindLosses(app *App) *cobra.Command {
	var project string
	cmd := &cobra.Command{
		Use: "losses", Short: "Specimens lost, why, and what it cost", Example: "  dieglow find losses\n  dieglow find losses --project kestrel", Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			var d report.LossesDossier
			err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
				if d, err = lossesDossier(tx, project); err != nil {
					return err
				}
				d.Seal, err = app.seal(tx)
				return err
			})
			if err != nil {
				return err
			}
			return app.emit(d, func() error {
				t := term.Table{Columns: []term.Column{{Header: "outcome"}, {Header: "specimen"}, {Header: "cost", Align: term.Right}, {Header: "when"}, {Header: "because"}, {Header: "lesson"}}}
				for _, l := range d.Losses {
					t.Rows = append(t.Rows, []string{l.Outcome.Handle, l.Specimen.Label(), moneyText(l.Outcome.Body.Cost), orDash(l.Outcome.Body.On.String()), l.Outcome.Body.Because, orDash(l.Outcome.Body.Lesson)})
				}
				app.noteEmpty(len(d.Losses), "loss")
				if err := app.screen().Table(t); err != nil || !app.screen().IsTerminal() {
					return err
				}
				_, err := fmt.Fprintf(app.Out, "total: %s\n", report.TotalText(d.Totals, d.WithoutCost))
				return err
			})
		},
	}
	cmd.Flags().StringVar(&project, "project", "", "only those of a project")
	return cmd
}
