package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Figure is one figure under a name that carries its unit.
type Figure struct {
	Name  string  `json:"name"` // as its JSON key elsewhere: working_distance_mm
	Value float64 `json:"value"`
}

// FirstOrder returns the attachment's first-order figures by name, in a fixed
// order. Faults as Attachment.Figures.
func FirstOrder(a Attachment) ([]Figure, error) {
	f, err := a.Figures()
	if err != nil {
		return nil, err
	}
	return []Figure{
		{"working_distance_mm", f.WorkingDistanceMM}, {"magnification", f.Magnification}, {"object_pixel_um", f.ObjectPixelUM},
		{"field_x_mm", f.FieldXMM}, {"field_y_mm", f.FieldYMM}, {"na_object", f.NAObject}, {"rayleigh_um", f.RayleighUM},
		{"nyquist_period_um", f.NyquistPeriodUM},
		{"depth_of_field_um", DepthOfFieldUM(a.WavelengthUM, f.NAObject, f.Magnification, max(a.Camera.PitchXUM, a.Camera.PitchYUM)).TotalUM},
	}, nil
}

// Range is how far one figure goes over the camera's focus travel.
type Range struct {
	Name string  `json:"name"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// FocusTravel is what an attachment does over its camera's focus travel.
type FocusTravel struct {
	NearestMM  float64 `json:"nearest_mm"` // focus distances that were looked at, from the camera's lens
	FarthestMM float64 `json:"-"`          // +Inf for infinity
	Figures    []Range `json:"figures"`
	// Impossible says why some focus distances give no figures, "" when all do.
	Impossible string `json:"impossible"`
}

// travelSteps is how many focus distances are looked at, evenly in 1/distance,
// which is even in the travel of the lens.
const travelSteps = 33

// OverFocus returns the range of every figure while the camera is focused from
// nearestMM to farthestMM (+Inf for infinity). figures is FirstOrder, or another
// function of the attachment that names its figures in a fixed order.
//
// Fault Invalid when the distances are not in order or beyond the camera's focal
// length, or when no focus distance gives figures.
func (a Attachment) OverFocus(nearestMM, farthestMM float64, figures func(Attachment) ([]Figure, error)) (FocusTravel, error) {
	if !(nearestMM > a.Camera.FocalMM) || !(nearestMM <= farthestMM) {
		return FocusTravel{}, fault.Invalidf("a focus travel from %s to %s is not possible for a lens of %s", shown(nearestMM, "mm"), shown(farthestMM, "mm"), shown(a.Camera.FocalMM, "mm")).
			WithHint("type the nearest distance first, longer than the focal length, for example 150mm..inf")
	}
	travel := FocusTravel{NearestMM: nearestMM, FarthestMM: farthestMM}
	var last error
	for i := range travelSteps {
		share := float64(i) / (travelSteps - 1)
		a.Camera.FocusMM = 1 / ((1-share)/nearestMM + share/farthestMM)
		if i == 0 { // the ends without rounding
			a.Camera.FocusMM = nearestMM
		}
		list, err := figures(a)
		if err != nil {
			last = err
			continue
		}
		travel.widen(list)
	}
	if len(travel.Figures) == 0 {
		return FocusTravel{}, last
	}
	if last != nil {
		travel.Impossible = last.Error()
	}
	return travel, nil
}

func (t *FocusTravel) widen(list []Figure) {
	if t.Figures == nil {
		for _, f := range list {
			t.Figures = append(t.Figures, Range{f.Name, math.Inf(1), math.Inf(-1)})
		}
	}
	for i, f := range list {
		r := &t.Figures[i]
		r.Low, r.High = min(r.Low, f.Value), max(r.High, f.Value)
	}
}
