package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// StackRay is an exact ray that came in parallel to the axis.
type StackRay struct {
	YInMM          float64  `json:"y_in_mm"`
	AxisCrossingMM *float64 `json:"axis_crossing_mm"` // from the last vertex, positive to the right; null where it does not cross or did not pass
	SlopeOut       *float64 `json:"slope_out"`        // dy/dz, the tangent of its angle with the axis; null where it did not pass
	Outcome        string   `json:"outcome"`          // "passed", or what ended it and where
}

// ParallelRays traces rays that come in parallel to the axis at the given
// heights. A ray that is stopped is no fault: its outcome says where.
// Fault Invalid when the stack cannot be built or a height is not finite.
func (s Stack) ParallelRays(heightsMM []float64) ([]StackRay, error) {
	if err := s.CheckFit(); err != nil {
		return nil, err
	}
	sys := s.compile()
	rays := make([]StackRay, len(heightsMM))
	for i, h := range heightsMM {
		if !(math.Abs(h) <= mostLengthMM) {
			return nil, fault.Invalidf("a ray's height of %g mm is not a number up to %g mm", h, float64(mostLengthMM)).WithHint("type its height above the axis, for example 2mm")
		}
		out, outcome := sys.Trace(Ray{Y: h, N: 1})
		rays[i] = StackRay{YInMM: h, Outcome: sys.Describe(outcome)}
		if outcome.Fate != Passed {
			continue
		}
		slope := out.M / out.N
		rays[i].SlopeOut = &slope
		// A slope that is all rounding would put the crossing anywhere.
		if math.Abs(slope) > 1e-14 {
			crossing := out.Z - out.Y/slope
			rays[i].AxisCrossingMM = &crossing
		}
	}
	return rays, nil
}
