package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// ThinAttachment is a stack known by its focal length alone, taken as one thin
// lens, before a camera whose pupil lies at its lens.
type ThinAttachment struct {
	StackFocalMM    float64
	CameraFocalMM   float64
	SeparationMM    float64 // from the stack to the camera's lens
	FocusMM         float64 // what the camera is focused at, from its lens; +Inf for infinity
	PitchUM         float64 // pixel pitch
	Width, Height   int     // pixels
	PupilMM         float64 // diameter of the camera's pupil
	ClearApertureMM float64 // diameter of the stack's clear aperture; 0: not stated, so nothing is cut
	WavelengthUM    float64 // for the diffraction limit; 0: DefaultWavelengthUM
}

// DefaultWavelengthUM is where figures hold unless another wavelength is given:
// the middle of the long-wave window (common practice, no source).
const DefaultWavelengthUM = 10

// ThinFigures is what a thin attachment does.
type ThinFigures struct {
	ObjectDistanceMM      float64 `json:"object_distance_mm"` // stack to specimen
	Magnification         float64 `json:"magnification"`      // image on the array over specimen, with its sign
	PixelUM               float64 `json:"pixel_um"`           // one pixel's share of the specimen
	FieldXMM              float64 `json:"field_x_mm"`
	FieldYMM              float64 `json:"field_y_mm"`
	NyquistLPPerMM        float64 `json:"nyquist_lp_per_mm"` // at the specimen
	NAObject              float64 `json:"na_object"`
	RayleighUM            float64 `json:"rayleigh_um"`
	WavelengthUM          float64 `json:"wavelength_um"`
	ClearApertureNeededMM float64 `json:"clear_aperture_needed_mm"` // so that the corner of the field is not cut
	Vignetted             bool    `json:"vignetted"`                // the stated clear aperture is smaller than needed
	CornerPassed          float64 `json:"corner_passed"`            // share of the corner's beam that the clear aperture lets through
}

// Figures works the thin attachment out. With the stack's focal length fa at d
// before the camera's lens of focal length fc and pupil diameter EP, focused at
// U, with the array s'c = fc U/(U - fc) behind its lens:
//
//	s = fa (U-d)/(U-d+fa)           object distance, fa for U infinite
//	M = -fc (fa+U-d)/(fa (U-fc))    magnification, -fc/fa for U infinite
//	rb = (EP/2) |U-d|/U             radius of the beam at the stack, EP/2 for U infinite
//	NA = sin(atan(r/s))             r: the smaller of rb and the clear aperture's radius
//	needed = 2 (d h/s'c + rb)       h: half the diagonal of the array
//
// Fault Invalid when a figure is not possible, or the specimen would lie at
// infinity or behind the stack.
func (a ThinAttachment) Figures() (ThinFigures, error) {
	if a.WavelengthUM == 0 {
		a.WavelengthUM = DefaultWavelengthUM
	}
	if err := a.validate(); err != nil {
		return ThinFigures{}, err
	}
	s, m, err := a.conjugates()
	if err != nil {
		return ThinFigures{}, err
	}
	f := ThinFigures{ObjectDistanceMM: s, Magnification: m, PixelUM: a.PitchUM / math.Abs(m), WavelengthUM: a.WavelengthUM}
	f.FieldXMM, f.FieldYMM = f.PixelUM*float64(a.Width)/1000, f.PixelUM*float64(a.Height)/1000
	f.NyquistLPPerMM = 500 / f.PixelUM
	beam, chief := a.beamRadiusMM(), a.chiefHeightMM()
	f.ClearApertureNeededMM = 2 * (chief + beam)
	clear := math.Inf(1)
	if a.ClearApertureMM > 0 {
		clear = a.ClearApertureMM / 2
	}
	f.Vignetted = 2*clear < f.ClearApertureNeededMM
	f.CornerPassed = circlesOverlap(beam, clear, chief) / (math.Pi * beam * beam)
	f.NAObject = math.Sin(math.Atan(min(beam, clear) / s))
	f.RayleighUM = RayleighUM(a.WavelengthUM, f.NAObject)
	return f, nil
}

// beamRadiusMM is the radius of an axial beam that fills the pupil, at the stack.
func (a ThinAttachment) beamRadiusMM() float64 {
	return a.PupilMM / 2 * math.Abs(1-a.SeparationMM/a.FocusMM)
}

// chiefHeightMM is the height of the corner's chief ray at the stack.
func (a ThinAttachment) chiefHeightMM() float64 {
	half := a.PitchUM / 1000 * math.Hypot(float64(a.Width), float64(a.Height)) / 2
	return a.SeparationMM * half * (1/a.CameraFocalMM - 1/a.FocusMM)
}

func (a ThinAttachment) conjugates() (objectMM, magnification float64, err error) {
	fa, fc, u := a.StackFocalMM, a.CameraFocalMM, a.FocusMM
	if math.IsInf(u, 1) {
		objectMM, magnification = fa, -fc/fa
	} else {
		seen := u - a.SeparationMM // plane the camera sees, before the stack
		if math.Abs(seen+fa) <= negligible*(math.Abs(seen)+math.Abs(fa)) {
			return 0, 0, fault.Invalidf("the specimen would have to lie at infinity").WithHint("change the camera's focus distance or the separation")
		}
		objectMM, magnification = fa*seen/(seen+fa), -fc*(fa+seen)/(fa*(u-fc))
	}
	if !(objectMM > 0) {
		return 0, 0, fault.Invalidf("the specimen would have to lie %.4g mm behind the stack", -objectMM).
			WithHint("use a converging stack, or change the camera's focus distance or the separation")
	}
	return objectMM, magnification, nil
}

func (a ThinAttachment) validate() error {
	bounds := []struct {
		name, example, unit string
		value, low, high    float64
	}{
		{"size of the stack's focal length", "20mm", "mm", math.Abs(a.StackFocalMM), 0.1, 1e5},
		{"camera's focal length", "9mm", "mm", a.CameraFocalMM, 0.1, 5000},
		{"separation", "5mm", "mm", a.SeparationMM, 0, 1e4},
		{"pixel pitch", "17um", "µm", a.PitchUM, 0.1, 1000},
		{"number of pixels across", "160x120", "", float64(a.Width), 1, 65536},
		{"number of pixels down", "160x120", "", float64(a.Height), 1, 65536},
		{"pupil's diameter", "8mm", "mm", a.PupilMM, 0.01, 1000},
		{"wavelength", "10um", "µm", a.WavelengthUM, 0.1, 1000},
	}
	for _, b := range bounds {
		if !(b.value >= b.low && b.value <= b.high) {
			return fault.Invalidf("the %s is %s, not between %g and %s", b.name, shown(b.value, b.unit), b.low, shown(b.high, b.unit)).
				WithHint("check the number and its unit, for example %s", b.example)
		}
	}
	if c := a.ClearApertureMM; !(c == 0 || c >= 0.01 && c <= 1000) {
		return fault.Invalidf("the clear aperture is %s, not between 0.01 and 1000 mm", shown(c, "mm")).WithHint("check the number and its unit, for example 15mm")
	}
	if !(a.FocusMM > a.CameraFocalMM) {
		return fault.Invalidf("the camera is focused at %s, not beyond its focal length of %s", shown(a.FocusMM, "mm"), shown(a.CameraFocalMM, "mm")).
			WithHint("type the distance the camera is focused at, measured from its lens, or inf for infinity")
	}
	if a.FocusMM == a.SeparationMM {
		return fault.Invalidf("the camera is focused on the stack itself").WithHint("change the camera's focus distance or the separation")
	}
	return nil
}

// circlesOverlap is the area common to a circle of radius a and one of radius b
// whose centres lie d apart.
func circlesOverlap(a, b, d float64) float64 {
	switch small := min(a, b); {
	case d+small <= max(a, b):
		return math.Pi * small * small
	case d >= a+b:
		return 0
	}
	angleA := math.Acos((d*d + a*a - b*b) / (2 * d * a))
	angleB := math.Acos((d*d + b*b - a*a) / (2 * d * b))
	return a*a*(angleA-math.Sin(2*angleA)/2) + b*b*(angleB-math.Sin(2*angleB)/2)
}

// Explain returns how each figure comes about. Faults as Figures.
func (a ThinAttachment) Explain() ([]Explanation, error) {
	f, err := a.Figures()
	if err != nil {
		return nil, err
	}
	optics := []Input{input("fa, stack focal length", a.StackFocalMM, "mm"), input("fc, camera focal length", a.CameraFocalMM, "mm"),
		input("d, separation", a.SeparationMM, "mm"), input("U, camera focus distance from its lens", a.FocusMM, "mm")}
	pupil := []Input{input("EP, camera pupil diameter", a.PupilMM, "mm"), input("rb, beam radius at the stack", a.beamRadiusMM(), "mm")}
	m, pitch := input("M", f.Magnification, ""), input("p, pixel pitch", a.PitchUM, "µm")
	distance, enlargement, beam := "s = fa (U-d)/(U-d+fa)", "M = -fc (fa+U-d)/(fa (U-fc))", "rb = (EP/2) |U-d|/U"
	if math.IsInf(a.FocusMM, 1) {
		distance, enlargement, beam = "s = fa", "M = -fc/fa", "rb = EP/2"
	}
	const thin = "derived from the thin-lens formula of both lenses"
	return []Explanation{
		{"object distance", shown(f.ObjectDistanceMM, "mm"), distance, optics, thin},
		{"magnification", shown(f.Magnification, ""), enlargement, optics, thin},
		{"object pixel", shown(f.PixelUM, "µm"), "p/|M|", []Input{pitch, m}, sourceDefinition},
		{"field", shown(f.FieldXMM, "mm") + " x " + shown(f.FieldYMM, "mm"), "pixels x p/|M|", []Input{input("columns", float64(a.Width), ""), input("rows", float64(a.Height), ""), pitch, m}, sourceDefinition},
		{"finest line pairs the pixels carry", shown(f.NyquistLPPerMM, "/mm"), "|M|/(2 p)", []Input{pitch, m}, "Nyquist criterion"},
		{"numerical aperture at the specimen", shown(f.NAObject, ""), "NA = sin(atan(r/s)), r the smaller of rb and the clear radius; " + beam, append(pupil, input("clear aperture, 0 not stated", a.ClearApertureMM, "mm")), thin},
		{"diffraction limit", shown(f.RayleighUM, "µm"), "0.61 wavelength/NA", []Input{input("wavelength", f.WavelengthUM, "µm"), input("NA", f.NAObject, "")}, sourceRayleigh},
		{"clear aperture needed", shown(f.ClearApertureNeededMM, "mm"), "2 (d tan w + rb), d tan w the height of the corner's chief ray at the stack; " + beam, append(pupil, input("d tan w", a.chiefHeightMM(), "mm")), thin},
	}, nil
}
