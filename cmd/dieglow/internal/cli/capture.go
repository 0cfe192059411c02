package cli

import (
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/store"
)

func newCapture(app *App) *cobra.Command {
	n := noun[notebook.Capture]{
		kind: notebook.KindCapture, plural: "captures",
		amended: `  dieglow capture amend capture-3 --ambient "23.1(5) C" --reason "read from the logger afterwards"`,
		flags:   conditionFlags,
		apply:   captureAmend,
		facts:   captureFacts,
	}
	return newGroup(n.kind, "Acts of imaging under stated conditions", "", "  dieglow capture list\n"+captureExample, newCaptureAdd(app), newCaptureImport(app), newCaptureList(app), newCaptureMeasure(app), newCaptureEmissivity(app), newCaptureRecompute(app), n.show(app), n.amend(app))
}

const captureExample = `  dieglow capture add --specimen drv-1 --setup close --power "1.20(2) W" --ambient "23.1(5) C" --reflected "23.5(10) C" \
    --emissivity "0.85(5)" --emissivity-from table --since-power 10min --distance 10.2mm --focus-method "sharpest bond wire" \
    --averaging 16 --when 2026-03-03T14:30 --file hot.csv --unit degC
  dieglow capture add --purpose check --on wire-50 --setup close --file wire.csv --unit counts --when now`

// conditionFlags are the flags of a capture's conditions, shared by add and amend.
func conditionFlags(f *pflag.FlagSet) {
	textFlags(f,
		"power", `power drawn, "1.20(2) W"`, "voltage", "supply voltage, with --current instead of --power", "current", "supply current",
		"ambient", "ambient temperature", "reflected", "reflected apparent temperature",
		"emissivity", `emissivity, "0.85(5)"`, "emissivity-from", "measured, table or assumed", "emissivity-source", "which table, which method",
		"since-power", "time since power-up", "distance", "first lens to specimen", "focus-method", "how focus was set",
		"averaging", "how many frames were averaged", "operator", "who imaged, if not who records", "when", "when it was taken; now, or a date and time",
		"notes", "anything else")
	f.Bool("unpowered", false, "the specimen had no power; the same as --power 0W")
	f.StringArray("deviation", nil, "what was not as planned; may be repeated")
}

func newCaptureAdd(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Record a capture",
		Long: `A condition that is left out is recorded as "not recorded" and named wherever the
capture is shown; nothing is guessed.

Purposes: measurement (the usual one), reference (unpowered, to be subtracted),
check (of the setup, on an artefact: --on), warm-up (a series from power-up).

Frames (--file) are read, must have the camera's size, and are kept unchanged
under their SHA-256; --unit says what their numbers mean: degC, K or counts.
Any other file goes in with --attach.`,
		Example: captureExample,
		Args:    args(),
	}
	f := cmd.Flags()
	conditionFlags(f)
	textFlags(f, "specimen", "what is shown", "on", "the artefact shown, for a check", "setup", "the setup used; setup-2@1 for an older revision", "project", "project a check belongs to; the library unless given",
		"purpose", "measurement, reference, check or warm-up; measurement unless given", "unit", "what the numbers of the frames mean: degC, K or counts")
	f.StringArray("file", nil, "a frame; may be repeated")
	f.StringArray("attach", nil, "any other file; may be repeated")
	f.StringArray("instrument", nil, "an instrument whose reading is used; may be repeated")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return app.addCapture(cmd) }
	return cmd
}

func (app *App) addCapture(cmd *cobra.Command) error {
	in := app.input(cmd)
	var out recorded[notebook.Capture]
	err := app.updateAs(cmd.Context(), func(tx *store.Tx, who string) error {
		desk := newCaptureDesk(tx, who)
		c, at, err := desk.read(in)
		if err != nil {
			return err
		}
		advised, err := headroomWarning(tx, c, in)
		if err != nil {
			return err
		}
		if out.Record, err = store.Add(tx, c, at); err != nil {
			return err
		}
		if out.Warnings, err = desk.warnings(c); err == nil && advised != "" {
			out.Warnings = append(out.Warnings, advised)
		}
		return err
	})
	if err != nil {
		return err
	}
	if missing := out.Body.Missing(); len(missing) > 0 {
		app.notef("not recorded: %s", strings.Join(missing, ", "))
	}
	return noun[notebook.Capture]{}.said(app, out, "recorded")
}

func captureConditions(in *input, c *notebook.Capture) error {
	in.estimate("power", quantity.Watt, &c.PowerW)
	in.estimate("voltage", quantity.Volt, &c.VoltageV)
	in.estimate("current", quantity.Ampere, &c.CurrentA)
	var unpowered bool
	in.flag("unpowered", &unpowered)
	in.estimate("ambient", quantity.Kelvin, &c.AmbientK)
	in.estimate("reflected", quantity.Kelvin, &c.ReflectedK)
	in.estimate("emissivity", quantity.One, &c.Emissivity)
	in.text("emissivity-from", &c.EmissivityFrom)
	in.text("emissivity-source", &c.EmissivityNote)
	in.estimate("since-power", quantity.Second, &c.SincePowerS)
	in.estimate("distance", quantity.Millimetre, &c.DistanceMM)
	in.text("focus-method", &c.FocusMethod)
	in.count("averaging", &c.FramesAveraged)
	in.text("operator", &c.Operator)
	in.past("when", &c.On)
	in.list("deviation", &c.Deviations)
	in.text("notes", &c.Notes)
	if in.err != nil {
		return in.err
	}
	if c.Emissivity == nil {
		if _, ok := in.given("emissivity"); ok { // taken away: how it was obtained goes with it
			c.EmissivityFrom, c.EmissivityNote = "", ""
		}
	}
	_, powerGiven := in.given("power")
	_, voltageGiven := in.given("voltage")
	_, currentGiven := in.given("current")
	return c.SettlePower(notebook.PowerGiven{Power: powerGiven, Unpowered: unpowered, VoltageOrCurrent: voltageGiven || currentGiven})
}

// captureAmend changes the conditions of a capture. What it shows, with what,
// and its frames stay: a capture of something else is another capture.
func captureAmend(in *input, _ *store.Tx, c *notebook.Capture) error {
	return captureConditions(in, c)
}
