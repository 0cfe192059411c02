package frame

import (
	"math"
	"slices"

	"dieglow/catalog/fault"
)

// BadPixel is a pixel that does not fit its neighbours.
type BadPixel struct {
	X, Y       int
	Value      float64 // what the pixel says
	Neighbours float64 // the median of the pixels around it
	Sigmas     float64 // |Value - Neighbours - the frame's median of that difference| in robust standard deviations
}

// DefaultBadSigmas is how many robust standard deviations FindBad takes when
// asked for 0. Gaussian noise passes 6 in two pixels of a thousand million.
const DefaultBadSigmas = 6

// FindBad lists the pixels that do not fit their neighbours, in reading order.
// The rule: d is the pixel minus the median of those of its 8 neighbours that
// are there, and the pixel is bad where d lies more than k robust standard
// deviations from the median of d over the frame. The robust standard deviation
// is 1.4826 times the median absolute deviation (P. J. Rousseeuw and C. Croux,
// Journal of the American Statistical Association 88, 1993, 1273-1283,
// doi:10.1080/01621459.1993.10476408); where that is 0, because more than half
// of the pixels have one and the same d, it is 1.2533 (the root of pi/2) times
// the mean absolute deviation.
//
// A real hot spot of one pixel also looks like this: find bad pixels on a frame
// of a uniform surface, and use the list for the others. Missing pixels are not
// listed; see Missing. Fault Invalid when k is negative or not finite.
func (f Frame) FindBad(k float64) ([]BadPixel, error) {
	if k == 0 {
		k = DefaultBadSigmas
	}
	if !(k > 0) || math.IsInf(k, 0) {
		return nil, fault.Invalidf("bad pixels beyond %g standard deviations", k).WithHint("a number above 0, such as %d", DefaultBadSigmas)
	}
	n := len(f.Pixels)
	medians, diffs := make([]float64, n), make([]float64, 0, n)
	for i, v := range f.Pixels {
		medians[i] = f.median(i, 1, nil)
		if d := v - medians[i]; !math.IsNaN(d) {
			diffs = append(diffs, d)
		}
	}
	centre, sigma := robust(diffs)
	if sigma == 0 {
		return nil, nil
	}
	var bad []BadPixel
	for i, v := range f.Pixels {
		if s := math.Abs(v-medians[i]-centre) / sigma; s > k {
			bad = append(bad, BadPixel{X: i % f.Width, Y: i / f.Width, Value: v, Neighbours: medians[i], Sigmas: s})
		}
	}
	return bad, nil
}

// Missing lists the pixels that are NaN, in reading order, for Replace.
func (f Frame) Missing() []BadPixel {
	var out []BadPixel
	for i, v := range f.Pixels {
		if math.IsNaN(v) {
			out = append(out, BadPixel{X: i % f.Width, Y: i / f.Width, Value: v, Neighbours: f.median(i, 1, nil), Sigmas: math.NaN()})
		}
	}
	return out
}

// Replaced is what Replace put in the place of a pixel.
type Replaced struct {
	X, Y     int
	Old, New float64 // New is NaN where there was no good pixel within 2 columns and rows
}

// Replace returns the frame with each listed pixel replaced by the median of its
// good neighbours (3 x 3; 5 x 5 where none of those is good), and the list of
// what was done. Replaced pixels carry no measurement of their own: their noise
// is that of the neighbours, and a maximum there means nothing.
//
// Fault Invalid when a pixel lies outside the frame.
func (f Frame) Replace(bad []BadPixel) (Frame, []Replaced, error) {
	marked := make([]bool, len(f.Pixels))
	for _, b := range bad {
		if b.X < 0 || b.Y < 0 || b.X >= f.Width || b.Y >= f.Height {
			return Frame{}, nil, fault.Invalidf("a bad pixel at column %d, row %d of a frame of %d x %d", b.X, b.Y, f.Width, f.Height).
				WithHint("use a list made on frames of this size")
		}
		marked[b.Y*f.Width+b.X] = true
	}
	g := f.copyOf(f.Width, f.Height)
	copy(g.Pixels, f.Pixels)
	var done []Replaced
	for i, m := range marked {
		if !m {
			continue
		}
		v := f.median(i, 1, marked)
		if math.IsNaN(v) {
			v = f.median(i, 2, marked)
		}
		g.Pixels[i] = v
		done = append(done, Replaced{X: i % f.Width, Y: i / f.Width, Old: f.Pixels[i], New: v})
	}
	return g, done, g.tally(f.Saturation)
}

// median returns the median of the pixels around pixel i, up to reach columns
// and rows away, without itself, missing and marked ones; NaN when none is left.
func (f Frame) median(i, reach int, marked []bool) float64 {
	var around [24]float64
	n := 0
	x, y := i%f.Width, i/f.Width
	for v := max(0, y-reach); v <= min(f.Height-1, y+reach); v++ {
		for u := max(0, x-reach); u <= min(f.Width-1, x+reach); u++ {
			j := v*f.Width + u
			if j == i || marked != nil && marked[j] || math.IsNaN(f.Pixels[j]) {
				continue
			}
			around[n] = f.Pixels[j]
			n++
		}
	}
	return median(around[:n])
}

// median sorts v and returns its median, NaN when v is empty.
func median(v []float64) float64 {
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return v[n/2-1] + (v[n/2]-v[n/2-1])/2
}

// robust returns median and robust standard deviation, as FindBad describes.
func robust(v []float64) (centre, sigma float64) {
	centre = median(v)
	away, sum := make([]float64, len(v)), 0.0
	for i, d := range v {
		away[i] = math.Abs(d - centre)
		sum += away[i]
	}
	if sigma = 1.4826 * median(away); sigma > 0 {
		return centre, sigma
	}
	if len(v) == 0 {
		return centre, 0
	}
	return centre, math.Sqrt(math.Pi/2) * sum / float64(len(v))
}
