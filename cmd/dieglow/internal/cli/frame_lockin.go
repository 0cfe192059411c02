package cli

import (
	"fmt"
	"image"
	"math"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/heat"
	"dieglow/notebook/heat/lockin"
	"dieglow/notebook/report"
)

func lockinAnalysis() analysis {
	return analysis{
		name:  "lockin",
		short: "Amplitude and phase of a stack at the frequency of its drive",
		long: `Each pixel is taken as mean + slow trend + A cos(2 pi f t + phi), with t = 0 at the
first frame; in-phase is A cos(phi), quadrature A sin(phi). A phase below zero lags
behind the cosine. The frames are read once, as they stream.

The times are those of the file, even or not, unless --rate is given. At least four
frames a period and one whole period are needed; a frequency that is not below half
the frame rate is refused, since it would show as another.

The trend is quadratic from three periods on and linear below. What it does not
follow leaks into the in-phase part: up to 2 D/(2 pi f tau)² of a warm-up that is
still D from its end, with time constant tau. Noise is what does not repeat from
cycle to cycle, or what a least squares fit leaves where periods and frames do not
meet in a cycle. A phase is hidden where the amplitude is below --hide standard
uncertainties; an amplitude of pure noise is never zero.

With --drive square the amplitude stays that of the fundamental, of which half the
swing of a square drive makes 4/pi. Sampling folds the harmonics of a square
response into it: with n frames a period it comes out as 4/(n sin(pi/n)), and is
corrected for that. A response that has lost its harmonics needed no correction and
is then too small by the bias that is stated.

Maps: amplitude.npy, phase.npy (rad), in-phase.npy, quadrature.npy, mean.npy and
u-amplitude.npy (standard uncertainty); pictures: amplitude.png and phase.png
(deg), in colours that go round, +180 and -180 alike.`,
		example: `  dieglow frame lockin stack.npy --rate 25Hz --frequency 1.25Hz --to lock-
  dieglow frame lockin stack.csv --frequency 0.5Hz --drive square --diffusivity 0.88cm2/s --json`,
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "rate", "frames a second, in place of the file's times, 25Hz", "frequency", "of the drive, 1.25Hz", "drive", "sine or square; sine unless given", "trend", "none, linear or quadratic, in place of what fits the length",
				"hide", "standard uncertainties that an amplitude needs for a phase; 3 unless given", "strongest", "how many of the strongest pixels to list; 10 unless given", "diffusivity", "of the material, for the depth scale, 0.88cm2/s")
		},
		run: func(in *input, s subject) (analysed, error) { return lockinJob{in: in, s: s}.run() },
	}
}

// wholeStack refuses what frame flags ask of single frames.
func (in *input) wholeStack(name string) error {
	for _, flag := range []string{"index", "subtract", "bad", "orient", "crop", "bin", "mean"} {
		if _, ok := in.given(flag); ok {
			return fault.Usagef("--%s is for single frames, and %s takes the whole stack", flag, name).WithHint("leave it away; dieglow frame convert prepares a stack")
		}
	}
	return nil
}

// lockinJob is one run of frame lockin.
type lockinJob struct {
	in        *input
	s         subject
	o         lockin.Options
	unit      frame.Unit
	strongest int
	depthMM   *float64
}

// lockinPixel is one of the strongest pixels as JSON.
type lockinPixel struct {
	X          int      `json:"x_px"`
	Y          int      `json:"y_px"`
	Amplitude  float64  `json:"amplitude"`
	UAmplitude *float64 `json:"u_amplitude"`
	PhaseDeg   *float64 `json:"phase_deg"` // null where hidden
	UPhaseDeg  *float64 `json:"u_phase_deg"`
	PhaseRad   *float64 `json:"phase_rad"`
	HalfSwing  *float64 `json:"half_swing,omitempty"` // of a square drive
}

// lockinFigures is what frame lockin gives as JSON. Amplitudes are in the unit of
// the frames.
type lockinFigures struct {
	Width            int               `json:"width"`
	Height           int               `json:"height"`
	Frames           int               `json:"frames"`
	FramesUsed       int               `json:"frames_used"`
	FrequencyHz      float64           `json:"frequency_hz"`
	RateHz           float64           `json:"rate_hz"`
	RateFrom         string            `json:"rate_from"`
	Periods          float64           `json:"periods"`
	SamplesPerPeriod float64           `json:"samples_per_period"`
	Convention       string            `json:"convention"`
	Method           string            `json:"method"`
	Trend            string            `json:"trend"`
	TrendBias        string            `json:"trend_bias"`
	Unit             string            `json:"unit"`
	Maps             map[string]string `json:"maps"` // unit of each
	Amplitude        struct {
		Max float64  `json:"max"`
		X   int      `json:"x"`
		Y   int      `json:"y"`
		U   *float64 `json:"u"`
	} `json:"amplitude"`
	Strongest []lockinPixel `json:"strongest"`
	Noise     struct {
		FrameSD    *float64 `json:"frame_sd"`    // median over the pixels
		UAmplitude *float64 `json:"u_amplitude"` // median over the pixels
		Degrees    int      `json:"degrees_of_freedom"`
	} `json:"noise"`
	HideBelow         float64     `json:"hide_below"` // standard uncertainties
	Hidden            int         `json:"hidden"`
	Missing           int         `json:"missing"`
	SaturatedPixels   int         `json:"saturated_pixels"`
	Drive             driveFigure `json:"drive"`
	DiffusionLengthMM *float64    `json:"diffusion_length_mm"`
}

type driveFigure struct {
	Shape          string   `json:"shape"`
	Fundamental    float64  `json:"fundamental_per_half_swing"`
	SampledBias    float64  `json:"sampled_bias"` // relative, corrected
	PhaseStepDeg   float64  `json:"phase_step_deg"`
	MaxHalfSwing   *float64 `json:"max_half_swing,omitempty"`
	Representative string   `json:"note,omitempty"`
}

// read takes the flags.
func (j *lockinJob) read() error {
	in := j.in
	if err := in.wholeStack("lockin"); err != nil {
		return err
	}
	j.o.FrequencyHz = in.needed("frequency", quantity.Hertz, "1.25Hz").Value
	if _, ok := in.given("rate"); ok {
		in.must("rate", quantity.Hertz, &j.o.RateHz)
		if in.err == nil && !(j.o.RateHz > 0) {
			in.fail("rate", fault.Invalidf("a frame rate of %g Hz", j.o.RateHz).WithHint("give the frames a second, above 0"))
		}
	}
	var err error
	if text, ok := in.given("drive"); ok {
		j.o.Drive, err = lockin.ParseDrive(strings.ToLower(strings.TrimSpace(text)))
		in.fail("drive", err)
	}
	if text, ok := in.given("trend"); ok {
		j.o.Trend, err = lockin.ParseTrend(strings.ToLower(strings.TrimSpace(text)))
		in.fail("trend", err)
	}
	j.o.Hide = lockin.DefaultHide
	in.must("hide", quantity.One, &j.o.Hide)
	if in.err == nil && !(j.o.Hide > 0) {
		in.fail("hide", fault.Invalidf("a phase hidden below %g standard uncertainties", j.o.Hide).WithHint("give a number such as 3"))
	}
	if err := j.readStrongest(); err != nil {
		return err
	}
	var diffusivity *float64
	in.value("diffusivity", quantity.SquareMillimetrePerSecond, &diffusivity)
	if in.err == nil && diffusivity != nil {
		mm, err := heat.DiffusionLengthMM(*diffusivity, j.o.FrequencyHz)
		in.fail("diffusivity", err)
		j.depthMM = &mm
	}
	return in.err
}

func (j *lockinJob) readStrongest() error {
	j.strongest = 10
	n := &j.strongest
	j.in.count("strongest", &n)
	if j.in.err == nil && (n == nil || *n < 1 || *n > 10000) {
		j.in.fail("strongest", fault.Invalidf("this is no number of pixels to list").WithHint("give 1 to 10000"))
	}
	return j.in.err
}

func (j lockinJob) run() (analysed, error) {
	if err := j.read(); err != nil {
		return analysed{}, err
	}
	st, err := j.s.stack()
	if err != nil {
		return analysed{}, err
	}
	defer st.Close()
	named := frame.Frame{}
	if err := j.in.stateUnit(&named, st.Info()); err != nil {
		return analysed{}, err
	}
	if j.unit = named.Unit; j.unit == frame.Unstated {
		j.unit = fileUnit(st.Info())
	}
	r, err := lockin.Analyse(st, j.o)
	if err != nil {
		return analysed{}, err
	}
	f := j.figures(&r)
	out := analysed{figures: f, lines: j.lines(f), results: j.results(f)}
	out.draw = func() ([]derivedFile, error) { return j.maps(&r) }
	out.warnings = j.warnings(&r, st.Info())
	return out, nil
}

// rise is the unit of amplitudes: a step, whatever the zero of the frames' scale.
func rise(u frame.Unit) frame.Unit {
	if u == frame.DegC {
		return frame.Kelvin
	}
	return u
}

// riseName is rise as it is printed; empty where the unit is not stated.
func riseName(u frame.Unit) string {
	if u == frame.Unstated {
		return ""
	}
	return rise(u).String()
}

// periods counts them in words.
func periods(n float64, digits int) string {
	if text := quantity.Fixed(n, digits); text != "1" {
		return text + " periods"
	}
	return "1 period"
}

func degrees(rad float64) *float64 { return finite(rad * 180 / math.Pi) }

func (j lockinJob) figures(r *lockin.Result) lockinFigures {
	unit := riseName(j.unit)
	f := lockinFigures{
		Width: r.Width, Height: r.Height, Frames: r.Frames, FramesUsed: r.FramesUsed, FrequencyHz: r.FrequencyHz, RateHz: r.RateHz, RateFrom: "stated",
		Periods: r.Periods(), SamplesPerPeriod: r.SamplesPerPeriod(), Convention: "A cos(2 pi f t + phi), t = 0 at the first frame",
		Method: r.Method, Trend: r.Trend.String(), TrendBias: "in-phase up to 2 c/(2 pi f)² for a curvature c a second squared that the trend does not follow",
		Unit: unit, Maps: map[string]string{"amplitude": unit, "phase": "rad", "in-phase": unit, "quadrature": unit, "mean": j.unit.String(), "u-amplitude": unit},
		HideBelow: r.Hide, Hidden: r.Hidden, Missing: r.Missing, SaturatedPixels: r.SaturatedPixels, DiffusionLengthMM: j.depthMM,
	}
	if j.o.RateHz == 0 {
		f.RateFrom = "mean of the file's times"
	}
	f.Noise.FrameSD, f.Noise.UAmplitude, f.Noise.Degrees = finite(lockin.Median(r.Noise)), finite(lockin.Median(r.UAmplitude)), r.Degrees
	square := r.Drive.Drive == lockin.Square
	for _, at := range r.Strongest(j.strongest) {
		p := lockinPixel{X: at % r.Width, Y: at / r.Width, Amplitude: r.Amplitude[at], UAmplitude: finite(r.UAmplitude[at]), PhaseDeg: degrees(r.PhaseRad[at]), UPhaseDeg: degrees(r.UPhaseRad[at]), PhaseRad: finite(r.PhaseRad[at])}
		if square {
			p.HalfSwing = finite(p.Amplitude / r.Drive.Fundamental)
		}
		f.Strongest = append(f.Strongest, p)
	}
	top := f.Strongest[0]
	f.Amplitude.Max, f.Amplitude.X, f.Amplitude.Y, f.Amplitude.U = top.Amplitude, top.X, top.Y, top.UAmplitude
	f.Drive = driveFigure{Shape: r.Drive.Drive.String(), Fundamental: r.Drive.Fundamental, SampledBias: r.Drive.SampledBias, PhaseStepDeg: r.Drive.PhaseStepRad * 180 / math.Pi, MaxHalfSwing: top.HalfSwing}
	if square {
		f.Drive.Representative = "corrected as for a response as square as the drive; one without harmonics is too small by sampled_bias"
	}
	return f
}

func (j lockinJob) lines(f lockinFigures) [][3]string {
	show := func(v float64, u *float64) string {
		return strings.TrimSpace(quantity.Estimate{Value: v, U: u}.Number(quantity.One) + " " + f.Unit)
	}
	lines := [][3]string{
		{"frames", fmt.Sprintf("%d of %d, %s of %s frames", f.FramesUsed, f.Frames, periods(f.Periods, 5), quantity.Fixed(f.SamplesPerPeriod, 5)), report.Computed},
		{"frame rate", quantity.Shown(f.RateHz, 6, quantity.Hertz), f.RateFrom},
		{"method", f.Method + ", " + f.Trend + " trend", ""},
		{"largest amplitude", show(f.Amplitude.Max, f.Amplitude.U) + fmt.Sprintf(" at column %d, row %d", f.Amplitude.X, f.Amplitude.Y), report.Measured},
	}
	if top := f.Strongest[0]; top.PhaseDeg != nil {
		lines = append(lines, [3]string{"phase there", quantity.With(*top.PhaseDeg, *top.UPhaseDeg).Number(quantity.One) + " deg", report.Measured})
	}
	if f.Drive.MaxHalfSwing != nil {
		lines = append(lines, [3]string{"half the swing there", strings.TrimSpace(quantity.Fixed(*f.Drive.MaxHalfSwing, 5) + " " + f.Unit), report.Computed},
			[3]string{"sampling of the square wave", quantity.Fixed(100*f.Drive.SampledBias, 3) + " % taken off, phase steps of ±" + quantity.Fixed(f.Drive.PhaseStepDeg, 3) + " deg", report.Computed})
	}
	if f.Noise.FrameSD != nil {
		lines = append(lines, [3]string{"noise of a frame", strings.TrimSpace(quantity.Fixed(*f.Noise.FrameSD, 3) + " " + f.Unit), report.Measured})
	}
	lines = append(lines, [3]string{"phase hidden", counted(f.Hidden, "pixel") + fmt.Sprintf(" of %d, below %g standard uncertainties", f.Width*f.Height, f.HideBelow), report.Computed})
	if f.Missing > 0 {
		lines = append(lines, [3]string{"missing", counted(f.Missing, "pixel"), ""})
	}
	if f.DiffusionLengthMM != nil {
		lines = append(lines, [3]string{"diffusion length", quantity.Fixed(*f.DiffusionLengthMM, 4) + " mm", report.Computed})
	}
	return lines
}

func (j lockinJob) results(f lockinFigures) []notebook.Result {
	top := f.Strongest[0]
	out := []notebook.Result{{Name: "amplitude", Label: fmt.Sprintf("largest amplitude at %s Hz, column %d, row %d", quantity.Fixed(f.FrequencyHz, 6), top.X, top.Y), Value: quantity.Estimate{Value: top.Amplitude, U: top.UAmplitude}, Unit: f.Unit}}
	if top.UAmplitude == nil {
		out[0].WhyNoU = "the noise is beyond what numbers hold"
	}
	if top.PhaseDeg != nil {
		out = append(out, notebook.Result{Name: "phase_deg", Label: "phase there", Value: quantity.With(*top.PhaseDeg, *top.UPhaseDeg), Unit: "deg"})
	}
	if f.Noise.FrameSD != nil {
		out = append(out, notebook.Result{Name: "frame_sd", Label: "noise of a frame", Value: quantity.Exactly(*f.Noise.FrameSD), Unit: f.Unit, WhyNoU: fmt.Sprintf("the median over the pixels, each with %d degrees of freedom", f.Noise.Degrees)})
	}
	return out
}

func (j lockinJob) warnings(r *lockin.Result, info frame.Info) []string {
	var out []string
	if r.SaturatedPixels > 0 {
		out = append(out, counted(r.SaturatedPixels, "pixel")+" at the end of the range in some frame: amplitudes there are lower limits")
	}
	if j.o.RateHz > 0 && info.HasTime {
		out = append(out, "the file has times of its own; --rate is taken instead")
	}
	if p := r.Periods(); p < 3 {
		out = append(out, periods(p, 3)+" only: what looks like the oscillation may be drift")
	}
	return out
}

// maps makes the derived files.
func (j lockinJob) maps(r *lockin.Result) ([]derivedFile, error) {
	sheet := func(values []float64, unit frame.Unit) frame.Frame {
		return frame.Frame{Width: r.Width, Height: r.Height, Pixels: values, Unit: unit}
	}
	var files []derivedFile
	for _, m := range []struct {
		name   string
		values []float64
		unit   frame.Unit
	}{
		{"amplitude", r.Amplitude, rise(j.unit)}, {"phase", r.PhaseRad, frame.Unstated}, {"in-phase", r.InPhase, rise(j.unit)},
		{"quadrature", r.Quadrature, rise(j.unit)}, {"mean", r.Mean, j.unit}, {"u-amplitude", r.UAmplitude, rise(j.unit)},
	} {
		npy, err := encodeNPY(sheet(m.values, m.unit))
		if err != nil {
			return nil, err
		}
		files = append(files, derivedFile{m.name + ".npy", npy})
	}
	deg := make([]float64, len(r.PhaseRad))
	for i, v := range r.PhaseRad {
		deg[i] = v * 180 / math.Pi
	}
	title := j.s.title + " at " + quantity.Shown(r.FrequencyHz, 5, quantity.Hertz)
	phase := picture.Options{Title: title + ", phase in degrees", Ramp: picture.Cyclic, Range: &[2]float64{-180, 180},
		Hidden: fmt.Sprintf("hidden, below %g standard uncertainties", r.Hide), Missing: r.Missing}
	for _, p := range []struct {
		name string
		f    frame.Frame
		o    picture.Options
	}{{"amplitude.png", sheet(r.Amplitude, rise(j.unit)), picture.Options{Title: title + ", amplitude"}}, {"phase.png", sheet(deg, frame.Unstated), phase}} {
		if p.f.Stats().MissingCount == len(p.f.Pixels) {
			continue // no phase is known anywhere
		}
		img, err := j.s.drawnAs(p.f, p.o)
		if err != nil {
			return nil, err
		}
		png, err := encodePNG(p.name, img)
		if err != nil {
			return nil, err
		}
		files = append(files, png...)
	}
	return files, nil
}

// drawn draws a map, with a scale bar where the object pixel is known.
func (s subject) drawn(f frame.Frame, title string) (image.Image, error) {
	return s.drawnAs(f, picture.Options{Title: title})
}

// drawnAs draws a map as the options say, with a scale bar where the object pixel is known.
func (s subject) drawnAs(f frame.Frame, o picture.Options) (image.Image, error) {
	if s.pixel != nil {
		o.ObjectPixelUM = s.pixel.Value
	}
	return picture.Render(f, o)
}
