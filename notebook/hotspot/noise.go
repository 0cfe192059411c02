package hotspot

import (
	"math"
	"slices"

	"dieglow/notebook/frame"
)

// Noise is what one pixel differs by from reading to reading, as far as one frame
// shows it: the part that changes from pixel to pixel. Structure finer than a few
// pixels counts as noise.
type Noise struct {
	SD           float64 `json:"sd"`            // standard deviation of one pixel, in the unit of the frame
	CorrelatedPx float64 `json:"correlated_px"` // pixels that share their noise; 1: every pixel has its own
	ReachPx      int     `json:"reach_px"`      // distance of the pixels that were compared
	From         string  `json:"from"`          // one of the constants below
}

// Where a noise is from.
const (
	NoiseMeasured = "median absolute difference of neighbours"
	NoiseSpread   = "median absolute deviation from the local background, spots left out: stripes, or noise that many pixels share"
	NoiseRounding = "rounding of the numbers, since most neighbours are equal"
	NoiseAssumed  = "a thousandth of the range of values, since the frame has no noise to measure"
	NoiseNone     = "none, since every pixel is the same"
)

// madToSD makes a standard deviation of the median absolute deviation of a normal
// distribution: 1 over its third quartile.
const madToSD = 1.482602218505602

// mostReach is how far apart pixels are compared, to see noise that neighbours share.
const mostReach = 3

// MeasureNoise measures the noise of a frame on second differences along rows and
// columns, 1 -2 1 by 1 -2 1 with pixels 1, 2 and 3 apart, which planes and
// single-axis curvature drop out of and whose standard deviation is 6 times that
// of a pixel (J. Immerkaer, Comput. Vis. Image Underst. 64, 300 (1996), from
// memory); the median of their sizes is used, so that spots do not count. Noise
// shared by neighbours shows less the nearer they are, hence a greater spread of
// pixels further apart is taken where it is plain. On frames below 48 pixels a side the reach is shorter.
//
// Where more than half of the differences are 0, the rounding of the numbers is
// taken in its place (a step over the root of 12), and of numbers that are not
// rounded either, a thousandth of their range.
//
// Stripes drop out of such differences, and noise that many pixels share hardly
// shows: where the pixels that do not stand out scatter about their local background
// by more, that is taken.
func MeasureNoise(f frame.Frame) Noise {
	g := &ground{frame: f, width: f.Width, height: f.Height, sign: 1}
	g.noise = measureNoise(f.Pixels, f.Width, f.Height)
	g.widen(f.Pixels, g.surrounding(f.Pixels))
	return g.noise
}

func measureNoise(v []float64, width, height int) Noise {
	n := Noise{CorrelatedPx: 1, ReachPx: 1, From: NoiseMeasured}
	work := make([]float64, 0, len(v))
	var near, least float64
	for reach := 1; reach <= max(1, min(mostReach, min(width, height)/16)); reach++ {
		sd := secondDifference(v, width, height, reach, work)
		if reach == 1 {
			near, least = sd, scatters(len(v))
		}
		if reach == 1 || sd > near*least && sd > n.SD {
			n.SD, n.ReachPx = sd, reach
		}
	}
	if min(width, height) < 3 {
		n.SD = alongLine(v, work)
	}
	if !(n.SD > 0) {
		return withoutNoise(v)
	}
	if n.ReachPx > 1 {
		n.CorrelatedPx = sharing(v, width, height, shared{n.SD, mostReach}, work)
	}
	return n
}

// secondDifference returns the standard deviation of a pixel by differences of
// pixels reach apart; 0 where there is none.
func secondDifference(v []float64, width, height, reach int, work []float64) float64 {
	work = work[:0]
	for y := reach; y < height-reach; y++ {
		up, mid, low := v[(y-reach)*width:], v[y*width:], v[(y+reach)*width:]
		for x := reach; x < width-reach; x++ {
			d := up[x-reach] - 2*up[x] + up[x+reach] - 2*(mid[x-reach]-2*mid[x]+mid[x+reach]) + low[x-reach] - 2*low[x] + low[x+reach]
			if d == d {
				work = append(work, math.Abs(d))
			}
		}
	}
	return madToSD * middle(work) / 6
}

// alongLine is secondDifference for a frame of a row or a column or two, whose
// pixels are compared in the order they stand in; 1 -2 1 alone has a variance of 6.
func alongLine(v, work []float64) float64 {
	work = work[:0]
	for i := 1; i < len(v)-1; i++ {
		if d := v[i-1] - 2*v[i] + v[i+1]; d == d {
			work = append(work, math.Abs(d))
		}
	}
	return madToSD * middle(work) / math.Sqrt(6)
}

// shared is a noise of a pixel and how far apart pixels may share it.
type shared struct {
	sd    float64
	reach int
}

// sharing estimates how many pixels share their noise, the sum of the
// correlations with all others: 1 + 2 sum of those along rows, times the same
// along columns. The correlation l apart follows from the spread of first
// differences, 2 sd² (1 - rho).
func sharing(v []float64, width, height int, s shared, work []float64) float64 {
	total := 1.0
	for _, step := range [...]int{1, width} {
		sum := 1.0
		for lag := 1; lag <= s.reach; lag++ {
			work = work[:0]
			for y := range height {
				for x := range width {
					if step == 1 && x+lag >= width || step == width && y+lag >= height {
						continue
					}
					if d := v[y*width+x+lag*step] - v[y*width+x]; d == d {
						work = append(work, math.Abs(d))
					}
				}
			}
			rho := 1 - sq(madToSD*middle(work)/s.sd)/2
			if rho < 0.05 { // within what the estimate itself scatters by
				break
			}
			sum += 2 * rho
		}
		total *= sum
	}
	return total
}

// withoutNoise is the noise of numbers most of which do not differ.
func withoutNoise(v []float64) Noise {
	sorted := make([]float64, 0, len(v))
	for _, x := range v {
		if x == x {
			sorted = append(sorted, x)
		}
	}
	n := Noise{CorrelatedPx: 1, ReachPx: 1, From: NoiseAssumed}
	if len(sorted) == 0 {
		return n
	}
	slices.Sort(sorted)
	span := sorted[len(sorted)-1] - sorted[0]
	step := math.Inf(1)
	// Decimal numbers that were subtracted differ by rounding where they are equal.
	same := 1e-12 * math.Max(math.Abs(sorted[0]), math.Abs(sorted[len(sorted)-1]))
	for i := 1; i < len(sorted); i++ {
		if d := sorted[i] - sorted[i-1]; d > same {
			step = math.Min(step, d)
		}
	}
	if n.SD = span / 1000; span == 0 {
		n.From = NoiseNone
	}
	if step > 1e-5*span && !math.IsInf(step, 0) {
		n.SD, n.From = step/math.Sqrt(12), NoiseRounding
	}
	return n
}

// middle returns the median, reordering v: the mean of the middle two of an even
// number, and 0 of none.
func middle(v []float64) float64 {
	n := len(v)
	if n == 0 {
		return 0
	}
	upper := selected(v, n/2)
	if n%2 == 1 {
		return upper
	}
	return (slices.Max(v[:n/2]) + upper) / 2
}

// selected returns what stands at place k of v in order, with nothing greater
// before it (C. A. R. Hoare, Commun. ACM 4, 321 (1961)).
func selected(v []float64, k int) float64 {
	low, high := 0, len(v)-1
	for low < high {
		pivot := medianOfThree(v[low], v[(low+high)/2], v[high])
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for v[j] > pivot {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	return v[k]
}

func medianOfThree(a, b, c float64) float64 {
	return math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
}
