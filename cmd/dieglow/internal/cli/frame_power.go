package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/heat/powermap"
	"dieglow/notebook/report"
)

func powerAnalysis() analysis {
	return analysis{
		name:  "power",
		short: "Dissipated power per area from the temperature rise of a plate",
		long: `The frame holds rises in kelvin, or temperatures from which --ambient or an
unpowered frame, --reference, is taken. The plate is heated on the face that is seen
and gives its heat to a film on the other, --film, and on the seen one, --film-top,
where it has one. In the domain of spatial frequencies the rise is G times the power,
with (one film)

  G = (1 + (h t/k) s)/(k t kappa² s + h),  s = tanh(kappa t)/(kappa t),  G(0) = 1/h + t/k

for plates of any thickness; --plate thin leaves the difference between the faces
out: 1/(k t kappa² + h). The edges of the frame are taken as the insulated edges of
the plate; where the plate goes on beyond them, the power near them is wrong.

The inversion is regularised (Tikhonov, on the slope of the power, which leaves the
total alone), by as much as makes the expected error of the rise least at the stated
noise, or by generalised cross-validation where --noise is not given. Fine detail is lost by it: what a point
is spread to, and an estimate of the bias of each figure, are stated, and the bias
counts into the uncertainty. With --blur-fwhm the setup's blur is taken out as well,
as far as the noise allows. The peak is the largest of many noisy pixels, and reads
high by that. Regions and total are surer than any pixel.

Values may carry uncertainties: --film "5000(250)". Those without are named.

Maps: power.npy (W/m²) and bias.npy; picture: power.png, beside the rise. With
--to q.npy only the map is written, to exactly that name.`,
		example: `  dieglow frame power rise.npy --pixel 250um --conductivity 148 --thickness 0.5mm --film 5000 --noise 0.02K --to q.npy
  dieglow frame power hot.npy --reference cold.npy --unit degC --pixel "25.3(2)um" --conductivity "148(4)" --thickness "0.50(1)mm" --film "5000(400)" --blur-fwhm 60um --region 40,30,20,20 --electrical "1.00(1)W" --json`,
		files: []string{"reference"},
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "conductivity", "of the plate, 148 in W/(m K)", "thickness", "of the plate, 0.5mm", "film", "film coefficient of the face away from the camera, 5000 in W/(m² K)", "film-top", "film coefficient of the seen face; 0 unless given",
				"plate", "thick or thin; thick unless given", "noise", "standard deviation of a pixel, 0.02K; taken from the map unless given", "blur-fwhm", "full width at half maximum of the setup's blur on the object, 60um",
				"region", "whose power is wanted: column,row,width,height", "electrical", "electrical power put in, 1.00(1)W", "ambient", "what the film is at, taken from temperatures, 23.0C", "reference", "an unpowered frame to take from the frame, pixel by pixel")
		},
		run: func(in *input, s subject) (analysed, error) { return powerJob{in: in, s: s}.run() },
	}
}

// powerJob is one run of frame power.
type powerJob struct {
	in         *input
	s          subject
	job        powermap.Job
	rise       frame.Frame
	electrical *quantity.Estimate
}

type powerPart struct {
	Input string  `json:"input"`
	U     float64 `json:"u"`
}

// powerFigures is what frame power gives as JSON.
type powerFigures struct {
	Width   int         `json:"width"`
	Height  int         `json:"height"`
	TotalW  float64     `json:"total_w"`
	UTotalW float64     `json:"u_total_w"`
	Parts   []powerPart `json:"u_total_w_parts"`

	PeakWM2     float64 `json:"peak_w_m2"`
	UPeakWM2    float64 `json:"u_peak_w_m2"`
	PeakBiasWM2 float64 `json:"peak_bias_w_m2"`
	PeakX       int     `json:"peak_x_px"`
	PeakY       int     `json:"peak_y_px"`

	RegionW     *float64 `json:"region_w"`
	URegionW    *float64 `json:"u_region_w"`
	RegionBiasW *float64 `json:"region_bias_w"`

	NoiseWM2    float64  `json:"noise_w_m2"`
	NegativeW   float64  `json:"negative_w"`
	ResolvedUM  *float64 `json:"resolved_um"` // null: the whole map
	MeanRiseK   float64  `json:"mean_rise_k"`
	HottestK    float64  `json:"hottest_rise_k"`
	PixelUM     float64  `json:"pixel_um"`
	PixelFrom   string   `json:"pixel_from"`
	PlateAs     string   `json:"plate"`
	Regularised struct {
		Rule       string  `json:"rule"`
		Alpha      float64 `json:"alpha_k2_m6_w2"`
		Relative   float64 `json:"alpha_relative"` // to the squares of the mean's transfer and the plate's diffusion length
		Parameters float64 `json:"parameters"`
		NoiseK     float64 `json:"noise_k"`
		NoiseFrom  string  `json:"noise_from"`
		ResidualK  float64 `json:"residual_k"`
	} `json:"regularisation"`
	Balance   *powerBalance `json:"balance"`
	NotStated []string      `json:"uncertainty_not_stated"`
}

// powerBalance sets the total against the electrical power.
type powerBalance struct {
	ElectricalW  float64  `json:"electrical_w"`
	UElectricalW *float64 `json:"u_electrical_w"`
	DifferenceW  float64  `json:"difference_w"`
	UDifferenceW float64  `json:"u_difference_w"`
	Normalised   float64  `json:"difference_over_u"`
	Closes       bool     `json:"closes"` // within two standard uncertainties
}

func (j powerJob) run() (analysed, error) {
	if err := j.read(); err != nil {
		return analysed{}, err
	}
	if err := j.readRise(); err != nil {
		return analysed{}, err
	}
	r, err := powermap.Invert(j.job)
	if err != nil {
		return analysed{}, err
	}
	f := j.figures(r)
	out := analysed{figures: f, lines: j.lines(f), results: j.results(f), draw: func() ([]derivedFile, error) { return j.maps(r) }}
	if len(f.NotStated) > 0 {
		out.warnings = append(out.warnings, "no uncertainty is stated of "+strings.Join(f.NotStated, ", ")+": those of the powers are too small by what it would add")
	}
	out.draw = func() ([]derivedFile, error) { return j.maps(r) }
	return out, err
}

// read takes the flags but those of the rise.
func (j *powerJob) read() error {
	in := j.in
	pixel, err := j.s.pixelUM()
	if err != nil {
		return err
	}
	p := &j.job.Plate
	p.PixelUM = pixel
	p.ThicknessMM = in.needed("thickness", quantity.Millimetre, "0.5mm")
	p.ConductivityWMK = in.needed("conductivity", quantity.WattPerMetreKelvin, "148")
	p.FilmWM2K = in.needed("film", quantity.WattPerSquareMetreKelvin, "5000")
	var top, blur *quantity.Estimate
	if in.estimate("film-top", quantity.WattPerSquareMetreKelvin, &top); top != nil {
		p.TopFilmWM2K = *top
	}
	if in.estimate("blur-fwhm", quantity.Micrometre, &blur); blur != nil {
		p.BlurUM = *blur
	}
	switch text, _ := in.given("plate"); strings.ToLower(strings.TrimSpace(text)) {
	case "thin":
		p.Thin = true
	case "", "thick":
	default:
		in.fail("plate", fault.Invalidf("%q is not a kind of plate", text).WithHint("one of thick or thin"))
	}
	in.value("noise", quantity.KelvinStep, &j.job.NoiseK)
	in.estimate("electrical", quantity.Watt, &j.electrical)
	if in.err == nil && j.electrical != nil && !(j.electrical.Value > 0) {
		in.fail("electrical", fault.Invalidf("an electrical power of %g W", j.electrical.Value).WithHint("give the power that was put in, above 0, for example 1.00(1)W"))
	}
	if text, ok := in.given("region"); ok && in.err == nil {
		rect, err := parseRect(text)
		in.fail("region", err)
		j.job.Region = &rect
	}
	return in.err
}

// readRise reads the frame and takes from it what it stands on.
func (j *powerJob) readRise() error {
	p, err := j.s.frame()
	if err != nil {
		return err
	}
	j.rise = p.Frame
	if j.rise.Unit == frame.Unstated {
		j.rise.Unit = fileUnit(p.info)
	}
	if j.rise.Unit == frame.Counts {
		return fault.Invalidf("counts are no temperature").WithHint("correct the frame first: dieglow frame correct")
	}
	reference, referred, err := j.s.other("reference")
	if err != nil {
		return err
	}
	var ambient *float64
	in := j.in
	if in.value("ambient", quantity.Kelvin, &ambient); in.err != nil {
		return in.err
	}
	switch {
	case referred && ambient != nil:
		return fault.Usagef("a reference frame and an ambient temperature are both given").WithHint("give --reference or --ambient")
	case referred:
		err = j.lessReference(reference)
	case ambient != nil:
		err = j.lessAmbient(*ambient)
	case j.rise.Unit == frame.DegC || powermap.LooksAbsolute(j.rise.Pixels):
		err = fault.Invalidf("the frame seems to hold temperatures, and rises are needed").WithHint("say what they rise from with --ambient 23.0C or --reference COLD.npy; for rises give --unit K")
	}
	j.job.Width, j.job.Height, j.job.RiseK = j.rise.Width, j.rise.Height, j.rise.Pixels
	j.rise.Unit = frame.Kelvin
	return err
}

func (j *powerJob) lessReference(reference frame.Frame) error {
	if reference.Unit == frame.Unstated {
		reference.Unit = j.rise.Unit
	}
	// Subtract keeps the level of the reference, which a rise must not have.
	level := reference.Stats().Mean
	rise, err := j.rise.Subtract(reference)
	if err != nil {
		return err
	}
	for i := range rise.Pixels {
		rise.Pixels[i] -= level
	}
	j.rise = rise
	return nil
}

func (j *powerJob) lessAmbient(ambientK float64) error {
	switch j.rise.Unit {
	case frame.DegC:
		ambientK -= quantity.CelsiusZeroK
	case frame.Unstated:
		return fault.Usagef("what the numbers of the frame are is not known, and an ambient temperature is to be taken from them").WithHint("give --unit degC or --unit K")
	}
	pixels := append([]float64(nil), j.rise.Pixels...)
	for i := range pixels {
		pixels[i] -= ambientK
	}
	j.rise.Pixels = pixels
	return nil
}

func (j powerJob) figures(r powermap.Result) powerFigures {
	f := powerFigures{
		Width: r.Width, Height: r.Height, TotalW: r.TotalW.Value, UTotalW: r.TotalW.U,
		PeakWM2: r.PeakWM2.Value, UPeakWM2: r.PeakWM2.U, PeakBiasWM2: r.PeakWM2.Bias, PeakX: r.PeakX, PeakY: r.PeakY,
		NoiseWM2: r.NoiseWM2, NegativeW: r.NegativeW, ResolvedUM: finite(r.ResolvedUM), MeanRiseK: r.MeanK, HottestK: r.HottestK,
		PixelUM: j.job.Plate.PixelUM.Value, PixelFrom: j.s.how, PlateAs: "thick", NotStated: nonNil(r.NotStated),
	}
	if j.job.Plate.Thin {
		f.PlateAs = "thin"
	}
	for _, p := range r.TotalW.Parts {
		f.Parts = append(f.Parts, powerPart(p))
	}
	if g := r.RegionW; g != nil {
		f.RegionW, f.URegionW, f.RegionBiasW = &g.Value, &g.U, &g.Bias
	}
	reg := &f.Regularised
	reg.Rule, reg.Alpha, reg.Relative, reg.Parameters, reg.NoiseK, reg.ResidualK, reg.NoiseFrom = r.Rule, r.Alpha, r.Relative, r.Parameters, r.NoiseK, r.ResidualK, "stated"
	if j.job.NoiseK == nil {
		reg.NoiseFrom = "the map"
	}
	if e := j.electrical; e != nil {
		b := r.Balance(*e)
		f.Balance = &powerBalance{e.Value, e.U, b.DifferenceW, b.UW, b.Normalised, b.Closes}
	}
	return f
}

func (j powerJob) lines(f powerFigures) [][3]string {
	watts := func(v, u float64) string { return quantity.With(v, u).Format(quantity.Watt) }
	lines := [][3]string{
		{"total power", watts(f.TotalW, f.UTotalW), report.Computed},
		{"peak", quantity.With(f.PeakWM2, f.UPeakWM2).Number(quantity.One) + fmt.Sprintf(" W/m² at column %d, row %d", f.PeakX, f.PeakY), report.Computed},
		{"  taken off by regularisation", quantity.Fixed(-f.PeakBiasWM2, 3) + " W/m²", "estimated"},
	}
	if f.RegionW != nil {
		lines = append(lines, [3]string{"power in the region", watts(*f.RegionW, *f.URegionW), report.Computed}, [3]string{"  taken off by regularisation", quantity.Fixed(-*f.RegionBiasW, 3) + " W", "estimated"})
	}
	if b := f.Balance; b != nil {
		verdict := "closes within two standard uncertainties"
		if !b.Closes {
			verdict = "does not close"
		}
		lines = append(lines, [3]string{"less electrical power", watts(b.DifferenceW, b.UDifferenceW) + ", " + quantity.Fixed(b.Normalised, 2) + " standard uncertainties", verdict})
	}
	noise := quantity.Fixed(f.Regularised.NoiseK, 3) + " K, " + f.Regularised.NoiseFrom
	spread := "the whole map"
	if f.ResolvedUM != nil {
		spread = quantity.Fixed(*f.ResolvedUM, 3) + " µm"
	}
	return append(lines,
		[3]string{"a point is spread to", spread, report.Computed},
		[3]string{"noise of a pixel", quantity.Fixed(f.NoiseWM2, 3) + " W/m² from " + noise, report.Computed},
		[3]string{"regularisation", f.Regularised.Rule + ": " + quantity.Fixed(f.Regularised.Relative, 3) + ", " + quantity.Fixed(f.Regularised.Parameters, 3) + " parameters", report.Computed},
		[3]string{"mean rise", quantity.Fixed(f.MeanRiseK, 5) + " K, hottest " + quantity.Fixed(f.HottestK, 5) + " K", report.Measured},
		[3]string{"object pixel", j.job.Plate.PixelUM.Format(quantity.Micrometre), f.PixelFrom})
}

func (j powerJob) results(f powerFigures) []notebook.Result {
	out := []notebook.Result{
		{Name: "total_w", Label: "total power", Value: quantity.With(f.TotalW, f.UTotalW), Unit: "W"},
		{Name: "peak_w_m2", Label: fmt.Sprintf("peak power per area, column %d, row %d", f.PeakX, f.PeakY), Value: quantity.With(f.PeakWM2, f.UPeakWM2), Unit: "W/m²"},
	}
	if f.RegionW != nil {
		out = append(out, notebook.Result{Name: "region_w", Label: "power in the region", Value: quantity.With(*f.RegionW, *f.URegionW), Unit: "W"})
	}
	if b := f.Balance; b != nil {
		out = append(out, notebook.Result{Name: "difference_w", Label: "total less electrical power", Value: quantity.With(b.DifferenceW, b.UDifferenceW), Unit: "W"})
	}
	for i, r := range out {
		if u := *r.Value.U; !(u > 0) || math.IsInf(u, 0) {
			out[i].Value.U, out[i].WhyNoU = nil, "no noise and no uncertain input were stated"
		}
	}
	return out
}

func (j powerJob) maps(r powermap.Result) ([]derivedFile, error) {
	sheet := func(values []float64) frame.Frame {
		return frame.Frame{Width: r.Width, Height: r.Height, Pixels: values}
	}
	var files []derivedFile
	for _, m := range []struct {
		name   string
		values []float64
	}{{"power.npy", r.PowerWM2}, {"bias.npy", r.BiasWM2}} {
		npy, err := encodeNPY(sheet(m.values))
		if err != nil {
			return nil, err
		}
		files = append(files, derivedFile{m.name, npy})
	}
	left, err := j.s.drawn(j.rise, j.s.title+", rise")
	if err != nil {
		return nil, err
	}
	right, err := j.s.drawn(sheet(r.PowerWM2), "power, W/m²")
	if err != nil {
		return nil, err
	}
	png, err := encodePNG("power.png", picture.Beside(left, right))
	return append(files, png...), err
}
