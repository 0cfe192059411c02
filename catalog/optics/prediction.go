package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Wave is one wavelength of a band: how much it counts, and the stack as it is
// there. The weights are the caller's, for example the radiance of the target
// times the transmission of the stack times the camera's response.
type Wave struct {
	WavelengthUM float64
	Weight       float64
	Stack        Stack // as the attachment's but for its indices and thin focal lengths
}

// Prediction asks how sharp an attachment will be.
type Prediction struct {
	Attachment Attachment // with its stack at the main wavelength, which colour is reckoned from
	Waves      []Wave     // the band; none: the main wavelength alone
	FillFactor float64    // share of a pixel's area that sees; 0: 1
	Contrast   float64    // that a bar must keep, above 0 and below 1; 0: DefaultContrast
	DefocusMM  float64    // how far the specimen stands beyond best focus
	Rings      int        // of the pupil's sampling, 4 to 200; 0: 12
}

// DefaultContrast is what a bar must keep to count as resolved.
const DefaultContrast = 0.2

// scene is a prediction ready to be traced.
type scene struct {
	Prediction
	main      view
	mainWave  focusOf // of the main wavelength alone
	waves     []sceneWave
	points    []point
	firstMM   float64 // paraxial working distance at the main wavelength
	workingMM float64 // at the best focus of the band
	mainShift float64 // best focus of the band less that of the main wavelength
	rmsMM     float64
	figures   ExactFigures // NA, stop, depth of field, magnification at the band's best focus
}

type sceneWave struct {
	view
	forward      *System
	wavelengthUM float64
	weight       float64 // of a total of 1
}

// validate fills in what was left out.
func (p Prediction) validate() (Prediction, error) {
	if p.FillFactor == 0 {
		p.FillFactor = 1
	}
	if p.Contrast == 0 {
		p.Contrast = DefaultContrast
	}
	if p.Rings == 0 {
		p.Rings = 12
	}
	if len(p.Waves) == 0 {
		p.Waves = []Wave{{p.Attachment.WavelengthUM, 1, p.Attachment.Stack}}
	}
	switch {
	case !(p.FillFactor > 0 && p.FillFactor <= 1):
		return p, fault.Invalidf("the fill factor %g is not above 0 and at most 1", p.FillFactor).WithHint("type the share of a pixel's area that sees, for example 0.8")
	case !(p.Contrast > 0 && p.Contrast < 1):
		return p, fault.Invalidf("the contrast %g is not between 0 and 1", p.Contrast).WithHint("type the contrast that a bar must keep, for example 0.2")
	case math.IsNaN(p.DefocusMM) || math.IsInf(p.DefocusMM, 0):
		return p, fault.Invalidf("the defocus is not a finite number").WithHint("type how far the specimen stands beyond best focus, for example 0.1mm")
	case p.Rings < 4 || p.Rings > 200:
		return p, fault.Invalidf("a pupil of %d rings is not between 4 and 200", p.Rings).WithHint("leave it out for 12")
	}
	total := 0.0
	for _, w := range p.Waves {
		if !(w.WavelengthUM > 0) || !(w.Weight >= 0) || math.IsInf(w.Weight, 0) || math.IsInf(w.WavelengthUM, 0) {
			return p, fault.Invalidf("the band has a weight of %g at %g µm", w.Weight, w.WavelengthUM).WithHint("give weights of 0 or more at wavelengths above zero")
		}
		if err := w.Stack.Validate(); err != nil {
			return p, err
		}
		if len(w.Stack) != len(p.Attachment.Stack) || math.Abs(w.Stack.LengthMM()-p.Attachment.Stack.LengthMM()) > touching {
			return p, fault.Invalidf("the stack at %g µm is not the attachment's", w.WavelengthUM).WithHint("give the same lenses and gaps at every wavelength")
		}
		total += w.Weight
	}
	if !(total > 0) || math.IsInf(total, 0) {
		return p, fault.Invalidf("the band's weights come to %g", total).WithHint("give at least one wavelength a weight above zero")
	}
	return p, nil
}

// stage finds the band's best focus and what holds there.
func (p Prediction) stage() (*scene, error) {
	first, err := p.Attachment.Figures()
	if err != nil {
		return nil, err
	}
	if err := p.Attachment.CheckFit(); err != nil {
		return nil, err
	}
	if p, err = p.validate(); err != nil {
		return nil, err
	}
	s := &scene{Prediction: p, main: p.Attachment.view(), points: pupilPoints(p.Rings, 32), firstMM: first.WorkingDistanceMM}
	marginal, stop, err := s.main.marginal()
	if err != nil {
		return nil, err
	}
	total, band := 0.0, focusOf{}
	for _, w := range p.Waves {
		total += w.Weight
	}
	for _, w := range p.Waves {
		if w.Weight == 0 {
			continue
		}
		a := p.Attachment
		a.Stack = w.Stack
		ready := sceneWave{a.view(), w.Stack.compile(), w.WavelengthUM, w.Weight / total}
		ready.addAxial(&band, s.firstMM, ready.weight, s.points)
		s.waves = append(s.waves, ready)
	}
	s.main.addAxial(&s.mainWave, s.firstMM, 1, s.points)
	shift, rms := band.best()
	alone, _ := s.mainWave.best()
	s.workingMM, s.rmsMM, s.mainShift = s.firstMM+shift, rms, shift-alone
	if !(s.workingMM > 0) {
		return nil, fault.Invalidf("the best focus lies %.4g mm behind the stack's first vertex", -s.workingMM).WithHint("turn the stack round, shorten the gaps, or use fewer or longer focal lengths")
	}
	c := p.Attachment.Camera
	f := &s.figures
	f.NAObject, f.Stop, f.Magnification = math.Hypot(marginal.L, marginal.M), stop, s.main.magnification(s.workingMM)
	f.ObjectPixelUM = max(c.PitchXUM, c.PitchYUM) / math.Abs(f.Magnification)
	f.DepthOfField = DepthOfFieldUM(p.Attachment.WavelengthUM, f.NAObject, f.Magnification, max(c.PitchXUM, c.PitchYUM))
	return s, nil
}

// fieldHeight is one point of the field that sharpness is worked out at, on the
// line from the middle to a corner. Every surface is round, so the point may be
// turned onto the y axis; only the pixels must know the true direction.
type fieldHeight struct {
	name     string
	heightMM float64 // on the array
	cos, sin float64 // direction on the array
}

func (c Camera) fieldHeights() []fieldHeight {
	x, y := c.halfSizeMM()
	h := math.Hypot(x, y)
	return []fieldHeight{{"centre", 0, 0, 1}, {"0.7", 0.7 * h, x / h, y / h}, {"corner", h, x / h, y / h}}
}

// spot is where a ray meets the specimen's plane at the band's best focus, with
// its slopes; what the main wavelength's own ray from the same point of the
// pupil gives at its own best focus stands beside it.
type spot struct {
	x, y, tx, ty float64
	aloneX       float64
	aloneY       float64
}

// spots traces the pupil's bundle for a point of the field and one wave.
// Points of the pupil whose ray is stopped, at this or the main wavelength, are
// left out.
func (s *scene) spots(w *sceneWave, heightMM float64) []spot {
	list := make([]spot, 0, len(s.points))
	for _, p := range s.points {
		px, py := p.x*w.pupilMM, p.y*w.pupilMM
		r, outcome := w.back.Trace(w.ray(0, heightMM, px, py))
		if outcome.Fate != Passed {
			continue
		}
		main, outcome := s.main.back.Trace(s.main.ray(0, heightMM, px, py))
		if outcome.Fate != Passed {
			continue
		}
		out := spot{tx: r.L / r.N, ty: r.M / r.N}
		out.x, out.y = r.At(s.workingMM)
		out.aloneX, out.aloneY = main.At(s.workingMM - s.mainShift)
		list = append(list, out)
	}
	return list
}

// SpotPoint is where one ray of a point's bundle meets the specimen.
type SpotPoint struct {
	WavelengthUM float64 `json:"wavelength_um"`
	Weight       float64 `json:"weight"`
	SagittalUM   float64 `json:"sagittal_um"`   // across the line to the corner
	TangentialUM float64 `json:"tangential_um"` // along it
}

// SpotDiagram is the geometrical blur of one point of the field at the specimen.
type SpotDiagram struct {
	Name   string      `json:"name"`
	RMSUM  float64     `json:"rms_um"` // weighted root mean square distance from the centroid
	Points []SpotPoint `json:"points"` // from the weighted centroid
}

// SpotDiagrams returns the bundles of the centre, of 0.7 of the field and of the
// corner where they meet the specimen, DefocusMM beyond best focus. A diagram
// without points is that of a point whose beam is cut entirely.
// Faults as Sharpness.
func (p Prediction) SpotDiagrams() ([]SpotDiagram, error) {
	s, err := p.stage()
	if err != nil {
		return nil, err
	}
	var diagrams []SpotDiagram
	for _, h := range p.Attachment.Camera.fieldHeights() {
		d := SpotDiagram{Name: h.name}
		for i := range s.waves {
			w := &s.waves[i]
			for _, q := range s.spots(w, h.heightMM) {
				d.Points = append(d.Points, SpotPoint{w.wavelengthUM, w.weight, 1000 * (q.x + q.tx*s.DefocusMM), 1000 * (q.y + q.ty*s.DefocusMM)})
			}
		}
		d.centre()
		diagrams = append(diagrams, d)
	}
	return diagrams, nil
}

// centre moves the points to their centroid and works out their size.
func (d *SpotDiagram) centre() {
	weight, x, y := 0.0, 0.0, 0.0
	for _, p := range d.Points {
		weight, x, y = weight+p.Weight, x+p.Weight*p.SagittalUM, y+p.Weight*p.TangentialUM
	}
	if weight == 0 {
		return
	}
	sum := 0.0
	for i := range d.Points {
		p := &d.Points[i]
		p.SagittalUM, p.TangentialUM = p.SagittalUM-x/weight, p.TangentialUM-y/weight
		sum += p.Weight * (p.SagittalUM*p.SagittalUM + p.TangentialUM*p.TangentialUM)
	}
	d.RMSUM = math.Sqrt(sum / weight)
}

// FanPoint is one ray of a fan.
type FanPoint struct {
	Pupil  float64 `json:"pupil"`   // where it crosses the camera's pupil, as a share of its radius
	BlurUM float64 `json:"blur_um"` // where it meets the specimen, from the main wavelength's chief ray
}

// RayFan is the aberration over the pupil of one point of the field and one
// wavelength, at the specimen.
type RayFan struct {
	Name         string     `json:"name"`
	WavelengthUM float64    `json:"wavelength_um"`
	Tangential   []FanPoint `json:"tangential"` // along the line to the corner
	Sagittal     []FanPoint `json:"sagittal"`   // across it
}

// fanRays is how many rays a fan has, an odd number so that one is the chief ray.
const fanRays = 41

// RayFans returns fans for the centre, for 0.7 of the field and for the corner
// at every wavelength, DefocusMM beyond best focus. Rays that are stopped are
// left out. Faults as Sharpness.
func (p Prediction) RayFans() ([]RayFan, error) {
	s, err := p.stage()
	if err != nil {
		return nil, err
	}
	plane := s.workingMM + s.DefocusMM
	var fans []RayFan
	for _, h := range p.Attachment.Camera.fieldHeights() {
		chief, outcome := s.main.open.Trace(s.main.ray(0, h.heightMM, 0, 0))
		if outcome.Fate != Passed {
			continue
		}
		_, zero := chief.At(plane)
		for i := range s.waves {
			w := &s.waves[i]
			fan := RayFan{Name: h.name, WavelengthUM: w.wavelengthUM}
			for k := range fanRays {
				q := 2*float64(k)/(fanRays-1) - 1
				if r, o := w.back.Trace(w.ray(0, h.heightMM, 0, q*w.pupilMM)); o.Fate == Passed {
					_, y := r.At(plane)
					fan.Tangential = append(fan.Tangential, FanPoint{q, 1000 * (y - zero)})
				}
				if r, o := w.back.Trace(w.ray(0, h.heightMM, q*w.pupilMM, 0)); o.Fate == Passed {
					x, _ := r.At(plane)
					fan.Sagittal = append(fan.Sagittal, FanPoint{q, 1000 * x})
				}
			}
			fans = append(fans, fan)
		}
	}
	return fans, nil
}
