package sharpness

import (
	"math"

	"dieglow/catalog/fault"
)

// check refuses what looks like a wire and cannot be measured as one.
func (v *wireEvaluation) check() error {
	g, reach := v.field, 2*v.width+2
	noise := v.bins.scatter(reach)
	if n := float64(g.h) * v.width; !(noise*8 < math.Sqrt(n)) {
		return noWire("what stands out in it does not stand out of the noise")
	}
	if limit := 0.5 + 0.25*v.width + 3*noise*math.Sqrt(2*reach); v.line.scatter > limit {
		return noWire("what stands out in it is not straight: the rows scatter about a line too much")
	}
	if v.bins.emptyShare(reach) > 0.05 {
		return tooFewSteps(g, v.line, "the wire")
	}
	var r rowMeans
	r.read(v.whole.e)
	k := max(2, int(v.width/step/2))
	for i := k; i+k <= len(v.whole.e); i++ {
		if x := v.whole.at(i); math.Abs(x) > 2.5*v.width+2 && math.Abs(r.mean(i-k, i+k)) > max(1.0/3, 6*noise/math.Sqrt(float64(g.h))) {
			return fault.Invalidf("there is something else beside the wire: %.0f pixels from it values depart from their surroundings by more than a third of its height", math.Abs(x)).
				WithHint("give the part that holds one wire alone with --crop column,row,width,height")
		}
	}
	return v.clipped(noise)
}

// clipped refuses a wire whose highest value many rows share exactly, noise or not.
func (v *wireEvaluation) clipped(noise float64) error {
	top, most := math.Inf(-1), 0
	for _, p := range v.field.v {
		switch p *= v.sign; {
		case p > top:
			top, most = p, 1
		case p == top:
			most++
		}
	}
	if most*3 > v.field.h && noise > 1e-4 {
		return fault.Invalidf("the wire is cut off: %d pixels have exactly the same extreme value", most).
			WithHint("take the frame again with a range that holds the wire; a saturated wire looks wider than it is")
	}
	return nil
}
