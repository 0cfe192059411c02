package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Light is what becomes of light that meets something: the shares add up to 1.
type Light struct {
	Transmission float64 `json:"transmission"`
	Reflection   float64 `json:"reflection"`
	Absorption   float64 `json:"absorption"`
}

// FresnelReflectance is the share of light that one bare surface between air and
// an index reflects at normal incidence, ((n-1)/(n+1))².
func FresnelReflectance(index float64) float64 {
	r := (index - 1) / (index + 1)
	return r * r
}

// Slab is a bare plane-parallel plate.
type Slab struct {
	Index           float64 // 1 or more
	AbsorptionPerCM float64 // absorption coefficient, 0 or more
	ThicknessMM     float64 // above 0
}

// Light returns what a slab does with light at normal incidence. Reflections
// within it add up without interference, which holds for a band or a plate that
// is not even to a fraction of the wavelength:
//
//	T = (1-R)² a/(1 - R² a²),  R total = R (1 + T a),  A = 1 - T - R total
//
// with R = ((n-1)/(n+1))² and a = exp(-alpha t).
// Fault Invalid for a figure outside its domain.
func (s Slab) Light() (Light, error) {
	switch {
	case !(s.Index >= 1 && s.Index <= 10):
		return Light{}, fault.Invalidf("the index %g is not between 1 and 10", s.Index).WithHint("type the refractive index, for example 4.004")
	case !(s.AbsorptionPerCM >= 0 && s.AbsorptionPerCM <= 1e7):
		return Light{}, fault.Invalidf("the absorption coefficient %g /cm is not between 0 and 1e7 /cm", s.AbsorptionPerCM).WithHint("type it as 0.02/cm")
	case !(s.ThicknessMM > 0 && s.ThicknessMM <= 1e4):
		return Light{}, fault.Invalidf("the thickness %g mm is not above 0 and at most 10 m", s.ThicknessMM).WithHint("type it as 3mm")
	}
	r := FresnelReflectance(s.Index)
	face := Face{Reflectance: r, Transmittance: 1 - r}
	return plate(face, face, math.Exp(-s.AbsorptionPerCM*s.ThicknessMM/10)), nil
}

// Explain returns how the figures come about. Faults as Light.
func (s Slab) Explain() ([]Explanation, error) {
	l, err := s.Light()
	if err != nil {
		return nil, err
	}
	const source = "Fresnel's equations at normal incidence, multiple reflections added without interference"
	inside := math.Exp(-s.AbsorptionPerCM * s.ThicknessMM / 10)
	inputs := []Input{input("R = ((n-1)/(n+1))²", FresnelReflectance(s.Index), ""), input("a = exp(-alpha t)", inside, ""),
		input("n", s.Index, ""), input("alpha", s.AbsorptionPerCM, "/cm"), input("t", s.ThicknessMM, "mm")}
	return []Explanation{
		{"transmission", shown(l.Transmission, ""), "T = (1-R)² a/(1 - R² a²)", inputs, source},
		{"reflection", shown(l.Reflection, ""), "R + R (1-R)² a²/(1 - R² a²)", inputs, source},
		{"absorption", shown(l.Absorption, ""), "1 - transmission - reflection", inputs, source},
	}, nil
}

// Face is one surface of an element as light crosses it, from either side.
// What it neither reflects nor transmits it absorbs.
type Face struct {
	Reflectance, Transmittance float64
}

// plate adds up the reflections between two faces around a bulk that passes a
// share inside.
func plate(first, second Face, inside float64) Light {
	round := 1 / (1 - first.Reflectance*second.Reflectance*inside*inside)
	l := Light{
		Transmission: first.Transmittance * second.Transmittance * inside * round,
		Reflection:   first.Reflectance + first.Transmittance*first.Transmittance*second.Reflectance*inside*inside*round,
	}
	l.Absorption = max(0, 1-l.Transmission-l.Reflection) // rounding could leave -1e-17
	return l
}

// Pane is an element as light crosses it at one wavelength, near its axis.
type Pane struct {
	Name     string // what messages call it
	Material string // for messages about what is not known of it

	Index           float64  // bare surfaces reflect by it; 0: not known, enough for a measured transmission
	ThicknessMM     float64  // centre thickness; 0: not known, as of a thin lens
	AbsorptionPerCM *float64 // nil: not known
	Faces           [2]*Face // stated coatings; nil: bare

	Measured    *float64 // transmission as measured or stated, which beats what is computed
	Reflectance float64  // of a mirror; 0 for a pane
}

// PaneLight is the light of one element with what is not known about it.
type PaneLight struct {
	Name string `json:"name"`
	Light
	// UpperBound says that the transmission is at most this: absorption is not
	// known and was left out.
	UpperBound bool `json:"upper_bound"`
	// SplitUnknown says that a measured transmission leaves open how the rest
	// divides into reflection and absorption; all of it stands as absorption.
	SplitUnknown bool `json:"split_unknown"`
}

// Light returns what the element does with light. Where its absorption or
// thickness is not known, it refuses, unless boundUnknown asks for an upper
// bound without absorption.
//
// Of a measured transmission the rest is reflection as far as the surfaces are
// known, and absorption; where the measured transmission is higher than the
// bare surfaces allow, they are evidently coated, and the split is not known,
// nor is it where no index is given.
//
// Fault Invalid, naming the element and its material.
func (p Pane) Light(boundUnknown bool) (PaneLight, error) {
	out := PaneLight{Name: p.Name}
	if p.Reflectance != 0 {
		if !(p.Reflectance > 0 && p.Reflectance <= 1) {
			return out, fault.Invalidf("%s: the reflectance %g is not above 0 and at most 1", p.Name, p.Reflectance).WithHint("type what the maker states, for example 0.97")
		}
		out.Light = Light{Transmission: p.Reflectance, Absorption: 1 - p.Reflectance}
		return out, nil
	}
	if p.Measured != nil && p.Index == 0 { // nothing to split the rest by
		return p.measured(out, Light{}, *p.Measured)
	}
	faces, err := p.faces()
	if err != nil {
		return out, err
	}
	inside, known, err := p.inside()
	if err != nil {
		return out, err
	}
	if m := p.Measured; m != nil {
		return p.measured(out, plate(faces[0], faces[1], 1), *m)
	}
	if !known && !boundUnknown {
		what := "the absorption of " + p.Material
		if p.AbsorptionPerCM != nil {
			what = "its thickness"
		}
		return out, fault.Invalidf("%s: %s is not known, so its transmission cannot be computed", p.Name, what).
			WithHint("record its measured transmission, or ask for an upper bound without absorption")
	}
	out.Light, out.UpperBound = plate(faces[0], faces[1], inside), !known
	return out, nil
}

// inside is the share of light that the bulk passes once, 1 where not known.
func (p Pane) inside() (share float64, known bool, err error) {
	if !(p.ThicknessMM >= 0) || math.IsInf(p.ThicknessMM, 0) {
		return 0, false, fault.Invalidf("%s: the thickness %g mm is not possible", p.Name, p.ThicknessMM).WithHint("type the centre thickness, for example 3mm")
	}
	if p.AbsorptionPerCM == nil || p.ThicknessMM == 0 {
		return 1, false, nil
	}
	if a := *p.AbsorptionPerCM; !(a >= 0) || math.IsInf(a, 0) {
		return 0, false, fault.Invalidf("%s: the absorption coefficient %g /cm is not possible", p.Name, a).WithHint("type it as 0.02/cm")
	}
	return math.Exp(-*p.AbsorptionPerCM * p.ThicknessMM / 10), true, nil
}

func (p Pane) faces() ([2]Face, error) {
	var faces [2]Face
	for i, f := range p.Faces {
		switch {
		case f == nil && !(p.Index >= 1 && p.Index <= 10):
			return faces, fault.Invalidf("%s: the index %g is not between 1 and 10", p.Name, p.Index).WithHint("type the refractive index, for example 4.003")
		case f == nil:
			r := FresnelReflectance(p.Index)
			faces[i] = Face{r, 1 - r}
		case !(f.Reflectance >= 0 && f.Reflectance < 1) || !(f.Transmittance > 0) || f.Reflectance+f.Transmittance > 1+1e-12:
			return faces, fault.Invalidf("%s: a coating that reflects %g and transmits %g of the light is not possible", p.Name, f.Reflectance, f.Transmittance).
				WithHint("type shares of the light that add up to 1 or less, for example 0.01 and 0.99")
		default:
			faces[i] = *f
		}
	}
	return faces, nil
}

func (p Pane) measured(out PaneLight, clear Light, transmission float64) (PaneLight, error) {
	if !(transmission > 0 && transmission <= 1) {
		return out, fault.Invalidf("%s: the transmission %g is not above 0 and at most 1", p.Name, transmission).WithHint("type a share such as 0.92")
	}
	out.Transmission = transmission
	if transmission <= clear.Transmission*(1+1e-9) {
		// What the bulk must pass for the faces to let this much through.
		out.Reflection = p.reflectionAt(transmission)
	} else {
		out.SplitUnknown = true
	}
	out.Absorption = max(0, 1-out.Transmission-out.Reflection)
	return out, nil
}

// reflectionAt finds the bulk that gives the transmission, and its reflection.
func (p Pane) reflectionAt(transmission float64) float64 {
	faces, _ := p.faces() // checked by the caller
	low, high := 0.0, 1.0
	for range 60 {
		if mid := (low + high) / 2; plate(faces[0], faces[1], mid).Transmission < transmission {
			low = mid
		} else {
			high = mid
		}
	}
	return plate(faces[0], faces[1], high).Reflection
}
