package catalog

import (
	"fmt"
	"math"

	"dieglow/catalog/quantity"
)

// leastCorner is the share of the beam below which a corner counts as cut.
const leastCorner = 0.9

// blurMatters is how much coarser than the first-order limit the exact one may be
// before it is said.
const blurMatters = 1.25

// focusMatters is the share of the depth of field by which best focus may lie off
// the first-order one before it is said.
const focusMatters = 0.25

// RayWarnings says what exact rays find wrong with the stack, which the
// first-order figures cannot know: a field that is cut, focus elsewhere, and blur
// over the camera's band, weighted by weigh.
func (s Setup) RayWarnings(parts Parts, weigh func(wavelengthUM float64) float64) []string {
	var out []string
	for i, l := range parts.Lenses {
		if l.Form == Mirror && s.Stack[i].IncidenceDeg == 0 {
			out = append(out, s.Stack[i].Lens.Handle+" sends light back the way it came: whether specimen, lenses or camera stand in its way is not looked at")
		}
	}
	p, err := s.Prediction(parts, weigh)
	if err != nil {
		return out
	}
	if exact, err := p.Attachment.Exact(); err == nil {
		for _, point := range exact.Points {
			if point.Name == "corner" && point.Passed < leastCorner {
				out = append(out, fmt.Sprintf("by exact rays %s %% of the beam reaches the corner of the field, past %s: the useful field is smaller than the computed one", quantity.Fixed(point.Passed*100, 2), point.StoppedBy))
			}
		}
	}
	sharp, err := p.Sharpness()
	if err != nil {
		return out
	}
	if off := sharp.WorkingDistanceMM - s.Figures.WorkingDistanceMM; math.Abs(off)*1000 > focusMatters*sharp.DepthOfField.TotalUM {
		out = append(out, fmt.Sprintf("by exact rays best focus lies %s mm from the first lens, %s mm from where first order has it: see --exact", quantity.Fixed(sharp.WorkingDistanceMM, 4), quantity.Fixed(off, 2)))
	}
	bar, promised := WorseBarUM(sharp.Points[0]), s.Figures.PredictedUM/2
	switch {
	case math.IsInf(bar, 1):
		out = append(out, "by exact rays no bar at all is resolved in the middle of the field")
	case bar > blurMatters*promised:
		out = append(out, fmt.Sprintf("by exact rays the smallest bar in the middle of the field is %s µm wide, more than half the %s µm that first order says is told apart: limited by %s", quantity.Fixed(bar, 3), quantity.Fixed(s.Figures.PredictedUM, 3), sharp.Points[0].Tangential.Limit))
	}
	return out
}
