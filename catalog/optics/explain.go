package optics

import (
	"math"

	"dieglow/catalog/quantity"
)

// Input is one value that went into a figure.
type Input struct {
	Name  string `json:"name"`
	Value string `json:"value"` // number with its unit, "infinite" where it is
}

// Explanation says how one figure came about.
type Explanation struct {
	Figure  string  `json:"figure"`
	Value   string  `json:"value"`
	Formula string  `json:"formula"`
	Inputs  []Input `json:"inputs"`
	Source  string  `json:"source"`
}

// explainedDigits is the number of digits explanations print.
const explainedDigits = 6

func shown(v float64, unit string) string {
	text := quantity.Fixed(v, explainedDigits)
	if unit == "" || math.IsInf(v, 0) || math.IsNaN(v) {
		return text
	}
	return text + " " + unit
}

func input(name string, v float64, unit string) Input { return Input{name, shown(v, unit)} }

const (
	sourceParaxial   = "W. J. Smith, Modern Optical Engineering, paraxial ray tracing (n'u' = nu - yc(n'-n), y' = y + tu')"
	sourceAttachment = "derived from the stack's matrix and the thin-lens formula of the camera"
	sourceDefinition = "definition"
	sourceRayleigh   = "Rayleigh criterion for a circular aperture: first zero of the Airy pattern"
)

func (m Matrix) inputs() []Input {
	return []Input{input("A", m.A, ""), input("B", m.BMM, "mm"), input("C", m.CPerMM, "/mm"), input("D", m.D, "")}
}

// Explain returns how the stack's cardinal distances come about.
// Fault Invalid when the stack is not valid.
func (s Stack) Explain() ([]Explanation, error) {
	c, err := s.Cardinal()
	if err != nil {
		return nil, err
	}
	inputs := s.Matrix().inputs()
	distances := []Input{input("EFL", c.EFLMM, "mm"), input("FFL", c.FFLMM, "mm"), input("BFL", c.BFLMM, "mm")}
	return []Explanation{
		{"effective focal length", shown(c.EFLMM, "mm"), "EFL = -1/C", inputs, sourceParaxial},
		{"back focal length, from the last vertex", shown(c.BFLMM, "mm"), "BFL = -A/C", inputs, sourceParaxial},
		{"front focal length, before the first vertex", shown(c.FFLMM, "mm"), "FFL = -D/C", inputs, sourceParaxial},
		{"front principal plane, behind the first vertex", shown(c.PrincipalFrontMM, "mm"), "H = EFL - FFL", distances, sourceParaxial},
		{"rear principal plane, behind the last vertex", shown(c.PrincipalRearMM, "mm"), "H' = BFL - EFL", distances, sourceParaxial},
	}, nil
}

// Explain returns how each of the attachment's figures comes about.
// Faults as Figures.
func (a Attachment) Explain() ([]Explanation, error) {
	f, err := a.Figures()
	if err != nil {
		return nil, err
	}
	c := a.Camera
	optics := append(a.Stack.Matrix().inputs(),
		input("fc, camera focal length", c.FocalMM, "mm"), input("U, camera focus distance", c.FocusMM, "mm"), input("d, stack to camera lens", a.StandoffMM, "mm"))
	distance, enlargement := "s = -(B + L D)/(A + L C), L = d - U", "M = -(A + L C) fc/(U - fc), L = d - U"
	if math.IsInf(c.FocusMM, 1) {
		distance, enlargement = "s = FFL = -D/C", "M = -fc/EFL = fc C"
	}
	m := input("M", f.Magnification, "")
	return []Explanation{
		{"working distance", shown(f.WorkingDistanceMM, "mm"), distance, optics, sourceAttachment},
		{"magnification", shown(f.Magnification, ""), enlargement, optics, sourceAttachment},
		{"object pixel", shown(f.ObjectPixelUM, "µm"), "p/|M|, the larger of x and y", []Input{input("pitch x", c.PitchXUM, "µm"), input("pitch y", c.PitchYUM, "µm"), m}, sourceDefinition},
		{"field", shown(f.FieldXMM, "mm") + " x " + shown(f.FieldYMM, "mm"), "pixels x p/|M|", []Input{input("columns", float64(c.Width), ""), input("rows", float64(c.Height), ""), m}, sourceDefinition},
		{"numerical aperture at the specimen", shown(f.NAObject, ""), "NA = sin(atan(u)), u the steepest paraxial slope that passes every clear aperture",
			[]Input{{"stop", f.Stop}, input("camera pupil diameter fc/N", c.FocalMM/c.FNumber, "mm")}, sourceParaxial},
		{"diffraction limit", shown(f.RayleighUM, "µm"), "0.61 wavelength/NA", []Input{input("wavelength", a.WavelengthUM, "µm"), input("NA", f.NAObject, "")}, sourceRayleigh},
		{"finest period the pixels carry", shown(f.NyquistPeriodUM, "µm"), "2 x object pixel", []Input{input("object pixel", f.ObjectPixelUM, "µm")}, "Nyquist criterion"},
	}, nil
}

// roundedUp prints a length in mm to a few digits, never below it, so that what
// a hint says can be typed.
func roundedUp(mm float64) string {
	return quantity.Fixed(math.Ceil(mm*1e4-1e-6)/1e4, explainedDigits)
}
