package sharpness

import (
	"math"
	"slices"

	"dieglow/catalog/fault"
)

// line is a straight edge or wire in a field: x = x0 + slope (y - y0).
type line struct {
	x0, y0, slope  float64
	uX0, uSlope    float64 // standard errors; NaN while unknown
	bend           float64 // largest distance of the best parabola from the line within the field, px
	scatter        float64 // standard deviation of the single rows about the line, px
	rows           int     // used
	cos            float64
	degrees, uDegs float64 // from the axis, signed
}

func (l line) at(y float64) float64 { return l.x0 + l.slope*(y-l.y0) }

// distance is how far a point lies to the right of the line, across it.
func (l line) distance(x, y float64) float64 { return (x - l.at(y)) * l.cos }

func (l line) finish() line {
	l.cos = 1 / math.Hypot(1, l.slope)
	l.degrees = math.Atan(l.slope) * 180 / math.Pi
	l.uDegs = l.uSlope * l.cos * l.cos * 180 / math.Pi
	return l
}

// answer is how strongly a row answers to what is looked for, and where.
type answer struct{ x, strength float64 }

// rowMeans gives sums of a row's pixels; a missing pixel counts as its left neighbour.
type rowMeans struct{ sum []float64 }

func (r *rowMeans) read(row []float64) {
	r.sum = append(r.sum[:0], 0)
	last := math.NaN()
	for _, v := range row {
		if !math.IsNaN(v) {
			last = v
			break
		}
	}
	total := 0.0
	for _, v := range row {
		if !math.IsNaN(v) {
			last = v
		}
		total += last
		r.sum = append(r.sum, total)
	}
}

func (r *rowMeans) mean(from, until int) float64 {
	return (r.sum[until] - r.sum[from]) / float64(until-from)
}

// edgeAnswers finds in every row where the means of the w pixels on either side
// differ most, upward or downward.
func edgeAnswers(g field, w int) (up, down []answer) {
	var r rowMeans
	for y := range g.h {
		r.read(g.v[y*g.w : (y+1)*g.w])
		u, d := answer{strength: math.Inf(-1)}, answer{strength: math.Inf(-1)}
		for x := w; x <= g.w-w; x++ {
			s := r.mean(x, x+w) - r.mean(x-w, x)
			u, d = u.better(float64(x)-0.5, s), d.better(float64(x)-0.5, -s)
		}
		up, down = append(up, u), append(down, d)
	}
	return up, down
}

// wireAnswers finds in every row where w pixels differ most from their surroundings.
func wireAnswers(g field, w int) (hot, cold []answer) {
	var r rowMeans
	for y := range g.h {
		r.read(g.v[y*g.w : (y+1)*g.w])
		u, d := answer{strength: math.Inf(-1)}, answer{strength: math.Inf(-1)}
		for x := w; x+2*w <= g.w; x++ {
			s := r.mean(x, x+w) - (r.mean(x-w, x)+r.mean(x+w, x+2*w))/2
			at := float64(x) + float64(w-1)/2
			u, d = u.better(at, s), d.better(at, -s)
		}
		hot, cold = append(hot, u), append(cold, d)
	}
	return hot, cold
}

func (a answer) better(x, strength float64) answer {
	if strength > a.strength {
		return answer{x, strength}
	}
	return a
}

// stronger returns the set of answers with the higher median, and whether it is
// the first.
func stronger(a, b []answer) ([]answer, bool) {
	level := func(list []answer) float64 {
		s := make([]float64, len(list))
		for i, v := range list {
			s[i] = v.strength
		}
		return median(s)
	}
	if level(a) >= level(b) {
		return a, true
	}
	return b, false
}

// throughMost lays a line through as many answers as it can: of all pairs among
// some of the rows, the one whose line the most rows lie near. It holds when more
// than half of the rows answer to something else.
// clear is how many rows answer clearly, wherever.
func throughMost(list []answer, near float64) (l line, inliers, clear int) {
	limit := strengthLimit(list)
	for _, a := range list {
		if a.strength >= limit {
			clear++
		}
	}
	var picked []int
	stride := max(1, len(list)/28)
	for y := 0; y < len(list); y += stride {
		if list[y].strength >= limit {
			picked = append(picked, y)
		}
	}
	for i, a := range picked {
		for _, b := range picked[i+1:] {
			slope := (list[b].x - list[a].x) / float64(b-a)
			if math.Abs(slope) > 1.3 { // beyond 45 degrees the other axis is nearer
				continue
			}
			n := 0
			for y, v := range list {
				if v.strength >= limit && math.Abs(v.x-list[a].x-slope*float64(y-a)) <= near {
					n++
				}
			}
			if n > inliers {
				inliers, l = n, line{x0: list[a].x, y0: float64(a), slope: slope}
			}
		}
	}
	return l, inliers, clear
}

// strengthLimit is half of what the better quarter of the rows answer with; a row
// that the edge does not reach answers with noise alone.
func strengthLimit(list []answer) float64 {
	s := make([]float64, len(list))
	for i, v := range list {
		s[i] = v.strength
	}
	slices.Sort(s)
	return s[len(s)*3/4] / 2
}

// place is the position found in one row.
type place struct{ x, y float64 }

// fitLine fits a straight line by least squares, leaving out places more than
// four robust standard deviations off, and the parabola that says how bent it is.
func fitLine(places []place, height int) (line, error) {
	if len(places) < 4 {
		return line{}, fault.Invalidf("only %d rows cross it", len(places))
	}
	var l line
	for range 3 {
		l = leastSquares(places)
		off := make([]float64, len(places))
		for i, p := range places {
			off[i] = math.Abs(p.x - l.at(p.y))
		}
		limit := max(4*1.4826*median(off), 1e-6)
		kept := places[:0:0]
		for i, p := range places {
			if off[i] <= limit {
				kept = append(kept, p)
			}
		}
		if len(kept) == len(places) || len(kept) < 4 {
			break
		}
		places = kept
	}
	l.bend = bend(places, l, height)
	return l.finish(), nil
}

func leastSquares(places []place) line {
	n := float64(len(places))
	var sx, sy float64
	for _, p := range places {
		sx += p.x
		sy += p.y
	}
	l := line{x0: sx / n, y0: sy / n, rows: len(places)}
	var sxy, syy float64
	for _, p := range places {
		sxy += (p.x - l.x0) * (p.y - l.y0)
		syy += (p.y - l.y0) * (p.y - l.y0)
	}
	l.slope = sxy / syy
	var ss float64
	for _, p := range places {
		d := p.x - l.at(p.y)
		ss += d * d
	}
	l.scatter = math.Sqrt(ss / (n - 2))
	l.uX0, l.uSlope = l.scatter/math.Sqrt(n), l.scatter/math.Sqrt(syy)
	return l
}

// bend is how far a parabola fitted to the places leaves the line in the middle of
// the field against its ends; 0 where the fit does not tell it from noise.
func bend(places []place, l line, height int) float64 {
	half := float64(height-1) / 2
	var s2, n float64
	for _, p := range places {
		t := (p.y - l.y0) / half
		s2 += t * t
		n++
	}
	mean := s2 / n
	var num, den float64
	for _, p := range places {
		t := (p.y - l.y0) / half
		q := t*t - mean
		num += q * (p.x - l.at(p.y))
		den += q * q
	}
	c := num / den
	if u := l.scatter / math.Sqrt(den); math.Abs(c) < 4*u {
		return 0
	}
	return math.Abs(c)
}
