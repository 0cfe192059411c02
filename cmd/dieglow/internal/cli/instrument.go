package cli

import (
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

func newInstrument(app *App) *cobra.Command {
	n := noun[catalog.Instrument]{
		kind: catalog.KindInstrument, plural: "instruments",
		short:   "Meters and supplies, with their calibrations",
		long:    `Calibrations are added with dieglow instrument calibrate.`,
		example: `  dieglow instrument add dmm --form meter --measures "voltage, current" --maker "(maker)" --serial 1234 --accuracy "0.1 % + 2 digits"`,
		amended: `  dieglow instrument amend dmm --condition damaged --reason "input protection blown"`,
		fresh:   func() catalog.Instrument { return catalog.Instrument{Condition: catalog.Usable} },
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "form", "meter, supply, thermometer, reference-source or other", "measures", "what it measures or supplies", "maker", "maker", "model", "model",
				"serial", "serial number", "accuracy", "accuracy as its sheet states it", "condition", "usable, damaged or retired", "notes", "anything else")
		},
		apply: func(in *input, _ *store.Tx, i *catalog.Instrument) error {
			in.text("form", &i.Form)
			in.text("measures", &i.Measures)
			in.text("maker", &i.Maker)
			in.text("model", &i.Model)
			in.text("serial", &i.Serial)
			in.text("accuracy", &i.Accuracy)
			in.condition(&i.Condition)
			in.text("notes", &i.Notes)
			return nil
		},
		facts: func(tx *store.Tx, r notebook.Record[catalog.Instrument]) ([]report.Fact, error) {
			return report.Instrument(r.Body, today(tx.Now())), nil
		},
		columns: []term.Column{{Header: "form"}, {Header: "serial"}, {Header: "calibrated"}, {Header: "due"}, {Header: "condition"}},
		row: func(tx *store.Tx, r notebook.Record[catalog.Instrument]) ([]string, error) {
			on, due := "never", ""
			if c, found, valid := r.Body.CalibrationOn(today(tx.Now())); found {
				on, due = c.On.Day(), c.DueOn.Day()
				if !valid {
					due += " overdue"
				}
			}
			return []string{r.Body.Form, r.Body.Serial, on, due, string(r.Body.Condition)}, nil
		},
	}
	return n.group(app, newCalibrate(app, n), retire(app, n, func(i *catalog.Instrument) *catalog.Condition { return &i.Condition }))
}

func today(now time.Time) catalog.When { return catalog.When(now.UTC().Format("2006-01-02")) }

func newCalibrate(app *App, n noun[catalog.Instrument]) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "calibrate NAME",
		Short:   "Record a calibration of an instrument",
		Example: `  dieglow instrument calibrate dmm --on 2026-02-10 --due 2027-02-10 --laboratory "(laboratory)" --certificate C-88 --result "within its limits"`,
		Args:    args("the instrument's name or handle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return n.revise(app, cmd, args[0], func(in *input, _ *store.Tx, i *catalog.Instrument) error {
				var c catalog.Calibration
				in.past("on", &c.On)
				in.when("due", &c.DueOn)
				in.text("laboratory", &c.By)
				in.text("certificate", &c.Certificate)
				in.text("result", &c.Result)
				i.Calibrations = append(i.Calibrations, c)
				return in.err
			})
		},
	}
	textFlags(cmd.Flags(), "on", "date of the calibration (needed)", "due", "when the next one is due", "laboratory", "who calibrated it", "certificate", "number of the certificate", "result", "what it found")
	cmd.Flags().String("reason", "calibrated", "why it is amended")
	return cmd
}
