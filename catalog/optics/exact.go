package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// FieldPoint is how the camera sees one point of its array through the stack.
type FieldPoint struct {
	Name        string    `json:"name"` // centre, 0.7, edge x, edge y, corner
	DetectorXMM float64   `json:"detector_x_mm"`
	DetectorYMM float64   `json:"detector_y_mm"`
	Chief       *ChiefRay `json:"chief"`      // null where it misses a surface, clear apertures aside
	Passed      float64   `json:"passed"`     // share of the pupil's beam that comes through
	StoppedBy   string    `json:"stopped_by"` // what takes most of the rest; the camera lens where nothing does
}

// ChiefRay is the ray through the middle of the camera's pupil, at the specimen.
type ChiefRay struct {
	XMM             float64 `json:"x_mm"`
	YMM             float64 `json:"y_mm"`
	AngleDeg        float64 `json:"angle_deg"`        // with the axis
	DistortionShare float64 `json:"distortion_share"` // distance from the axis over the undistorted one, less 1; 0 at the centre
}

// ExactFigures is what exact rays say of a stack before a camera, at one
// wavelength. A prediction: the camera's own lens is taken as perfect.
type ExactFigures struct {
	WorkingDistanceMM float64      `json:"working_distance_mm"` // first vertex to the specimen, at best focus
	FocusShiftMM      float64      `json:"focus_shift_mm"`      // best focus less the paraxial one
	RMSBlurUM         float64      `json:"rms_blur_um"`         // radius at the specimen, at best focus in the middle
	ClearanceMM       float64      `json:"clearance_mm"`        // from the specimen to what stands nearest, rim or vertex
	Magnification     float64      `json:"magnification"`       // near the axis, with its sign
	ObjectPixelUM     float64      `json:"object_pixel_um"`     // near the axis, the larger of x and y
	FieldXMM          float64      `json:"field_x_mm"`          // between the chief rays of the edges
	FieldYMM          float64      `json:"field_y_mm"`
	NAObject          float64      `json:"na_object"` // sine of the marginal ray's angle
	Stop              string       `json:"stop"`      // what limits the axial beam
	DepthOfField      DepthOfField `json:"depth_of_field"`
	Points            []FieldPoint `json:"points"`
	Mirrored          bool         `json:"mirrored"` // an odd number of reflections
}

// CheckFit is Stack.CheckFit, and refuses a last surface whose rim would stand
// in the camera's lens. Fault Invalid; faults of Validate.
func (a Attachment) CheckFit() error {
	if err := a.Validate(); err != nil {
		return err
	}
	if err := a.Stack.CheckFit(); err != nil {
		return err
	}
	last := len(a.Stack) - 1
	e := a.Stack[last].Element
	if h := e.rim(); !e.IsThin() && !math.IsInf(h, 1) && e.rearSag(h) > a.StandoffMM+touching {
		return fault.Invalidf("%s would stand in the camera's lens: its rim lies %s mm behind its vertex, and the camera's lens %s", a.Stack.rear(last), roundedUp(e.rearSag(h)), shown(a.StandoffMM, "mm")).
			WithHint("make the distance to the camera's lens at least %smm, or turn the lens round", roundedUp(e.rearSag(h)))
	}
	return nil
}

// clearanceMM is how far the specimen, taken as a plane, is from what stands
// nearest to it: the first vertex, or the rim of a first surface hollow towards
// the specimen.
func (a Attachment) clearanceMM(workingMM float64) float64 {
	e := a.Stack[0].Element
	if h := e.rim(); !math.IsInf(h, 1) {
		return workingMM + min(0, e.frontSag(h))
	}
	return workingMM
}

// beamRays is how many rays find the share of a beam that passes: an area cut by
// a circle comes out to about 0.002.
const beamRays = 4096

// fieldPoints are the points of the array that are looked at.
func (c Camera) fieldPoints() []FieldPoint {
	x, y := c.halfSizeMM()
	return []FieldPoint{
		{Name: "centre"}, {Name: "0.7", DetectorXMM: 0.7 * x, DetectorYMM: 0.7 * y},
		{Name: "edge x", DetectorXMM: x}, {Name: "edge y", DetectorYMM: y}, {Name: "corner", DetectorXMM: x, DetectorYMM: y},
	}
}

// Exact works out by exact rays what Figures gives to first order, and what
// first order cannot: the chief rays across the field, the share of the beam
// that each point keeps, and the best focus, where the root mean square radius
// of the axial bundle at the specimen is least. Rays go from the camera's pupil
// to the specimen. The specimen is a plane at best focus.
//
// Faults of Figures and CheckFit; Invalid when no ray passes along the axis.
func (a Attachment) Exact() (ExactFigures, error) {
	first, err := a.Figures()
	if err != nil {
		return ExactFigures{}, err
	}
	if err := a.CheckFit(); err != nil {
		return ExactFigures{}, err
	}
	v := a.view()
	marginal, stop, err := v.marginal()
	if err != nil {
		return ExactFigures{}, err
	}
	points := spiral(beamRays)
	var axial focusOf
	v.addAxial(&axial, first.WorkingDistanceMM, 1, points)
	shift, rms := axial.best()
	f := ExactFigures{
		WorkingDistanceMM: first.WorkingDistanceMM + shift, FocusShiftMM: shift, RMSBlurUM: 1000 * rms,
		NAObject: math.Hypot(marginal.L, marginal.M), Stop: stop, Mirrored: a.Stack.Reflections()%2 == 1,
	}
	if !(f.WorkingDistanceMM > 0) {
		return ExactFigures{}, fault.Invalidf("the best focus lies %.4g mm behind the stack's first vertex", -f.WorkingDistanceMM).WithHint("turn the stack round, shorten the gaps, or use fewer or longer focal lengths")
	}
	f.ClearanceMM = a.clearanceMM(f.WorkingDistanceMM)
	f.Magnification = v.magnification(f.WorkingDistanceMM)
	c := a.Camera
	f.ObjectPixelUM = max(c.PitchXUM, c.PitchYUM) / math.Abs(f.Magnification)
	f.DepthOfField = DepthOfFieldUM(a.WavelengthUM, f.NAObject, f.Magnification, max(c.PitchXUM, c.PitchYUM))
	for _, p := range c.fieldPoints() {
		f.Points = append(f.Points, v.look(p, f.WorkingDistanceMM, f.Magnification, points))
	}
	f.FieldXMM, f.FieldYMM = f.field(c)
	return f, nil
}

// magnification is that of a chief ray near the axis.
func (v view) magnification(workingMM float64) float64 {
	small := v.arrayMM * 1e-5
	r, outcome := v.open.Trace(v.ray(0, small, 0, 0))
	if outcome.Fate != Passed {
		return math.NaN() // the ray along the axis passed, so this one does
	}
	_, y := r.At(workingMM)
	return small / y
}

// field is twice what the chief rays of the edges reach, or the array's size by
// the magnification where they miss.
func (f ExactFigures) field(c Camera) (x, y float64) {
	halfX, halfY := c.halfSizeMM()
	x, y = 2*halfX/math.Abs(f.Magnification), 2*halfY/math.Abs(f.Magnification)
	for _, p := range f.Points {
		if p.Chief == nil {
			continue
		}
		switch p.Name {
		case "edge x":
			x = 2 * math.Abs(p.Chief.XMM)
		case "edge y":
			y = 2 * math.Abs(p.Chief.YMM)
		}
	}
	return x, y
}

// look traces a field point's chief ray and its beam.
func (v view) look(p FieldPoint, workingMM, magnification float64, points []point) FieldPoint {
	if r, outcome := v.open.Trace(v.ray(p.DetectorXMM, p.DetectorYMM, 0, 0)); outcome.Fate == Passed {
		x, y := r.At(workingMM)
		p.Chief = &ChiefRay{XMM: x, YMM: y, AngleDeg: math.Atan(math.Hypot(r.L, r.M)/r.N) * 180 / math.Pi}
		if h := math.Hypot(p.DetectorXMM, p.DetectorYMM); h > 0 {
			p.Chief.DistortionShare = math.Hypot(x, y)/h*math.Abs(magnification) - 1
		}
	}
	stopped, passed := make([]int, v.back.Surfaces()), 0
	for _, q := range points {
		_, outcome := v.back.Trace(v.ray(p.DetectorXMM, p.DetectorYMM, q.x*v.pupilMM, q.y*v.pupilMM))
		if outcome.Fate == Passed {
			passed++
		} else {
			stopped[outcome.Surface]++
		}
	}
	p.Passed, p.StoppedBy = float64(passed)/float64(len(points)), StopCamera
	most := 0
	for k, n := range stopped {
		if n > most {
			most, p.StoppedBy = n, v.back.Label(k)
		}
	}
	return p
}
