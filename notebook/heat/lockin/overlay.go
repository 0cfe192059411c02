package lockin

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// cycle is a whole number of periods in a whole number of frames.
type cycle struct {
	length  int // frames
	cycles  int // in the stack; frames after the last whole one are left out
	grouped int // cycles summed before their scatter is looked at
}

// Limits of cycles.
const (
	longestCycle = 512
	cyclePixels  = 1 << 24 // sums kept at a time
	fewestCycles = 4
	evenCycles   = 32  // multiples of which are folded fastest
	noiseDegrees = 120 // degrees of freedom aimed at: noise known to 6.5 %
)

// findCycle looks for the shortest cycle; ok is false where there is none that
// is repeated at least four times.
func findCycle(o Options, info frame.Info) (c cycle, ok bool) {
	c.length = cycleLength(o, info.Frames)
	if c.length == 0 || c.length*info.Width*info.Height > cyclePixels || info.Frames < fewestCycles*c.length {
		return c, false
	}
	c.cycles = info.Frames / c.length
	groups := max(fewestCycles, 1+(noiseDegrees+c.length-1)/c.length)
	if c.grouped = max(1, c.cycles/groups); c.grouped > evenCycles {
		c.grouped -= c.grouped % evenCycles
	}
	return c, true
}

// cycleLength returns the fewest frames, of at most so many, that whole periods
// fill; 0 where there are none.
func cycleLength(o Options, most int) int {
	perFrame := o.FrequencyHz / o.RateHz
	for n := MinSamples; n <= min(most, longestCycle); n++ {
		periods := float64(n) * perFrame
		// Typed decimals miss a whole number by rounding alone.
		if whole := math.Round(periods); whole >= 1 && math.Abs(periods-whole) <= 1e-13*float64(n) {
			return n
		}
	}
	return 0
}

// slow are the trend's terms in one group of frames, less their means over the
// frames at the same place of the cycle.
type slow [2]float64

// groupTrend returns the terms of the trend for the group that begins with a
// frame. Time runs from -1 at the first frame to 1 at the last.
func (c cycle) groupTrend(first, frames int) slow {
	var t slow
	place, k := first%c.length, first/c.length
	for i := range frames {
		tau := c.tau(k + i)
		t[0] += tau
		t[1] += tau*tau - c.meanSquare() + 2*c.place(place)*tau
	}
	return slow{t[0] / float64(frames), t[1] / float64(frames)}
}

// tau is the time of the middle of a cycle, place that of a frame about it.
func (c cycle) tau(k int) float64 {
	return (2*float64(k) - float64(c.cycles-1)) / float64(c.cycles)
}

func (c cycle) place(p int) float64 {
	return (2*float64(p) - float64(c.length-1)) / float64(c.length*c.cycles)
}

// meanSquare is the mean of tau² over the cycles.
func (c cycle) meanSquare() float64 {
	m := float64(c.cycles)
	return (m*m - 1) / (3 * m * m)
}

// overlaid are the sums of one part of the frame. Values are less the first
// group's mean, which loses no digits to a large common level.
type overlaid struct {
	c       cycle
	pixel   int
	level   []float64
	total   [][]float64 // by place of the cycle
	trend   [2][]float64
	squares []float64
	weights []slow // by group
	frames  []float64
}

func newOverlaid(c cycle, pixel, pixels int) *overlaid {
	v := &overlaid{c: c, pixel: pixel, squares: make([]float64, pixels), total: make([][]float64, c.length)}
	for i := range v.total {
		v.total[i] = make([]float64, pixels)
	}
	for i := range v.trend {
		v.trend[i] = make([]float64, pixels)
	}
	return v
}

// add takes the sum of a group of frames.
func (v *overlaid) add(s frame.Sums) {
	n := float64(s.Frames)
	if v.level == nil {
		v.level = make([]float64, len(s.Values))
		for i, x := range s.Values {
			v.level[i] = x / n
		}
	}
	w := v.c.groupTrend(s.First, s.Frames)
	v.weights, v.frames = append(v.weights, w), append(v.frames, n)
	total, linear, square, squares := v.total[s.First%v.c.length], v.trend[0], v.trend[1], v.squares
	inverse := 1 / n
	for i, x := range s.Values {
		x -= n * v.level[i]
		total[i] += x
		linear[i] += x * w[0]
		square[i] += x * w[1]
		squares[i] += x * x * inverse
	}
}

// overlay analyses a stack of whole cycles.
func (j job) overlay(s *frame.Stack, c cycle) (Result, error) {
	var parts []*overlaid
	folded, err := s.Fold(frame.Folding{Length: c.length, Cycles: c.grouped, Frames: c.length * c.cycles}, func(pixel, pixels int) frame.Receive {
		v := newOverlaid(c, pixel, pixels)
		parts = append(parts, v)
		return v.add
	})
	if err != nil {
		return Result{}, err
	}
	perFrame := j.o.FrequencyHz / j.o.RateHz
	used := c.length * c.cycles
	r := j.result()
	r.Method, r.Frames, r.FramesUsed, r.RateHz = Overlaid, s.Info().Frames, used, j.o.RateHz
	r.SaturatedPixels = folded.SaturatedPixels
	r.Trend = j.trend(float64(used) * perFrame)
	r.places = c.length
	e := c.estimator(perFrame, r.Trend.terms(), parts[0].weights, parts[0].frames)
	r.Degrees = e.degrees
	if r.Degrees < 1 {
		return Result{}, fault.Invalidf("%d frames are too few to tell noise from signal", used).WithHint("take more periods")
	}
	for _, v := range parts {
		for i := range v.squares {
			r.set(v.pixel+i, e.pixel(v, i))
		}
	}
	return r, r.finish(j.o)
}

// estimator turns the sums of a pixel into its oscillation.
type estimator struct {
	c        cycle
	terms    int
	inverse  [2][2]float64 // of the trend's normal equations
	cos, sin []float64     // by place
	// what a unit of each term of the trend adds to the two sums over the cycle
	inPhase, quadrature [2]float64
	unit                covariance // at a noise of 1
	degrees             int
}

func (c cycle) estimator(perFrame float64, terms int, groups []slow, frames []float64) *estimator {
	e := &estimator{c: c, terms: terms, degrees: len(groups) - c.length - terms}
	for p := range c.length {
		// The phase is wound back first, which keeps its digits.
		_, turn := math.Modf(float64(p) * perFrame)
		sin, cos := math.Sincos(2 * math.Pi * turn)
		e.cos, e.sin = append(e.cos, cos), append(e.sin, -sin)
		at := c.place(p)
		for k, v := range [2]float64{at, at * at} {
			e.inPhase[k] += 2 * v * cos / float64(c.length)
			e.quadrature[k] -= 2 * v * sin / float64(c.length)
		}
	}
	var normal [2][2]float64
	for g, w := range groups {
		for a := range terms {
			for b := range terms {
				normal[a][b] += frames[g] * w[a] * w[b]
			}
		}
	}
	e.inverse = inverseOf(normal, terms)
	each := 2 / float64(c.length*c.cycles)
	e.unit = covariance{ii: each, qq: each}
	for a := range terms {
		for b := range terms {
			e.unit.ii += e.inPhase[a] * e.inverse[a][b] * e.inPhase[b]
			e.unit.qq += e.quadrature[a] * e.inverse[a][b] * e.quadrature[b]
			e.unit.iq += e.inPhase[a] * e.inverse[a][b] * e.quadrature[b]
		}
	}
	return e
}

// inverseOf inverts the leading terms of a symmetric matrix.
func inverseOf(m [2][2]float64, terms int) (inv [2][2]float64) {
	switch terms {
	case 1:
		inv[0][0] = 1 / m[0][0]
	case 2:
		det := m[0][0]*m[1][1] - m[0][1]*m[1][0]
		inv = [2][2]float64{{m[1][1] / det, -m[0][1] / det}, {-m[1][0] / det, m[0][0] / det}}
	}
	return inv
}

// pixel solves for one pixel of a part.
func (e *estimator) pixel(v *overlaid, i int) oscillation {
	var o oscillation
	sum, left := 0.0, v.squares[i]
	each := 1 / float64(e.c.cycles)
	for p, cos := range e.cos {
		t := v.total[p][i]
		sum += t
		o.inPhase += t * cos
		o.quadrature += t * e.sin[p]
		left -= t * t * each
	}
	n := float64(e.c.length * e.c.cycles)
	o.mean = v.level[i] + sum/n
	o.inPhase *= 2 / n
	o.quadrature *= 2 / n
	for a := range e.terms {
		slope := 0.0
		for b := range e.terms {
			slope += e.inverse[a][b] * v.trend[b][i]
		}
		o.inPhase -= slope * e.inPhase[a]
		o.quadrature -= slope * e.quadrature[a]
		left -= slope * v.trend[a][i]
	}
	variance := max(0, left) / float64(e.degrees)
	if math.IsNaN(left) {
		variance = left
	}
	o.noise = math.Sqrt(variance)
	o.cov = e.unit.times(variance)
	return o
}
