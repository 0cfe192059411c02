package cli

import (
	"fmt"
	"math"
	"slices"
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
noise, or by generalised cross-validation where --noise is not given. Fine detail is
lost by it, and sharp rims ring. What a point is spread to is stated. How much power
that may carry over the border of a region is bounded from the map within half that
width, and the bound counts into the uncertainty as a rectangular distribution; give
a region room around what it holds. The peak reads high by ringing and as the largest
of many noisy pixels, and low where its source is hardly wider than a point: both
estimates are stated and count in the same way. With --blur-fwhm the setup's blur is
taken out as well, as far as the noise allows.

Values may carry uncertainties: --film "5000(250)". Those without are named.

Map: power.npy (W/m²); picture: power.png, beside the rise. With --to q.npy only the
map is written, to exactly that name.`,
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
	PeakHighWM2 float64 `json:"peak_may_read_high_by_w_m2"`
	PeakLowWM2  float64 `json:"peak_may_read_low_by_w_m2"`
	PeakX       int     `json:"peak_x_px"`
	PeakY       int     `json:"peak_y_px"`

	RegionW     *float64 `json:"region_w"`
	URegionW    *float64 `json:"u_region_w"`
	RegionLostW *float64 `json:"region_lost_or_gained_at_most_w"` // over its border

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
	Normalised   *float64 `json:"difference_over_u"` // null where nothing is uncertain
	Closes       bool     `json:"closes"`            // within two standard uncertainties
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
	if f.RegionW != nil && *f.RegionLostW > borderShare*math.Abs(*f.RegionW) {
		out.warnings = append(out.warnings, "power lies on the border of the region or near it, and the border is less sharp than the region asks for (a point is spread to "+f.spread()+"): "+
			quantity.Fixed(*f.RegionLostW, 2)+" W may be missing or too much; give the region room of that width")
	}
	return out, err
}

// borderShare is the share of a region's power from which what may cross its
// border is worth a warning.
const borderShare = 0.02

// spread is the width that a point is spread to, in words.
func (f powerFigures) spread() string {
	if f.ResolvedUM == nil {
		return "the whole map"
	}
	return quantity.Fixed(*f.ResolvedUM, 3) + " µm"
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
		PeakWM2: r.PeakWM2.Value, UPeakWM2: r.PeakWM2.U, PeakHighWM2: r.PeakHigh, PeakLowWM2: r.PeakLow, PeakX: r.PeakX, PeakY: r.PeakY,
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
		f.RegionW, f.URegionW, f.RegionLostW = &g.Value, &g.U, &r.RegionLost
	}
	reg := &f.Regularised
	reg.Rule, reg.Alpha, reg.Relative, reg.Parameters, reg.NoiseK, reg.ResidualK, reg.NoiseFrom = r.Rule, r.Alpha, r.Relative, r.Parameters, r.NoiseK, r.ResidualK, "stated"
	if j.job.NoiseK == nil {
		reg.NoiseFrom = "the map"
	}
	if e := j.electrical; e != nil {
		b := r.Balance(*e)
		f.Balance = &powerBalance{e.Value, e.U, b.DifferenceW, b.UW, finite(b.Normalised), b.Closes}
	}
	return f
}

func (j powerJob) lines(f powerFigures) [][3]string {
	watts := func(v, u float64) string { return quantity.With(v, u).Format(quantity.Watt) }
	lines := [][3]string{
		{"total power", watts(f.TotalW, f.UTotalW), report.Computed},
		{"peak", quantity.With(f.PeakWM2, f.UPeakWM2).Number(quantity.One) + fmt.Sprintf(" W/m² at column %d, row %d", f.PeakX, f.PeakY), report.Computed},
		{"  may read high by", "about " + quantity.Fixed(f.PeakHighWM2, 2) + " W/m²: ringing, and the largest of many pixels", "estimated"},
		{"  may read low by", "about " + quantity.Fixed(f.PeakLowWM2, 2) + " W/m²: spread of the source", "estimated"},
	}
	if f.RegionW != nil {
		lines = append(lines, [3]string{"power in the region", watts(*f.RegionW, *f.URegionW), report.Computed},
			[3]string{"  lost or gained over its border", "at most " + quantity.Fixed(*f.RegionLostW, 2) + " W", "estimated"})
	}
	if f.Balance != nil {
		lines = append(lines, f.balanceLine())
	}
	noise := quantity.Fixed(f.Regularised.NoiseK, 3) + " K, " + f.Regularised.NoiseFrom
	return append(lines,
		[3]string{"a point is spread to", f.spread(), report.Computed},
		[3]string{"noise of a pixel", quantity.Fixed(f.NoiseWM2, 3) + " W/m² from " + noise, report.Computed},
		[3]string{"regularisation", f.Regularised.Rule + ": " + quantity.Fixed(f.Regularised.Relative, 3) + ", " + quantity.Fixed(f.Regularised.Parameters, 3) + " parameters", report.Computed},
		[3]string{"mean rise", quantity.Fixed(f.MeanRiseK, 5) + " K, hottest " + quantity.Fixed(f.HottestK, 5) + " K", report.Measured},
		[3]string{"object pixel", j.job.Plate.PixelUM.Format(quantity.Micrometre), f.PixelFrom})
}

// balanceLine says how total and electrical power compare, and what the standard
// uncertainty that they are compared by leaves out.
func (f powerFigures) balanceLine() [3]string {
	b := f.Balance
	value := quantity.With(b.DifferenceW, b.UDifferenceW).Format(quantity.Watt)
	if b.Normalised != nil {
		value += ", " + quantity.Fixed(*b.Normalised, 2) + " standard uncertainties"
	}
	missing := f.NotStated
	if b.UElectricalW == nil {
		missing = append(slices.Clone(missing), "electrical power")
	}
	switch {
	case len(missing) == 0:
	case f.noiseAlone() && b.UElectricalW == nil:
		value += " of the noise alone: none is stated of " + strings.Join(missing, ", ")
	default:
		value += " as far as they are stated: not of " + strings.Join(missing, ", ")
	}
	if b.Closes {
		return [3]string{"less electrical power", value, "closes within two standard uncertainties"}
	}
	return [3]string{"less electrical power", value, "does not close"}
}

// noiseAlone reports whether no uncertainty but that of noise is in the total's.
func (f powerFigures) noiseAlone() bool {
	for _, p := range f.Parts {
		if p.Input != "noise" && p.U > 0 {
			return false
		}
	}
	return true
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
	npy, err := encodeNPY(sheet(r.PowerWM2))
	if err != nil {
		return nil, err
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
	return append([]derivedFile{{"power.npy", npy}}, png...), err
}
