package sharpness

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
)

// check refuses what looks like an edge and cannot be measured as one.
func (v edgeEvaluation) check() error {
	if err := v.standsOut(); err != nil {
		return err
	}
	if err := v.straight(); err != nil {
		return err
	}
	if err := v.second(); err != nil {
		return err
	}
	return v.clipped()
}

// standsOut refuses a step that the noise could have made: a line laid where noise
// happens to differ most gathers a few standard errors.
func (v edgeEvaluation) standsOut() error {
	reach := 2*v.width + 2
	noise := v.bins.scatter(reach) // of the step
	if noise > 4 {
		return noEdge("noise is more than four times the step")
	}
	n := 0.0
	for _, k := range v.bins.total.n {
		n += k / 2
	}
	if noise*math.Sqrt(2/n)*12 > 1 {
		return noEdge("what steps in it does not stand out of the noise")
	}
	return nil
}

// straight refuses an outline that is no line: rows that scatter about it more
// than their noise and a fair part of the edge's width allow.
func (v edgeEvaluation) straight() error {
	reach := 2*v.width + 2
	noise := v.bins.scatter(reach) * math.Sqrt(2*reach+1)
	if limit := 0.5 + 0.25*v.width + 3*noise; v.line.scatter > limit {
		return noEdge("the outline departs from a straight line: the rows scatter about it too much")
	}
	return nil
}

// second refuses a further edge or object beside the edge: a block of pixels that
// departs from the level of its side by a third of the step, noise aside.
func (v edgeEvaluation) second() error {
	g, l := v.field, v.line
	const side = 4
	reach := 2*v.width + 2 + side
	noise := v.bins.scatter(2*v.width + 2)
	limit := max(1.0/3, 6*noise/side)
	for y := 0; y+side <= g.h; y += side {
		for x := 0; x+side <= g.w; x += side {
			d := l.distance(float64(x)+1.5, float64(y)+1.5)
			if math.Abs(d) < reach {
				continue
			}
			s := v.scales[y]
			level := 0.0
			if d > 0 {
				level = 1
			}
			if m := (g.mean(x, y, side) - s.offset) * s.factor; math.Abs(m-level) > limit {
				column, row := x, y
				if g.turned {
					column, row = y, x
				}
				return manyEdges(fmt.Sprintf("around column %d, row %d values depart from their side of it by %.0f %% of its step", column+side/2, row+side/2, 100*math.Abs(m-level)))
			}
		}
	}
	return nil
}

// side is what lies on one side of an edge: how many pixels, how many of them have
// the value farthest from the other side, and how much they scatter.
type side struct{ n, extreme, most, sum, squares float64 }

func (s *side) add(v, level float64) {
	s.n++
	s.sum += v - level
	s.squares += (v - level) * (v - level)
	switch {
	case s.n == 1 || v > s.extreme:
		s.extreme, s.most = v, 1
	case v == s.extreme:
		s.most++
	}
}

func (s *side) sd() float64 { return math.Sqrt(max(0, s.squares-s.sum*s.sum/s.n) / s.n) }

// clipped refuses an edge that is cut off at one level: one side has exactly one
// value although the other scatters, or the profile stops short of it.
func (v edgeEvaluation) clipped() error {
	g, l := v.field, v.line
	reach := 2*v.width + 2
	step := v.high.middle - v.low.middle
	outward := math.Copysign(1, step) // of the right side
	var left, right side
	for y := range g.h {
		d := l.distance(0, float64(y)) - l.cos
		for _, p := range g.v[y*g.w : (y+1)*g.w] {
			d += l.cos
			switch {
			case math.IsNaN(p):
			case d < -reach:
				left.add(-outward*p, -outward*v.low.middle)
			case d > reach:
				right.add(outward*p, outward*v.high.middle)
			}
		}
	}
	lopsided := (v.whole.rise[1] - v.whole.rise[0]) / (v.whole.rise[2] - v.whole.rise[1])
	cut := func(s, other side, short bool) bool {
		one := s.most / s.n
		return one > 0.5 && other.most/other.n < 0.1 && other.sd() > 1e-4*math.Abs(step) || one > 0.9 && short
	}
	if cut(left, right, lopsided < 1/1.3) || cut(right, left, lopsided > 1.3) {
		return fault.Invalidf("the edge is cut off: the pixels of one side have exactly the same value, and the profile shows that they should not").
			WithHint("take the frame again with a range that holds both sides; a saturated edge looks sharper than it is")
	}
	return nil
}
