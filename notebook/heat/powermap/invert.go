package powermap

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Rules by which the regularisation is chosen.
const (
	// FromNoise minimises what the map of power, conducted forwards, is expected
	// to differ from the true rise by: sum of squares of the residual plus twice
	// the noise variance times the number of parameters taken up (C. L. Mallows,
	// Technometrics 15, 661 (1973), doi:10.1080/00401706.1973.10489103).
	FromNoise = "least expected error at the stated noise"
	// FromMap does the same without a stated noise (generalised cross-validation:
	// G. H. Golub, M. Heath, G. Wahba, Technometrics 21, 215 (1979),
	// doi:10.1080/00401706.1979.10489751), which takes the noise to be white.
	FromMap = "generalised cross-validation"
)

// Result is a map of power with what is known about it.
type Result struct {
	Width, Height int
	PowerWM2      []float64 // row by row from the top left

	TotalW     Figure
	PeakWM2    Figure
	PeakX      int
	PeakY      int
	PeakHigh   float64 // W/m² that the peak may read high, by ringing and as the largest of many pixels
	PeakLow    float64 // W/m² that it may read low, where the source is hardly wider than a point
	RegionW    *Figure // of the region asked for
	RegionLost float64 // W that the regularisation may have added to it or taken away, at most
	NoiseWM2   float64 // standard deviation that noise alone gives a pixel
	NegativeW  float64 // power below zero, added up: what noise and ringing make of nothing
	NoiseK     float64 // stated, or what the map says itself
	ResidualK  float64 // root mean square of what the map of power does not explain
	Rule       string
	Alpha      float64 // K² m⁶/W²
	Relative   float64 // Alpha over the square of the mean's transfer and of the plate's diffusion length, k t/h
	Parameters float64 // taken up, of one a pixel
	ResolvedUM float64 // full width at half maximum that a point is spread to; NaN where that is wider than the map
	NotStated  []string
	MeanK      float64 // mean rise
	HottestK   float64
}

// Figure is a value with its standard uncertainty and where that comes from.
type Figure struct {
	Value, U float64
	Parts    []Part
}

// Part is what one input adds to an uncertainty.
type Part struct {
	Input string
	U     float64
}

// Job is what is inverted.
type Job struct {
	Plate         Plate
	Width, Height int
	RiseK         []float64   // row by row from the top left
	NoiseK        *float64    // standard deviation of a pixel; nil to take it from the map
	Region        *frame.Rect // whose power is wanted
}

// whole refuses what is no map, or one with missing pixels.
func whole(values []float64, width, height int) error {
	if width < 2 || height < 2 || len(values) != width*height {
		return fault.Invalidf("a map of %d x %d pixels", width, height).WithHint("give a frame of at least 2 x 2 pixels")
	}
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fault.Invalidf("column %d, row %d is missing, and the transform needs every pixel", i%width, i/width).WithHint("replace missing pixels by their neighbours with --bad 6, or cut the frame with --crop")
		}
	}
	return nil
}

// Invert computes the power of a map of rises:
//
//	q = H T / (H² + alpha kappa²)
//
// in each coefficient of the cosine transform, with the transfer H of plate and
// blur: Tikhonov's regularisation, which S. Reda, A. N. Nowroz and others use for
// power maps of chips, here of the slope of the power. The mean is inverted as it
// is, so that the total power has no bias from alpha. Elsewhere the map is F q,
// F = H²/(H² + alpha kappa²), of the true one: fine detail is taken off, and sharp
// rims ring. What that may do to the sum of a region and to the peak is bounded
// (see regionLimit and peakLimits), and counts into their uncertainties as a
// rectangular distribution of that half width.
//
// Fault Invalid where the plate is not one, a pixel is missing, the noise is not
// above zero, or the region lies outside; without any film the mean power does
// not follow, which is refused too, as is a total power that is negative beyond
// three standard uncertainties.
func Invert(j Job) (Result, error) {
	if err := j.Plate.validate(); err != nil {
		return Result{}, err
	}
	if err := whole(j.RiseK, j.Width, j.Height); err != nil {
		return Result{}, err
	}
	if j.NoiseK != nil && (!(*j.NoiseK > 0) || math.IsInf(*j.NoiseK, 0)) {
		return Result{}, fault.Invalidf("a noise of %g K", *j.NoiseK).WithHint("give the standard deviation of a pixel, --noise 0.02K, or leave it away to have it taken from the map")
	}
	if j.Region != nil {
		r := *j.Region
		if r.Width < 1 || r.Height < 1 || r.X < 0 || r.Y < 0 || r.Width > j.Width-r.X || r.Height > j.Height-r.Y {
			return Result{}, fault.Invalidf("a region of %d x %d pixels at column %d, row %d reaches outside a frame of %d x %d", r.Width, r.Height, r.X, r.Y, j.Width, j.Height).
				WithHint("columns and rows count from 0 at the top left")
		}
	}
	s := solver{job: j, t: newTransform(j.Width, j.Height)}
	s.see(j.Plate)
	s.c = s.t.forward(j.RiseK)
	r := s.solve()
	if v := r.TotalW.Value + r.TotalW.U + r.PeakWM2.Value + r.PeakWM2.U + r.ResidualK; math.IsNaN(v) || math.IsInf(v, 0) {
		return Result{}, fault.Invalidf("the powers come out beyond what numbers hold").WithHint("check the unit of the frame, and the values of the plate")
	}
	if r.TotalW.Value < -fewestBelow*r.TotalW.U {
		return Result{}, fault.Invalidf("the total power would be %.3g W, %.3g standard uncertainties below nothing: the map falls where it should rise", r.TotalW.Value, -r.TotalW.Value/r.TotalW.U).
			WithHint("give the powered frame, and take the unpowered one from it: are the frame and --reference swapped, or is --ambient too high?")
	}
	return r, nil
}

// fewestBelow is how many standard uncertainties below zero a total power is no
// longer noise about zero.
const fewestBelow = 3

// solver holds the transformed map.
type solver struct {
	job    Job
	t      transform
	h, c   []float64 // transfer and rise, by coefficient
	ratio  []float64 // h²/kappa²; infinite for the mean
	alpha  float64
	noiseK float64
}

// see computes the transfer of a plate.
func (s *solver) see(p Plate) {
	s.job.Plate, s.h = p, p.seen(s.job.Width, s.job.Height)
	s.ratio = make([]float64, len(s.h))
	for i, h := range s.h {
		kappa := p.kappaPerM(i%s.job.Width, i/s.job.Width, s.job.Width, s.job.Height)
		s.ratio[i] = h / kappa * (h / kappa)
	}
}

func (s *solver) solve() Result {
	r := Result{Width: s.job.Width, Height: s.job.Height, Rule: FromMap}
	if s.job.NoiseK != nil {
		r.Rule, s.noiseK = FromNoise, *s.job.NoiseK
	}
	s.alpha = s.choose()
	q := make([]float64, len(s.c))
	var residual, noise float64
	for i, h := range s.h {
		f := s.filter(i)
		q[i] = f * s.c[i] / h
		residual += math.Pow((1-f)*s.c[i], 2)
		noise += f * f / (h * h)
		r.Parameters += f
	}
	n := float64(len(s.c))
	if s.job.NoiseK == nil {
		s.noiseK = math.Sqrt(residual / math.Max(1, n-r.Parameters))
	}
	r.PowerWM2 = s.t.back(q)
	r.NoiseK, r.ResidualK, r.NoiseWM2 = s.noiseK, math.Sqrt(residual/n), s.noiseK*math.Sqrt(noise/n)
	p := s.job.Plate
	r.Alpha = s.alpha
	r.Relative = s.alpha / (s.h[0] * s.h[0] * p.ConductivityWMK.Value * p.ThicknessMM.Value * 1e-3) * (p.FilmWM2K.Value + p.TopFilmWM2K.Value)
	r.MeanK, r.ResolvedUM = s.c[0]/math.Sqrt(n), s.resolvedUM()
	s.figures(&r, q)
	return r
}

// filter is how much of a coefficient is kept; all of the mean.
func (s *solver) filter(i int) float64 {
	if i == 0 {
		return 1
	}
	return s.ratio[i] / (s.ratio[i] + s.alpha)
}

// choose minimises the rule's figure over alpha: on a grid of its logarithm, and
// then between the neighbours of the best.
func (s *solver) choose() float64 {
	low, high := math.Inf(1), 0.0
	for _, g := range s.ratio[1:] {
		low, high = math.Min(low, g), math.Max(high, g)
	}
	// Below this every coefficient is kept to a thousandth; blur may leave nothing to keep.
	low = math.Log(math.Max(low*1e-3, high*1e-20))
	high = math.Log(high * 10)
	const steps = 48
	step := (high - low) / steps
	best, least := 0, math.Inf(1)
	for i := range steps + 1 {
		if v := s.risk(low + float64(i)*step); v < least {
			best, least = i, v
		}
	}
	a, b := low+float64(max(0, best-1))*step, low+float64(min(steps, best+1))*step
	const golden = 0.6180339887498949
	c, d := b-golden*(b-a), a+golden*(b-a)
	fc, fd := s.risk(c), s.risk(d)
	for range 14 { // to a thousandth of a step
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - golden*(b-a)
			fc = s.risk(c)
		} else {
			a, c, fc = c, d, fd
			d = a + golden*(b-a)
			fd = s.risk(d)
		}
	}
	return math.Exp((a + b) / 2)
}

// risk is the figure of the rule for a logarithm of alpha.
func (s *solver) risk(logAlpha float64) float64 {
	alpha := math.Exp(logAlpha)
	var residual, left float64
	c := s.c[:len(s.ratio)]
	for i, g := range s.ratio[1:] {
		lost := alpha / (g + alpha)
		r := lost * c[1+i]
		residual += r * r
		left += lost
	}
	if s.job.NoiseK != nil {
		v := *s.job.NoiseK * *s.job.NoiseK
		return residual - 2*v*left
	}
	return residual / (left * left)
}

// resolvedUM is the width that a point in the middle is spread to along the rows.
func (s *solver) resolvedUM() float64 {
	x, y := s.job.Width/2, s.job.Height/2
	point := s.point(x, y)
	for i := range point {
		point[i] *= s.filter(i)
	}
	spread := s.t.back(point)
	row := spread[y*s.job.Width : (y+1)*s.job.Width]
	half := row[x] / 2
	for i := x + 1; i < len(row); i++ {
		if row[i] < half {
			return 2 * (float64(i-1-x) + (row[i-1]-half)/(row[i-1]-row[i])) * s.job.Plate.PixelUM.Value
		}
	}
	return math.NaN()
}

// point returns the coefficients of a map that is 1 in one pixel.
func (s *solver) point(x, y int) []float64 {
	w := weights(s.job.Width, x, 1)
	h := weights(s.job.Height, y, 1)
	return product(w, h)
}

// weights are the coefficients of a line that is 1 in n pixels from at on.
func weights(length, at, n int) []float64 {
	line := make([]float64, length)
	for i := range n {
		line[at+i] = 1
	}
	t := newTransform(length, 1)
	t.analyse(t.rows, line)
	return line
}

func product(x, y []float64) []float64 {
	out := make([]float64, 0, len(x)*len(y))
	for _, b := range y {
		for _, a := range x {
			out = append(out, a*b)
		}
	}
	return out
}
