package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Camera is a small camera with its own fixed lens, taken as a thin lens whose
// entrance pupil lies at the lens.
type Camera struct {
	FocalMM       float64
	FNumber       float64 // the pupil's diameter is FocalMM/FNumber
	PitchXUM      float64 // pixel pitch along a row
	PitchYUM      float64 // pixel pitch along a column
	Width, Height int     // pixels
	FocusMM       float64 // distance from its lens it is focused at; +Inf for infinity
}

// Attachment is a stack in front of a camera.
type Attachment struct {
	Stack        Stack
	Camera       Camera
	StandoffMM   float64 // air between the stack's last vertex and the camera lens
	WavelengthUM float64 // for the diffraction limit
}

// AttachmentFigures is what a stack in front of a camera gives to first order.
// A prediction: nothing here was measured, and aberrations are left out.
type AttachmentFigures struct {
	WorkingDistanceMM float64 `json:"working_distance_mm"` // first vertex to the specimen
	Magnification     float64 `json:"magnification"`       // image on the detector over specimen, with its sign
	ObjectPixelXUM    float64 `json:"object_pixel_x_um"`   // one pixel's share of the specimen
	ObjectPixelYUM    float64 `json:"object_pixel_y_um"`
	ObjectPixelUM     float64 `json:"object_pixel_um"` // the larger of the two
	FieldXMM          float64 `json:"field_x_mm"`
	FieldYMM          float64 `json:"field_y_mm"`
	NAObject          float64 `json:"na_object"`
	Stop              string  `json:"stop"`              // what limits the cone of light
	RayleighUM        float64 `json:"rayleigh_um"`       // 0.61 wavelength/NA
	NyquistPeriodUM   float64 `json:"nyquist_period_um"` // two object pixels
	NyquistLPPerMM    float64 `json:"nyquist_lp_per_mm"`
}

// StopCamera is the AttachmentFigures.Stop of a cone limited by the camera's pupil.
const StopCamera = "camera lens"

// Validate reports the first figure that is not possible. Fault Invalid.
func (a Attachment) Validate() error {
	if err := a.Stack.Validate(); err != nil {
		return err
	}
	c := a.Camera
	positive := []struct {
		name, example string
		value         float64
	}{
		{"camera's focal length", "4mm", c.FocalMM}, {"camera's f-number", "1.1", c.FNumber},
		{"pixel pitch", "12um", c.PitchXUM}, {"pixel pitch", "12um", c.PitchYUM}, {"wavelength", "10um", a.WavelengthUM},
	}
	for _, p := range positive {
		if !(p.value > 0) || math.IsInf(p.value, 0) {
			return fault.Invalidf("the %s is %g, not a finite number above zero", p.name, p.value).WithHint("type the %s, for example %s", p.name, p.example)
		}
	}
	if c.Width < 1 || c.Height < 1 {
		return fault.Invalidf("the detector has %d x %d pixels", c.Width, c.Height).WithHint("type its size, for example 256x192")
	}
	if !(a.StandoffMM >= 0) || math.IsInf(a.StandoffMM, 0) {
		return fault.Invalidf("the camera lens stands %g mm behind the stack", a.StandoffMM).WithHint("type the distance from the last vertex to the camera lens, 0mm or more")
	}
	if !(c.FocusMM > c.FocalMM) {
		return fault.Invalidf("the camera is focused at %g mm, not beyond its focal length of %g mm", c.FocusMM, c.FocalMM).
			WithHint("type the distance the camera is focused at, measured from its lens, or inf for infinity")
	}
	return nil
}

// Figures works the attachment out. With the stack's matrix A, B, C, D, the
// camera lens a distance d behind it and focused at U, so that the plane the
// camera sees lies L = d - U behind the stack's last vertex:
//
//	s = -(B + L D)/(A + L C)            working distance
//	M = -(A + L C) fc/(U - fc)          magnification
//	s = FFL, M = -fc/EFL                for U infinite
//	NA = sin(atan(u))                   u: the steepest slope that passes every aperture
//
// Fault Invalid when a figure is not possible, when the stack is afocal and the
// camera focused at infinity, and when the specimen would have to lie inside or
// behind the stack.
func (a Attachment) Figures() (AttachmentFigures, error) {
	if err := a.Validate(); err != nil {
		return AttachmentFigures{}, err
	}
	distance, magnification, err := a.conjugates()
	if err != nil {
		return AttachmentFigures{}, err
	}
	slope, stop := a.marginalSlope(distance)
	c, enlarged := a.Camera, math.Abs(magnification)
	f := AttachmentFigures{
		WorkingDistanceMM: distance, Magnification: magnification,
		ObjectPixelXUM: c.PitchXUM / enlarged, ObjectPixelYUM: c.PitchYUM / enlarged,
		NAObject: math.Sin(math.Atan(slope)), Stop: stop,
	}
	f.ObjectPixelUM = max(f.ObjectPixelXUM, f.ObjectPixelYUM)
	f.FieldXMM, f.FieldYMM = f.ObjectPixelXUM*float64(c.Width)/1000, f.ObjectPixelYUM*float64(c.Height)/1000
	f.RayleighUM = RayleighUM(a.WavelengthUM, f.NAObject)
	f.NyquistPeriodUM = 2 * f.ObjectPixelUM
	f.NyquistLPPerMM = 1000 / f.NyquistPeriodUM
	return f, nil
}

// conjugates returns the working distance and the magnification.
func (a Attachment) conjugates() (distanceMM, magnification float64, err error) {
	m, c := a.Stack.Matrix(), a.Camera
	afocal := a.Stack.afocal(m)
	if math.IsInf(c.FocusMM, 1) {
		if afocal {
			return 0, 0, fault.Invalidf("the stack has no power, and the camera is focused at infinity").
				WithHint("change a gap or a lens so that the stack has a focal length, or type a finite focus distance for the camera")
		}
		distanceMM, magnification = -m.D/m.CPerMM, m.CPerMM*c.FocalMM
	} else {
		behind := a.StandoffMM - c.FocusMM
		lateral := m.A + behind*m.CPerMM
		if math.Abs(lateral) <= negligible*(math.Abs(m.A)+math.Abs(behind*m.CPerMM)) {
			return 0, 0, fault.Invalidf("the specimen would have to lie at infinity").WithHint("change the camera's focus distance or its distance behind the stack")
		}
		distanceMM = -(m.BMM + behind*m.D) / lateral
		magnification = -lateral * c.FocalMM / (c.FocusMM - c.FocalMM)
	}
	if !(distanceMM > 0) {
		return 0, 0, fault.Invalidf("the specimen would have to lie %.4g mm behind the stack's first vertex", -distanceMM).
			WithHint("turn the stack round, shorten the gaps, or use fewer or longer focal lengths")
	}
	return distanceMM, magnification, nil
}

// marginalSlope returns the steepest slope from the specimen's axial point that
// passes every aperture, and the name of the one that stops it.
func (a Attachment) marginalSlope(distanceMM float64) (slope float64, stop string) {
	slope = math.Inf(1)
	limit := func(name string, semiApertureMM, heightMM float64) {
		if passes := semiApertureMM / math.Abs(heightMM); passes < slope {
			slope, stop = passes, name
		}
	}
	y, u := distanceMM, 1.0 // height and index times slope of a ray of unit slope
	for _, f := range a.Stack.surfaces() {
		limit(f.label, f.semiApertureMM, y)
		u -= y * f.power()
		y += f.distanceAfterMM / f.after * u
	}
	limit(StopCamera, a.Camera.FocalMM/a.Camera.FNumber/2, y+a.StandoffMM*u)
	return slope, stop
}
