package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Conjugate is where a stack images an object plane, and how large.
type Conjugate struct {
	ImageMM       float64 // from the last vertex, positive to the right; ±Inf for an image at infinity
	Magnification float64 // image height over object height, negative when inverted; 0 for an object at infinity unless the stack is afocal, ±Inf for an image at infinity
	Virtual       bool    // the image lies before the last vertex
	AtInfinity    bool    // the image lies at infinity
}

// Object distances outside these are slips of the unit.
const (
	leastObjectMM = 1e-4
	mostObjectMM  = 1e9
)

// Conjugate images the plane objectMM before the first vertex. A negative
// distance is a virtual object behind the first vertex, ±Inf an object at
// infinity. In a stack with matrix A, B, C, D:
//
//	s' = -(A s + B)/(C s + D),  m = 1/(C s + D)
//
// Fault Invalid when the stack is not valid or the distance is not a number.
func (s Stack) Conjugate(objectMM float64) (Conjugate, error) {
	if err := s.Validate(); err != nil {
		return Conjugate{}, err
	}
	if math.IsNaN(objectMM) {
		return Conjugate{}, fault.Invalidf("the object distance is not a number").WithHint("type a distance, for example 50mm, or inf for an object at infinity")
	}
	if d := math.Abs(objectMM); d > 0 && d < leastObjectMM || d > mostObjectMM && !math.IsInf(d, 1) {
		return Conjugate{}, fault.Invalidf("an object distance of %g mm is not between %g and %g mm", objectMM, leastObjectMM, mostObjectMM).WithHint("check the unit, for example 50mm; inf is an object at infinity, 0mm one at the first vertex")
	}
	m := s.Matrix()
	if s.afocal(m) {
		m.CPerMM = 0
	}
	numerator, denominator := m.A*objectMM+m.BMM, m.CPerMM*objectMM+m.D
	if math.IsInf(objectMM, 0) {
		numerator, denominator = m.A, m.CPerMM
	}
	if atInfinity(denominator, m, objectMM) {
		c := Conjugate{ImageMM: math.Inf(1), Magnification: math.Inf(1), AtInfinity: true}
		if math.IsInf(objectMM, 0) { // afocal: one magnification for every distance
			c.Magnification = m.A
		}
		return c, nil
	}
	image := -numerator / denominator
	c := Conjugate{ImageMM: image, Magnification: 1 / denominator, Virtual: image < 0}
	if math.IsInf(objectMM, 0) {
		c.Magnification = 0
	}
	return c, nil
}

// atInfinity reports whether C s + D vanishes against its terms.
func atInfinity(denominator float64, m Matrix, objectMM float64) bool {
	if math.IsInf(objectMM, 0) {
		return denominator == 0
	}
	return math.Abs(denominator) <= negligible*(math.Abs(m.CPerMM*objectMM)+math.Abs(m.D))
}
