package hotspot

import (
	"fmt"
	"math"

	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
)

// Moved is how far the object moved between a frame and its reference.
type Moved struct {
	Checked bool    `json:"checked"`
	Why     string  `json:"why"` // why it could not be checked
	DXPx    float64 `json:"dx_px"`
	DYPx    float64 `json:"dy_px"`
	UXPx    float64 `json:"u_dx_px"`
	UYPx    float64 `json:"u_dy_px"`
	Rise    float64 `json:"false_rise"` // the most that this shift alone makes a pixel of the reference differ by, outside its noise
}

// spotReach is how far around a spot's pixels its warmth is kept out of the comparison.
const spotReach = 4

// MovedSince compares what a frame shows outside its spots with the reference,
// where the object's own structure (its emissivities) has to be the same. A frame
// without enough of it is not checked, and Why says so.
func (f Found) MovedSince(powered, reference frame.Frame) Moved {
	p := radiometry.Picture{Width: powered.Width, Height: powered.Height, Pixels: append([]float64(nil), powered.Pixels...)}
	for _, s := range f.Spots {
		for _, i := range s.pixels {
			x, y := i%p.Width, i/p.Width
			for v := max(0, y-spotReach); v <= min(p.Height-1, y+spotReach); v++ {
				for u := max(0, x-spotReach); u <= min(p.Width-1, x+spotReach); u++ {
					p.Pixels[v*p.Width+u] = math.NaN()
				}
			}
		}
	}
	r := radiometry.Picture{Width: reference.Width, Height: reference.Height, Pixels: reference.Pixels}
	s, err := radiometry.Register(r, p)
	if err != nil {
		return Moved{Why: err.Error()}
	}
	if !s.Reliable {
		return Moved{Why: s.Why}
	}
	m := Moved{Checked: true, DXPx: s.DXPx, DYPx: s.DYPx, UXPx: s.UXPx, UYPx: s.UYPx}
	for y := 1; y < r.Height-1; y++ {
		for x := 1; x < r.Width-1; x++ {
			i := y*r.Width + x
			step := (m.DXPx*(r.Pixels[i+1]-r.Pixels[i-1]) + m.DYPx*(r.Pixels[i+r.Width]-r.Pixels[i-r.Width])) / 2
			m.Rise = math.Max(m.Rise, math.Abs(step)-3*f.Noise.SD*math.Hypot(m.DXPx, m.DYPx))
		}
	}
	return m
}

// DistancePx is the length of the shift.
func (m Moved) DistancePx() float64 { return math.Hypot(m.DXPx, m.DYPx) }

// Warning says that the frames moved by more than a limit, for certain: by more
// than twice the uncertainty of the shift as well. "" where they did not.
func (m Moved) Warning(limitPx float64) string {
	u := math.Hypot(m.UXPx, m.UYPx)
	if d := m.DistancePx(); !m.Checked || d <= limitPx || d <= 2*u {
		return ""
	}
	return fmt.Sprintf("the object moved by %s, %s pixels since the reference; that alone makes rises of up to %s: --align moves the reference along",
		quantity.With(m.DXPx, m.UXPx).Number(quantity.One), quantity.With(m.DYPx, m.UYPx).Number(quantity.One), quantity.Fixed(m.Rise, 3))
}

// Aligned returns the reference moved so that it lies on the powered frame; a
// border as wide as the shift goes missing.
func (m Moved) Aligned(reference frame.Frame) (frame.Frame, error) {
	p, err := radiometry.Picture{Width: reference.Width, Height: reference.Height, Pixels: reference.Pixels}.Shifted(-m.DXPx, -m.DYPx)
	out := reference
	out.Pixels = p.Pixels
	return out, err
}
