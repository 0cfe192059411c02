package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// A folded system is unfolded: behind a mirror the axis goes on to the right,
// as if the other leg had been reflected in the mirror's vertex plane, so that
// gaps stay positive and every element behind is described as light meets it.
// The sign of a mirror's radius is that of any surface, seen by the light that
// comes in: concave towards the light is negative, f = -R/2 positive. A plane
// mirror changes nothing but the light and, at an angle of incidence, the
// width that its clear aperture shows the beam. Each reflection turns the image
// into its mirror image, which signs of magnification do not show: count them
// with Stack.Reflections.
//
// A curved mirror is taken at normal incidence, where light comes back through
// the space it came from; whether an element there shades the beam is not
// looked at.

// mirrorFocalMM is the focal length of a spherical mirror, +Inf for a plane.
func mirrorFocalMM(radiusMM float64) float64 {
	c := curvature(radiusMM)
	if c == 0 {
		return math.Inf(1)
	}
	return -1 / (2 * c)
}

// Mirror returns a first-surface mirror. radiusMM is negative for a mirror
// concave towards the light, 0 or infinite for a plane.
func Mirror(radiusMM, reflectance float64) Element {
	return Element{Mirror: true, Radius1MM: radiusMM, Reflectance: reflectance}
}

// Reflections counts the mirrors: where it is odd, the picture is a mirror image.
func (s Stack) Reflections() int {
	n := 0
	for _, m := range s {
		if m.Element.Mirror {
			n++
		}
	}
	return n
}

// mirrorSemiAperture is the clear semi-aperture as the beam sees it: a tilted
// one is an ellipse, of which the short half-axis counts on every side.
func (e Element) mirrorSemiAperture() float64 {
	return e.semiAperture(0) * math.Cos(e.IncidenceDeg*math.Pi/180)
}

func (e Element) validateMirror() error {
	name := e.title()
	if e.Name == "" {
		name = "the mirror"
	}
	switch {
	case e.FocalMM != 0 || e.N != 0:
		return fault.Invalidf("%s has a focal length or an index", name).WithHint("type its radius, negative for one concave towards the light: a focal length of 50mm is a radius of -100mm")
	case curvature(e.Radius2MM) != 0 || e.ThicknessMM != 0 || e.SemiAperture2MM != 0:
		return fault.Invalidf("%s has a second surface or a thickness", name).WithHint("type one radius only: light does not enter a first-surface mirror")
	case !(e.Reflectance > 0 && e.Reflectance <= 1):
		return fault.Invalidf("%s: the reflectance %g is not above 0 and at most 1", name, e.Reflectance).WithHint("type what the maker states, for example 0.97")
	case e.IncidenceDeg >= 90:
		return fault.Invalidf("%s: light does not reach it at %g degrees from its normal", name, e.IncidenceDeg).WithHint("type an angle of incidence below 90 degrees, for example 45")
	case e.IncidenceDeg != 0 && curvature(e.Radius1MM) != 0:
		return fault.Invalidf("%s is curved and stands at an angle", name).WithHint("fold with a plane mirror: a tilted sphere has no common axis with the rest")
	}
	if half := max(e.DiameterMM/2, e.SemiAperture1MM); half*math.Abs(curvature(e.Radius1MM)) > 1 {
		return fault.Invalidf("%s: a radius of %g mm does not reach half its diameter, %g mm", name, e.Radius1MM, half).
			WithHint("type a radius of at least %gmm either way, or a diameter of at most %gmm", half, 2*math.Abs(e.Radius1MM))
	}
	if e.DiameterMM > 0 && e.SemiAperture1MM > e.DiameterMM/2 {
		return fault.Invalidf("%s is clear to %g mm from the axis, beyond half its diameter, %g mm", name, e.SemiAperture1MM, e.DiameterMM/2).
			WithHint("type a clear aperture no larger than the diameter of %gmm", e.DiameterMM)
	}
	return nil
}
