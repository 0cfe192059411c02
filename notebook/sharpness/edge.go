package sharpness

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// Edge is what a slanted edge shows. Uncertainties are those of noise, ragged
// edges and a field that changes along the edge, as far as the rows of the frame
// show them: the standard error of the line for the angle, and for the rest the
// delete-one jackknife over blocks of consecutive rows.
type Edge struct {
	Line
	Low, High   float64           // levels of the two sides, in the frame's unit
	NoiseSD     float64           // of a pixel away from the edge, in the frame's unit
	RisePx      quantity.Estimate // from 10 % to 90 % of the edge spread
	RiseSharePx [2]float64        // its parts from 10 % to 50 % and from 50 % to 90 %
	MTF         Spectrum
	MTF50       *quantity.Estimate // cycles per pixel; nil where the modulation stays above up to 1
	MTF10       *quantity.Estimate
	Spread      Profile // from 0 to 1
	LineSpread  Profile // per pixel, before the window
	FlatPx      float64 // the window is 1 up to here
	EndPx       float64 // and 0 from here on
	Warnings    []string

	evaluation  edgeEvaluation
	modulations modulations
}

// Line is where an edge or a wire lies.
type Line struct {
	AngleDeg     quantity.Estimate // from the nearest pixel axis, 0 to 45
	Along        string            // that axis: "columns" or "rows"
	DirectionDeg float64           // from the rows, clockwise as the frame is seen, 0 to 180
	Crossed      int               // columns or rows that it was found in
	BendPx       float64           // how far a parabola departs from the line; 0 where noise hides it
}

// Profile is a curve across an edge or a wire. At is the distance in pixels.
type Profile struct{ AtPx, Value []float64 }

// MeasureEdge measures the one straight edge of a frame. The method is that of
// the slanted edge (ISO 12233): the edge is found in every row as the centroid of
// the derivative, taken between the levels of both sides; a line is fitted through
// the rows; all pixels are sorted by their distance across that line into quarters
// of a pixel; the edge spread is differenced, windowed and transformed. What
// averaging over a quarter pixel and differencing take away is given back. The
// modulation is relative to the step between the levels far from the edge, so that
// wide tails of the line spread count although the window cuts them.
//
// Fault Invalid where there is no edge, more than one, one that is cut off by
// saturation, too near to the pixel axis or to the border, or not straight.
func MeasureEdge(f frame.Frame) (Edge, error) {
	g, err := fieldOf(f, "an edge")
	if err != nil {
		return Edge{}, err
	}
	l, rising, err := findEdge(g)
	if err != nil {
		return Edge{}, err
	}
	var v edgeEvaluation
	for range 2 {
		if v, err = approach(g, l, rising); err != nil {
			return Edge{}, err
		}
		if l, err = v.refine(); err != nil {
			return Edge{}, err
		}
	}
	if err := v.evaluate(l); err != nil {
		return Edge{}, err
	}
	if err := v.check(); err != nil {
		return Edge{}, err
	}
	return v.edge()
}

// findEdge finds about where the edge lies, and whether values rise to the right.
func findEdge(g field) (line, bool, error) {
	w := max(2, min(16, g.w/10))
	up, down := edgeAnswers(g, w)
	list, rising := stronger(up, down)
	places, err := g.onLine(list, max(1.5, float64(w)/2), noEdge)
	if err != nil {
		return line{}, false, err
	}
	l, err := fitLine(places, g.h)
	return l, rising, err
}

// onLine returns the answers that lie on one line. Fault Invalid where too many do
// not, which none words, or pixels across it are missing.
func (g field) onLine(list []answer, near float64, none func(string) *fault.Error) ([]place, error) {
	l, n, clear := throughMost(list, near)
	if n < 8 || n*2 < clear {
		return nil, none(fmt.Sprintf("what stands out in it lies on one line in %d of %d %s only", n, g.h, g.crossing()))
	}
	var places []place
	inside, broken := 0, 0
	for y, a := range list {
		middle := l.at(float64(y))
		if math.Abs(a.x-middle) <= near {
			places = append(places, place{a.x, float64(y)})
		}
		if middle >= 0 && middle <= float64(g.w-1) {
			inside++
		}
		for x := max(0, int(middle-2)); x <= min(g.w-1, int(middle+3)); x++ {
			if math.IsNaN(g.v[y*g.w+x]) {
				broken++
				break
			}
		}
	}
	if broken*2 > inside {
		return nil, fault.Invalidf("pixels across it are missing in %d of %d %s", broken, inside, g.crossing()).
			WithHint("give a part without them with --crop column,row,width,height")
	}
	return places, nil
}

func noEdge(why string) *fault.Error {
	return fault.Invalidf("there is no straight edge in the picture: %s", why).WithHint("look at it with dieglow frame show, and give the part that holds the edge alone with --crop column,row,width,height")
}

func manyEdges(why string) *fault.Error {
	return fault.Invalidf("there is more than one edge: %s", why).
		WithHint("give the part that holds one edge alone with --crop column,row,width,height; a narrow strip is measured with dieglow frame wire")
}

// another finds a second step of the profile: a place where the means of a few
// pixels on either side differ by a third of what they differ by at the edge, with
// a lull in between.
func (c curve) another() (at float64, found bool) {
	const w = 4 * oversampling
	if len(c.e) < 4*w {
		return 0, false
	}
	var r rowMeans
	r.read(c.e)
	jump := make([]float64, len(c.e))
	top := 0
	for i := w; i+w <= len(c.e); i++ {
		if jump[i] = math.Abs(r.mean(i, i+w) - r.mean(i-w, i)); math.Abs(c.at(i)) <= 3 && jump[i] > jump[top] {
			top = i
		}
	}
	for _, dir := range []int{-1, 1} {
		lull := jump[top]
		for i := top; i >= w && i+w <= len(c.e); i += dir {
			lull = min(lull, jump[i])
			if jump[i] > jump[top]/3 && lull < jump[i]/2 {
				return c.at(i), true
			}
		}
	}
	return 0, false
}

// edgeEvaluation is everything that follows from a field and a line.
type edgeEvaluation struct {
	field     field
	line      line
	width     float64    // from 10 % to 90 %, roughly
	low, high levels     // along the edge, of the left and the right side
	scales    []rowScale // that take them to 0 and 1
	bins      bins
	whole     edgeCurve
	spots     [3]spot // where the profile passes 10, 50 and 90 %
}

// levels is a level that changes in proportion along an edge.
type levels struct{ middle, perRow float64 }

// approach reads from a line that need not be exact how wide the edge is and what
// the levels beside it are.
func approach(g field, l line, rising bool) (edgeEvaluation, error) {
	v := edgeEvaluation{field: g, line: l}
	flat := make([]rowScale, g.h)
	for y := range flat {
		flat[y] = rowScale{0, 1}
	}
	b := project(g, l, flat, 1)
	if b.until-b.from < 8*oversampling {
		return v, noEdge("it lies at the border")
	}
	c := b.curve(-1)
	if at, ok := c.another(); ok {
		return v, manyEdges(fmt.Sprintf("%.0f pixels beside it values step again", math.Abs(at)))
	}
	var err error
	if v.width, err = c.roughWidth(); err != nil {
		return v, err
	}
	if err := c.roomFor(v.width); err != nil {
		return v, err
	}
	v.low, v.high = sideLevels(g, l, v.width)
	if step := v.high.middle - v.low.middle; step == 0 || step > 0 != rising {
		return v, noEdge("its two sides have the same level")
	}
	v.scales = make([]rowScale, g.h)
	for y := range v.scales {
		low, high := v.low.at(float64(y), g), v.high.at(float64(y), g)
		v.scales[y] = rowScale{low, 1 / (high - low)}
	}
	return v, nil
}

// evaluate reads the edge spread across the line.
func (v *edgeEvaluation) evaluate(l line) error {
	v.line = l
	v.bins = project(v.field, l, v.scales, min(mostParts, max(2, v.field.h/6)))
	if v.bins.until-v.bins.from < 8*oversampling {
		return noEdge("it lies at the border")
	}
	var err error
	if v.whole, err = readEdge(v.bins.curve(-1)); err != nil {
		return err
	}
	v.width = v.whole.width()
	for i, share := range rises() {
		at := v.whole.rise[i]
		for range 5 { // the spot moves to where the passage is
			v.spots[i] = v.bins.enough(v.field, l, v.scales, at, 0.15*v.width)
			next := v.spots[i].passage(-1, v.whole.value(share))
			if math.IsNaN(next) || math.Abs(next-at) < 0.01*v.width {
				break
			}
			at = next
		}
	}
	return nil
}

// rises are the shares of the step between which the width is read.
func rises() [3]float64 { return [3]float64{0.1, 0.5, 0.9} }

// rise is where the pixels, without those of one part, pass those shares of the
// step of e, the profile without the same part.
func (v edgeEvaluation) rise(without int, e edgeCurve) (at [3]float64) {
	for i, share := range rises() {
		at[i] = v.spots[i].passage(without, e.value(share))
	}
	return at
}

func (v levels) at(y float64, g field) float64 {
	return v.middle + v.perRow*(y-float64(g.h-1)/2)
}

// roughWidth is the 10 to 90 % width between the levels of the outermost eighths.
func (c curve) roughWidth() (float64, error) {
	n := max(4, len(c.e)/8)
	mean := func(e []float64) float64 {
		s := 0.0
		for _, v := range e {
			s += v
		}
		return s / float64(len(e))
	}
	low, high := mean(c.e[:n]), mean(c.e[len(c.e)-n:])
	r, ok := c.rise(low, high)
	if !ok {
		return 0, noEdge("between its two sides the values neither rise nor fall clearly")
	}
	return r[2] - r[0], nil
}

// rise is where a profile passes 10, 50 and 90 % of the way between two levels.
func (c curve) rise(low, high float64) (at [3]float64, ok bool) {
	sign := math.Copysign(1, high-low)
	n := curve{c.first, make([]float64, len(c.e)), c.n}
	for i, v := range c.e {
		n.e[i] = sign * (v - low)
	}
	height := sign * (high - low)
	middle := nearestCrossing(n, height/2)
	if middle < 0 {
		return at, false
	}
	var found [3]bool
	at[0], found[0] = n.crossing(0.1*height, middle, -1, false)
	at[1], found[1] = n.crossing(0.5*height, middle, 1, true)
	at[2], found[2] = n.crossing(0.9*height, middle, 1, true)
	return at, found[0] && found[1] && found[2] && at[2] > at[0]
}

// nearestCrossing is the first index past the upward passage of a level that lies
// nearest to the line, -1 without any.
func nearestCrossing(c curve, level float64) int {
	best, distance := -1, math.Inf(1)
	for i := 1; i < len(c.e); i++ {
		if d := math.Abs(c.at(i)); c.e[i-1] < level && c.e[i] >= level && d < distance {
			best, distance = i, d
		}
	}
	return best
}

// sideLevels fits the levels of both sides, beyond the edge's width and near it,
// as they run along the edge.
func sideLevels(g field, l line, width float64) (left, right levels) {
	inner := width*1.5 + 1
	outer := inner + max(16, 2*width)
	var a, b []place
	for y := range g.h {
		middle := l.at(float64(y))
		if m, ok := g.rowMean(y, middle-outer/l.cos, middle-inner/l.cos); ok {
			a = append(a, place{m, float64(y) - float64(g.h-1)/2})
		}
		if m, ok := g.rowMean(y, middle+inner/l.cos, middle+outer/l.cos); ok {
			b = append(b, place{m, float64(y) - float64(g.h-1)/2})
		}
	}
	return alongEdge(a), alongEdge(b)
}

func alongEdge(p []place) levels {
	if len(p) < 4 {
		return levels{middle: math.NaN()}
	}
	l := leastSquares(p)
	return levels{l.at(0), l.slope}
}

// rowMean is the mean of the pixels of a row between two columns, if there are two.
func (g field) rowMean(y int, from, until float64) (float64, bool) {
	a, z := max(0, int(math.Ceil(from))), min(g.w-1, int(math.Floor(until)))
	sum, n := 0.0, 0
	for x := a; x <= z; x++ {
		if v := g.v[y*g.w+x]; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	return sum / float64(n), n >= 2
}

// refine finds the edge in every row anew and fits the line. Between the two
// levels the centroid of the derivative is where a sharp step would leave the same
// sum of values, which does not hang on the noise of single pixels far away.
func (v edgeEvaluation) refine() (line, error) {
	g, l := v.field, v.line
	reach := (2*v.width + 2) / l.cos
	var places []place
	inside := 0
	for y := range g.h {
		middle := l.at(float64(y))
		a, z := int(math.Round(middle-reach)), int(math.Round(middle+reach))
		if a < 0 || z >= g.w {
			continue
		}
		inside++
		s, sum := v.scales[y], 0.0
		for _, p := range g.v[y*g.w+a : y*g.w+z+1] {
			sum += 1 - (p-s.offset)*s.factor
		}
		if !math.IsNaN(sum) {
			places = append(places, place{float64(a) - 0.5 + sum, float64(y)})
		}
	}
	if len(places) < max(8, inside/2) {
		return l, fault.Invalidf("the edge can be followed in %d of %d %s only", len(places), g.h, g.crossing()).
			WithHint("crop so that the whole width of the edge lies inside, and without missing pixels across it; --bad 6 replaces pixels that stand out")
	}
	return fitLine(places, g.h)
}
