// Package optics traces stacks of lenses and mirrors in air, alone and in front
// of a camera that keeps its own lens: to first order (paraxially), by exact
// rays, and by what these say of sharpness, light, temperature and tolerances.
//
// Light travels from the first element to the last, left to right, and the
// specimen stands before the first. A surface whose centre of curvature lies
// behind it, to the right, has a positive radius. Lengths are in millimetres,
// wavelengths and pixels in micrometres. The package is pure: no files, no clock.
package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Element is one lens in air: thick when N is set, an ideal thin lens when
// FocalMM is set instead; or a first-surface mirror when Mirror is set.
// Validate tells which combinations make sense.
type Element struct {
	Name string // what messages call it; may be empty

	FocalMM float64 // thin lens: focal length, negative for a diverging lens; 0 for a thick lens

	N           float64 // thick lens: refractive index at the wavelength in use, above 1; 0 for a thin lens
	Radius1MM   float64 // thick lens: radius of the first surface; 0 or infinite is a plane
	Radius2MM   float64 // thick lens: radius of the second surface; 0 or infinite is a plane
	ThicknessMM float64 // thick lens: centre thickness

	Mirror       bool    // a first-surface mirror of radius Radius1MM; see mirror.go for signs
	Reflectance  float64 // mirror: share of the light it sends on, above 0 and at most 1
	IncidenceDeg float64 // plane mirror: angle between the axis and its normal, below 90

	DiameterMM float64 // outer diameter; 0 when not stated
	// Clear semi-apertures of the two surfaces; 0 takes half the diameter, or no
	// limit where that is not stated either. A thin lens is limited by the smaller.
	SemiAperture1MM, SemiAperture2MM float64
}

// Thin returns an ideal thin lens of the given focal length.
func Thin(focalMM float64) Element { return Element{FocalMM: focalMM} }

// IsThin reports whether the element is an ideal thin lens.
func (e Element) IsThin() bool { return e.N == 0 && !e.Mirror }

// Flip returns the element turned round, last surface first. Turning twice
// gives the element back. A mirror works with one face only and stays as it is:
// in a stack turned round, light meets the same face from the other leg.
func (e Element) Flip() Element {
	if e.Mirror {
		return e
	}
	e.Radius1MM, e.Radius2MM = reversedRadius(e.Radius2MM), reversedRadius(e.Radius1MM)
	e.SemiAperture1MM, e.SemiAperture2MM = e.SemiAperture2MM, e.SemiAperture1MM
	return e
}

// reversedRadius changes the sign of a radius and leaves a plane as it is, so
// that no negative zero or infinity appears.
func reversedRadius(r float64) float64 {
	if curvature(r) == 0 {
		return r
	}
	return -r
}

// curvature is 1/r in 1/mm, 0 for a plane.
func curvature(radiusMM float64) float64 {
	if radiusMM == 0 || math.IsInf(radiusMM, 0) {
		return 0
	}
	return 1 / radiusMM
}

// sag is how far a surface of the given radius lies behind its vertex at height
// h, for h <= |radius|; negative where the surface bends forward.
func sag(radiusMM, h float64) float64 {
	c := curvature(radiusMM)
	return c * h * h / (1 + math.Sqrt(max(0, 1-c*c*h*h)))
}

// EdgeThicknessMM returns the thickness at half the diameter: the centre
// thickness less the sagittas of the surfaces. NaN when the diameter is not
// stated, a surface does not reach it, or the element is thin or a mirror.
func (e Element) EdgeThicknessMM() float64 {
	h := e.DiameterMM / 2
	for _, r := range []float64{e.Radius1MM, e.Radius2MM} {
		if h*math.Abs(curvature(r)) > 1 {
			return math.NaN()
		}
	}
	if !(h > 0) || e.N == 0 {
		return math.NaN()
	}
	return e.ThicknessMM - sag(e.Radius1MM, h) + sag(e.Radius2MM, h)
}

// FocalLengthMM returns the focal length by the lens maker's formula,
// 1/f = (n-1) [1/R1 - 1/R2 + (n-1) t/(n R1 R2)]; +Inf for an element without
// power. Zero thickness gives the thin form; a mirror has -R/2. The element is
// not validated.
func (e Element) FocalLengthMM() float64 {
	if e.Mirror {
		return mirrorFocalMM(e.Radius1MM)
	}
	if e.IsThin() {
		return e.FocalMM
	}
	c1, c2 := curvature(e.Radius1MM), curvature(e.Radius2MM)
	power := (e.N - 1) * (c1 - c2 + (e.N-1)*e.ThicknessMM*c1*c2/e.N)
	if power == 0 {
		return math.Inf(1)
	}
	return 1 / power
}

// title is what messages call the element.
func (e Element) title() string {
	if e.Name != "" {
		return e.Name
	}
	return "the lens"
}

// Validate reports the first thing that makes the element impossible: a thin
// lens without a focal length or with a body, an index that is not above 1, no
// thickness, a radius below half the diameter, an edge that is not above 0.
// Fault Invalid, naming the surface and what to type instead.
func (e Element) Validate() error {
	fields := []struct {
		name  string
		value float64
	}{
		{"focal length", e.FocalMM}, {"index", e.N}, {"thickness", e.ThicknessMM}, {"diameter", e.DiameterMM},
		{"reflectance", e.Reflectance}, {"angle of incidence", e.IncidenceDeg},
		{"clear semi-aperture of surface 1", e.SemiAperture1MM}, {"clear semi-aperture of surface 2", e.SemiAperture2MM},
	}
	for i, f := range fields {
		if math.IsNaN(f.value) || math.IsInf(f.value, 0) || f.value < 0 && i > 0 {
			return fault.Invalidf("%s: the %s is not a possible number (%g)", e.title(), f.name, f.value).WithHint("type a finite %s above zero", f.name)
		}
	}
	if math.IsNaN(e.Radius1MM) || math.IsNaN(e.Radius2MM) {
		return fault.Invalidf("%s: a radius is not a number", e.title()).WithHint("type both radii, for example 25mm, or 0mm for a plane surface")
	}
	if err := e.validateSizes(); err != nil {
		return err
	}
	switch {
	case e.Mirror:
		return e.validateMirror()
	case e.Reflectance != 0 || e.IncidenceDeg != 0:
		return fault.Invalidf("%s has a reflectance or an angle of incidence, and is not a mirror", e.title()).WithHint("leave them out, or make it a mirror")
	case e.IsThin():
		return e.validateThin()
	}
	return e.validateThick()
}

// Sizes outside these are slips of the keyboard, and lose their digits in a matrix.
const (
	leastLengthMM = 1e-3 // of a focal length or a radius
	mostLengthMM  = 1e4  // of a thickness, a diameter or an aperture
	mostFocalMM   = 1e7
	mostIndex     = 10
)

func (e Element) validateSizes() error {
	bad := func(what string, v float64, low, high float64) error {
		return fault.Invalidf("%s: the %s of %g mm is not between %g and %g mm", e.title(), what, v, low, high).WithHint("check the unit, for example 25mm")
	}
	for _, f := range []struct {
		name      string
		value     float64
		low, high float64
	}{
		{"focal length", e.FocalMM, leastLengthMM, mostFocalMM}, {"radius of surface 1", e.Radius1MM, leastLengthMM, math.Inf(1)}, {"radius of surface 2", e.Radius2MM, leastLengthMM, math.Inf(1)},
		{"thickness", e.ThicknessMM, 0, mostLengthMM}, {"diameter", e.DiameterMM, 0, mostLengthMM},
		{"clear semi-aperture of surface 1", e.SemiAperture1MM, 0, mostLengthMM}, {"clear semi-aperture of surface 2", e.SemiAperture2MM, 0, mostLengthMM},
	} {
		if size := math.Abs(f.value); size != 0 && !(size >= f.low && size <= f.high) {
			return bad(f.name, f.value, f.low, f.high)
		}
	}
	if e.N > mostIndex {
		return fault.Invalidf("%s: the index %g is not between 1 and %d", e.title(), e.N, mostIndex).WithHint("type the refractive index against air, for example 4.003 for germanium at 10 µm")
	}
	return nil
}

func (e Element) validateThin() error {
	if e.FocalMM == 0 {
		return fault.Invalidf("%s has neither a focal length nor an index", e.title()).
			WithHint("type a focal length for a thin lens, for example 25mm, or index, radii and thickness for a thick one")
	}
	if curvature(e.Radius1MM) != 0 || curvature(e.Radius2MM) != 0 || e.ThicknessMM != 0 {
		return fault.Invalidf("%s has a focal length and also radii or a thickness, but no index", e.title()).
			WithHint("type the focal length alone, or the index with the radii and the thickness")
	}
	return nil
}

func (e Element) validateThick() error {
	if e.FocalMM != 0 {
		return fault.Invalidf("%s has both a focal length and an index", e.title()).
			WithHint("type the focal length alone, or the index with the radii and the thickness")
	}
	if e.N <= 1 {
		return fault.Invalidf("%s: the index %g is not above 1", e.title(), e.N).WithHint("type the refractive index against air, for example 4.003 for germanium at 10 µm")
	}
	if e.ThicknessMM <= 0 {
		return fault.Invalidf("%s: the thickness %g mm is not above zero", e.title(), e.ThicknessMM).WithHint("type the centre thickness, for example 3mm")
	}
	for i, r := range []float64{e.Radius1MM, e.Radius2MM} {
		if half := max(e.DiameterMM/2, e.semiAperture(i)); half < math.MaxFloat64 && half*math.Abs(curvature(r)) > 1 {
			return fault.Invalidf("%s: surface %d with a radius of %g mm does not reach half its diameter, %g mm", e.title(), i+1, r, half).
				WithHint("type a radius of at least %gmm either way, or a diameter of at most %gmm", half, 2*math.Abs(r))
		}
		if a := e.semiAperture(i); e.DiameterMM > 0 && a > e.DiameterMM/2 {
			return fault.Invalidf("%s: surface %d is clear to %g mm from the axis, beyond half its diameter, %g mm", e.title(), i+1, a, e.DiameterMM/2).
				WithHint("type a clear aperture no larger than the diameter of %gmm", e.DiameterMM)
		}
	}
	if edge := e.EdgeThicknessMM(); edge <= 0 {
		return fault.Invalidf("%s: surfaces 1 and 2 meet before the edge: at the diameter of %g mm the thickness is %.4g mm", e.title(), e.DiameterMM, edge).
			WithHint("type a centre thickness above %.4gmm, or a smaller diameter", e.ThicknessMM-edge)
	}
	return nil
}

// semiAperture returns the clear semi-aperture of surface 0 or 1, +Inf where
// nothing limits it.
func (e Element) semiAperture(surface int) float64 {
	a := e.SemiAperture1MM
	if surface == 1 {
		a = e.SemiAperture2MM
	}
	switch {
	case a > 0:
		return a
	case e.DiameterMM > 0:
		return e.DiameterMM / 2
	}
	return math.Inf(1)
}
