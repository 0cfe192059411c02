package powermap

import (
	"math"
	"slices"
)

// regionLimit bounds what the regularisation adds to the sum of a region, or
// takes away, in W/m² times pixels. The sum of the map is off by g = (F - 1) w
// applied to the true power, with the region's weights w: g is a layer along the
// region's border, as wide as a point is spread. The true power is not known
// there; it is taken to lie anywhere between the least and the most that the map
// has within half the width of a point, which is the width that the map cannot
// tell places apart in. A source that is much narrower than a point, and so is
// higher than the map shows, can exceed the limit.
func (s *solver) regionLimit(w []float64, r *Result) float64 {
	g := make([]float64, len(w))
	for i, v := range w {
		g[i] = v * (s.filter(i) - 1)
	}
	least, most := around(r.PowerWM2, r.Width, r.Height, s.reach(r))
	low, high := 0.0, 0.0
	for i, v := range s.t.back(g) {
		low += math.Min(v*least[i], v*most[i])
		high += math.Max(v*least[i], v*most[i])
	}
	return math.Max(high, -low)
}

// reach is half the width that a point is spread to, in whole pixels; the whole
// map where that is wider than the map.
func (s *solver) reach(r *Result) int {
	if math.IsNaN(r.ResolvedUM) {
		return max(r.Width, r.Height)
	}
	return max(1, int(math.Ceil(r.ResolvedUM/s.job.Plate.PixelUM.Value/2)))
}

// around returns the least and the most of a map within reach pixels along rows
// and columns.
func around(values []float64, width, height, reach int) (least, most []float64) {
	most = slices.Clone(values)
	least = make([]float64, len(values))
	for i, v := range values {
		least[i] = -v
	}
	queue := make([]int, max(width, height))
	line := make([]float64, max(width, height))
	for _, m := range [][]float64{least, most} {
		for y := range height {
			largest(m[y*width:(y+1)*width], 1, reach, line[:width], queue)
		}
		for x := range width {
			largest(m[x:], width, reach, line[:height], queue)
		}
	}
	for i, v := range least {
		least[i] = -v
	}
	return least, most
}

// largest replaces every step-th value by the largest within reach of it. line
// takes the values; queue holds the places whose values may still be the largest.
func largest(values []float64, step, reach int, line []float64, queue []int) {
	for i := range line {
		line[i] = values[i*step]
	}
	first, end, next := 0, 0, 0
	for i := range line {
		for ; next < len(line) && next <= i+reach; next++ {
			for end > first && line[queue[end-1]] <= line[next] {
				end--
			}
			queue[end] = next
			end++
		}
		if queue[first] < i-reach {
			first++
		}
		values[i*step] = line[queue[first]]
	}
}

// peakLimits estimate by how much the peak may read high and low.
//
// High: a sharp rim rings, by a times its height along a straight border, and
// about as two of them at a corner, 1 - 1/(1+a)² of what is read; and the largest
// of n values that scatter by sigma lies about sigma sqrt(2 ln n) above their
// middle, with n the points that fit in the source. Low: a source of the area A at
// half its height that a point of the area A0 is spread to has been lowered by
// about A0/A of what is read, since areas add where both are like a Gaussian; it
// is known no better than that.
func (s *solver) peakLimits(r *Result) (high, low float64) {
	sorted := slices.Clone(r.PowerWM2)
	slices.Sort(sorted)
	at := r.PeakY*r.Width + r.PeakX
	height := r.PowerWM2[at] - sorted[len(sorted)/2]
	area := float64(extent(r.PowerWM2, r.Width, at, r.PowerWM2[at]-height/2))
	point := float64(r.Width * r.Height)
	if !math.IsNaN(r.ResolvedUM) {
		width := r.ResolvedUM / s.job.Plate.PixelUM.Value
		point = math.Pi / 4 * width * width
	}
	over := 1 + s.overshoot()
	high = height * (1 - 1/(over*over))
	if n := area / math.Max(1, point); n > 1 {
		high += r.NoiseWM2 * math.Sqrt(2*math.Log(n))
	}
	return high, height * math.Min(1, point/area)
}

// extent counts the pixels about one that are above a level, connected by their sides.
func extent(values []float64, width, at int, level float64) int {
	seen := make([]bool, len(values))
	seen[at] = true
	pending := []int{at}
	n := 0
	for len(pending) > 0 {
		i := pending[len(pending)-1]
		pending = pending[:len(pending)-1]
		n++
		x := i % width
		for _, next := range [...]struct {
			at int
			in bool
		}{{i - 1, x > 0}, {i + 1, x < width-1}, {i - width, i >= width}, {i + width, i+width < len(values)}} {
			if next.in && !seen[next.at] && values[next.at] > level {
				seen[next.at] = true
				pending = append(pending, next.at)
			}
		}
	}
	return n
}

// overshoot is by how much of its height a step along the rows rings above it.
func (s *solver) overshoot() float64 {
	w := s.job.Width
	step := weights(w, 0, w/2)
	for i := range step {
		step[i] *= s.filter(i)
	}
	return math.Max(0, slices.Max(newTransform(w, 1).back(step))-1)
}
