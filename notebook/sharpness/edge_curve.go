package sharpness

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// edgeCurve is an edge spread with its levels taken to 0 and 1.
type edgeCurve struct {
	curve
	rise        [3]float64 // about where it passes 10, 50 and 90 %
	left, right sideLevel  // before that
}

func (e edgeCurve) width() float64 { return e.rise[2] - e.rise[0] }

// value is a share of the step in the values before they were taken to 0 and 1.
func (e edgeCurve) value(share float64) float64 {
	return e.left.level + share*(e.right.level-e.left.level)
}

// readEdge finds the levels far from the edge and the places between them. The
// levels and the width are found in turns, since a level is read beyond twice the width.
func readEdge(c curve) (edgeCurve, error) {
	width, err := c.roughWidth()
	if err != nil {
		return edgeCurve{}, err
	}
	var e edgeCurve
	for range 3 {
		if err := c.roomFor(width); err != nil {
			return e, err
		}
		e = levelled(c, width)
		var ok bool
		if e.rise, ok = e.curve.rise(0, 1); !ok {
			return e, noEdge("between its two sides the values neither rise nor fall clearly")
		}
		width = e.width()
	}
	return e, nil
}

// roomFor refuses a profile that does not reach the levels beside an edge.
func (c curve) roomFor(width float64) error {
	if reach := 2*width + 3; -c.at(0) < reach || c.at(len(c.e)-1) < reach {
		return fault.Invalidf("the edge is too wide for the region: from 10 %% to 90 %% it takes %.1f pixels, and there are %.1f and %.1f beside its middle", width, -c.at(0), c.at(len(c.e)-1)).
			WithHint("give a part that reaches at least %.0f pixels to both sides of the edge; where values rise evenly across the picture there is no edge", math.Ceil(reach))
	}
	return nil
}

// levelled takes the levels beyond a width's reach to 0 and 1, and ramps out.
func levelled(c curve, width float64) edgeCurve {
	left, right := findSide(c, -1, 2*width+2), findSide(c, 1, 2*width+2)
	e := edgeCurve{curve: curve{c.first, make([]float64, len(c.e)), c.n}, left: left, right: right}
	for i, v := range c.e {
		slope := right.slope
		if c.at(i) < 0 {
			slope = left.slope
		}
		e.e[i] = (v - slope*math.Abs(c.at(i)) - left.level) / (right.level - left.level)
	}
	return e
}

// sideLevel is the level of one side and its slope away from the edge.
type sideLevel struct{ level, slope float64 }

// findSide finds the level of a side from the profile beyond reach, as the best
// of three: constant; a constant approached as 1/distance, as every aperture with
// a sharp rim leaves it; and a ramp, as uneven radiance leaves it. The latter two
// are taken only where they explain far more than chance would.
func findSide(c curve, side int, reach float64) sideLevel {
	constant := regress(c, side, reach, func(float64) float64 { return 0 })
	tail := regress(c, side, reach, func(x float64) float64 { return 1 / x })
	ramp := regress(c, side, reach, func(x float64) float64 { return x })
	switch {
	case tail.betterThan(constant) && tail.rest <= ramp.rest:
		return sideLevel{level: tail.a}
	case ramp.betterThan(constant):
		return sideLevel{ramp.a, ramp.b}
	}
	return sideLevel{level: constant.a}
}

// regression is e = a + b f(x), fitted with the number of pixels as weights.
type regression struct{ a, b, rest, n float64 }

// betterThan reports whether a regression explains more than chance would.
func (r regression) betterThan(constant regression) bool {
	const significant = 16 // an F value that one in 10,000 profiles of pure noise exceeds
	return r.rest < constant.rest-1e-12*r.n && (constant.rest-r.rest)*(r.n-2) > significant*r.rest
}

func regress(c curve, side int, reach float64, f func(float64) float64) regression {
	var s, sx, sy, sxx, sxy, syy, n float64
	for i, v := range c.e {
		x := float64(side) * c.at(i)
		if x < reach || c.n[i] == 0 {
			continue
		}
		w, t := c.n[i], f(x)
		n++
		s += w
		sx += w * t
		sy += w * v
		sxx += w * t * t
		sxy += w * t * v
		syy += w * v * v
	}
	r := regression{a: sy / s, n: n}
	if den := sxx - sx*sx/s; den > 0 {
		r.b = (sxy - sx*sy/s) / den
		r.a = (sy - r.b*sx) / s
	}
	// From the differences, since the sums of squares nearly cancel.
	for i, v := range c.e {
		if x := float64(side) * c.at(i); x >= reach && c.n[i] > 0 {
			d := v - r.a - r.b*f(x)
			r.rest += c.n[i] * d * d / s * n
		}
	}
	return r
}

// window is the Tukey window of a line spread: 1 up to two widths, 0
// from four widths on, or from where the profile ends.
func (e edgeCurve) window() (flat, end float64) {
	end = min(max(4*e.width(), 4), -e.at(0), e.at(len(e.e)-1))
	return end / 2, end
}

// lineSpread is the difference of neighbouring values, windowed, and its
// derivative factor is for the caller.
func (e edgeCurve) lineSpread(flat, end float64) []float64 {
	out := make([]float64, 0, len(e.e))
	for i := 1; i < len(e.e); i++ {
		x := e.at(i) - step/2
		if math.Abs(x) < end {
			out = append(out, (e.e[i]-e.e[i-1])*taper(x, flat, end))
		}
	}
	return out
}

// modulation is the modulation transfer function at the transform's fine steps.
func (e edgeCurve) modulation(t transform, flat, end float64) []float64 {
	m := t.modulation(e.lineSpread(flat, end), 1)
	for k := range m {
		m[k] *= derivativeFactor(float64(k) * listStep / float64(t.fine))
	}
	return m
}

// edge turns an evaluation into a result with uncertainties.
func (v edgeEvaluation) edge() (Edge, error) {
	g, l := v.field, v.line
	reach := 2*v.width + 2
	if v.bins.emptyShare(reach) > 0.05 {
		return Edge{}, tooFewSteps(g, l, "the edge")
	}
	flat, end := v.whole.window()
	t := newTransform(v.width)
	m := modulations{t: t, all: v.whole.modulation(t, flat, end)}
	var rises [][3]float64
	for k := range v.bins.parts {
		c := levelled(v.bins.curve(k), v.width)
		rises = append(rises, v.rise(k, c))
		m.without = append(m.without, c.modulation(t, flat, end))
	}
	e := Edge{Line: g.place(l), MTF: m.spectrum(), FlatPx: flat, EndPx: end, evaluation: v, modulations: m}
	e.MTF50, e.MTF10 = m.fallsTo(0.5), m.fallsTo(0.1)
	at := v.rise(-1, v.whole)
	e.RisePx = jackknifed(at[2]-at[0], rises, func(at [3]float64) float64 { return at[2] - at[0] })
	e.RiseSharePx = [2]float64{at[1] - at[0], at[2] - at[1]}
	e.NoiseSD = v.bins.scatter(reach) * math.Abs(v.high.middle-v.low.middle)
	e.Low, e.High = min(v.low.middle, v.high.middle), max(v.low.middle, v.high.middle)
	e.Spread, e.LineSpread = v.whole.profiles()
	e.Warnings = e.warn()
	return e, nil
}

// place says where a line of a field lies in the frame.
func (g field) place(l line) Line {
	direction := 90 - l.degrees // the line runs down the frame, x growing by the slope
	if g.turned {
		direction = l.degrees
	}
	return Line{AngleDeg: quantity.With(math.Abs(l.degrees), l.uDegs), Along: g.axis(), DirectionDeg: math.Mod(direction+180, 180), Crossed: l.rows, BendPx: l.bend}
}

// profiles are the edge spread and its derivative.
func (e edgeCurve) profiles() (spread, lineSpread Profile) {
	for i, v := range e.e {
		spread.AtPx, spread.Value = append(spread.AtPx, e.at(i)), append(spread.Value, v)
		if i > 0 {
			lineSpread.AtPx, lineSpread.Value = append(lineSpread.AtPx, e.at(i)-step/2), append(lineSpread.Value, (v-e.e[i-1])/step)
		}
	}
	return spread, lineSpread
}

// warn says what a careful reader has to know.
func (e Edge) warn() []string {
	var w []string
	v := e.evaluation
	if e.BendPx > 0.25 {
		w = append(w, fmt.Sprintf("the edge is bent by %.2f px over the frame, which widens what is measured: give a shorter part of it", e.BendPx))
	}
	if r := e.lopsided(); r > 1.2 {
		w = append(w, fmt.Sprintf("one half of the edge is %.2f times as wide as the other: a value that is cut off, a ghost, or an edge that is not sharp itself", r))
	}
	if s := max(math.Abs(v.whole.left.slope), math.Abs(v.whole.right.slope)); s*v.width > 0.02 {
		w = append(w, fmt.Sprintf("beside the edge values change by %.1f %% of its step a pixel; that was taken out as a straight ramp", 100*s))
	}
	if e.MTF50 != nil && e.MTF50.Value > 0.5 || e.MTF50 == nil {
		w = append(w, "half of the modulation is left at half a cycle per pixel: fine detail folds back, and pixels rather than optics limit what a frame shows")
	}
	if missing := missingCount(v.field); missing > 0 {
		w = append(w, fmt.Sprintf("%d missing pixels were left out", missing))
	}
	return w
}

func missingCount(g field) int {
	n := 0
	for _, v := range g.v {
		if math.IsNaN(v) {
			n++
		}
	}
	return n
}

// lopsided is how many times wider one half of the edge is than the other.
func (e Edge) lopsided() float64 {
	r := e.RiseSharePx[0] / e.RiseSharePx[1]
	return max(r, 1/r)
}
