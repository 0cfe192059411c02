package cli

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

func newArtefact(app *App) *cobra.Command {
	n := noun[catalog.Artefact]{
		kind: catalog.KindArtefact, plural: "artefacts",
		short: "Things of known size, to check a setup on",
		long: `A size is the width of one bar, the diameter of a wire, or a pitch, with its
uncertainty; --size may be repeated. G4E3 is element 3 of group 4 of a 1951 bar
target, whose bar width follows from the published series (MIL-STD-150A).`,
		example: `  dieglow artefact add wire-50 --form wire --size "50.0(5) um" --certificate "K-117, maker's laboratory"
  dieglow artefact add bars --form bar-target --size G3E1 --size G3E3 --how-known "etched foil, nominal"`,
		amended: `  dieglow artefact amend wire-50 --size "49.8(3) um" --certificate K-204 --reason "measured again"`,
		fresh:   func() catalog.Artefact { return catalog.Artefact{Condition: catalog.Usable} },
		flags: func(f *pflag.FlagSet) {
			f.StringArray("size", nil, `known size, "50.0(5) um" or G4E3; may be repeated`)
			textFlags(f, "form", "bar-target, wire, pitch, edge or other", "certificate", "number and issuer of its certificate", "certified-on", "date of the certificate",
				"due", "when it is to be renewed", "how-known", "where the sizes come from without a certificate", "supplier", "supplier", "cost", "cost, with its currency",
				"condition", "usable, damaged or retired", "notes", "anything else")
		},
		apply: artefactApply,
		facts: func(_ *store.Tx, r notebook.Record[catalog.Artefact]) ([]report.Fact, error) {
			return report.Artefact(r.Body), nil
		},
		columns: []term.Column{{Header: "form"}, {Header: "sizes"}, {Header: "certificate"}, {Header: "condition"}},
		row: func(_ *store.Tx, r notebook.Record[catalog.Artefact]) ([]string, error) {
			certificate := r.Body.Certificate
			if certificate == "" {
				certificate = "none"
			}
			return []string{r.Body.Form, r.Body.SizeList(), certificate, string(r.Body.Condition)}, nil
		},
	}
	return n.group(app, retire(app, n, func(a *catalog.Artefact) *catalog.Condition { return &a.Condition }))
}

func artefactApply(in *input, _ *store.Tx, a *catalog.Artefact) error {
	var sizes []string
	if in.list("size", &sizes); sizes != nil {
		a.Sizes = nil
		for _, s := range sizes {
			size, err := catalog.ParseSize(s)
			in.fail("size", err)
			a.Sizes = append(a.Sizes, size)
		}
	}
	in.text("form", &a.Form)
	in.text("certificate", &a.Certificate)
	in.past("certified-on", &a.CertificateOn)
	in.when("due", &a.DueOn)
	in.text("how-known", &a.HowKnown)
	in.text("supplier", &a.Supplier)
	in.money("cost", &a.Cost)
	in.condition(&a.Condition)
	in.text("notes", &a.Notes)
	return nil
}
