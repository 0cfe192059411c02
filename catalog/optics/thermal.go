package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Warming says how an element and the gap behind it change with temperature.
type Warming struct {
	DnDTPerK         *float64 // of the index; nil: not known, taken as none
	ExpansionPerK    *float64 // linear, of the element; nil: not known, taken as none
	Index            float64  // of a thin lens, to turn DnDTPerK into a change of its focal length
	GapExpansionPerK float64  // linear, of the mount over the gap behind it; 0: none
}

// Warmed returns the stack at another temperature, dTK kelvin above that of its
// figures, and which elements' coefficients were not known and so left out:
//
//	n + dn/dT dT;  radii, thickness and diameters (1 + a dT);  gaps (1 + g dT)
//	1/f of a thin lens: (n + dn/dT dT - 1)/(n-1)/(1 + a dT)
//
// Coefficients are taken as constant. dn/dT against vacuum and against air
// differ by about the index times 1e-6 per kelvin, which is left out.
// A mirror's reflectance stays.
//
// Fault Invalid when there is not one Warming an element, a thin lens with a
// dn/dT has no index, or the change is too large to be one; faults of Validate.
func (s Stack) Warmed(dTK float64, changes []Warming) (warmed Stack, unknown []string, err error) {
	if err := s.Validate(); err != nil {
		return nil, nil, err
	}
	if len(changes) != len(s) {
		return nil, nil, fault.Invalidf("the stack has %d elements, and %d changes with temperature are stated", len(s), len(changes)).WithHint("state one for each element")
	}
	if !(math.Abs(dTK) <= 1000) {
		return nil, nil, fault.Invalidf("a change of temperature by %g K is not possible", dTK).WithHint("type a difference such as 20 K")
	}
	warmed = append(Stack{}, s...)
	for i, w := range changes {
		m := &warmed[i]
		if m.Element.N == 0 && !m.Element.Mirror && w.DnDTPerK != nil && !(w.Index > 1) {
			return nil, nil, fault.Invalidf("%s: a thin lens changes with dn/dT by its index, which is not stated", s.name(i)).WithHint("state the index of its material")
		}
		if w.DnDTPerK == nil && !m.Element.Mirror {
			unknown = append(unknown, s.name(i)+": dn/dT")
		}
		if w.ExpansionPerK == nil {
			unknown = append(unknown, s.name(i)+": expansion")
		}
		m.Element.warm(dTK, w)
		m.GapAfterMM *= 1 + w.GapExpansionPerK*dTK
	}
	if err := warmed.Validate(); err != nil {
		return nil, nil, err
	}
	return warmed, unknown, nil
}

func (e *Element) warm(dTK float64, w Warming) {
	stretch, index := 1.0, 0.0
	if w.ExpansionPerK != nil {
		stretch = 1 + *w.ExpansionPerK*dTK
	}
	if w.DnDTPerK != nil {
		index = *w.DnDTPerK * dTK
	}
	switch {
	case e.IsThin() && index != 0:
		e.FocalMM *= stretch / (1 + index/(w.Index-1))
	case e.IsThin():
		e.FocalMM *= stretch
	case !e.Mirror:
		e.N += index
	}
	for _, length := range []*float64{&e.Radius1MM, &e.Radius2MM, &e.ThicknessMM, &e.DiameterMM, &e.SemiAperture1MM, &e.SemiAperture2MM} {
		*length *= stretch
	}
}

// FocalDrift is how focus moves with the temperature of a stack.
type FocalDrift struct {
	DTK                float64  `json:"dt_k"`
	EFLMM              float64  `json:"efl_mm"` // at the temperature; 0 for an afocal stack
	EFLShiftMM         float64  `json:"efl_shift_mm"`
	WorkingDistanceMM  float64  `json:"working_distance_mm"` // paraxial, at the temperature
	FocusShiftMM       float64  `json:"focus_shift_mm"`      // of the working distance: move the specimen by this to stay sharp
	MagnificationShare float64  `json:"magnification_share"` // magnification over the one before, less 1
	DepthOfFieldUM     float64  `json:"depth_of_field_um"`   // to compare the shift with
	Unknown            []string `json:"unknown"`             // coefficients taken as zero
}

// Drift works out how the attachment's focus moves when its stack, not the
// camera, warms by dTK. Faults of Stack.Warmed and Figures.
func (a Attachment) Drift(dTK float64, changes []Warming) (FocalDrift, error) {
	cold, err := a.Figures()
	if err != nil {
		return FocalDrift{}, err
	}
	warm := a
	var unknown []string
	if warm.Stack, unknown, err = a.Stack.Warmed(dTK, changes); err != nil {
		return FocalDrift{}, err
	}
	if last := len(changes) - 1; changes[last].GapExpansionPerK != 0 {
		warm.StandoffMM *= 1 + changes[last].GapExpansionPerK*dTK
	}
	hot, err := warm.Figures()
	if err != nil {
		return FocalDrift{}, err
	}
	d := FocalDrift{
		DTK: dTK, WorkingDistanceMM: hot.WorkingDistanceMM, FocusShiftMM: hot.WorkingDistanceMM - cold.WorkingDistanceMM,
		MagnificationShare: hot.Magnification/cold.Magnification - 1, Unknown: unknown,
		DepthOfFieldUM: DepthOfFieldUM(a.WavelengthUM, hot.NAObject, hot.Magnification, max(a.Camera.PitchXUM, a.Camera.PitchYUM)).TotalUM,
	}
	if before, after := a.Stack.Matrix(), warm.Stack.Matrix(); !a.Stack.afocal(before) && !warm.Stack.afocal(after) {
		d.EFLMM = -1 / after.CPerMM
		d.EFLShiftMM = d.EFLMM + 1/before.CPerMM
	}
	return d, nil
}
