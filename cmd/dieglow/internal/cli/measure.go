package cli

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/journal"
	"dieglow/notebook/report"
	"dieglow/notebook/temperature"
	"dieglow/store"
)

func newCaptureMeasure(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "measure HANDLE",
		Short: "A temperature with its uncertainty from a capture, recorded as a finding",
		Long: `Reads the capture's frame at a place, corrects it for emissivity, reflection and
optics as recorded, and keeps the finding with its budget, a map of object
temperatures and a picture of both. The camera's accuracy and noise count in, and
what the flags state of its non-uniformity and drift. A target of few blur widths
reads low: with --target and --blur the reading is corrected, as an estimate.

The stack's transmission is the product of the transmissions measured of its
lenses, and its temperature the ambient one, unless the flags say otherwise.
Without an emissivity or a reflected temperature on record only an apparent
temperature follows, and is called that everywhere.

With --as NAME it is not a temperature that is measured but what the frame command
of that name computes, with the same flags; dieglow frame NAME --help says which.`,
		Example: `  dieglow capture measure capture-5
  dieglow capture measure capture-5 --at 26,30 --transmission "0.90(1)" --optics "25(1) C"
  dieglow capture measure capture-1 --as scale --from 40,96 --until 200,96 --length "4.000(5) mm"`,
		Args: args("the capture's handle"),
	}
	f := cmd.Flags()
	textFlags(f, "at", "hottest, a point column,row, or a region column,row,width,height; hottest unless given", "file", "which of several frame files, by name", "index", "which frame of a stack, from 0",
		"emissivity-map", "a finding made by capture emissivity", "monte-carlo", "run so many trials in any case", "seed", "of the trials",
		"non-uniformity", "standard deviation of the camera over a uniform scene, 0.1K", "drift", "greatest drift a minute since its last reference frame, 50mK", "since-reference", "time since then, 5min",
		"target", "width of a target so small that it reads low, 100um", "blur", "full width at half maximum of the blur on the object, 60um", "defocus", "blur that defocus adds, 20um")
	f.Bool("mean", false, "the mean of all frames of a stack")
	f.StringArray("transmission", nil, "transmission of the optics, in place of what the lenses say; may be repeated")
	f.StringArray("optics", nil, "temperature of the optics, in place of ambient; may be repeated")
	analysisChoice(f)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if name, ok := app.input(cmd).given("as"); ok {
			a, err := findAnalysis(cmd, name)
			if err != nil {
				return err
			}
			return app.recordAnalysis(cmd, args[0], a)
		}
		if err := analysisFlagsAlone(cmd); err != nil {
			return err
		}
		return app.measure(cmd, args[0])
	}
	return cmd
}

func (app *App) measure(cmd *cobra.Command, name string) error {
	in := app.input(cmd)
	var out recorded[notebook.Finding]
	err := app.update(cmd.Context(), func(tx *store.Tx) error {
		c, err := store.Get[notebook.Capture](tx, name)
		if err != nil {
			return err
		}
		m := measurement{app: app, tx: tx, ctx: cmd.Context(), capture: c}
		if err := m.read(in); err != nil {
			return err
		}
		out.Record, err = m.record()
		out.Warnings = m.warnings
		return err
	})
	if err != nil {
		return err
	}
	for _, w := range out.Warnings {
		app.notef("warning: %s", w)
	}
	return app.emit(out, func() error { return app.printFinding(out.Record) })
}

// measurement is one reading of a capture on its way to a finding.
type measurement struct {
	app      *App
	tx       *store.Tx
	ctx      context.Context
	capture  notebook.Record[notebook.Capture]
	settings temperature.Settings
	file     notebook.FrameFile
	eps      *frame.Frame
	others   []journal.File // kept beside what was derived
	warnings []string
}

// read turns flags and what is recorded into settings.
func (m *measurement) read(in *input) error {
	dossier, err := captureDossier(m.tx, m.capture)
	if err != nil {
		return err
	}
	if err := m.readFrame(in); err != nil {
		return err
	}
	c, cam := m.capture.Body, dossier.Camera.Body
	s := &m.settings
	s.Unit, s.BandLowUM, s.BandHighUM = m.file.Unit, cam.BandLowUM, cam.BandHighUM
	if c.FramesAveraged != nil {
		s.FramesAveraged = *c.FramesAveraged
	}
	if s.Frame < 0 { // noise falls with every frame in the mean
		s.FramesAveraged = max(1, s.FramesAveraged) * max(1, m.file.Frames)
	}
	for from, to := range map[*float64]*float64{cam.AccuracyK: &s.AccuracyK, cam.AccuracyFraction: &s.AccuracyFraction, cam.NETDK: &s.NETDK} {
		if from != nil {
			*to = *from
		}
	}
	if c.Emissivity != nil {
		s.Emissivity = &temperature.Stated{Estimate: *c.Emissivity, Origin: c.EmissivityFrom}
	}
	if c.ReflectedK != nil {
		s.ReflectedK = &temperature.Stated{Estimate: *c.ReflectedK, Origin: "measured"}
	}
	if err := m.readMap(in); err != nil {
		return err
	}
	m.readCamera(in)
	o := in.trials()
	if o.MonteCarlo {
		s.Trials = o.Trials.Count
	}
	s.Seed = o.Trials.Seed
	if in.err != nil {
		return in.err
	}
	if s.Emissivity == nil && s.Map == nil || s.ReflectedK == nil {
		return nil // apparent only: the optics do not come into it
	}
	return m.readOptics(in, dossier.Setup.Body)
}

// readCamera reads what is stated of the camera's errors at this capture.
func (m *measurement) readCamera(in *input) {
	s := &m.settings
	for _, v := range []struct {
		flag string
		unit quantity.Unit
		into *float64
	}{
		{"non-uniformity", quantity.KelvinStep, &s.NonUniformityK}, {"drift", quantity.KelvinStep, &s.DriftKPerMin}, {"since-reference", quantity.Second, &s.SinceReferenceS},
		{"target", quantity.Micrometre, &s.TargetUM}, {"blur", quantity.Micrometre, &s.BlurUM}, {"defocus", quantity.Micrometre, &s.DefocusUM},
	} {
		in.must(v.flag, v.unit, v.into)
	}
	_, drift := in.given("drift")
	_, since := in.given("since-reference")
	_, target := in.given("target")
	_, blur := in.given("blur")
	switch {
	case in.err != nil:
	case drift != since:
		in.err = fault.Usagef("a drift needs the time it went on").WithHint("give --drift 50mK, a minute, together with --since-reference 5min")
	case target != blur:
		in.err = fault.Usagef("a small target needs the blur it is compared with").WithHint("give --target 100um together with --blur 60um")
	}
}

// chooseFile settles which of the capture's frame files is read.
func (m *measurement) chooseFile(in *input) error {
	frames := m.capture.Body.Frames
	name, named := in.given("file")
	for _, f := range frames {
		if !named && len(frames) == 1 || f.Name == name {
			m.file = f
		}
	}
	if m.file.SHA256 == "" {
		var names []string
		for _, f := range frames {
			names = append(names, f.Name)
		}
		if len(names) == 0 {
			return fault.Invalidf("%s has no frame", m.capture.Handle).WithHint("a temperature is read off a frame; record the capture with --file")
		}
		return fault.Invalidf("which frame file of %s is meant is not said", m.capture.Handle).WithHint("give --file %s", strings.Join(names, " or --file "))
	}
	return in.err
}

// readFrame settles which frame is read, and where.
func (m *measurement) readFrame(in *input) error {
	if err := m.chooseFile(in); err != nil {
		return err
	}
	var index *int
	in.count("index", &index)
	switch mean := in.isSet("mean"); {
	case mean && index != nil:
		return fault.Usagef("one frame and the mean of all are both asked for").WithHint("give --index or --mean")
	case mean:
		m.settings.Frame = -1
	case index != nil && (*index < 0 || *index >= max(1, m.file.Frames)):
		return fault.NotFoundf("%s has no frame %d", m.file.Name, *index).WithHint("give --index from 0 to %d", max(1, m.file.Frames)-1)
	case index != nil:
		m.settings.Frame = *index
	case m.file.Frames > 1:
		return fault.Invalidf("%s holds %d frames", m.file.Name, m.file.Frames).WithHint("give --index N or --mean")
	}
	return m.readPlace(in)
}

func (m *measurement) readPlace(in *input) error {
	s := &m.settings
	s.At = temperature.Hottest
	text, ok := in.given("at")
	if !ok || text == temperature.Hottest {
		return in.err
	}
	var v []int
	for _, p := range strings.Split(text, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(p))
		if err != nil || n < 0 {
			v = nil
			break
		}
		v = append(v, n)
	}
	switch len(v) {
	case 2:
		s.At, s.X, s.Y = temperature.Point, v[0], v[1]
	case 4:
		s.At, s.X, s.Y, s.Width, s.Height = temperature.Region, v[0], v[1], v[2], v[3]
	default:
		return fault.Invalidf("--at: %q is not a place in a frame", text).WithHint("give hottest, column,row or column,row,width,height, from 0 at the top left")
	}
	return in.err
}

// readMap looks up the emissivity map that --emissivity-map names.
func (m *measurement) readMap(in *input) error {
	name, ok := in.given("emissivity-map")
	if !ok {
		return nil
	}
	f, err := store.Get[notebook.Finding](m.tx, name)
	if err != nil {
		return err
	}
	if f.Body.Quantity != notebook.EmissivityMap {
		return fault.Invalidf("%s is of an %s, not an emissivity map", f.Handle, f.Body.Quantity).WithHint("make one with dieglow capture emissivity")
	}
	m.settings.Map = &temperature.EmissivityMapUsed{Finding: f.Ref.String(), SHA256: f.Body.Derived[0].SHA256, RelativeU: f.Body.Stage.CommonU}
	return m.loadMap(f.Body.Derived[0])
}

func (m *measurement) loadMap(a notebook.Attachment) error {
	path, err := m.tx.RawPath(a.SHA256, a.Size)
	if err != nil {
		return err
	}
	eps, err := frame.Open(path, frame.Limits{})
	m.eps = &eps
	return err
}

// readOptics settles the optics' transmission and temperature and says where
// they come from.
func (m *measurement) readOptics(in *input, setup catalog.Setup) error {
	given, temps := in.estimates("transmission", quantity.One), in.estimates("optics", quantity.Kelvin)
	if in.err != nil {
		return in.err
	}
	origin, tempOrigin := "stated on the command line", "stated on the command line"
	if len(given) == 0 {
		parts, err := setupParts(m.tx, setup)
		if err != nil {
			return err
		}
		t, err := setup.Transmission(parts)
		if err != nil {
			return err
		}
		given, origin = []quantity.Estimate{t}, "product of the transmissions measured of the lenses"
	}
	if len(temps) == 0 && m.capture.Body.AmbientK != nil {
		for range given {
			temps = append(temps, *m.capture.Body.AmbientK)
		}
		tempOrigin = "assumed: the optics are at ambient temperature"
	}
	elements, err := temperature.Elements("optics", given, temps)
	if err != nil {
		return err
	}
	for _, e := range elements {
		m.settings.Elements = append(m.settings.Elements, temperature.StatedElement{
			Name: e.Name, Transmission: temperature.Stated{Estimate: e.Transmission, Origin: origin}, TempK: temperature.Stated{Estimate: e.TempK, Origin: tempOrigin},
		})
	}
	return nil
}

// run reads the frame under the settings.
func (m *measurement) run() (frame.Frame, temperature.Reading, error) {
	path, err := m.tx.RawPath(m.file.SHA256, m.file.Size)
	if err != nil {
		return frame.Frame{}, temperature.Reading{}, err
	}
	f, err := loadFrame(path, m.settings.Frame)
	if err != nil {
		return f, temperature.Reading{}, err
	}
	if n := f.SaturatedCount; n > 0 {
		m.warnings = append(m.warnings, fmt.Sprintf("%s at the end of the range: a temperature read there is a lower limit", counted(n, "pixel")))
	}
	r, err := m.settings.Read(m.ctx, f, m.eps)
	return f, r, err
}

// loadFrame reads one frame of a file, or for -1 the mean of all.
func loadFrame(path string, index int) (frame.Frame, error) {
	if index >= 0 {
		f, _, err := frame.OpenFrame(path, index, frame.Options{})
		return f, err
	}
	s, err := frame.OpenStack(path, frame.Options{})
	if err != nil {
		return frame.Frame{}, err
	}
	defer s.Close()
	a, err := s.Average()
	return a.Mean, err
}

// finding computes the finding with the files it makes, not yet kept.
func (m *measurement) finding() (notebook.Finding, []derivedFile, error) {
	f, r, err := m.run()
	if err != nil {
		return notebook.Finding{}, nil, err
	}
	out := notebook.Finding{
		Capture: m.capture.Ref, Quantity: notebook.ApparentTemperature, ValueK: &r.ApparentK, WhyNot: r.WhyNot,
		X: r.X, Y: r.Y, Pixels: r.Pixels, Settings: m.settings, Budget: r.Budget, Unsolved: r.Unsolved,
		RawFiles: []string{m.file.SHA256}, Program: m.app.Source.Tool,
	}
	if m.settings.Map != nil {
		out.RawFiles = append(out.RawFiles, m.settings.Map.SHA256)
	}
	if r.Budget != nil {
		k := quantity.Exactly(r.Budget.ObjectC + quantity.CelsiusZeroK)
		k.U = r.Budget.UK
		out.Quantity, out.ValueK = notebook.ObjectTemperature, &k
	}
	files, err := m.derive(f, r)
	return out, files, err
}

// record computes the finding and records it.
func (m *measurement) record() (notebook.Record[notebook.Finding], error) {
	f, files, err := m.finding()
	if err != nil {
		return notebook.Record[notebook.Finding]{}, err
	}
	return m.add(f, files)
}

func (m *measurement) add(f notebook.Finding, files []derivedFile) (notebook.Record[notebook.Finding], error) {
	kept, err := m.keep(&f, files)
	if err != nil {
		return notebook.Record[notebook.Finding]{}, err
	}
	at := store.Placement{Files: append(kept, m.others...)}
	if m.capture.Scope != notebook.Library {
		at.Project = m.capture.Scope
	}
	return store.Add(m.tx, f, at)
}

// printFinding prints a finding, its budget included.
func (app *App) printFinding(r notebook.Record[notebook.Finding]) error {
	if r.Body.Budget != nil {
		if err := app.printBudget(r.Handle+", "+r.Body.Quantity+" in "+r.Body.Capture.String(), *r.Body.Budget); err != nil {
			return err
		}
		fmt.Fprintln(app.Out)
	}
	var lines [][3]string
	for _, f := range report.FindingFacts(r.Body) {
		lines = append(lines, [3]string{f.Label, f.Value, f.Origin})
	}
	return app.facts(r.Handle, lines)
}
