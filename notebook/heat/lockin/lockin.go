// Package lockin finds the oscillation of one frequency in a stack of frames:
// each pixel is taken as
//
//	mean + slow trend + A cos(2 pi f t + phi) + noise
//
// with t = 0 at the first frame. In-phase is A cos(phi), quadrature A sin(phi);
// a phase below zero lags behind the cosine. The stack is read once, as it
// streams, in memory that does not grow with the number of frames.
//
// Where a whole number of periods fills a whole number of frames, those frames
// are a cycle, and the cycles are laid over each other. What repeats with the
// cycle, of whatever shape, is then told exactly from what does not: the trend
// comes from how the same place of the cycle changes from cycle to cycle, the
// oscillation is the fundamental of the mean cycle, and noise is what neither
// explains. Otherwise, or with fewer than four cycles, all of it is fitted at
// once by least squares, which leaves no leakage of a constant, a linear or a
// quadratic trend into the oscillation at any length of the stack.
//
// A trend of another shape leaks. With curvature c (unit a second squared) that
// the fit does not follow, the in-phase part is wrong by up to 2 c/(2 pi f)²; a
// warm-up that is still D from its end, with time constant tau, has c = D/tau².
package lockin

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Drive is the shape of what heats the object.
type Drive int

// The drives.
const (
	Sine Drive = iota
	Square
)

// ParseDrive reads sine or square. Fault Invalid otherwise.
func ParseDrive(s string) (Drive, error) {
	switch s {
	case "sine":
		return Sine, nil
	case "square":
		return Square, nil
	}
	return Sine, fault.Invalidf("%q is not a shape of the drive", s).WithHint("one of sine or square")
}

// String returns the drive as ParseDrive reads it.
func (d Drive) String() string {
	if d == Square {
		return "square"
	}
	return "sine"
}

// Trend is the slow change that is taken out of each pixel.
type Trend int

// The trends. Fitting takes quadratic from three periods on and else linear.
const (
	Fitting Trend = iota
	None
	Linear
	Quadratic
)

// ParseTrend reads none, linear or quadratic. Fault Invalid otherwise.
func ParseTrend(s string) (Trend, error) {
	for _, t := range []Trend{None, Linear, Quadratic} {
		if s == t.String() {
			return t, nil
		}
	}
	return Fitting, fault.Invalidf("%q is not a trend", s).WithHint("one of none, linear or quadratic")
}

// String returns the trend as ParseTrend reads it.
func (t Trend) String() string {
	switch t {
	case None:
		return "none"
	case Linear:
		return "linear"
	case Quadratic:
		return "quadratic"
	}
	return "fitting"
}

// terms is how many terms the trend has beside the constant.
func (t Trend) terms() int { return int(t) - int(None) }

// Limits of what is analysed.
const (
	MinSamples  = 4   // frames a period
	DefaultHide = 3.0 // standard uncertainties that an amplitude needs for a phase
	quadratic   = 3.0 // periods from which Fitting is Quadratic: with one, a parabola looks like a cosine
)

// Options say what is looked for.
type Options struct {
	FrequencyHz float64
	RateHz      float64 // frames a second; 0 to take the times of the file
	Drive       Drive
	Trend       Trend
	Hide        float64 // DefaultHide where 0
}

// Analyse reads the frames that are left in the stack.
//
// Fault Usage where neither rate nor times are known, Invalid where the frequency
// is not below half the frame rate, there are fewer than MinSamples frames a
// period, the stack is shorter than a period or has too few frames to tell noise
// from signal, and where a pixel is missing from every frame; others as from
// frame.Stack.Next.
func Analyse(s *frame.Stack, o Options) (Result, error) {
	info := s.Info()
	if o.Hide == 0 {
		o.Hide = DefaultHide
	}
	if !(o.Hide > 0) || math.IsInf(o.Hide, 0) {
		return Result{}, fault.Invalidf("a phase hidden below %g standard uncertainties", o.Hide).WithHint("give a number such as 3")
	}
	if !(o.FrequencyHz > 0) || math.IsInf(o.FrequencyHz, 0) {
		return Result{}, fault.Invalidf("a lock-in frequency of %g Hz", o.FrequencyHz).WithHint("give the frequency of the drive, above 0")
	}
	if o.RateHz == 0 && !info.HasTime {
		return Result{}, fault.Usagef("how fast the frames were taken is not known: the file has no times").WithHint("give --rate 25Hz")
	}
	j := job{o: o, width: info.Width, height: info.Height}
	if o.RateHz == 0 || info.Frames < 0 {
		return j.fit(s)
	}
	if err := j.check(o.RateHz, info.Frames); err != nil {
		return Result{}, err
	}
	if c, ok := findCycle(o, info); ok {
		return j.overlay(s, c)
	}
	return j.fit(s)
}

// job is one analysis.
type job struct {
	o             Options
	width, height int
}

// check refuses what the sampling does not allow.
func (j job) check(rateHz float64, frames int) error {
	f := j.o.FrequencyHz
	if !(rateHz > 0) || math.IsInf(rateHz, 0) {
		return fault.Invalidf("a frame rate of %g Hz", rateHz).WithHint("give the frames a second, above 0")
	}
	if 2*f == rateHz {
		return fault.Invalidf("%.6g Hz is not below half the frame rate of %.6g Hz but equal to it: how much of it shows up depends on when the frames are taken", f, rateHz).
			WithHint("drive at %.4g Hz or less, or take the frames faster", rateHz/MinSamples)
	}
	if 2*f > rateHz {
		shown := math.Abs(f - rateHz*math.Round(f/rateHz))
		return fault.Invalidf("%.6g Hz is not below half the frame rate of %.6g Hz: it would show up as %.4g Hz", f, rateHz, shown).
			WithHint("drive at %.4g Hz or less, or take the frames faster", rateHz/MinSamples)
	}
	if n := rateHz / f; n < MinSamples*(1-1e-9) {
		return fault.Invalidf("%.3g frames a period are too few: at least %d are needed", n, MinSamples).
			WithHint("drive at %.4g Hz or less, or take the frames faster", rateHz/MinSamples)
	}
	if periods := float64(frames) * f / rateHz; periods < 1-1e-9 {
		return fault.Invalidf("%d frames at %.6g Hz are %.3g of a period of %.6g Hz", frames, rateHz, periods, f).
			WithHint("take at least one whole period, better ten or more")
	}
	return nil
}

// trend settles the trend for that many periods.
func (j job) trend(periods float64) Trend {
	switch {
	case j.o.Trend != Fitting:
		return j.o.Trend
	case periods >= quadratic:
		return Quadratic
	}
	return Linear
}
