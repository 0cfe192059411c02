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
		Use:   "emissivity COLD HOT",
		Short: "An emissivity map from two unpowered captures on a heated stage, as a finding",
		Long: `COLD and HOT are captures of the same specimen without power, with one setup, on a
stage at two temperatures. The hot frame is registered on the cold one. Later
captures refer to the finding: capture measure --emissivity-map finding-1.`,
		Example: `  dieglow capture emissivity capture-3 capture-4 --cold-temperature "40.0(2) C" --hot-temperature "80.0(2) C" --transmission "0.88(2)"`,
		Args:    args("the cold capture", "the hot capture"),
	}
	f := cmd.Flags()
	textFlags(f, "cold-temperature", "stage temperature of the cold capture (needed)", "hot-temperature", "stage temperature of the hot capture (needed)", "transmission", "transmission of the optics, in place of what the lenses say",
		"min-emissivity", "mask what is darker; 0.02 unless given", "max-relative-u", "mask what the noise leaves less certain; 10% unless given")
	f.Bool("no-register", false, "take the frames as aligned")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		var out recorded[notebook.Finding]
		err := app.update(cmd.Context(), func(tx *store.Tx) (err error) {
			job := stagePair{emissivityJob: emissivityJob{in: in, app: app}, tx: tx, cmd: cmd}
			out.Record, err = job.record(args[0], args[1])
			return err
		})
		if err != nil {
			return err
		}
		return app.emit(out, func() error { return app.printFinding(out.Record) })
	}
	return cmd
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
	return j.add(m, frames[0], coldK, hotK, raw)
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
		if len(c.Body.Frames) != 1 || c.Body.Frames[0].Unit == "counts" {
			return nil, nil, fault.Invalidf("%s does not have one frame in degrees", c.Handle).WithHint("record it with one --file and --unit degC or K")
		}
		file := c.Body.Frames[0]
		path, err := j.tx.RawPath(file.SHA256, file.Size)
		if err != nil {
			return nil, nil, err
		}
		index := 0
		if file.Frames > 1 {
			index = -1
		}
		f, err := loadFrame(path, index)
		if err != nil {
			return nil, nil, err
		}
		if file.Unit == "K" { // one unit for both
			for i := range f.Pixels {
				f.Pixels[i] -= quantity.CelsiusZeroK
			}
		}
		frames, raw = append(frames, f), append(raw, file.SHA256)
	}
	return frames, raw, nil
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

func (j *stagePair) add(m *radiometry.EmissivityMap, like frame.Frame, coldK, hotK quantity.Estimate, raw []string) (r notebook.Record[notebook.Finding], err error) {
	like.Pixels = m.Emissivity
	npy, err := encodeNPY(like)
	if err != nil {
		return r, err
	}
	f := notebook.Finding{
		Capture: j.cold.Ref, Other: &j.hot.Ref, Quantity: notebook.EmissivityMap, Settings: j.settings, RawFiles: raw, Program: j.app.Source.Tool,
		Stage: &notebook.Stage{ColdK: coldK, HotK: hotK, Mean: like.Stats().Mean, Trusted: m.Trusted, Rule: m.Rule.String(), CommonU: m.CommonRel, Shifted: j.shifted},
	}
	if m.Trusted == 0 {
		return r, fault.Invalidf("no pixel can be trusted: %d too noisy, %d too dark, %d above 1", m.TooNoisy, m.TooDark, m.AboveOne).
			WithHint("take the frames further apart in temperature, or average more of them")
	}
	if j.shift != nil {
		f.Stage.ShiftXPx, f.Stage.ShiftYPx = j.shift.DXPx, j.shift.DYPx
	}
	made := measurement{app: j.app, tx: j.tx, ctx: j.cmd.Context(), capture: j.cold}
	return made.add(f, []derivedFile{{"emissivity.npy", npy}})
}
