package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// touching is how far surfaces may overlap before they count as crossing, in
// mm: what is left of rounding where two surfaces in contact are alike.
const touching = 1e-9

// CheckFit reports the first place where the stack cannot be built: a lens whose
// surfaces meet inside its clear apertures, or facing surfaces of neighbours
// that would cross. Facing surfaces are compared at the smaller of the two half
// diameters, or clear semi-apertures where a diameter is not stated; that is
// where spheres come closest or overlap most. Thin lenses have no shape, so the
// gaps on either side of one are not looked at.
//
// Fault Invalid, naming both surfaces and the gap they need; faults of Validate.
func (s Stack) CheckFit() error {
	if err := s.Validate(); err != nil {
		return err
	}
	for i, m := range s {
		e := m.Element
		h := min(e.semiAperture(0), e.semiAperture(1))
		if e.N == 0 || math.IsInf(h, 1) {
			continue
		}
		if at := e.ThicknessMM - sag(e.Radius1MM, h) + sag(e.Radius2MM, h); at <= 0 {
			return fault.Invalidf("%s: surfaces 1 and 2 meet within the clear aperture: at %.4g mm from the axis the thickness is %.4g mm", s.name(i), h, at).
				WithHint("type a centre thickness above %.4gmm, or a smaller clear aperture", e.ThicknessMM-at)
		}
	}
	for i := range len(s) - 1 {
		needed, h := s.NeededGapMM(i)
		if needed > s[i].GapAfterMM+touching {
			return fault.Invalidf("%s and %s would cross: at %s from the axis they need a gap of %s mm between their vertices, and it is %s",
				s.rear(i), s.front(i+1), shown(h, "mm"), roundedUp(needed), shown(s[i].GapAfterMM, "mm")).
				WithHint("make the gap after %s at least %smm, or turn one of the two round", s.name(i), roundedUp(needed))
		}
	}
	return nil
}

// NeededGapMM returns the smallest gap between the vertices of element i and the
// next one at which their facing surfaces do not cross, and the height at which
// they then touch. 0 when they touch at the vertices first, or when nothing
// states how large or how curved they are.
func (s Stack) NeededGapMM(i int) (gapMM, atMM float64) {
	e, next := s[i].Element, s[i+1].Element
	h := min(e.rim(), next.rim())
	if e.IsThin() || next.IsThin() || math.IsInf(h, 1) {
		return 0, h
	}
	return max(0, e.rearSag(h)-next.frontSag(h)), h
}

// rim is how far from the axis the body of the element reaches, +Inf where
// neither a diameter nor clear apertures are stated.
func (e Element) rim() float64 {
	switch {
	case e.DiameterMM > 0:
		return e.DiameterMM / 2
	case e.Mirror:
		return e.semiAperture(0)
	}
	return max(e.semiAperture(0), e.semiAperture(1))
}

// frontSag is how far the surface that light meets first lies behind its vertex
// at height h.
func (e Element) frontSag(h float64) float64 {
	switch {
	case e.IsThin():
		return 0
	case e.Mirror && e.IncidenceDeg != 0:
		return -e.tiltReach(h)
	}
	return sag(e.Radius1MM, h)
}

// tiltReach is how far along the axis a tilted plane mirror reaches, to either leg,
// within the height h: its face rises by tan(angle), as far as its rim.
func (e Element) tiltReach(h float64) float64 {
	tilt := e.IncidenceDeg * math.Pi / 180
	return min(h*math.Tan(tilt), e.rim()*math.Sin(tilt))
}

// rearSag is how far the surface that light leaves lies behind its vertex at
// height h. A mirror's leaving leg is unfolded, which turns its sagitta round.
func (e Element) rearSag(h float64) float64 {
	switch {
	case e.IsThin():
		return 0
	case e.Mirror && e.IncidenceDeg != 0:
		return e.tiltReach(h)
	case e.Mirror:
		return -sag(e.Radius1MM, h)
	}
	return sag(e.Radius2MM, h)
}

func (s Stack) front(i int) string {
	if s[i].Element.Mirror {
		return s.name(i)
	}
	return s.name(i) + ", surface 1"
}

func (s Stack) rear(i int) string {
	if s[i].Element.Mirror {
		return s.name(i)
	}
	return s.name(i) + ", surface 2"
}
