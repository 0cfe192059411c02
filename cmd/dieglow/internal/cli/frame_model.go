package cli

import (
	"math"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/heat/model"
)

func modelAnalysis() analysis {
	return analysis{
		name:  "model",
		short: "A simulated map against the measured one: do they agree",
		long: `The model is a map of temperatures in the unit of the frame, with pixels of its own
size. It is blurred like the measurement, laid on the measured pixels with the areas
they share, and compared: difference, bias, scale, correlation, region by region.

The place of the model is where its top left corner lies, in pixels of the frame.
--shift x,y states it. Otherwise it is found by registration: looked for corner on
corner where both show the same field, else middle on middle. A place that is only
found tests nothing; that the model has to be moved counts as disagreement when
--u-place says how well its place is known, or when both show the same field and
--shift is not given at all: then one pixel is assumed.

Measured and model agree when bias, scale, every region and, but for a few, every
pixel lie within two standard uncertainties: those of --u-measured and --u-model,
which are taken as shared by all pixels, the noise, and what the uncertainties of
place and pixel size make of the slopes. Single pixels are judged by the median of
3 x 3, and have to exceed 4.5 standard deviations of its noise as well. Without
--u-measured and --u-model nothing is judged.

Maps: difference.npy (measured less model) and model-on-frame.npy; picture:
comparison.png with frame, model and difference.`,
		example: `  dieglow frame model hot.npy --unit degC --model sim.csv --model-pixel 10um --pixel "25.3(2)um" --blur-fwhm 60um --u-measured 0.5K --u-model 1K
  dieglow frame model hot.npy --model sim.npy --model-pixel 10um --pixel 25um --shift 3.5,-2 --u-measured 0.5K --u-model 1K --regions "core=40,30,20,20; pads=5,5,12,80" --to cmp- --json`,
		files: []string{"model"},
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "model", "the simulated map: text, .npy or any frame file", "model-pixel", "size of its pixels, 10um", "model-unit", "degC or K, where it differs from the frame's: it is refused then", "shift", "auto, or where the model's corner lies: x,y in pixels of the frame",
				"u-place", "standard uncertainty of where the model belongs, 25um", "rotate", "degrees that the model is turned about its middle, clockwise", "blur-fwhm", "full width at half maximum of the measurement's blur on the object, 60um",
				"noise", "standard deviation of a measured pixel, 0.05K; taken from the frame unless given", "u-measured", "standard uncertainty that measured temperatures share, 0.5K", "u-model", "standard uncertainty of the model, 1K",
				"regions", "parts to be judged one by one: name=column,row,width,height; ...")
		},
		run: func(in *input, s subject) (analysed, error) { return modelJob{in: in, s: s}.run() },
	}
}

// modelJob is one run of frame model.
type modelJob struct {
	in  *input
	s   subject
	job model.Job
}

type modelJudged struct {
	Value      *float64 `json:"value"` // null where it is not defined
	U          *float64 `json:"u"`
	Normalised *float64 `json:"over_u"` // distance from 0, or of a scale from 1, over u
}

type modelRegion struct {
	Name         string      `json:"name"`
	Pixels       int         `json:"pixels"`
	MeasuredMean float64     `json:"measured_mean"`
	ModelMean    float64     `json:"model_mean"`
	MeasuredMax  float64     `json:"measured_max"`
	ModelMax     float64     `json:"model_max"`
	DifferenceK  modelJudged `json:"difference_k"`
	Disagreeing  int         `json:"disagreeing_pixels"`
	Agree        *bool       `json:"agree"` // null where no uncertainty was stated
}

// modelFigures is what frame model gives as JSON. Differences are measured less
// model.
type modelFigures struct {
	Width        int           `json:"width"`
	Height       int           `json:"height"`
	Unit         string        `json:"unit"`
	Pixels       int           `json:"pixels_compared"`
	Overlap      float64       `json:"overlap"`
	Agree        *bool         `json:"agree"` // null where no uncertainty was stated
	Reasons      []string      `json:"reasons"`
	BiasK        modelJudged   `json:"bias_k"`
	RMSK         float64       `json:"rms_k"`
	SDK          float64       `json:"sd_k"`
	Correlation  *float64      `json:"correlation"`
	Scale        modelJudged   `json:"scale"`  // measured over model rises
	Offset       *float64      `json:"offset"` // of the line, in the unit of the frame
	NoiseK       float64       `json:"noise_k"`
	NoiseFrom    string        `json:"noise_from"`
	Disagreeing  int           `json:"disagreeing_pixels"`
	Largest      modelPlace    `json:"largest"`
	Shift        modelShift    `json:"shift"`
	RotateDeg    float64       `json:"rotate_deg"`
	BlurUM       float64       `json:"blur_fwhm_um"`
	PixelUM      float64       `json:"pixel_um"`
	PixelFrom    string        `json:"pixel_from"`
	ModelPixelUM float64       `json:"model_pixel_um"`
	Regions      []modelRegion `json:"regions"`
}

type modelPlace struct {
	X           int      `json:"x_px"`
	Y           int      `json:"y_px"`
	DifferenceK float64  `json:"difference_k"`
	UK          *float64 `json:"u_k"`
	Normalised  *float64 `json:"over_u"`
}

// modelShift is where the model's corner lies.
type modelShift struct {
	X          float64  `json:"x_px"`
	Y          float64  `json:"y_px"`
	UX         float64  `json:"u_x_px"`
	UY         float64  `json:"u_y_px"`
	XUM        float64  `json:"x_um"`
	YUM        float64  `json:"y_um"`
	From       string   `json:"from"` // stated, found, or not found
	Why        string   `json:"why,omitempty"`
	Tested     bool     `json:"tested"`
	Normalised *float64 `json:"moved_over_u"`
}

func (j modelJob) run() (analysed, error) {
	if err := j.read(); err != nil {
		return analysed{}, err
	}
	if err := j.readMaps(); err != nil {
		return analysed{}, err
	}
	c, err := model.Compare(j.job)
	if err != nil {
		return analysed{}, err
	}
	f := j.figures(c)
	out := analysed{figures: f, lines: j.lines(f), results: j.results(f), warnings: j.warnings(c)}
	out.draw = func() ([]derivedFile, error) { return j.maps(c) }
	return out, err
}

// read takes the flags but those of the maps.
func (j *modelJob) read() error {
	in := j.in
	pixel, err := j.s.pixelUM()
	if err != nil {
		return err
	}
	j.job.PixelUM = pixel
	j.job.ModelPixelUM = in.needed("model-pixel", quantity.Micrometre, "10um").Value
	in.must("blur-fwhm", quantity.Micrometre, &j.job.BlurUM)
	in.value("noise", quantity.KelvinStep, &j.job.NoiseK)
	in.value("u-measured", quantity.KelvinStep, &j.job.UMeasuredK)
	in.value("u-model", quantity.KelvinStep, &j.job.UModelK)
	in.value("u-place", quantity.Micrometre, &j.job.UPlaceUM)
	if text, ok := in.given("rotate"); ok {
		v, err := strconv.ParseFloat(strings.TrimSuffix(strings.TrimSpace(text), "deg"), 64)
		if err != nil || math.IsNaN(v) || math.Abs(v) > 360 {
			in.fail("rotate", fault.Invalidf("%q is no angle", text).WithHint("give degrees, clockwise, for example 1.5"))
		}
		j.job.RotateDeg = v
	}
	if text, ok := in.given("shift"); ok {
		j.readShift(strings.TrimSpace(text))
	}
	if text, ok := in.given("regions"); ok {
		j.readRegions(text)
	}
	return in.err
}

func (j *modelJob) readShift(text string) {
	if text == "auto" {
		j.job.Free = true
		return
	}
	x, y, ok := strings.Cut(text, ",")
	px, err := strconv.ParseFloat(strings.TrimSpace(x), 64)
	py, err2 := strconv.ParseFloat(strings.TrimSpace(y), 64)
	if !ok || err != nil || err2 != nil || math.IsNaN(px+py) || math.IsInf(px+py, 0) {
		j.in.fail("shift", fault.Invalidf("%q is no place", text).WithHint("give auto, or where the model's top left corner lies in pixels of the frame, for example 3.5,-2"))
		return
	}
	j.job.Place = &model.Point{X: px, Y: py}
}

// readRegions reads "name=column,row,width,height; ...".
func (j *modelJob) readRegions(text string) {
	seen := map[string]bool{}
	for _, part := range strings.Split(text, ";") {
		if strings.TrimSpace(part) == "" {
			continue
		}
		name, place, ok := strings.Cut(part, "=")
		name = strings.TrimSpace(name)
		if !ok || name == "" || seen[name] {
			j.in.fail("regions", fault.Invalidf("%q is not a region with a name of its own", strings.TrimSpace(part)).WithHint(`give name=column,row,width,height, several with ; between them: "core=40,30,20,20; pads=5,5,12,80"`))
			return
		}
		seen[name] = true
		rect, err := parseRect(place)
		if err != nil {
			j.in.fail("regions", err)
			return
		}
		j.job.Regions = append(j.job.Regions, model.Region{Name: name, Rect: rect})
	}
	if len(j.job.Regions) == 0 {
		j.in.fail("regions", fault.Invalidf("no region is named").WithHint(`give "core=40,30,20,20", or leave it away`))
	}
}

// readMaps reads frame and model and settles that they are in one unit.
func (j *modelJob) readMaps() error {
	p, err := j.s.frame()
	if err != nil {
		return err
	}
	m, ok, err := j.s.other("model")
	if err != nil {
		return err
	}
	if !ok {
		return fault.Usagef("there is no model to compare with").WithHint("add --model sim.csv")
	}
	if p.Unit == frame.Unstated {
		p.Unit = fileUnit(p.info)
	}
	stated := m.Unit
	if text, ok := j.in.given("model-unit"); ok {
		if stated, err = frame.ParseUnit(text); err != nil {
			j.in.fail("model-unit", err)
			return j.in.err
		}
	}
	j.job.Measured, j.job.Model = p.Frame, m
	switch {
	case p.Unit == frame.Counts || stated == frame.Counts:
		return fault.Invalidf("counts are no temperature").WithHint("correct the frame first: dieglow frame correct")
	case stated != frame.Unstated && p.Unit != frame.Unstated && stated != p.Unit:
		return fault.Conflictf("the model is in %s, and the frame in %s", stated, p.Unit).WithHint("export both in one unit")
	case stated == frame.Unstated && j.job.ZeroDiffers():
		return fault.Conflictf("model and frame lie about 273 apart: one seems to be in K, and the other in degC").WithHint("export both in one unit; where they really differ so much, say --model-unit")
	}
	return nil
}

func (j modelJob) figures(c model.Comparison) modelFigures {
	judged := func(v model.Judged) modelJudged {
		return modelJudged{finite(v.Value), finite(v.U), finite(v.Normalised)}
	}
	p, px := c.Placed, j.job.PixelUM.Value
	f := modelFigures{
		Width: c.Width, Height: c.Height, Unit: j.job.Measured.Unit.String(), Pixels: c.Pixels, Overlap: c.Overlap, Reasons: nonNil(c.Reasons),
		BiasK: judged(c.BiasK), RMSK: c.RMSK, SDK: c.SDK, Correlation: finite(c.Correlation), Scale: judged(c.Scale), Offset: finite(c.OffsetK), NoiseK: c.NoiseK, NoiseFrom: "stated",
		Disagreeing: c.Disagreeing, Largest: modelPlace{c.Largest.X, c.Largest.Y, c.Largest.DifferenceK, finite(c.Largest.UK), finite(c.Largest.Normalised)},
		Shift:     modelShift{p.At.X, p.At.Y, p.U.X, p.U.Y, p.At.X * px, p.At.Y * px, "found", p.Why, p.Tested, nil},
		RotateDeg: j.job.RotateDeg, BlurUM: j.job.BlurUM, PixelUM: px, PixelFrom: j.s.how, ModelPixelUM: j.job.ModelPixelUM, Regions: []modelRegion{},
	}
	if j.job.NoiseK == nil {
		f.NoiseFrom = "the frame"
	}
	switch {
	case j.job.Place != nil:
		f.Shift.From = "stated"
	case !p.Found:
		f.Shift.From = "not found"
	}
	if p.Tested {
		f.Shift.Normalised = finite(p.Normalised)
	}
	if c.Judged {
		f.Agree = &c.Agree
	}
	for _, r := range c.Regions {
		out := modelRegion{Name: r.Region.Name, Pixels: r.Pixels, MeasuredMean: r.MeasuredK, ModelMean: r.ModelK, MeasuredMax: r.Hottest[0], ModelMax: r.Hottest[1], DifferenceK: judged(r.Mean), Disagreeing: r.Beyond}
		if c.Judged {
			out.Agree = &r.Agree
		}
		f.Regions = append(f.Regions, out)
	}
	return f
}
