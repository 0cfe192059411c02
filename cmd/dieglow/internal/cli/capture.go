package cli

import (
	"context"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/journal"
	"dieglow/notebook/report"
	"dieglow/store"
	"dieglow/store/files"
)

func newCapture(app *App) *cobra.Command {
	n := noun[notebook.Capture]{
		kind: notebook.KindCapture, plural: "captures",
		amended: `  dieglow capture amend capture-3 --ambient "23.1(5) C" --reason "read from the logger afterwards"`,
		flags:   conditionFlags,
		apply:   captureAmend,
		facts: func(tx *store.Tx, r notebook.Record[notebook.Capture]) ([]report.Fact, error) {
			d, err := captureDossier(tx, r)
			return report.CaptureFacts(d), err
		},
	}
	return newGroup(n.kind, "Acts of imaging under stated conditions", "", "  dieglow capture list\n"+captureExample, newCaptureAdd(app), newCaptureList(app), n.show(app), n.amend(app))
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
	db, who, err := app.openWrite(cmd.Context())
	if err != nil {
		return err
	}
	defer db.Close()
	in := app.input(cmd)
	var out recorded[notebook.Capture]
	err = db.Update(cmd.Context(), who, func(tx *store.Tx) (err error) {
		c := notebook.Capture{Purpose: notebook.Measurement, Operator: who}
		at, err := captureSubject(in, tx, &c)
		if err != nil {
			return err
		}
		if err := captureConditions(in, &c); err != nil {
			return err
		}
		if err := captureInstruments(in, tx, &c); err != nil {
			return err
		}
		if at.Files, err = captureFiles(cmd.Context(), in, tx, db.Files(), &c); err != nil {
			return err
		}
		if out.Record, err = store.Add(tx, c, at); err != nil {
			return err
		}
		out.Warnings, err = captureWarnings(tx, c)
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

// captureSubject settles what is shown, with which setup, and in which project.
func captureSubject(in *input, tx *store.Tx, c *notebook.Capture) (at store.Placement, err error) {
	in.text("purpose", &c.Purpose)
	if at.Project, err = projectOf(in, tx); err != nil {
		return at, err
	}
	if name, ok := in.given("specimen"); ok {
		s, err := store.Get[notebook.Specimen](tx, name)
		if err != nil {
			return at, err
		}
		if at.Project != "" && at.Project != s.Scope {
			return at, fault.Conflictf("%s belongs to another project", s.Label()).WithHint("leave --project out: a capture belongs to its specimen's project")
		}
		p, err := store.Get[notebook.Project](tx, s.Scope)
		if err != nil {
			return at, err
		}
		if err := checkOpen(p); err != nil {
			return at, err
		}
		c.Specimen, at.Project = &s.Ref, s.Scope
	}
	if name, ok := in.given("on"); ok {
		a, err := store.Get[catalog.Artefact](tx, name)
		if err != nil {
			return at, err
		}
		c.Artefact = &a.Ref
	}
	name, ok := in.given("setup")
	if !ok {
		return at, fault.Invalidf("a capture needs its setup").WithHint("give --setup NAME; dieglow setup list shows the setups")
	}
	s, err := store.Get[catalog.Setup](tx, name)
	c.Setup = s.Ref
	return at, err
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
	in.when("when", &c.On)
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

func captureInstruments(in *input, tx *store.Tx, c *notebook.Capture) error {
	var names []string
	in.list("instrument", &names)
	for _, name := range names {
		i, err := store.Get[catalog.Instrument](tx, name)
		if err != nil {
			return err
		}
		c.Instruments = append(c.Instruments, i.Ref)
	}
	return in.err
}

// captureFiles reads the frames, checks them against the camera, and only then
// stores them and the attachments.
func captureFiles(ctx context.Context, in *input, tx *store.Tx, raw files.Store, c *notebook.Capture) ([]journal.File, error) {
	var frames, attached []string
	in.list("file", &frames)
	in.list("attach", &attached)
	unitText, unitGiven := in.given("unit")
	switch {
	case in.err != nil:
		return nil, in.err
	case len(frames) > 0 && !unitGiven:
		return nil, fault.Invalidf("what the numbers of a frame mean is not said").WithHint("give --unit degC, --unit K or --unit counts")
	case len(frames) == 0 && unitGiven:
		return nil, fault.Invalidf("--unit is given, but no frame").WithHint("give the frame with --file, or leave --unit out")
	}
	setup, err := store.GetRef[catalog.Setup](tx, c.Setup)
	if err != nil {
		return nil, err
	}
	cam, err := store.GetRef[catalog.Camera](tx, setup.Body.Camera)
	if err != nil {
		return nil, err
	}
	for _, path := range frames {
		f, err := readFrame(path, unitText, cam.Body)
		if err != nil {
			return nil, err
		}
		c.Frames = append(c.Frames, f)
	}
	for _, path := range attached {
		c.Attachments = append(c.Attachments, notebook.Attachment{Name: filepath.Base(path)})
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	var kept []journal.File
	for i, path := range append(frames, attached...) {
		ref, err := raw.PutFile(ctx, path)
		if err != nil {
			return nil, err
		}
		kept = append(kept, journal.File{SHA256: ref.SHA256, Size: ref.Size})
		if i < len(frames) {
			c.Frames[i].SHA256, c.Frames[i].Size = ref.SHA256, ref.Size
		} else {
			c.Attachments[i-len(frames)].SHA256, c.Attachments[i-len(frames)].Size = ref.SHA256, ref.Size
		}
	}
	return kept, nil
}

// readFrame reads a frame and checks that it is one of the camera's.
func readFrame(path, unitText string, cam catalog.Camera) (notebook.FrameFile, error) {
	unit, err := frame.ParseUnit(unitText)
	if err != nil {
		return notebook.FrameFile{}, err
	}
	f, err := frame.Open(path, frame.Limits{})
	if err != nil {
		return notebook.FrameFile{}, err
	}
	if f.Width != cam.PixelsX || f.Height != cam.PixelsY {
		e := fault.Conflictf("%s has %d x %d pixels, and the camera %s has %d x %d", path, f.Width, f.Height, cam.Name, cam.PixelsX, cam.PixelsY)
		if f.Width == cam.PixelsY && f.Height == cam.PixelsX {
			return notebook.FrameFile{}, e.WithHint("the frame stands on its side: export it with %d columns and %d rows", cam.PixelsX, cam.PixelsY)
		}
		return notebook.FrameFile{}, e.WithHint("name the setup with the camera that took it, or keep the file with --attach")
	}
	st := f.Stats()
	return notebook.FrameFile{
		Name: filepath.Base(path), Unit: unit.String(), Width: f.Width, Height: f.Height,
		Min: st.Min, Max: st.Max, Mean: st.Mean, MaxX: st.MaxX, MaxY: st.MaxY, Missing: st.MissingCount,
	}, nil
}

// captureAmend changes the conditions of a capture. What it shows, with what,
// and its frames stay: a capture of something else is another capture.
func captureAmend(in *input, _ *store.Tx, c *notebook.Capture) error {
	return captureConditions(in, c)
}

// captureWarnings says what a careful colleague would say on reading the capture.
func captureWarnings(tx *store.Tx, c notebook.Capture) ([]string, error) {
	var out []string
	if c.Specimen != nil {
		s, err := store.GetRef[notebook.Specimen](tx, *c.Specimen)
		if err != nil {
			return nil, err
		}
		if limit := s.Body.Limits.PowerW; limit != nil && c.PowerW != nil && c.PowerW.Value > *limit {
			out = append(out, "the power "+c.PowerW.Format(quantity.Watt)+" lies above the limit on record, "+quantity.Fixed(*limit, 6)+" W ("+s.Body.Limits.Source+")")
		}
		if state, err := tx.SpecimenState(s.ID); err != nil {
			return nil, err
		} else if state != store.Held {
			out = append(out, s.Label()+" is "+state)
		}
	}
	for _, ref := range c.Instruments {
		i, err := store.GetRef[catalog.Instrument](tx, ref)
		if err != nil {
			return nil, err
		}
		day := c.On
		if day == "" {
			day = today(tx.Now())
		}
		if _, found, valid := i.Body.CalibrationOn(day); !found {
			out = append(out, i.Label()+" has no calibration on record for that day")
		} else if !valid {
			out = append(out, "the calibration of "+i.Label()+" was overdue")
		}
	}
	setup, err := store.GetRef[catalog.Setup](tx, c.Setup)
	if err != nil {
		return nil, err
	}
	parts, err := setupWarnings(tx, setup.Body)
	return append(out, parts...), err
}
