package hotspot

import "math"

// mesh is what the local background is made of.
type mesh struct {
	window int
	plane  [3]float64
	kept   []bool
}

// windows fills in the local background: medians of what is left of the plane, in
// windows half a window apart. A window with less than a quarter of its pixels
// left takes the mean of the others, weighted by the inverse square of their distance.
func (g *ground) windows(d, out []float64, m mesh) {
	xs, ys := places(g.width, m.window), places(g.height, m.window)
	level, empty := make([]float64, len(xs)*len(ys)), make([]bool, len(xs)*len(ys))
	work := make([]float64, 0, m.window*m.window)
	for j, cy := range ys {
		for i, cx := range xs {
			work = work[:0]
			for y := int(cy) - m.window/2; y < int(cy)-m.window/2+m.window; y++ {
				for x := int(cx) - m.window/2; x < int(cx)-m.window/2+m.window; x++ {
					if x < 0 || y < 0 || x >= g.width || y >= g.height {
						continue
					}
					if k := y*g.width + x; m.kept[k] {
						work = append(work, d[k]-g.at(m.plane, k))
					}
				}
			}
			empty[j*len(xs)+i] = 4*len(work) < m.window*m.window
			level[j*len(xs)+i] = middle(work)
		}
	}
	fillEmpty(level, empty, xs, ys)
	for y := range g.height {
		j, ty := between(ys, float64(y))
		for x := range g.width {
			i, tx := between(xs, float64(x))
			a := level[j*len(xs)+i:]
			low := a[0]
			if tx > 0 {
				low += tx * (a[1] - a[0])
			}
			if ty > 0 {
				b := level[(j+1)*len(xs)+i:]
				high := b[0]
				if tx > 0 {
					high += tx * (b[1] - b[0])
				}
				low += ty * (high - low)
			}
			out[y*g.width+x] = g.at(m.plane, y*g.width+x) + low
		}
	}
}

// places returns the middles of windows along a side, evenly spread and about
// half a window apart.
func places(side, window int) []float64 {
	n := 1 + int(math.Ceil(float64(side-window)/(float64(window)/2)))
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(window / 2)
		if n > 1 {
			out[i] += math.Round(float64(i) * float64(side-window) / float64(n-1))
		}
	}
	return out
}

// between finds the two places around v: the index of the first, and how far v
// lies towards the second, from 0 to 1.
func between(at []float64, v float64) (int, float64) {
	for i := len(at) - 1; i >= 0; i-- {
		if v < at[i] {
			continue
		}
		if i == len(at)-1 {
			return i, 0
		}
		return i, (v - at[i]) / (at[i+1] - at[i])
	}
	return 0, 0
}

func fillEmpty(level []float64, empty []bool, xs, ys []float64) {
	filled := append([]float64(nil), level...)
	for k := range level {
		if !empty[k] {
			continue
		}
		var sum, weight float64
		for l := range level {
			if empty[l] {
				continue
			}
			w := 1 / (sq(xs[l%len(xs)]-xs[k%len(xs)]) + sq(ys[l/len(xs)]-ys[k/len(xs)]))
			sum, weight = sum+w*level[l], weight+w
		}
		filled[k] = 0
		if weight > 0 {
			filled[k] = sum / weight
		}
	}
	copy(level, filled)
}
