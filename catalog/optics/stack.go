package optics

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
)

// Mounted is an element in its place in a stack.
type Mounted struct {
	Element    Element
	GapAfterMM float64 // air from its last vertex to the next element's first; of no effect on the last element
}

// Stack is elements in the order light meets them, specimen side first.
type Stack []Mounted

// Flip returns the stack turned round as a whole. The gap after the last
// element, which has no effect, becomes the gap after the new last element.
func (s Stack) Flip() Stack {
	turned := make(Stack, len(s))
	for i, m := range s {
		turned[len(s)-1-i].Element = m.Element.Flip()
		if i+1 < len(s) {
			turned[len(s)-2-i].GapAfterMM = m.GapAfterMM
		}
	}
	if len(s) > 0 {
		turned[len(s)-1].GapAfterMM = s[len(s)-1].GapAfterMM
	}
	return turned
}

// LengthMM returns the length from the first vertex to the last.
func (s Stack) LengthMM() float64 {
	length := 0.0
	for i, m := range s {
		length += m.Element.ThicknessMM
		if i+1 < len(s) {
			length += m.GapAfterMM
		}
	}
	return length
}

// name is what messages call an element that was given no name.
func (s Stack) name(i int) string {
	switch {
	case s[i].Element.Name != "":
		return s[i].Element.Name
	case s[i].Element.Mirror:
		return fmt.Sprintf("mirror %d", i+1)
	}
	return fmt.Sprintf("lens %d", i+1)
}

// Validate validates every element and gap. Fault Invalid when the stack is
// empty, an element is impossible, or a gap is negative or not finite.
func (s Stack) Validate() error {
	if len(s) == 0 {
		return fault.Invalidf("the stack has no lenses").WithHint("name at least one lens")
	}
	for i, m := range s {
		if m.Element.Name == "" {
			m.Element.Name = s.name(i)
		}
		if err := m.Element.Validate(); err != nil {
			return err
		}
		if !(m.GapAfterMM >= 0) || math.IsInf(m.GapAfterMM, 0) {
			return fault.Invalidf("the gap after %s is %g mm", m.Element.Name, m.GapAfterMM).WithHint("type a gap of 0mm or more between the facing vertices")
		}
	}
	return nil
}

// surface is what a ray meets: a refracting or reflecting sphere or plane, or a
// thin lens.
type surface struct {
	label           string
	radiusMM        float64 // 0 for a plane or a thin lens
	before, after   float64 // refractive indices
	thinFocalMM     float64 // 0 for a refracting surface
	mirror          bool
	semiApertureMM  float64
	distanceAfterMM float64 // to the next surface
}

// power is the surface's power in 1/mm.
func (f surface) power() float64 {
	if f.thinFocalMM != 0 {
		return 1 / f.thinFocalMM
	}
	if f.mirror {
		return -2 * curvature(f.radiusMM)
	}
	return (f.after - f.before) * curvature(f.radiusMM)
}

// surfaces lists what a ray meets, in order.
func (s Stack) surfaces() []surface {
	list := make([]surface, 0, 2*len(s))
	for i, m := range s {
		e, gap, name := m.Element, m.GapAfterMM, s.name(i)
		if i+1 == len(s) {
			gap = 0
		}
		if e.Mirror {
			list = append(list, surface{label: name, radiusMM: e.Radius1MM, before: 1, after: 1, mirror: true,
				semiApertureMM: e.mirrorSemiAperture(), distanceAfterMM: gap})
			continue
		}
		if e.IsThin() {
			list = append(list, surface{label: name, before: 1, after: 1, thinFocalMM: e.FocalMM,
				semiApertureMM: min(e.semiAperture(0), e.semiAperture(1)), distanceAfterMM: gap})
			continue
		}
		list = append(list,
			surface{label: name + ", surface 1", radiusMM: e.Radius1MM, before: 1, after: e.N, semiApertureMM: e.semiAperture(0), distanceAfterMM: e.ThicknessMM},
			surface{label: name + ", surface 2", radiusMM: e.Radius2MM, before: e.N, after: 1, semiApertureMM: e.semiAperture(1), distanceAfterMM: gap})
	}
	return list
}

// Matrix carries a paraxial ray, given by its height y in mm and its slope times
// the index n, from one plane to another:
//
//	y'  = A y + BMM (n slope)
//	ns' = CPerMM y + D (n slope)
//
// Its determinant is 1. W. J. Smith, Modern Optical Engineering, ch. 6.
type Matrix struct {
	A      float64 `json:"a"`
	BMM    float64 `json:"b_mm"`
	CPerMM float64 `json:"c_per_mm"`
	D      float64 `json:"d"`
}

// Determinant returns AD - BC, which is 1 but for rounding.
func (m Matrix) Determinant() float64 { return m.A*m.D - m.BMM*m.CPerMM }

// refract continues m through a surface of the given power.
func (m Matrix) refract(powerPerMM float64) Matrix {
	m.CPerMM -= powerPerMM * m.A
	m.D -= powerPerMM * m.BMM
	return m
}

// transfer continues m over a distance divided by the index there.
func (m Matrix) transfer(reducedMM float64) Matrix {
	m.A += reducedMM * m.CPerMM
	m.BMM += reducedMM * m.D
	return m
}

// Matrix returns the stack's matrix from its first vertex to its last.
func (s Stack) Matrix() Matrix {
	m := Matrix{A: 1, D: 1}
	for _, f := range s.surfaces() {
		m = m.refract(f.power()).transfer(f.distanceAfterMM / f.after)
	}
	return m
}

// negligible is the share of the largest term below which a sum of terms is
// taken to be zero: about 4000 rounding errors.
const negligible = 1e-12

// afocal reports whether the stack leaves parallel light parallel: its power
// vanishes against the powers of its surfaces.
func (s Stack) afocal(m Matrix) bool {
	total := 0.0
	for _, f := range s.surfaces() {
		total += math.Abs(f.power())
	}
	return math.Abs(m.CPerMM) <= negligible*total
}

// Cardinal holds the first-order distances of a stack in air. In an afocal
// stack every distance is +Inf.
type Cardinal struct {
	EFLMM            float64 `json:"efl_mm"`             // effective focal length, -1/C
	BFLMM            float64 `json:"bfl_mm"`             // last vertex to the rear focal point, positive to the right, -A/C
	FFLMM            float64 `json:"ffl_mm"`             // first vertex to the front focal point, positive to the left, -D/C
	PrincipalFrontMM float64 `json:"principal_front_mm"` // first vertex to the front principal plane, positive to the right, EFL - FFL
	PrincipalRearMM  float64 `json:"principal_rear_mm"`  // last vertex to the rear principal plane, positive to the right, BFL - EFL
	Afocal           bool    `json:"afocal"`
}

// Cardinal returns the stack's focal and principal distances.
// Fault Invalid when the stack is not valid.
func (s Stack) Cardinal() (Cardinal, error) {
	if err := s.Validate(); err != nil {
		return Cardinal{}, err
	}
	m := s.Matrix()
	if s.afocal(m) {
		inf := math.Inf(1)
		return Cardinal{inf, inf, inf, inf, inf, true}, nil
	}
	c := Cardinal{EFLMM: -1 / m.CPerMM, BFLMM: -m.A / m.CPerMM, FFLMM: -m.D / m.CPerMM}
	c.PrincipalFrontMM, c.PrincipalRearMM = c.EFLMM-c.FFLMM, c.BFLMM-c.EFLMM
	return c, nil
}
