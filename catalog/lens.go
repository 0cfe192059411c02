package catalog

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// Form says how a lens is described.
type Form string

// The forms of a lens.
const (
	Thick Form = "thick" // two radii and a centre thickness
	Thin  Form = "thin"  // a focal length at a wavelength, nothing else known
	// Mirror is a first-surface mirror: one radius, negative for one concave
	// towards the light, and its reflectance.
	Mirror Form = "mirror"
)

// Condition is the state of a part.
type Condition string

// The conditions of a part.
const (
	Usable  Condition = "usable"
	Damaged Condition = "damaged"
	Retired Condition = "retired"
)

// CheckCondition reports whether c is one of the conditions. Fault Invalid otherwise.
func CheckCondition(c Condition) error {
	switch c {
	case Usable, Damaged, Retired:
		return nil
	}
	return fault.Invalidf("condition %q is not known", c).WithHint("use usable, damaged or retired")
}

// Lens is a lens or mirror design one owns or could buy. Surface 1 faces the specimen
// unless a setup flips the lens; a positive radius has its centre behind the
// surface as light travels from surface 1 to surface 2; a nil radius is plane.
type Lens struct {
	Name     string `json:"name"`
	Material string `json:"material"` // slug of a built-in material
	Form     Form   `json:"form"`

	Radius1MM   *quantity.Estimate `json:"radius1_mm"`   // thick only; nil: plane
	Radius2MM   *quantity.Estimate `json:"radius2_mm"`   // thick only; nil: plane
	ThicknessMM *quantity.Estimate `json:"thickness_mm"` // at the centre, thick only

	FocalLengthMM     *quantity.Estimate `json:"focal_length_mm"`     // thin only: as the maker states it
	FocalWavelengthUM float64            `json:"focal_wavelength_um"` // thin only: where the focal length holds

	DiameterMM      float64  `json:"diameter_mm"`
	ClearApertureMM *float64 `json:"clear_aperture_mm"` // nil: not recorded, the diameter is assumed
	Coating         string   `json:"coating"`           // "" not recorded
	// Reflectance over the camera's band; a mirror's alone.
	Reflectance  *quantity.Estimate `json:"reflectance,omitempty"`
	Transmission *quantity.Estimate `json:"transmission"` // measured over the camera's band; nil: not recorded

	MeasuredFocalMM           *quantity.Estimate `json:"measured_focal_mm"`
	MeasuredFocalWavelengthUM float64            `json:"measured_focal_wavelength_um"` // 0: not recorded
	MeasuredFocalMethod       string             `json:"measured_focal_method"`

	Supplier  string          `json:"supplier"`
	Cost      *quantity.Money `json:"cost"`
	OnHand    *int            `json:"on_hand"` // nil: not recorded
	Condition Condition       `json:"condition"`
	Notes     string          `json:"notes"`
}

// Kind returns KindLens.
func (Lens) Kind() string { return KindLens }

// Title returns the given name.
func (l Lens) Title() string { return l.Name }

// Sizes outside these are slips of the keyboard, not infrared lenses.
const (
	minLensMM   = 0.1
	maxLensMM   = 1000
	maxRadiusMM = 1e6
	maxFocalMM  = 1e5
)

// Validate checks the lens. Fault Invalid, naming the value and what to type.
func (l Lens) Validate() error {
	if l.Name != "" {
		if err := CheckName(KindLens, l.Name); err != nil {
			return err
		}
	}
	if l.Form != Mirror {
		if _, err := material.Find(l.Material); err != nil {
			return err
		}
	}
	if err := within("diameter", l.DiameterMM, minLensMM, maxLensMM, "mm"); err != nil {
		return err
	}
	if ca := l.ClearApertureMM; ca != nil && !(*ca > 0 && *ca <= l.DiameterMM) {
		return fault.Invalidf("clear aperture %s mm is not between 0 and the diameter %s mm", quantity.Fixed(*ca, 6), quantity.Fixed(l.DiameterMM, 6)).
			WithHint("give the free diameter inside the rim, or leave it out if it is not known")
	}
	if t := l.Transmission; t != nil && !(t.Value > 0 && t.Value <= 1) {
		return fault.Invalidf("transmission %s is not above 0 and at most 1", quantity.Fixed(t.Value, 6)).WithHint("type a ratio such as 0.92 or 92%%")
	}
	if err := CheckCondition(l.Condition); err != nil {
		return err
	}
	if l.OnHand != nil && *l.OnHand < 0 {
		return fault.Invalidf("a count of %d on hand is not possible", *l.OnHand).WithHint("give 0 or more")
	}
	if err := l.validateMeasured(); err != nil {
		return err
	}
	if err := texts("coating", l.Coating, "supplier", l.Supplier, "method", l.MeasuredFocalMethod, "notes", l.Notes); err != nil {
		return err
	}
	if l.Form == Mirror {
		return l.validateMirror()
	}
	if l.Reflectance != nil {
		return fault.Invalidf("a lens has no reflectance of its own").WithHint("a first-surface mirror is recorded with --mirror; what a lens passes goes into --transmission")
	}
	if l.Form == Thin {
		return l.validateThin()
	}
	return l.validateThick()
}

func (l Lens) validateMeasured() error {
	m := l.MeasuredFocalMM
	if m == nil {
		return nil
	}
	if err := focal("measured focal length", m.Value); err != nil {
		return err
	}
	if l.MeasuredFocalMethod == "" {
		return fault.Invalidf("a measured focal length without its method cannot be audited").
			WithHint(`say how: --measured-focal "25.1(2) mm" --measured-method "image of a distant edge"`)
	}
	return nil
}

func focal(what string, f float64) error {
	if !(math.Abs(f) >= minLensMM && math.Abs(f) <= maxFocalMM) {
		return fault.Invalidf("%s %s mm is not between 0.1 mm and 100 m", what, quantity.Fixed(f, 6)).
			WithHint("check the unit, for example 25mm")
	}
	return nil
}

func (l Lens) validateThin() error {
	switch {
	case l.FocalLengthMM == nil:
		return fault.Invalidf("a thin lens needs its focal length").WithHint("give --focal 25mm --at 10um, or --r1, --r2 and --thickness")
	case l.Radius1MM != nil || l.Radius2MM != nil || l.ThicknessMM != nil:
		return fault.Invalidf("a lens is described by a focal length or by radii and thickness, not by both").
			WithHint("leave out --focal; a focal length you measured goes into --measured-focal")
	}
	if err := focal("focal length", l.FocalLengthMM.Value); err != nil {
		return err
	}
	return within("wavelength", l.FocalWavelengthUM, 0.2, 50, "µm")
}

func (l Lens) validateThick() error {
	if l.Form != Thick || l.ThicknessMM == nil {
		return fault.Invalidf("a lens needs radii and a centre thickness, or a focal length").
			WithHint("give --r1 25mm --r2 plane --thickness 3mm, or --focal 25mm --at 10um")
	}
	if l.Radius1MM == nil && l.Radius2MM == nil {
		return fault.Invalidf("both surfaces are plane: that is a window, not a lens").WithHint("give the curved surface's radius, for example --r1 25mm")
	}
	for i, r := range []*quantity.Estimate{l.Radius1MM, l.Radius2MM} {
		if r != nil && !(math.Abs(r.Value) > 0 && math.Abs(r.Value) <= maxRadiusMM) {
			return fault.Invalidf("radius %d of %s mm is not between 0 and 1 km", i+1, quantity.Fixed(r.Value, 6)).WithHint("give a radius such as 25mm or -40mm, or the word plane")
		}
	}
	e, err := l.element(l.DesignWavelengthUM(), false)
	if err != nil {
		return err
	}
	return e.Validate()
}

func (l Lens) validateMirror() error {
	switch {
	case l.Reflectance == nil:
		return fault.Invalidf("a mirror needs its reflectance").WithHint("give what its maker states, for example --reflectance 0.97")
	case l.Material != "" || l.ThicknessMM != nil || l.FocalLengthMM != nil || l.Radius2MM != nil || l.Transmission != nil || l.MeasuredFocalMM != nil:
		return fault.Invalidf("light does not enter a first-surface mirror: it has no material, thickness, second radius, transmission or focal length of its own").
			WithHint("give --r1 (plane, or negative for one concave towards the light), --reflectance and --diameter")
	}
	e, err := l.element(10, false)
	if err != nil {
		return err
	}
	return e.Validate()
}

// mirrorFocalMM is a mirror's focal length, -R/2; 0 stands for a plane.
func (l Lens) mirrorFocalMM() float64 {
	if l.Radius1MM == nil {
		return 0
	}
	return -l.Radius1MM.Value / 2
}

// DesignWavelengthUM is where figures of a lens alone are quoted: the wavelength
// of its stated focal length, or 10 µm, the usual one for germanium and zinc
// selenide (common practice, no source), kept inside the material's range.
func (l Lens) DesignWavelengthUM() float64 {
	if l.FocalWavelengthUM > 0 {
		return l.FocalWavelengthUM
	}
	return 10
}

func radius(e *quantity.Estimate) float64 {
	if e == nil {
		return math.Inf(1)
	}
	return e.Value
}

// FocalMM returns the focal length at wavelengthUM and where it comes from:
// "measured", "stated" or "computed" from radii and index. A thin lens's focal
// length is carried to another wavelength by (n0-1)/(n-1). Fault Invalid where
// the material's index is not known at the wavelength.
func (l Lens) FocalMM(wavelengthUM float64) (mm float64, origin string, err error) {
	if l.Form == Mirror {
		return l.mirrorFocalMM(), "computed", nil
	}
	e, err := l.element(wavelengthUM, false)
	if err != nil {
		return 0, "", err
	}
	if l.Form == Thick {
		c, err := (optics.Stack{{Element: e}}).Cardinal()
		if err != nil {
			return 0, "", err
		}
		return c.EFLMM, "computed", nil
	}
	if l.MeasuredFocalMM != nil {
		return e.FocalMM, "measured", nil
	}
	return e.FocalMM, "stated", nil
}

// index is the refractive index at a wavelength, by the material's default data set.
func (l Lens) index(wavelengthUM float64) (material.Index, error) {
	m, err := material.Find(l.Material)
	if err != nil {
		return material.Index{}, err
	}
	return m.Index(wavelengthUM, material.IndexOptions{})
}

// FocalDisagreement says that a thick lens's measured focal length is not what
// its radii give, beyond two standard uncertainties or, where none was evaluated,
// 2 %; "" when it is. The radii are what a setup is computed from.
func (l Lens) FocalDisagreement() string {
	if l.Form != Thick || l.MeasuredFocalMM == nil {
		return ""
	}
	at := l.MeasuredFocalWavelengthUM
	if at == 0 {
		at = l.DesignWavelengthUM()
	}
	mm, _, err := l.FocalMM(at)
	if err != nil {
		return ""
	}
	off := math.Abs(l.MeasuredFocalMM.Value - mm)
	limit := 0.02 * math.Abs(mm)
	if u, ok := l.MeasuredFocalMM.StandardU(); ok {
		limit = 2 * u
	}
	if off <= limit {
		return ""
	}
	return "measured focal length " + l.MeasuredFocalMM.Format(quantity.Millimetre) + ", but radii, thickness and index give " + quantity.Fixed(mm, 4) + " mm, which is what setups are computed from; check radii and material"
}

// element makes the lens ready for computation at a wavelength.
func (l Lens) element(wavelengthUM float64, flipped bool) (optics.Element, error) {
	if l.Form == Mirror {
		e := optics.Mirror(radius(l.Radius1MM), l.Reflectance.Value)
		e.Name, e.DiameterMM, e.SemiAperture1MM = l.Name, l.DiameterMM, l.clearMM()/2
		return e, nil
	}
	m, err := material.Find(l.Material)
	if err != nil {
		return optics.Element{}, err
	}
	index, err := m.Index(wavelengthUM, material.IndexOptions{})
	if err != nil {
		return optics.Element{}, err
	}
	e := optics.Element{Name: l.Name, DiameterMM: l.DiameterMM, SemiAperture1MM: l.clearMM() / 2, SemiAperture2MM: l.clearMM() / 2}
	if l.Form == Thick {
		e.N, e.Radius1MM, e.Radius2MM, e.ThicknessMM = index.N, radius(l.Radius1MM), radius(l.Radius2MM), l.ThicknessMM.Value
	} else {
		f0, at := l.FocalLengthMM.Value, l.FocalWavelengthUM
		if l.MeasuredFocalMM != nil {
			f0 = l.MeasuredFocalMM.Value
			if l.MeasuredFocalWavelengthUM > 0 {
				at = l.MeasuredFocalWavelengthUM
			}
		}
		at0, err := m.Index(at, material.IndexOptions{})
		if err != nil {
			return optics.Element{}, err
		}
		e.FocalMM = f0 * (at0.N - 1) / (index.N - 1)
	}
	if flipped {
		e = e.Flip()
	}
	return e, nil
}

func (l Lens) clearMM() float64 {
	if l.ClearApertureMM != nil {
		return *l.ClearApertureMM
	}
	return l.DiameterMM
}

// within reports a fault Invalid unless low <= v <= high.
func within(what string, v, low, high float64, unit string) error {
	if v >= low && v <= high {
		return nil
	}
	return fault.Invalidf("%s %s %s is not between %s and %s %s", what, quantity.Fixed(v, 6), unit, quantity.Fixed(low, 6), quantity.Fixed(high, 6), unit).
		WithHint("check the number and its unit")
}
