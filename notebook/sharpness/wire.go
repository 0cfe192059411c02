package sharpness

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// Wire is what a slanted thin wire, or any narrow straight line, shows.
// Uncertainties as those of Edge.
type Wire struct {
	Line
	Cold       bool    // colder than its surroundings
	Background float64 // in the frame's unit
	Peak       float64
	NoiseSD    float64           // of a pixel beside it
	FWHMPx     quantity.Estimate // width at half of the peak, wire and all
	WidthPx    *quantity.Estimate
	MTF        Spectrum // with the wire's own width divided out where it was given; NaN where that is no longer possible
	MTF50      *quantity.Estimate
	MTF10      *quantity.Estimate
	LineSpread Profile // 1 at the peak
	FlatPx     float64 // the window is 1 up to here
	EndPx      float64 // and 0 from here on
	Warnings   []string

	modulations modulations
	wider       *modulations // for a wire wider by a standard uncertainty of its width; nil: that has none
}

// leastWireFactor is the modulation of the wire's own width down to which it is
// divided out; below, noise is made too much of.
const leastWireFactor = 0.4

// MeasureWire measures the one straight wire of a frame, hot or cold. The wire is
// found in every row as the centroid of what departs from the level beside it, a
// line is fitted through the rows, and all pixels are sorted by their distance
// across it into quarters of a pixel: the line spread, windowed and transformed.
//
// widthPx, nil where not known, is how wide the wire itself appears, in pixels. A
// round wire of even temperature and emissivity that does not depend on the angle
// radiates like a flat strip of its diameter, whose modulation sin(pi w f)/(pi w f)
// is divided out of the transfer function; the width at half the peak stays as it
// is seen.
//
// Fault Invalid where there is no wire, more than one, one that is cut off by
// saturation, too near to the pixel axis or to the border, or not straight.
func MeasureWire(f frame.Frame, widthPx *quantity.Estimate) (Wire, error) {
	if widthPx != nil && !(widthPx.Value > 0) {
		return Wire{}, fault.Invalidf("a wire %g pixels wide", widthPx.Value).WithHint("give its diameter, for example --diameter 25um")
	}
	g, err := fieldOf(f, "a wire")
	if err != nil {
		return Wire{}, err
	}
	v := wireEvaluation{field: g}
	if err := v.find(); err != nil {
		return Wire{}, err
	}
	for range 2 {
		if err := v.approach(); err != nil {
			return Wire{}, err
		}
		if err := v.refine(); err != nil {
			return Wire{}, err
		}
	}
	if err := v.evaluate(); err != nil {
		return Wire{}, err
	}
	if err := v.check(); err != nil {
		return Wire{}, err
	}
	return v.wire(widthPx), nil
}

// wireEvaluation is everything that follows from a field and a line.
type wireEvaluation struct {
	field  field
	line   line
	sign   float64 // -1 for a cold wire
	width  float64 // at half of the peak, roughly
	base   levels  // of the surroundings
	height float64 // of the peak over them
	scales []rowScale
	bins   bins
	whole  wireCurve
	top    spot
	flanks [2]spot
}

func noWire(why string) *fault.Error {
	return fault.Invalidf("there is no straight wire in the picture: %s", why).WithHint("look at it with dieglow frame show, and give the part that holds the wire alone with --crop column,row,width,height")
}

// find finds about where the wire lies, with the breadth of those tried that makes
// it stand out most.
func (v *wireEvaluation) find() error {
	g, best := v.field, 0.0
	var list []answer
	var near float64
	for w := 2; w*5 <= g.w && w <= 32; w *= 2 {
		hot, cold := wireAnswers(g, w)
		one, isHot := stronger(hot, cold)
		strengths := make([]float64, len(one))
		for i, a := range one {
			strengths[i] = a.strength
		}
		if s := median(strengths) * math.Sqrt(float64(w)); s > best {
			best, list, near, v.sign = s, one, max(1.5, float64(w)/2), 1
			if !isHot {
				v.sign = -1
			}
		}
	}
	places, err := g.onLine(list, near, noWire)
	if err != nil {
		return err
	}
	v.line, err = fitLine(places, g.h)
	return err
}

// approach reads about how wide the wire is and what the level beside it is.
func (v *wireEvaluation) approach() error {
	g := v.field
	v.scales = make([]rowScale, g.h)
	for y := range v.scales {
		v.scales[y] = rowScale{0, v.sign}
	}
	b := project(g, v.line, v.scales, 1)
	if b.until-b.from < 8*oversampling {
		return noWire("it lies at the border")
	}
	c := b.curve(-1)
	n := max(4, len(c.e)/8)
	base := median(append(append([]float64{}, c.e[:n]...), c.e[len(c.e)-n:]...))
	peak := 0
	for i := range c.e {
		if math.Abs(c.at(i)) <= 3 && (math.Abs(c.at(peak)) > 3 || c.e[i] > c.e[peak]) {
			peak = i
		}
	}
	v.height = c.e[peak] - base
	left, okl := c.crossing(base+v.height/2, peak, -1, false)
	right, okr := c.crossing(base+v.height/2, peak, 1, false)
	if !okl || !okr || !(v.height > 0) {
		return noWire("what stands out in it does not return to the level beside it")
	}
	v.width = right - left
	if reach := 4*v.width + 3; -c.at(0) < reach || c.at(len(c.e)-1) < reach {
		return fault.Invalidf("the wire is too wide for the region: at half its height it takes %.1f pixels, and there are %.1f and %.1f beside its middle", v.width, -c.at(0), c.at(len(c.e)-1)).
			WithHint("give a part that reaches at least %.0f pixels to both sides of the wire", math.Ceil(reach))
	}
	low, high := sideLevels(g, v.line, v.width)
	v.base = levels{(low.middle + high.middle) / 2, (low.perRow + high.perRow) / 2}
	for y := range v.scales {
		v.scales[y] = rowScale{v.base.at(float64(y), g), v.sign / v.height}
	}
	return nil
}

// refine finds the wire in every row anew and fits the line.
func (v *wireEvaluation) refine() error {
	g, l := v.field, v.line
	reach := (1.5*v.width + 1.5) / l.cos
	var places []place
	inside := 0
	for y := range g.h {
		middle := l.at(float64(y))
		a, z := int(math.Round(middle-reach)), int(math.Round(middle+reach))
		if a < 0 || z >= g.w {
			continue
		}
		inside++
		s := v.scales[y]
		var sum, moment float64
		for x := a; x <= z; x++ {
			p := (g.v[y*g.w+x] - s.offset) * s.factor
			sum += p
			moment += p * (float64(x) - middle)
		}
		if m := moment / sum; math.Abs(m) < reach && sum > 0 { // not where pixels are missing
			places = append(places, place{middle + m, float64(y)})
		}
	}
	if len(places) < max(8, inside/2) {
		return fault.Invalidf("the wire can be followed in %d of %d %s only", len(places), g.h, g.crossing()).
			WithHint("crop so that its whole width lies inside, and without missing pixels across it; --bad 6 replaces pixels that stand out")
	}
	var err error
	v.line, err = fitLine(places, g.h)
	return err
}

// wireCurve is a line spread over the level beside it.
type wireCurve struct {
	curve
	flat, end float64    // of the window
	tail      [2]float64 // what lies beyond it on either side
}

// evaluate reads the line spread across the line.
func (v *wireEvaluation) evaluate() error {
	v.bins = project(v.field, v.line, v.scales, min(mostParts, max(2, v.field.h/6)))
	if v.bins.until-v.bins.from < 8*oversampling {
		return noWire("it lies at the border")
	}
	v.whole = v.read(-1)
	v.top = v.spotAt(0, 0.2*v.width)
	v.top = v.spotAt(v.top.summit(-1), 0.2*v.width)
	for i, dir := range []float64{-1, 1} {
		at := v.top.at + dir*v.width/2
		for range 5 {
			v.flanks[i] = v.spotAt(at, 0.15*v.width)
			next := v.flanks[i].passage(-1, v.half(-1))
			if math.IsNaN(next) || math.Abs(next-at) < 0.01*v.width {
				break
			}
			at = next
		}
	}
	return nil
}

// spotAt gathers pixels about a distance, as widely as it takes for a parabola.
func (v *wireEvaluation) spotAt(at, reach float64) spot {
	return v.bins.enough(v.field, v.line, v.scales, at, reach)
}

// read takes the level beside the wire off the profile without one part.
func (v *wireEvaluation) read(without int) wireCurve {
	c := v.bins.curve(without)
	reach := 2*v.width + 2
	w := wireCurve{curve: curve{c.first, make([]float64, len(c.e)), c.n}, end: min(max(4*v.width, 4), -c.at(0), c.at(len(c.e)-1))}
	w.flat = w.end / 2
	left, leftTail := findBase(c, -1, reach)
	right, rightTail := findBase(c, 1, reach)
	w.tail = [2]float64{leftTail / w.end, rightTail / w.end}
	for i, e := range c.e {
		t := max(0, min(1, (c.at(i)/reach+1)/2))
		slope := right.slope
		if c.at(i) < 0 {
			slope = left.slope
		}
		w.e[i] = e - (1-t)*left.level - t*right.level - slope*math.Abs(c.at(i))
	}
	return w
}

// findBase is findSide for a line spread, whose tails fall as 1/distance squared;
// tail is the factor of that, and tail/x the area beyond x.
func findBase(c curve, side int, reach float64) (base sideLevel, tail float64) {
	constant := regress(c, side, reach, func(float64) float64 { return 0 })
	falling := regress(c, side, reach, func(x float64) float64 { return 1 / (x * x) })
	ramp := regress(c, side, reach, func(x float64) float64 { return x })
	switch {
	case falling.betterThan(constant) && falling.rest <= ramp.rest && falling.b > 0:
		return sideLevel{level: falling.a}, falling.b
	case ramp.betterThan(constant):
		return sideLevel{ramp.a, ramp.b}, 0
	}
	return sideLevel{level: constant.a}, 0
}

// half is half of the peak, of the pixels without those of one part. The base is
// that of the whole profile.
func (v *wireEvaluation) half(without int) float64 {
	i := -v.bins.from - v.bins.first
	base := v.bins.curve(-1).e[i] - v.whole.e[i]
	return base + (v.top.peak(without)-base)/2
}

func (v *wireEvaluation) fwhm(without int) float64 {
	half := v.half(without)
	return v.flanks[1].passage(without, half) - v.flanks[0].passage(without, half)
}

// modulation is the transfer function at the fine steps, over the whole area of
// the line spread.
func (w wireCurve) modulation(t transform) []float64 {
	area := (w.tail[0] + w.tail[1]) / step
	var windowed []float64
	for i, e := range w.e {
		if x := w.at(i); math.Abs(x) < w.end {
			windowed = append(windowed, e*taper(x, w.flat, w.end))
			area += e
		}
	}
	return t.modulation(windowed, area)
}

// withoutWidth divides a strip's own modulation out of a transfer function.
func (t transform) withoutWidth(m []float64, widthPx float64) []float64 {
	out := make([]float64, len(m))
	for k := range m {
		x := math.Pi * widthPx * float64(k) * listStep / float64(t.fine)
		s := 1.0
		if x > 0 {
			s = math.Sin(x) / x
		}
		if out[k] = math.NaN(); s >= leastWireFactor && (k == 0 || !math.IsNaN(out[k-1])) {
			out[k] = m[k] / s
		}
	}
	return out
}

// wire turns an evaluation into a result with uncertainties.
func (v *wireEvaluation) wire(widthPx *quantity.Estimate) Wire {
	seen := modulations{t: newTransform(v.width)}
	seen.all = v.whole.modulation(seen.t)
	var widths []float64
	for k := range v.bins.parts {
		seen.without = append(seen.without, v.read(k).modulation(seen.t))
		widths = append(widths, v.fwhm(k))
	}
	w := Wire{Line: v.field.place(v.line), Cold: v.sign < 0, WidthPx: widthPx, FlatPx: v.whole.flat, EndPx: v.whole.end, modulations: seen}
	if widthPx != nil {
		w.modulations = seen.narrower(widthPx.Value)
		if u, _ := widthPx.StandardU(); u > 0 {
			other := seen.narrower(widthPx.Value + u)
			w.wider = &other
		}
	}
	w.MTF = w.modulations.spectrum()
	if w.wider != nil {
		for k, other := range seen.t.list(w.wider.all) {
			w.MTF.U[k] = math.Hypot(w.MTF.U[k], other-w.MTF.Modulation[k])
		}
	}
	w.MTF50, w.MTF10 = w.fallsTo(0.5), w.fallsTo(0.1)
	w.FWHMPx = quantity.With(v.fwhm(-1), spreadOf(widths))
	peak := v.top.peak(-1)
	w.NoiseSD = v.bins.scatter(2*v.width+2) * v.height
	w.Background, w.Peak = v.base.middle, v.base.middle+peak*v.height*v.sign
	for i, e := range v.whole.e {
		w.LineSpread.AtPx, w.LineSpread.Value = append(w.LineSpread.AtPx, v.whole.at(i)), append(w.LineSpread.Value, e/peak)
	}
	w.Warnings = v.warn(w)
	return w
}

// narrower divides a strip's own modulation out.
func (m modulations) narrower(widthPx float64) modulations {
	out := modulations{t: m.t, all: m.t.withoutWidth(m.all, widthPx)}
	for _, w := range m.without {
		out.without = append(out.without, m.t.withoutWidth(w, widthPx))
	}
	return out
}

// fallsTo is where the modulation falls to a level, with what the wire's width is
// uncertain by.
func (w Wire) fallsTo(level float64) *quantity.Estimate {
	f := w.modulations.fallsTo(level)
	if f == nil || w.wider == nil {
		return f
	}
	if other, ok := w.wider.t.firstBelow(w.wider.all, level); ok {
		u, _ := f.StandardU()
		*f = quantity.With(f.Value, math.Hypot(u, other-f.Value))
	}
	return f
}

func (v *wireEvaluation) warn(w Wire) []string {
	var out []string
	if w.BendPx > 0.25 {
		out = append(out, fmt.Sprintf("the wire is bent by %.2f px over the frame, which widens what is measured: give a shorter part of it", w.BendPx))
	}
	if w.WidthPx == nil {
		out = append(out, "the wire's own width is in the result, since it was not given: the optics are sharper than this")
	} else if w.WidthPx.Value > 0.8*w.FWHMPx.Value {
		out = append(out, fmt.Sprintf("the wire takes %.1f of the %.1f pixels it appears wide: little can be said about the blur", w.WidthPx.Value, w.FWHMPx.Value))
	}
	if missing := missingCount(v.field); missing > 0 {
		out = append(out, fmt.Sprintf("%d missing pixels were left out", missing))
	}
	return out
}
