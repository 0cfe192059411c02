package lockin

import (
	"math"
	"slices"

	"dieglow/catalog/fault"
)

// The methods.
const (
	Overlaid     = "cycles laid over each other"
	LeastSquares = "least squares"
)

// Result is the oscillation of every pixel. Maps go row by row from the top left,
// in the unit of the frames unless said otherwise, with NaN where a pixel is
// missing from a frame.
type Result struct {
	Width, Height int
	Method        string
	Trend         Trend
	Frames        int     // read
	FramesUsed    int     // of whole cycles, or not wholly missing
	RateHz        float64 // the mean one where the times come from the file
	FrequencyHz   float64
	Degrees       int // of freedom of the noise

	Mean       []float64 // over time
	InPhase    []float64 // A cos(phi)
	Quadrature []float64 // A sin(phi)
	Amplitude  []float64
	UAmplitude []float64 // standard uncertainty, from noise
	PhaseRad   []float64 // -pi to pi; NaN where hidden
	UPhaseRad  []float64
	Noise      []float64 // standard deviation of one frame, about trend and oscillation

	Drive           DriveFactors
	Hide            float64
	Hidden          int // pixels whose amplitude is below Hide standard uncertainties
	Missing         int
	SaturatedPixels int // their amplitude is a lower limit

	places int // different phases that are sampled; 0: spread over the whole period
	cov    []covariance
}

// DriveFactors relate amplitudes to the swing of a square-wave drive.
type DriveFactors struct {
	Drive Drive

	// Fundamental is the amplitude of the fundamental over half the swing of a
	// square wave, 4/pi; 1 for a sine.
	Fundamental float64

	// SampledBias is by how much, relatively, sampling makes the fundamental of a
	// square wave come out too large: harmonics beyond half the frame rate fold
	// into it. n phases, or 2n where n is odd, give 4/(n sin(pi/n)). A response
	// that is as square as the drive is corrected for by it exactly; one that has
	// lost its harmonics had no such bias, and is then too small by it. The
	// amplitudes and their uncertainties are corrected.
	SampledBias float64

	// PhaseStepRad is how far the edges of a square response can lie from where
	// they show: half the distance of two sampled phases.
	PhaseStepRad float64
}

// drive computes the factors for the number of phases that are sampled.
func drive(d Drive, places int) DriveFactors {
	if d != Square {
		return DriveFactors{Drive: d, Fundamental: 1}
	}
	f := DriveFactors{Drive: d, Fundamental: 4 / math.Pi}
	if places > 0 {
		n := float64(places)
		if places%2 == 1 {
			n *= 2
		}
		f.SampledBias = math.Pi/(n*math.Sin(math.Pi/n)) - 1
		f.PhaseStepRad = math.Pi / n
	}
	return f
}

// covariance is that of in-phase and quadrature.
type covariance struct{ ii, qq, iq float64 }

func (c covariance) times(v float64) covariance { return covariance{c.ii * v, c.qq * v, c.iq * v} }

// oscillation is what was found in one pixel.
type oscillation struct {
	mean, inPhase, quadrature, noise float64
	cov                              covariance
}

func (j job) result() Result {
	n := j.width * j.height
	r := Result{Width: j.width, Height: j.height, FrequencyHz: j.o.FrequencyHz, Hide: j.o.Hide, cov: make([]covariance, n)}
	for _, m := range []*[]float64{&r.Mean, &r.InPhase, &r.Quadrature, &r.Amplitude, &r.UAmplitude, &r.PhaseRad, &r.UPhaseRad, &r.Noise} {
		*m = make([]float64, n)
	}
	return r
}

func (r *Result) set(i int, o oscillation) {
	r.Mean[i], r.InPhase[i], r.Quadrature[i], r.Noise[i], r.cov[i] = o.mean, o.inPhase, o.quadrature, o.noise, o.cov
}

// rounding is the relative error that sums of many values carry at least.
const rounding = 1e-14

// finish makes amplitude and phase of the two parts. Fault Invalid where no
// pixel is left.
func (r *Result) finish(o Options) error {
	r.Drive = drive(o.Drive, r.places)
	correct := 1 / (1 + r.Drive.SampledBias)
	for i, c := range r.cov {
		r.InPhase[i] *= correct
		r.Quadrature[i] *= correct
		re, im := r.InPhase[i], r.Quadrature[i]
		a := math.Hypot(re, im)
		r.Amplitude[i] = a
		if math.IsNaN(a) {
			r.Missing++
			for _, m := range [][]float64{r.Mean, r.UAmplitude, r.PhaseRad, r.UPhaseRad, r.Noise} {
				m[i] = math.NaN()
			}
			continue
		}
		along, across := c.ii, c.qq
		if a > 0 {
			cos, sin := re/a, im/a
			along = cos*cos*c.ii + sin*sin*c.qq + 2*cos*sin*c.iq
			across = sin*sin*c.ii + cos*cos*c.qq - 2*cos*sin*c.iq
		}
		u := max(correct*math.Sqrt(along), rounding*math.Abs(r.Mean[i]))
		r.UAmplitude[i] = u
		if !(a > o.Hide*u) {
			r.Hidden++
			r.PhaseRad[i], r.UPhaseRad[i] = math.NaN(), math.NaN()
			continue
		}
		r.PhaseRad[i] = math.Atan2(im, re)
		r.UPhaseRad[i] = correct * math.Sqrt(across) / a
	}
	if r.Missing == len(r.cov) {
		return fault.Invalidf("every pixel is missing from some frame").WithHint("leave the frames out that hold no measurement")
	}
	return nil
}

// Periods returns how many periods were used.
func (r *Result) Periods() float64 { return float64(r.FramesUsed) / r.SamplesPerPeriod() }

// SamplesPerPeriod returns the frames a period.
func (r *Result) SamplesPerPeriod() float64 { return r.RateHz / r.FrequencyHz }

// Strongest returns the places, row*Width+column, of the n largest amplitudes,
// the largest first.
func (r *Result) Strongest(n int) []int {
	var at []int
	for i, a := range r.Amplitude {
		if !math.IsNaN(a) {
			at = append(at, i)
		}
	}
	slices.SortStableFunc(at, func(a, b int) int {
		switch {
		case r.Amplitude[a] > r.Amplitude[b]:
			return -1
		case r.Amplitude[a] < r.Amplitude[b]:
			return 1
		}
		return a - b
	})
	return at[:min(n, len(at))]
}

// Median returns the middle of the values of a map that are not missing, NaN
// where there are none.
func Median(values []float64) float64 {
	var there []float64
	for _, v := range values {
		if !math.IsNaN(v) {
			there = append(there, v)
		}
	}
	slices.Sort(there)
	switch n := len(there); {
	case n == 0:
		return math.NaN()
	case n%2 == 0:
		return (there[n/2-1] + there[n/2]) / 2
	default:
		return there[n/2]
	}
}
