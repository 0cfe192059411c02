package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/temperature"
)

// pixelUnit reads what the numbers of thermal frames are.
func (in *input) pixelUnit() radiometry.PixelUnit {
	text, _ := in.given("unit")
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "degc", "c", "°c":
		return radiometry.PixelDegC
	case "k":
		return radiometry.PixelK
	case "radiance":
		return radiometry.PixelRadiance
	}
	in.fail("unit", fault.Invalidf("%q does not say what the numbers of the frame are", text).WithHint("give --unit degC, --unit K or --unit radiance (W m⁻² sr⁻¹ in the band)"))
	return radiometry.PixelDegC
}

// fits checks a file's own unit, if it states one, against what was typed.
func fits(info frame.Info, typed radiometry.PixelUnit) error {
	stated := map[frame.Unit]radiometry.PixelUnit{frame.DegC: radiometry.PixelDegC, frame.Kelvin: radiometry.PixelK}
	name := map[radiometry.PixelUnit]string{radiometry.PixelDegC: "degC", radiometry.PixelK: "K", radiometry.PixelRadiance: "radiance"}
	said := fileUnit(info)
	switch unit, known := stated[said]; {
	case said == frame.Unstated || known && unit == typed:
		return nil
	case said == frame.Counts:
		return fault.Conflictf("the file says that its numbers are counts").WithHint("convert them with the camera's own calibration first")
	}
	return otherUnit(said, name[typed])
}

func newFrameEmissivity(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "emissivity",
		Short: "An emissivity map from unpowered frames on a heated stage",
		Long: `Three ways, the first the best:

  --cold A --hot B            two stage temperatures; reflections cancel
  --frame A --stage 60C       one stage temperature; --reflected must be right
  --frame A --patch x,y,w,h   a patch of known emissivity (tape, paint) at the same
                              temperature; --patch-emissivity, --reflected

The hot frame is registered on the cold one, since the part grows and moves; the
shift is reported, and applied when it is well found and larger than 0.05 pixel.
Pixels that cannot be trusted are masked by a stated rule and counted.`,
		Example: `  dieglow frame emissivity --cold cold.npy --hot hot.npy --cold-temperature 40C --hot-temperature 80C --transmission 0.88 --optics 25C --band 8um..14um --unit degC --to eps.npy
  dieglow frame emissivity --typical`,
		Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error { return app.frameEmissivity(cmd) },
	}
	f := cmd.Flags()
	bandFlags(f)
	frameFlags(f)
	f.StringArray("transmission", nil, "transmission of an optical element; may be repeated")
	f.StringArray("optics", nil, "temperature of that element")
	textFlags(f, "cold", "frame at the lower stage temperature", "hot", "frame at the higher one", "cold-temperature", "lower stage temperature", "hot-temperature", "higher stage temperature",
		"frame", "the one frame, for the other two ways", "stage", "its stage temperature", "reflected", "reflected apparent temperature", "patch", "part of known emissivity: column,row,width,height", "patch-emissivity", "its emissivity",
		"unit", "what the numbers mean: degC, K or radiance", "netd", "noise of one pixel in one frame, 60mK", "averaging", "how many frames were averaged into each",
		"min-emissivity", "mask what is darker; 0.02 unless given", "max-relative-u", "mask what the noise leaves less certain; 10% unless given", "to", "write the map: .csv, .npy or .tif")
	f.Bool("no-register", false, "take the frames as aligned")
	f.Bool("replace", false, "write over the file of --to")
	f.Bool("typical", false, "list typical emissivities with their sources: assumptions to start from")
	return cmd
}

// emissivityResult is what frame emissivity gives as JSON.
type emissivityResult struct {
	Written   string            `json:"written,omitempty"`
	Mean      *float64          `json:"mean_emissivity"` // of the trusted pixels
	Trusted   int               `json:"trusted"`
	Masked    map[string]int    `json:"masked"` // by reason
	SetToOne  int               `json:"set_to_one"`
	Rule      string            `json:"rule"`
	CommonRel float64           `json:"common_relative_u"` // what all pixels share: stage, transmission
	Shift     *radiometry.Shift `json:"shift,omitempty"`
	Shifted   bool              `json:"shift_applied"`
	PatchC    *float64          `json:"patch_temperature_c,omitempty"`
}

func (app *App) frameEmissivity(cmd *cobra.Command) error {
	in := app.input(cmd)
	var typical bool
	if in.flag("typical", &typical); typical {
		return app.typicalEmissivities()
	}
	job := emissivityJob{in: in, options: in.frameOptions(), app: app}
	m, err := job.run()
	if err != nil {
		return err
	}
	if m.Trusted == 0 {
		return noneTrusted(m)
	}
	out := job.result(m)
	if to, ok := in.given("to"); ok {
		f := job.first
		f.Pixels = m.Emissivity
		if err := in.writeFrame(to, f); err != nil {
			return err
		}
		out.Written = to
	}
	return app.emit(out, func() error {
		lines := [][3]string{{"trusted pixels", fmt.Sprint(out.Trusted), ""}}
		if out.Mean != nil {
			lines = append(lines, [3]string{"mean emissivity", quantity.Fixed(*out.Mean, 4), "measured"})
		}
		for _, reason := range []string{"missing", "too_dark", "above_one", "too_noisy"} {
			if n := out.Masked[reason]; n > 0 {
				lines = append(lines, [3]string{"masked, " + strings.ReplaceAll(reason, "_", " "), fmt.Sprint(n), ""})
			}
		}
		lines = append(lines, [3]string{"rule", out.Rule, ""}, [3]string{"shared relative uncertainty", relativeText(out.CommonRel), ""})
		if s := out.Shift; s != nil {
			lines = append(lines, [3]string{"shift of the hot frame", fmt.Sprintf("%s, %s pixel", quantity.Fixed(s.DXPx, 3), quantity.Fixed(s.DYPx, 3)), map[bool]string{true: "applied", false: "not applied"}[out.Shifted]})
		}
		if out.PatchC != nil {
			lines = append(lines, [3]string{"temperature of the patch", quantity.Fixed(*out.PatchC, 5) + " °C", "computed"})
		}
		if out.Written != "" {
			lines = append(lines, [3]string{"written", out.Written, ""})
		}
		return app.facts("emissivity map", lines)
	})
}

// relativeText prints a relative uncertainty; 0 means that none was stated.
func relativeText(u float64) string {
	if u == 0 {
		return "not evaluated"
	}
	return quantity.Fixed(u*100, 3) + " %"
}

// noneTrusted says why a map would hold nothing.
func noneTrusted(m *radiometry.EmissivityMap) error {
	return fault.Invalidf("no pixel can be trusted: %d missing, %d too noisy, %d too dark, %d above 1", m.Missing, m.TooNoisy, m.TooDark, m.AboveOne).
		WithHint("check which frame is the cold one; take the frames further apart in temperature, or average more of them")
}

// emissivityJob is one run of frame emissivity.
type emissivityJob struct {
	app     *App
	in      *input
	options frame.Options
	band    *radiometry.Band
	how     radiometry.Frames
	first   frame.Frame
	shift   *radiometry.Shift
	shifted bool
	patchC  *float64
}

func (j *emissivityJob) run() (*radiometry.EmissivityMap, error) {
	in := j.in
	var err error
	if j.band, err = in.band(); err != nil {
		return nil, err
	}
	if err := j.readHow(); err != nil {
		return nil, err
	}
	cold, hasCold := in.given("cold")
	hot, hasHot := in.given("hot")
	one, hasOne := in.given("frame")
	switch {
	case hasCold && hasHot && !hasOne:
		return j.two(cold, hot)
	case hasOne && !hasCold && !hasHot:
		return j.one(one)
	}
	return nil, fault.Usagef("the frames are needed").WithHint("give --cold A --hot B with their temperatures, or --frame A with --stage or --patch")
}

// readHow reads how the frames were taken.
func (j *emissivityJob) readHow() error {
	in := j.in
	elements, err := temperature.Elements("optics", in.estimates("transmission", quantity.One), in.estimates("optics", quantity.Kelvin))
	if err != nil {
		return err
	}
	j.how.In = in.pixelUnit()
	relative := 0.0
	for _, e := range elements {
		j.how.Elements = append(j.how.Elements, radiometry.Element{Name: e.Name, Transmission: e.Transmission.Value, TempK: e.TempK.Value})
		if u, ok := e.Transmission.StandardU(); ok {
			relative = quantity.RootSumSquare(relative, u/e.Transmission.Value)
		}
	}
	j.how.RelativeU = relative
	var netd *float64
	var averaged *int
	in.value("netd", quantity.KelvinStep, &netd)
	in.count("averaging", &averaged)
	if netd != nil {
		j.how.NETDK = *netd
	}
	if averaged != nil {
		j.how.Averaged = *averaged
	}
	return j.readRule()
}

// readRule reads which pixels are not to be trusted.
func (j *emissivityJob) readRule() error {
	var darkest, noisiest *float64
	j.in.value("min-emissivity", quantity.One, &darkest)
	j.in.value("max-relative-u", quantity.One, &noisiest)
	if darkest != nil {
		j.how.Rule.MinEmissivity = *darkest
	}
	if noisiest != nil {
		j.how.Rule.MaxRelativeU = *noisiest
	}
	return j.in.err
}

func (j *emissivityJob) two(coldPath, hotPath string) (*radiometry.EmissivityMap, error) {
	in := j.in
	cold, hot := in.needed("cold-temperature", quantity.Kelvin, "40C"), in.needed("hot-temperature", quantity.Kelvin, "80C")
	if in.err != nil {
		return nil, in.err
	}
	uc, _ := cold.StandardU()
	uh, _ := hot.StandardU()
	j.how.StageUK = max(uc, uh)
	frames, err := readSeveral(j.options, j.how.In, coldPath, hotPath)
	if err != nil {
		return nil, err
	}
	j.first = frames[0]
	var skip bool
	if in.flag("no-register", &skip); !skip {
		if err := j.register(frames); err != nil {
			return nil, err
		}
	}
	return j.band.TwoTemperatures(frames[0].Pixels, frames[1].Pixels, cold.Value, hot.Value, j.how)
}

// leastShiftPx is below what resampling is worth: it would blur the frame more
// than the shift does.
const leastShiftPx = 0.05

// likelyAlike is the correlation above which two frames show the same structure,
// so that a shift between them is real even where it is not found well.
const likelyAlike = 0.8

// register finds how the hot frame lies over the cold one and moves it back.
func (j *emissivityJob) register(frames []frame.Frame) error {
	fixed := radiometry.Picture{Width: frames[0].Width, Height: frames[0].Height, Pixels: frames[0].Pixels}
	moving := radiometry.Picture{Width: frames[1].Width, Height: frames[1].Height, Pixels: frames[1].Pixels}
	s, err := radiometry.Register(fixed, moving)
	if err != nil {
		j.app.notef("the frames were not registered: %v", err)
		return nil
	}
	j.shift = &s
	moved := max(math.Abs(s.DXPx), math.Abs(s.DYPx)) >= leastShiftPx
	if !s.Reliable && moved && s.Correlation > likelyAlike {
		return fault.Invalidf("the hot frame seems to lie %s, %s pixel from the cold one, but they cannot be aligned: %s", quantity.Fixed(s.DXPx, 3), quantity.Fixed(s.DYPx, 3), s.Why).
			WithHint("cut away what is in one frame only, or take the frames as aligned with --no-register: each pixel off spoils the map at every edge")
	}
	if !s.Reliable {
		j.app.notef("the frames are taken as aligned: %s", s.Why)
		return nil
	}
	if !moved {
		return nil
	}
	back, err := moving.Shifted(s.DXPx, s.DYPx)
	if err != nil {
		return err
	}
	frames[1].Pixels, j.shifted = back.Pixels, true
	return nil
}

func (j *emissivityJob) one(path string) (*radiometry.EmissivityMap, error) {
	in := j.in
	reflected := in.needed("reflected", quantity.Kelvin, "23C")
	if in.err != nil {
		return nil, in.err
	}
	frames, err := readSeveral(j.options, j.how.In, path)
	if err != nil {
		return nil, err
	}
	j.first = frames[0]
	text, hasPatch := in.given("patch")
	if !hasPatch {
		stage := in.needed("stage", quantity.Kelvin, "60C")
		if in.err != nil {
			return nil, in.err
		}
		j.how.StageUK, _ = stage.StandardU()
		return j.band.OneTemperature(frames[0].Pixels, stage.Value, reflected.Value, j.how)
	}
	rect, err := parseRect(text)
	if err != nil {
		return nil, err
	}
	patch, err := frames[0].Crop(rect)
	if err != nil {
		return nil, err
	}
	known := in.needed("patch-emissivity", quantity.One, "0.95")
	if in.err != nil {
		return nil, in.err
	}
	m, k, err := j.band.FromReference(frames[0].Pixels, radiometry.Reference{Reading: patch.Stats().Mean, Emissivity: known.Value, ReflectedK: reflected.Value}, j.how)
	if err == nil {
		c := k - quantity.CelsiusZeroK
		j.patchC = &c
	}
	return m, err
}

func (j *emissivityJob) result(m *radiometry.EmissivityMap) emissivityResult {
	f := j.first
	f.Pixels = m.Emissivity
	return emissivityResult{
		Mean: finite(f.Stats().Mean), Trusted: m.Trusted, SetToOne: m.SetToOne, Rule: m.Rule.String(), CommonRel: m.CommonRel,
		Masked: map[string]int{"missing": m.Missing, "too_dark": m.TooDark, "above_one": m.AboveOne, "too_noisy": m.TooNoisy},
		Shift:  j.shift, Shifted: j.shifted, PatchC: j.patchC,
	}
}

func (app *App) typicalEmissivities() error {
	list := radiometry.TypicalEmissivities()
	return app.emit(list, func() error {
		lines := make([][3]string, 0, len(list))
		for _, e := range list {
			value := quantity.Fixed(e.Low, 3)
			if e.High != e.Low {
				value += " to " + quantity.Fixed(e.High, 3)
			}
			lines = append(lines, [3]string{e.Surface, value + ", " + e.Conditions, e.Status + ": " + e.Source})
		}
		return app.facts("surface", lines)
	})
}
