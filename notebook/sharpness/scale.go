package sharpness

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// DefaultReadingPx is the standard uncertainty of a position read off a picture
// where none is stated: an assumption.
const DefaultReadingPx = 0.3

// Point is a place in a frame, in pixels, with the standard uncertainty of reading
// each coordinate.
type Point struct{ XPx, YPx, UXPx, UYPx float64 }

// Length is the scale from two points at a known distance.
type Length struct {
	PixelUM    quantity.Estimate // object pixel along the line between the points
	DistancePx quantity.Estimate
	AngleDeg   float64 // of the line from the rows, clockwise as the frame is seen, -90 to 90
}

// ScaleFromLength is the object pixel from a length between two points. Fault
// Invalid when the points lie within six standard uncertainties of each other, the
// length is not positive, or an uncertainty is negative or not finite.
func ScaleFromLength(from, until Point, lengthUM quantity.Estimate) (Length, error) {
	dx, dy := until.XPx-from.XPx, until.YPx-from.YPx
	d := math.Hypot(dx, dy)
	for _, u := range []float64{from.UXPx, from.UYPx, until.UXPx, until.UYPx} {
		if !(u >= 0) || math.IsInf(u, 0) {
			return Length{}, fault.Invalidf("a reading uncertainty of %g pixels", u).WithHint("give how well a point can be told on the picture, for example 0.3")
		}
	}
	if !(lengthUM.Value > 0) {
		return Length{}, fault.Invalidf("a length of %g µm", lengthUM.Value).WithHint(`give a length above zero, for example --length "4.000(5) mm"`)
	}
	u := math.Hypot(dx*math.Hypot(from.UXPx, until.UXPx), dy*math.Hypot(from.UYPx, until.UYPx)) / d
	if !(d > 0) || d < 6*u {
		return Length{}, fault.Invalidf("the two points lie %.3g pixels apart, too near to each other for a scale", d).WithHint("take points far apart, at best near opposite borders of the frame")
	}
	p := lengthUM.Value / d
	lu, _ := lengthUM.StandardU()
	return Length{PixelUM: quantity.With(p, p*math.Hypot(u/d, lu/lengthUM.Value)), DistancePx: quantity.With(d, u), AngleDeg: math.Atan(dy/dx) * 180 / math.Pi}, nil
}
