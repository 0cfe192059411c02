package cli

import (
	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/temperature"
	"dieglow/store"
)

func newCaptureEmissivity(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "emissivity CAPTURE [HOT]",
		Short: "An emissivity map from unpowered captures, as a finding",
		Long: `With two captures of the same specimen without power, with one setup, on a stage at
two temperatures, reflections cancel; the hot frame is registered on the cold one.
With one capture, its reflected temperature must be on record: --stage gives the
stage's temperature, or --patch a part of known emissivity at the same temperature.
Later captures refer to the finding: capture measure --emissivity-map finding-1.`,
		Example: `  dieglow capture emissivity capture-3 capture-4 --cold-temperature "40.0(2) C" --hot-temperature "80.0(2) C" --transmission "0.88(2)"
  dieglow capture emissivity capture-3 --patch 10,20,8,8 --patch-emissivity "0.95(2)" --transmission "0.88(2)"`,
		Args: oneOrTwo,
	}
	f := cmd.Flags()
	textFlags(f, "cold-temperature", "stage temperature of the cold capture", "hot-temperature", "stage temperature of the hot capture",
		"stage", "stage temperature of the one capture", "patch", "part of known emissivity: column,row,width,height", "patch-emissivity", "its emissivity", "transmission", "transmission of the optics, in place of what the lenses say",
		"min-emissivity", "mask what is darker; 0.02 unless given", "max-relative-u", "mask what the noise leaves less certain; 10% unless given")
	f.Bool("no-register", false, "take the frames as aligned")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		var out recorded[notebook.Finding]
		err := app.update(cmd.Context(), func(tx *store.Tx) (err error) {
			job := stagePair{emissivityJob: emissivityJob{in: in, app: app}, tx: tx, cmd: cmd}
			if len(args) == 1 {
				out.Record, err = job.recordOne(args[0])
			} else {
				out.Record, err = job.record(args[0], args[1])
			}
			return err
		})
		if err != nil {
			return err
		}
		return app.emit(out, func() error { return app.printFinding(out.Record) })
	}
	return cmd
}

// oneOrTwo takes a capture, or a cold and a hot one.
func oneOrTwo(cmd *cobra.Command, got []string) error {
	if len(got) == 1 || len(got) == 2 {
		return nil
	}
	return fault.Usagef("%s needs one capture, or a cold and a hot one", cmd.CommandPath()).WithHint("%s --help shows how to call it", cmd.CommandPath())
}

// recordOne makes a map of one capture, by its stage or by a patch.
func (j *stagePair) recordOne(name string) (r notebook.Record[notebook.Finding], err error) {
	if j.cold, err = store.Get[notebook.Capture](j.tx, name); err != nil {
		return r, err
	}
	reflected := j.cold.Body.ReflectedK
	if reflected == nil {
		return r, fault.Invalidf("%s has no reflected temperature on record", j.cold.Handle).WithHint("amend it with --reflected, or use two stage temperatures, where reflections cancel")
	}
	f, raw, err := j.frame(j.cold)
	if err != nil {
		return r, err
	}
	stage := notebook.Stage{Way: "one temperature"}
	var m *radiometry.EmissivityMap
	if text, ok := j.in.given("patch"); ok {
		known := j.in.needed("patch-emissivity", quantity.One, "0.95")
		rect, err := parseRect(text)
		if err != nil {
			return r, err
		}
		patch, err := f.Crop(rect)
		if err != nil {
			return r, err
		}
		if err := j.prepare(*reflected, *reflected); err != nil {
			return r, err
		}
		var k float64
		m, k, err = j.band.FromReference(f.Pixels, radiometry.Reference{Reading: patch.Stats().Mean, Emissivity: known.Value, ReflectedK: reflected.Value}, j.how)
		if err != nil {
			return r, err
		}
		stage.Way, stage.ColdK, stage.Patch = "reference patch", quantity.Exactly(k), text+", emissivity "+known.Format(quantity.One)
	} else {
		stage.ColdK = j.in.needed("stage", quantity.Kelvin, "60C")
		if j.in.err != nil {
			return r, j.in.err
		}
		if err := j.prepare(stage.ColdK, stage.ColdK); err != nil {
			return r, err
		}
		if m, err = j.band.OneTemperature(f.Pixels, stage.ColdK.Value, reflected.Value, j.how); err != nil {
			return r, err
		}
	}
	return j.add(m, f, stage, []string{raw})
}

// stagePair makes an emissivity map of two captures.
type stagePair struct {
	emissivityJob
	tx        *store.Tx
	cmd       *cobra.Command
	cold, hot notebook.Record[notebook.Capture]
	settings  temperature.Settings
}

func (j *stagePair) record(coldName, hotName string) (r notebook.Record[notebook.Finding], err error) {
	if j.cold, err = store.Get[notebook.Capture](j.tx, coldName); err != nil {
		return r, err
	}
	if j.hot, err = store.Get[notebook.Capture](j.tx, hotName); err != nil {
		return r, err
	}
	coldK, hotK := j.in.needed("cold-temperature", quantity.Kelvin, "40C"), j.in.needed("hot-temperature", quantity.Kelvin, "80C")
	if j.in.err != nil {
		return r, j.in.err
	}
	frames, raw, err := j.frames()
	if err != nil {
		return r, err
	}
	if err := j.prepare(coldK, hotK); err != nil {
		return r, err
	}
	if !j.in.isSet("no-register") {
		if err := j.register(frames); err != nil {
			return r, err
		}
	}
	m, err := j.band.TwoTemperatures(frames[0].Pixels, frames[1].Pixels, coldK.Value, hotK.Value, j.how)
	if err != nil {
		return r, err
	}
	return j.add(m, frames[0], notebook.Stage{Way: "two temperatures", ColdK: coldK, HotK: &hotK}, raw)
}

// frames reads one frame of each capture; both must fit together.
func (j *stagePair) frames() (frames []frame.Frame, raw []string, err error) {
	a, b := j.cold.Body, j.hot.Body
	switch {
	case a.Setup != b.Setup:
		return nil, nil, fault.Conflictf("%s and %s were taken with different setups", j.cold.Handle, j.hot.Handle).WithHint("both frames need the same optics")
	case a.Specimen == nil || b.Specimen == nil || a.Specimen.ID != b.Specimen.ID:
		return nil, nil, fault.Conflictf("%s and %s do not show the same specimen", j.cold.Handle, j.hot.Handle).WithHint("name two captures of one specimen")
	}
	for _, c := range []notebook.Record[notebook.Capture]{j.cold, j.hot} {
		f, sha, err := j.frame(c)
		if err != nil {
			return nil, nil, err
		}
		frames, raw = append(frames, f), append(raw, sha)
	}
	return frames, raw, nil
}

// frame reads the frame of a capture, of a stack the mean, in °C.
func (j *stagePair) frame(c notebook.Record[notebook.Capture]) (f frame.Frame, sha256 string, err error) {
	if len(c.Body.Frames) != 1 || c.Body.Frames[0].Unit == "counts" {
		return f, "", fault.Invalidf("%s does not have one frame in degrees", c.Handle).WithHint("record it with one --file and --unit degC or K")
	}
	file := c.Body.Frames[0]
	path, err := j.tx.RawPath(file.SHA256, file.Size)
	if err != nil {
		return f, "", err
	}
	index := 0
	if file.Frames > 1 {
		index = -1
	}
	if f, err = loadFrame(path, index); err != nil {
		return f, "", err
	}
	if file.Unit == "K" {
		for i := range f.Pixels {
			f.Pixels[i] -= quantity.CelsiusZeroK
		}
	}
	return f, file.SHA256, nil
}

// prepare settles band, noise and transmission from the camera and the lenses.
func (j *stagePair) prepare(coldK, hotK quantity.Estimate) (err error) {
	m := measurement{app: j.app, tx: j.tx, ctx: j.cmd.Context(), capture: j.cold}
	d, err := captureDossier(j.tx, j.cold)
	if err != nil {
		return err
	}
	if j.band, err = radiometry.NewBand(d.Camera.Body.BandLowUM, d.Camera.Body.BandHighUM); err != nil {
		return err
	}
	j.in.lists = func(flag string) ([]string, bool) {
		s, ok := j.in.given(flag)
		return []string{s}, ok
	}
	if j.cold.Body.AmbientK == nil { // the lens's own radiation cancels between the frames
		m.capture.Body.AmbientK = &coldK
	}
	if err := m.readOptics(j.in, d.Setup.Body); err != nil {
		return err
	}
	j.settings = m.settings
	j.how.In = radiometry.PixelDegC
	for _, e := range m.settings.Elements {
		j.how.Elements = append(j.how.Elements, radiometry.Element{Name: e.Name, Transmission: e.Transmission.Value, TempK: e.TempK.Value})
		if u, ok := e.Transmission.StandardU(); ok {
			j.how.RelativeU = quantity.RootSumSquare(j.how.RelativeU, u/e.Transmission.Value)
		}
	}
	if n := d.Camera.Body.NETDK; n != nil {
		j.how.NETDK = *n
	}
	if n := j.cold.Body.FramesAveraged; n != nil {
		j.how.Averaged = *n
	}
	uc, _ := coldK.StandardU()
	uh, _ := hotK.StandardU()
	j.how.StageUK = max(uc, uh)
	return j.readRule()
}

func (j *stagePair) add(m *radiometry.EmissivityMap, like frame.Frame, stage notebook.Stage, raw []string) (r notebook.Record[notebook.Finding], err error) {
	like.Pixels = m.Emissivity
	npy, err := encodeNPY(like)
	if err != nil {
		return r, err
	}
	f := notebook.Finding{
		Capture: j.cold.Ref, Quantity: notebook.EmissivityMap, Settings: j.settings, RawFiles: raw, Program: j.app.Source.Tool, Stage: &stage,
	}
	stage.Mean, stage.Trusted, stage.Rule, stage.CommonU, stage.Shifted = like.Stats().Mean, m.Trusted, m.Rule.String(), m.CommonRel, j.shifted
	if stage.HotK != nil {
		f.Other = &j.hot.Ref
	}
	if m.Trusted == 0 {
		return r, noneTrusted(m)
	}
	if j.shift != nil {
		f.Stage.ShiftXPx, f.Stage.ShiftYPx = j.shift.DXPx, j.shift.DYPx
	}
	made := measurement{app: j.app, tx: j.tx, ctx: j.cmd.Context(), capture: j.cold}
	return made.add(f, []derivedFile{{"emissivity.npy", npy}})
}
