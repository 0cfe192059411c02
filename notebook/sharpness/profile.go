package sharpness

import (
	"math"
	"slices"

	"dieglow/catalog/fault"
)

// mostParts is into how many blocks of consecutive rows a field is split, so that
// a result without one of them shows what noise, ragged edges and a changing field
// do to it.
const mostParts = 16

// bins collects pixels by their distance from a line in steps of a quarter pixel;
// bin i lies about (first+i) quarters.
type bins struct {
	first int
	parts []sums // of each block of rows
	total sums
	vv    []float64 // of all rows: squares of the values
	dd    []float64 // and of the distances from the middle of the bin

	from, until int // the bins that are well filled
}

type sums struct{ n, d, v []float64 } // number, distances and values of the pixels

func newSums(n int) sums {
	return sums{make([]float64, n), make([]float64, n), make([]float64, n)}
}

// rowScale turns the values of a row into shares: (v - offset) times factor.
type rowScale struct{ offset, factor float64 }

// project sorts every pixel that is there into bins, by so many parts of the rows.
func project(g field, l line, scales []rowScale, parts int) bins {
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range []float64{0, float64(g.w - 1)} {
		for _, y := range []float64{0, float64(g.h - 1)} {
			d := l.distance(x, y)
			low, high = min(low, d), max(high, d)
		}
	}
	b := bins{first: int(math.Round(low/step)) - 1}
	n := int(math.Round(high/step)) + 2 - b.first
	b.total, b.vv, b.dd = newSums(n), make([]float64, n), make([]float64, n)
	for range parts {
		b.parts = append(b.parts, newSums(n))
	}
	for y := range g.h {
		p := b.parts[y*parts/g.h]
		s := scales[y]
		d := l.distance(0, float64(y))
		for _, v := range g.v[y*g.w : (y+1)*g.w] {
			if v == v { // not missing
				i := int(d*oversampling - float64(b.first) + 0.5)
				v = (v - s.offset) * s.factor
				off := d - float64(b.first+i)*step
				p.n[i]++
				p.d[i] += off
				b.dd[i] += off * off
				p.v[i] += v
				b.vv[i] += v * v
			}
			d += l.cos
		}
	}
	for _, p := range b.parts {
		for i := range n {
			b.total.n[i] += p.n[i]
			b.total.d[i] += p.d[i]
			b.total.v[i] += p.v[i]
		}
	}
	b.from, b.until = b.window()
	return b
}

// curve is a profile across a line at whole quarter pixels.
type curve struct {
	first int // place of the first value, in quarter pixels
	e     []float64
	n     []float64 // pixels in each
}

func (c curve) at(i int) float64 { return float64(c.first+i) * step }

// window returns the range of bins about the line that are well filled: every
// pixel's breadth of them holds a quarter of what it holds in the middle.
func (b bins) window() (from, until int) {
	full := func(i int) float64 {
		sum := 0.0
		for k := i; k < i+oversampling; k++ {
			sum += b.total.n[k]
		}
		return sum
	}
	middle := -b.first
	n := len(b.total.n)
	if middle < oversampling || middle > n-2*oversampling {
		return 0, 0
	}
	enough := (full(middle) + full(middle-oversampling)) / 8
	for from = middle; from > 0 && full(from-1) >= enough; from-- {
	}
	for until = middle + 1; until+oversampling <= n && full(until) >= enough; until++ {
	}
	return from, until + oversampling - 1
}

// curve returns the profile without one of the parts, or of all with -1. The mean
// of a bin's values is moved along the slope to the middle of the bin, and what
// averaging over the bin blurred is undone.
func (b bins) curve(without int) curve {
	from, until := b.from, b.until
	c := curve{first: b.first + from, e: make([]float64, until-from), n: make([]float64, until-from)}
	mid := make([]float64, until-from)
	for i := range c.e {
		k := from + i
		n, d, v := b.total.n[k], b.total.d[k], b.total.v[k]
		if without >= 0 {
			p := b.parts[without]
			n, d, v = n-p.n[k], d-p.d[k], v-p.v[k]
		}
		c.n[i], c.e[i], mid[i] = n, v/n, c.at(i)+d/n
	}
	c.fill(mid)
	centred := c.centred(mid)
	sharp := unblur(centred)
	for i := range sharp { // as far as the pixels spread over the bin
		k := from + i
		n, d := b.total.n[k], b.total.d[k]
		spread := 12 / (step * step) * (b.dd[k] - d*d/n) / n
		if n > 0 {
			centred[i] += min(1, spread) * (sharp[i] - centred[i])
		}
	}
	c.e = centred
	return c
}

// centred moves values from where they were found to the middles of their bins,
// along the parabola through each and its neighbours.
func (c curve) centred(at []float64) []float64 {
	out := slices.Clone(c.e)
	for i := 1; i+1 < len(out); i++ {
		x, a, b, d := c.at(i), at[i-1], at[i], at[i+1]
		out[i] = c.e[i-1]*(x-b)*(x-d)/((a-b)*(a-d)) + c.e[i]*(x-a)*(x-d)/((b-a)*(b-d)) + c.e[i+1]*(x-a)*(x-b)/((d-a)*(d-b))
	}
	return out
}

// fill bridges empty bins.
func (c curve) fill(mid []float64) {
	last := -1
	for i := range c.e {
		if c.n[i] == 0 {
			continue
		}
		for k := last + 1; k < i; k++ {
			mid[k], c.e[k] = c.at(k), c.e[i]
			if last >= 0 {
				t := (mid[k] - mid[last]) / (mid[i] - mid[last])
				c.e[k] = c.e[last] + t*(c.e[i]-c.e[last])
			}
		}
		last = i
	}
	for k := last + 1; k < len(c.e); k++ {
		mid[k] = c.at(k)
		if c.e[k] = 0; last >= 0 {
			c.e[k] = c.e[last]
		}
	}
}

// unblur turns means over bins into values in their middles, exactly for
// polynomials up to the fifth degree: the inverse of 1 + δ²/24 - 17 δ⁴/5760 ... as
// δ-operators have it, to δ⁴.
func unblur(mean []float64) []float64 {
	out := slices.Clone(mean)
	for i := 2; i < len(mean)-2; i++ {
		out[i] = (9*(mean[i-2]+mean[i+2]) - 116*(mean[i-1]+mean[i+1]) + 2134*mean[i]) / 1920
	}
	return out
}

// emptyShare is the share of empty bins within reach of the line.
func (b bins) emptyShare(reach float64) float64 {
	empty, n := 0.0, 0.0
	for k := b.from; k < b.until; k++ {
		if math.Abs(float64(b.first+k)*step) <= reach {
			n++
			if b.total.n[k] == 0 {
				empty++
			}
		}
	}
	return empty / n
}

// scatter is the standard deviation of the pixels within bins farther than reach
// from the line.
func (b bins) scatter(reach float64) float64 {
	ss, dof := 0.0, 0.0
	for k := b.from; k < b.until; k++ {
		n := b.total.n[k]
		if n < 2 || math.Abs(float64(b.first+k)*step) < reach {
			continue
		}
		mean := b.total.v[k] / n
		ss += max(0, b.vv[k]-n*mean*mean)
		dof += n - 1
	}
	return math.Sqrt(ss / dof)
}

// crossing finds where the profile passes a level on the way from index start in
// the direction of dir: between the first value beyond it and the one before.
// rises says which side of the level is beyond.
func (c curve) crossing(level float64, start, dir int, rises bool) (float64, bool) {
	beyond := func(v float64) bool { return v >= level == rises }
	i := start
	for i >= 0 && i < len(c.e) && !beyond(c.e[i]) {
		i += dir
	}
	if i <= 0 || i >= len(c.e)-1 {
		return math.NaN(), false
	}
	t := (level - c.e[i]) / (c.e[i-dir] - c.e[i])
	return c.at(i) - float64(dir)*t*step, true
}

// moments are the sums that a parabola is fitted from: of powers of the distance,
// and of values times powers.
type moments struct {
	m [5]float64
	r [3]float64
}

func (a *moments) add(t, v float64) {
	power := 1.0
	for k := range a.m {
		a.m[k] += power
		if k < len(a.r) {
			a.r[k] += power * v
		}
		power *= t
	}
}

// plus adds other sums, times sign.
func (a moments) plus(b moments, sign float64) moments {
	for k := range a.m {
		a.m[k] += sign * b.m[k]
	}
	for k := range a.r {
		a.r[k] += sign * b.r[k]
	}
	return a
}

func determinant(a, b, c, d, e, f, g, h, i float64) float64 {
	return a*(e*i-f*h) - b*(d*i-f*g) + c*(d*h-e*g)
}

// sparse reports whether the distances are too few or too close together for a
// parabola. Spread evenly from -1 to 1, they give 4/135 where they give 0 when
// there are two different ones only.
func (a moments) sparse() bool {
	m := a.m
	return !(determinant(m[0], m[1], m[2], m[1], m[2], m[3], m[2], m[3], m[4]) > 0.005*m[0]*m[0]*m[0])
}

// parabola returns the coefficients of the parabola fitted to the sums.
func (a moments) parabola() [3]float64 {
	m, r := a.m, a.r
	den := determinant(m[0], m[1], m[2], m[1], m[2], m[3], m[2], m[3], m[4])
	return [3]float64{
		determinant(r[0], m[1], m[2], r[1], m[2], m[3], r[2], m[3], m[4]) / den,
		determinant(m[0], r[0], m[2], m[1], r[1], m[3], m[2], r[2], m[4]) / den,
		determinant(m[0], m[1], r[0], m[1], m[2], r[1], m[2], m[3], r[2]) / den,
	}
}

// solve returns where in -1 to 1 that parabola passes a level.
func (a moments) solve(level float64) float64 {
	p := a.parabola()
	t := 0.0
	for range 30 {
		t = max(-1, min(1, t-(p[0]-level+t*(p[1]+t*p[2]))/(p[1]+2*p[2]*t)))
	}
	return t
}

// spot is the pixels within reach of a distance from the line, by parts of the rows.
type spot struct {
	at, reach float64
	parts     []moments
	total     moments
}

// gather collects the pixels of a spot.
func (b bins) gather(g field, l line, scales []rowScale, at, reach float64) spot {
	s := spot{at: at, reach: reach, parts: make([]moments, len(b.parts))}
	for y := range g.h {
		middle := l.at(float64(y)) + at/l.cos
		from, until := max(0, int(math.Ceil(middle-reach/l.cos))), min(g.w-1, int(math.Floor(middle+reach/l.cos)))
		part := &s.parts[y*len(s.parts)/g.h]
		for x := from; x <= until; x++ {
			if v := g.v[y*g.w+x]; !math.IsNaN(v) {
				part.add((float64(x)-middle)*l.cos/reach, (v-scales[y].offset)*scales[y].factor)
			}
		}
	}
	for _, p := range s.parts {
		s.total = s.total.plus(p, 1)
	}
	return s
}

// enough gathers the pixels of a spot as widely as it takes for a parabola.
func (b bins) enough(g field, l line, scales []rowScale, at, reach float64) spot {
	s := b.gather(g, l, scales, at, reach)
	for s.total.sparse() && reach < 1 {
		reach *= 1.3
		s = b.gather(g, l, scales, at, reach)
	}
	return s
}

// without returns the sums without those of one part; of all with -1.
func (s spot) without(part int) moments {
	if part < 0 {
		return s.total
	}
	return s.total.plus(s.parts[part], -1)
}

// passage is where the pixels of the spot, without those of one part, pass a level.
func (s spot) passage(without int, level float64) float64 {
	return s.at + s.reach*s.without(without).solve(level)
}

// peak is the value at the vertex of the parabola, and summit where that is.
func (s spot) peak(without int) float64 {
	p := s.without(without).parabola()
	return p[0] - p[1]*p[1]/(4*p[2])
}

func (s spot) summit(without int) float64 {
	p := s.without(without).parabola()
	return s.at + s.reach*max(-1, min(1, -p[1]/(2*p[2])))
}

// spreadOf is the standard uncertainty of a result from its values without one
// part each (delete-one jackknife: R. G. Miller, Biometrika 61, 1974, 1-15; from
// memory, not verified).
func spreadOf(without []float64) float64 {
	n := float64(len(without))
	mean := 0.0
	for _, v := range without {
		mean += v / n
	}
	ss := 0.0
	for _, v := range without {
		ss += (v - mean) * (v - mean)
	}
	return math.Sqrt(ss * (n - 1) / n)
}

// tooFewSteps refuses a line whose rows repeat too few positions between pixels.
func tooFewSteps(g field, l line, what string) error {
	least := math.Atan(1/float64(g.h)) * 180 / math.Pi
	return fault.Invalidf("%s lies %.2f degrees off the pixel %s: over %d %s it does not pass through all four quarters of a pixel", what, math.Abs(l.degrees), g.axis(), g.h, g.crossing()).
		WithHint("turn the artefact so that it lies between %.1f and 40 degrees off the %s, but not at a slope of 1:1, 1:2 or 1:3; 2 to 10 degrees is common practice", math.Ceil(10*least)/10, g.axis())
}
