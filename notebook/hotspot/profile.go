package hotspot

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Line is where a profile is taken.
type Line struct {
	From, Until Point
	WidthPx     int // lines side by side, one pixel apart, that are averaged; at least 1
}

// Sample is one point of a profile.
type Sample struct {
	DistancePx float64
	X, Y       float64
	Value      float64 // NaN where a pixel it needs is missing
}

// Profile returns the values along a line, at its ends and evenly between them no
// more than a pixel apart, by bilinear interpolation between pixel centres. Of a
// wide line the parallel values that are there are averaged. Interpolation
// between pixels lowers noise by up to a half, and neighbouring values share it.
//
// Fault Invalid when an end lies outside the centres of the frame's outer pixels,
// both ends are one, the width is below 1, or no value is there.
func Profile(f frame.Frame, l Line) ([]Sample, error) {
	for _, p := range []Point{l.From, l.Until} {
		if !(p.X >= 0 && p.Y >= 0 && p.X <= float64(f.Width-1) && p.Y <= float64(f.Height-1)) {
			return nil, fault.Invalidf("the profile's end %g,%g lies outside a frame of %d x %d pixels", p.X, p.Y, f.Width, f.Height).WithHint("give x from 0 to %d and y from 0 to %d", f.Width-1, f.Height-1)
		}
	}
	length := math.Hypot(l.Until.X-l.From.X, l.Until.Y-l.From.Y)
	if length < 1 {
		return nil, fault.Invalidf("the ends of the profile lie %.2g pixels apart", length).WithHint("give two places at least a pixel apart")
	}
	if most := max(f.Width, f.Height); l.WidthPx < 1 || l.WidthPx > most {
		return nil, fault.Invalidf("a profile of %d pixels' width", l.WidthPx).WithHint("give a whole number from 1 to %d", most)
	}
	n := int(math.Ceil(length-1e-9)) + 1
	ex, ey := (l.Until.X-l.From.X)/length, (l.Until.Y-l.From.Y)/length
	out := make([]Sample, n)
	there := false
	for i := range out {
		d := length * float64(i) / float64(n-1)
		s := Sample{DistancePx: d, X: l.From.X + d*ex, Y: l.From.Y + d*ey}
		var sum, count float64
		for k := range l.WidthPx {
			off := float64(k) - float64(l.WidthPx-1)/2
			if v := bilinear(f, s.X-off*ey, s.Y+off*ex); v == v {
				sum, count = sum+v, count+1
			}
		}
		s.Value = sum / count // no value: 0/0, missing
		there = there || count > 0
		out[i] = s
	}
	if !there {
		return nil, fault.Invalidf("every pixel along the profile is missing").WithHint("choose another line")
	}
	return out, nil
}

// bilinear interpolates between the four pixels around a place; NaN outside the
// frame and where a pixel that counts is missing.
func bilinear(f frame.Frame, x, y float64) float64 {
	const rounding = 1e-9
	x, y = snap(x, rounding), snap(y, rounding)
	if x < 0 || y < 0 || x > float64(f.Width-1) || y > float64(f.Height-1) {
		return math.NaN()
	}
	i, j := int(x), int(y)
	tx, ty := x-float64(i), y-float64(j)
	value := 0.0
	for _, c := range [...]struct {
		dx, dy int
		weight float64
	}{{0, 0, (1 - tx) * (1 - ty)}, {1, 0, tx * (1 - ty)}, {0, 1, (1 - tx) * ty}, {1, 1, tx * ty}} {
		if c.weight > 0 { // so that a line along the last row needs none below it
			value += c.weight * f.Pixels[(j+c.dy)*f.Width+i+c.dx]
		}
	}
	return value
}

// snap takes a place that is a whole number but for rounding for that number.
func snap(v, within float64) float64 {
	if r := math.Round(v); math.Abs(v-r) < within {
		return r
	}
	return v
}
