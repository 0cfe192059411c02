package plan

import (
	"math"

	"dieglow/catalog/optics"
)

// beam is two axial rays on their way from the camera, at radii of the pupil whose
// squares are the nodes of Gauss-Legendre quadrature: means over the pupil are
// right to the third power of the radius squared, as third-order spherical
// aberration needs.
type beam struct {
	rays [2]optics.Ray
	lost [2]bool
}

// nodes are those radii.
func nodes() [2]float64 {
	r := math.Sqrt(1.0 / 12)
	return [2]float64{math.Sqrt(0.5 - r), math.Sqrt(0.5 + r)}
}

// moved says that what stands at a level and before the specimen from there is new.
func (c *screener) moved(level int) {
	c.traced, c.summed = min(c.traced, level), min(c.summed, level)
}

// survive traces a stack that passed the screening, and keeps it if it is the
// sharpest of its bucket.
func (c *screener) survive(level int, p, q float64) {
	pixel, distance := c.pitchUM/(c.scale*math.Abs(p)), -q/p
	if math.IsInf(pixel, 0) || math.IsInf(distance, 0) {
		return
	}
	if c.passed++; c.before+c.passed <= mostRefined {
		c.few = append(c.few, c.placed(c.now))
	}
	at := bin(pixel, 3, pixelBins)*distanceBins + bin(distance, 2, distanceBins)
	// With the camera's pupil as the stop NA is proportional to the magnification.
	least := c.combined(pixel, c.pitchUM/pixel*c.pupilMM/c.arrayMM, 0)
	good := &c.buckets[2*at]
	if good.set == c.set && good.best.barUM*(1-alike) <= least || c.hopeless(level, pixel, good) {
		return
	}
	c.counts.Traced++
	for ; c.traced <= level; c.traced++ {
		c.pass(c.traced)
	}
	b := &c.beams[level]
	now := c.now
	shift, rms, na, ok := c.focus(b, distance)
	if !ok {
		return
	}
	now.pixelUM, now.fieldMM = pixel, pixel*c.shortMM/c.pitchUM
	now.clearanceMM = distance + shift - c.variants[c.chosen[level]].rimMM
	now.barUM = c.combined(pixel, na, 1000*rms)
	if now.clearanceMM <= 0 {
		return
	}
	now.meets = now.clearanceMM >= c.wishes.ClearanceMM && now.fieldMM >= c.wishes.FieldMM
	if !now.meets {
		at = 2*at + 1
	} else {
		at *= 2
	}
	slot := &c.buckets[at]
	if slot.set == c.set && slot.best.barUM <= now.barUM {
		return
	}
	if slot.set != c.set {
		c.touched = append(c.touched, int32(at))
	}
	slot.set, slot.best = c.set, c.placed(now)
}

// placed completes a candidate with where its lenses stand. Its places count from
// the specimen, levels from the camera.
func (c *screener) placed(now candidate) candidate {
	for i := range c.depth {
		now.variant[i], now.gap[i] = int16(c.chosen[c.depth-1-i]), int8(c.gapIndex[c.depth-1-i])
	}
	return now
}

// bin is a cell of a grid from 1/4 upwards with 2^bits cells to each doubling, read
// off the number's own exponent and first digits since a logarithm would cost more
// than a ray.
func bin(v float64, bits, bins int) int {
	cell := func(v float64) int { return int(math.Float64bits(v) >> (52 - bits)) }
	return min(max(cell(v)-cell(0.25), 0), bins-1)
}

// combined estimates the smallest bar from what each cause alone would leave.
func (s *space) combined(pixelUM, na, rmsUM float64) float64 {
	d, b, x := s.barDiffraction*s.WavelengthUM/na, s.barBlur*rmsUM, s.barPixel*pixelUM
	return max(pixelUM, math.Sqrt(d*d+b*b+x*x))
}

// pass traces the beam through the lens at a level, from the one before.
func (c *screener) pass(level int) {
	b := &c.beams[level]
	v := &c.variants[c.chosen[level]]
	if level == 0 {
		standoff := c.LastGapsMM[c.gapIndex[0]]
		for i, r := range c.radii {
			b.rays[i], b.lost[i] = optics.RayAt(0, r*c.pupilMM, -standoff, 0, -r*c.pupilMM/c.Camera.FocusMM), false
		}
	} else {
		*b = c.beams[level-1]
		for i := range b.rays {
			b.rays[i].Z -= c.GapsMM[c.gapIndex[level]]
		}
	}
	for i := range b.rays {
		if b.lost[i] {
			continue
		}
		var outcome optics.Outcome
		b.rays[i], outcome = v.back.Trace(b.rays[i])
		b.lost[i] = outcome.Fate != optics.Passed
	}
}

// focus is the best focus of a beam behind the first vertex, less distance, the
// rms radius of the blur there, and about the numerical aperture.
func (c *screener) focus(b *beam, distance float64) (shift, rms, na float64, ok bool) {
	var yy, yt, tt, count float64
	for i := range b.rays {
		if b.lost[i] {
			continue
		}
		r := &b.rays[i]
		t := r.M / r.N
		y := r.Y + (distance-r.Z)*t
		yy, yt, tt, count = yy+y*y, yt+y*t, tt+t*t, count+1
		na = math.Abs(r.M) / c.radii[i]
	}
	if !(tt > 0) {
		return 0, 0, 0, false
	}
	shift = -yt / tt
	if b.lost[1] { // the aperture ends about here
		na *= c.radii[1]
	}
	return shift, math.Sqrt(max(0, yy-yt*yt/tt) / count), min(na, 1), true
}

// harvest moves the set's candidates out, those that another of the set beats in
// bar, field and clearance left out.
func (c *screener) harvest() {
	c.before, c.passed = c.others.Add(c.passed), 0
	all := c.alike[:0]
	for _, at := range c.touched {
		b := c.buckets[at].best
		if c.wishes.ResolveUM > 0 && b.barUM > c.wishes.ResolveUM*(1+2*Margin) {
			continue
		}
		all = append(all, b)
	}
	c.alike = all
	c.out = append(c.out, fewer(ofSet(all))...)
}
