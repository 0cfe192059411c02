package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/store"
)

// newPrepare records a preparation step; the cautions for it are shown first.
func newPrepare(app *App) *cobra.Command {
	var steps []string
	for _, s := range notebook.Steps() {
		steps = append(steps, fmt.Sprintf("  %-17s %s", s.Name, s.What))
	}
	cmd := &cobra.Command{
		Use:   "prepare NAME",
		Short: "Record a preparation step, after showing its cautions",
		Long: `The cautions for the step are shown, and their version is recorded with it.
Run it with --look before the step is done: that shows the cautions and records
nothing. An opening step on a part that may hold beryllia is recorded only with
--acknowledged.

Steps:
` + strings.Join(steps, "\n"),
		Example: `  dieglow specimen prepare drv-1 --step open-lid --look
  dieglow specimen prepare drv-1 --step open-lid --method "lid lifted with a blade, under a cover" --person "A. Person" --on 2026-03-02`,
		Args: args("the specimen's name or handle"),
	}
	textFlags(cmd.Flags(), "step", "the kind of step", "method", "how it was done", "person", "who did it; the operator unless given", "on", "when", "result", "what came of it")
	cmd.Flags().Bool("look", false, "only show the cautions, record nothing")
	cmd.Flags().Bool("acknowledged", false, "the warning has been read; asked for where beryllia is possible")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return app.prepare(cmd, args[0]) }
	return cmd
}

func (app *App) prepare(cmd *cobra.Command, name string) error {
	in := app.input(cmd)
	stepName, _ := in.given("step")
	step, ok := notebook.FindStep(stepName)
	if !ok {
		return notebook.Preparation{Step: stepName}.Validate()
	}
	var look, acknowledged bool
	in.flag("look", &look)
	in.flag("acknowledged", &acknowledged)
	var shown []notebook.Caution
	var must bool
	show := func(tx *store.Tx) (notebook.Record[notebook.Specimen], error) {
		s, err := store.Get[notebook.Specimen](tx, name)
		if err == nil {
			shown, must = notebook.CautionsFor(step, s.Body)
		}
		return s, err
	}
	if err := app.view(cmd.Context(), func(tx *store.Tx) error { _, err := show(tx); return err }); err != nil {
		return err
	}
	app.showCautions(shown)
	if look {
		return app.emit(shown, func() error { return nil })
	}
	if must && !acknowledged {
		return fault.Conflictf("%s may hold beryllia, and %s opens it", name, step.Name).
			WithHint("do not open it unless the data sheet or the maker excludes beryllia; then dieglow specimen amend %s --beryllia excluded --reason \"...\". If the step has been done, record it with --acknowledged", name)
	}
	var out notebook.Record[notebook.Preparation]
	var state string
	err := app.updateAs(cmd.Context(), func(tx *store.Tx, who string) error {
		s, err := show(tx)
		if err != nil {
			return err
		}
		if state, err = tx.SpecimenState(s.ID); err != nil {
			return err
		}
		p := notebook.Preparation{Specimen: s.Ref, Step: step.Name, Person: who, Acknowledged: acknowledged, Cautions: []notebook.CautionSeen{}}
		for _, c := range shown {
			p.Cautions = append(p.Cautions, notebook.CautionSeen{ID: c.ID, Version: c.Version})
		}
		in.text("method", &p.Method)
		in.text("person", &p.Person)
		in.past("on", &p.On)
		in.text("result", &p.Result)
		if in.err != nil {
			return in.err
		}
		out, err = store.Add(tx, p, store.Placement{Project: s.Scope})
		return err
	})
	if err != nil {
		return err
	}
	if state != store.Held {
		app.notef("warning: %s is %s", name, state)
	}
	return app.emit(out, func() error {
		_, err := fmt.Fprintf(app.Out, "recorded %s: %s of %s\n", out.Handle, step.Name, term.Clean(name))
		return err
	})
}

// showCautions prints cautions beside the result, so that they are seen whatever
// is done with it.
func (app *App) showCautions(list []notebook.Caution) {
	for _, c := range list {
		fmt.Fprintf(app.Err, "CAUTION (%s, version %d): %s\n", c.ID, c.Version, c.Text)
	}
}

func newMove(app *App) *cobra.Command {
	return app.custody(notebook.Moved, &cobra.Command{
		Use:     "move NAME",
		Short:   "Record that a specimen was moved",
		Example: `  dieglow specimen move drv-1 --to "dry cabinet 2" --on 2026-03-03`,
	})
}

func newReturn(app *App) *cobra.Command {
	return app.custody(notebook.Returned, &cobra.Command{
		Use:     "return NAME",
		Short:   "Record that a specimen was given back",
		Example: `  dieglow specimen return drv-1 --to "client K, by courier" --on 2026-04-02 --condition "lid off, otherwise as received"`,
	})
}

// custody completes a command that records a custody event.
func (app *App) custody(event string, cmd *cobra.Command) *cobra.Command {
	textFlags(cmd.Flags(), "to", "the place, or who received it (needed)", "person", "who did it; the operator unless given", "on", "when", "condition", "its condition then")
	cmd.Args = args("the specimen's name or handle")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		var out notebook.Record[notebook.Custody]
		var label string
		err := app.updateAs(cmd.Context(), func(tx *store.Tx, who string) error {
			s, err := store.Get[notebook.Specimen](tx, args[0])
			if err != nil {
				return err
			}
			label = s.Label()
			if state, err := tx.SpecimenState(s.ID); err != nil {
				return err
			} else if state != store.Held {
				return fault.Conflictf("%s is %s", label, state).WithHint("dieglow trail %s says when and how", s.Handle)
			}
			c := notebook.Custody{Specimen: s.Ref, Event: event, Person: who}
			in.text("to", &c.Place)
			in.text("person", &c.Person)
			in.past("on", &c.On)
			in.text("condition", &c.Condition)
			if in.err != nil {
				return in.err
			}
			out, err = store.Add(tx, c, store.Placement{Project: s.Scope})
			return err
		})
		if err != nil {
			return err
		}
		return app.emit(out, func() error {
			_, err := fmt.Fprintf(app.Out, "recorded %s: %s %s, to %s\n", out.Handle, term.Clean(label), event, term.Clean(out.Body.Place))
			return err
		})
	}
	return cmd
}
