package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/store"
)

func specimenNoun() noun[notebook.Specimen] {
	return noun[notebook.Specimen]{
		kind: notebook.KindSpecimen, plural: "specimens",
		short: "Things under test: packages, dies, boards",
		long: `A specimen belongs to a project. Its limits say where they come from. Whether it
may hold beryllia decides which warning is shown before an opening step.`,
		example: `  dieglow specimen add drv-1 --project kestrel --form decapped-package --identity "date code 2611" --size 5mmx4mm --worth 42EUR \
    --max-power 2W --max-temperature 150C --limit-source "data sheet, table 4" --beryllia excluded`,
		amended: `  dieglow specimen amend drv-1 --beryllia excluded --reason "confirmed by the maker"`,
		fresh:   func() notebook.Specimen { return notebook.Specimen{Beryllia: notebook.NotRecorded} },
		flags:   specimenFlags, apply: specimenApply,
		place: func(in *input, tx *store.Tx, s notebook.Specimen) (store.Placement, error) {
			project, err := projectOf(in, tx)
			if err == nil && project == "" {
				err = fault.Invalidf("a specimen needs its project").WithHint("give --project NAME; dieglow project list shows the projects")
			}
			return store.Placement{Project: project}, err
		},
		facts: specimenFacts,
	}
}

func newSpecimen(app *App) *cobra.Command {
	n := specimenNoun()
	return newGroup(n.kind, n.short, "", "  dieglow specimen list\n"+n.example,
		n.add(app), newSpecimenList(app), n.show(app), n.amend(app), newPrepare(app), newMove(app), newReturn(app), newSpecimenMeasure(app), newSpecimenHeadroom(app))
}

func specimenFlags(f *pflag.FlagSet) {
	textFlags(f, "project", "the project it belongs to (only when added)", "form", "decapped-package, package, bare-die, board or other", "identity", "marking, lot, date code, serial",
		"size", "width x height, 5mmx4mm", "worth", "what it is worth, with its currency",
		"max-power", "highest power allowed", "max-temperature", "highest temperature allowed", "limit-source", "where the limits come from",
		"beryllia", "possible, excluded or unknown", "cut-from", "the specimen it was taken out of", "condition", "condition on receipt",
		"received", "day it was received", "from", "who it was received from", "handling", "handling instructions that came with it", "notes", "anything else")
	f.StringArray("hazard", nil, "another hazard, in plain words; may be repeated")
}

func specimenApply(in *input, tx *store.Tx, s *notebook.Specimen) error {
	in.text("form", &s.Form)
	in.text("identity", &s.Identity)
	if text, ok := in.given("size"); ok {
		x, y, found := strings.Cut(strings.ToLower(text), "x")
		if !found {
			in.fail("size", fault.Invalidf("%q is not a width and a height", text).WithHint("give both with their unit, for example 5mmx4mm"))
		} else {
			s.SizeXMM, s.SizeYMM = in.length("size", x), in.length("size", y)
		}
	}
	in.money("worth", &s.Worth)
	in.value("max-power", quantity.Watt, &s.Limits.PowerW)
	in.value("max-temperature", quantity.Kelvin, &s.Limits.TemperatureK)
	in.text("limit-source", &s.Limits.Source)
	if text, ok := in.given("beryllia"); ok {
		s.Beryllia = notebook.Presence(strings.ToLower(strings.TrimSpace(text)))
		if s.Beryllia == "unknown" {
			s.Beryllia = notebook.NotRecorded
		}
	}
	in.list("hazard", &s.Hazards)
	if name, ok := in.given("cut-from"); ok {
		parent, err := store.Get[notebook.Specimen](tx, name)
		if err != nil {
			return err
		}
		s.CutFrom = &parent.Ref
		if _, said := in.given("beryllia"); !said && parent.Body.Beryllia == notebook.Possible {
			s.Beryllia = notebook.Possible // a piece may hold what the whole may
		}
	}
	in.text("condition", &s.Condition)
	in.past("received", &s.Received)
	in.text("from", &s.From)
	in.text("handling", &s.Handling)
	in.text("notes", &s.Notes)
	return nil
}

// length reads one length out of a composed value.
func (in *input) length(flag, text string) *float64 {
	v, err := quantity.ParseValue(text, quantity.Millimetre)
	in.fail(flag, err)
	return &v
}

func newSpecimenList(app *App) *cobra.Command {
	var filter store.SpecimenFilter
	cmd := &cobra.Command{
		Use:     "list",
		Short:   "List the specimens",
		Example: "  dieglow specimen list --state lost",
		Args:    args(),
		RunE:    func(cmd *cobra.Command, _ []string) error { return app.findSpecimens(cmd, filter) },
	}
	specimenFilterFlags(cmd.Flags(), &filter)
	return cmd
}

func specimenFilterFlags(f *pflag.FlagSet, filter *store.SpecimenFilter) {
	f.StringVar(&filter.Project, "project", "", "only those of a project")
	f.StringVar(&filter.Form, "form", "", "only those of a form")
	f.StringVar(&filter.State, "state", "", "only those held, returned or lost")
}

func (app *App) findSpecimens(cmd *cobra.Command, filter store.SpecimenFilter) error {
	var list []store.FoundSpecimen
	err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
		list, err = tx.FindSpecimens(filter)
		return err
	})
	if err != nil {
		return err
	}
	return app.emit(nonNil(list), func() error {
		t := term.Table{Columns: []term.Column{{Header: "specimen"}, {Header: "name"}, {Header: "project"}, {Header: "form"}, {Header: "state"}, {Header: "place"}, {Header: "captures", Align: term.Right}}}
		for _, s := range list {
			t.Rows = append(t.Rows, []string{s.Specimen, s.Name, s.Project, s.Form, s.State, s.Place, fmt.Sprint(s.Captures)})
		}
		app.noteEmpty(len(list), "specimen")
		return app.screen().Table(t)
	})
}

// noteEmpty says beside an empty result that it is empty.
func (app *App) noteEmpty(n int, what string) {
	if n == 0 {
		app.notef("no %s fits", what)
	}
}
