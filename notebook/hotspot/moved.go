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

// Limits of a movement that is told.
const (
	spotReach  = 4    // pixels around a spot that its warmth is kept out of the comparison
	leastProof = 6    // standard deviations that structure stands out of the noise by
	mostMovedU = 0.25 // pixels
)

const littleStructure = "too little structure"

// MovedSince compares what a frame shows outside its spots with the reference,
// where the object's own structure (its emissivities) has to be the same; o are the
// options of the spots. Where that structure does not stand out of the noise along
// every direction the movement is not checked, and Why says so. Where a movement
// has made spots of the structure itself, those are left out that stay when the
// reference is moved along.
func (f Found) MovedSince(powered, reference frame.Frame, o Options) Moved {
	m := f.moved(powered, reference)
	if m.Checked || len(f.Spots) == 0 || min(powered.Width, powered.Height) < 16 {
		return m
	}
	trial := Found{Noise: f.Noise}.moved(powered, reference)
	if !trial.Checked {
		return m
	}
	aligned, err := trial.Aligned(reference)
	if err != nil {
		return m
	}
	o.Reference = &aligned
	left, err := Find(powered, o)
	if err != nil || len(left.Spots) >= len(f.Spots) {
		return m
	}
	if again := left.moved(powered, reference); again.Checked {
		return again
	}
	return m
}

func (f Found) moved(powered, reference frame.Frame) Moved {
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
	switch {
	case err != nil:
		return Moved{Why: err.Error()}
	case !s.Reliable:
		return Moved{Why: littleStructure + ": " + s.Why}
	}
	a, err := r.Shifted(-s.DXPx, -s.DYPx)
	if err != nil {
		return Moved{Why: err.Error()}
	}
	difference := frame.Frame{Width: p.Width, Height: p.Height, Pixels: make([]float64, len(p.Pixels))}
	for i, v := range p.Pixels {
		difference.Pixels[i] = v - a.Pixels[i]
	}
	noise := MeasureNoise(difference)
	// Between pixels the reference is smoother than it is.
	if white := math.Hypot(measureNoise(p.Pixels, p.Width, p.Height).SD, measureNoise(r.Pixels, p.Width, p.Height).SD); white > noise.SD*math.Sqrt(noise.CorrelatedPx) {
		noise.SD, noise.CorrelatedPx = white, 1
	}
	ux, uy, why := newStructure(a, p).shiftU(noise)
	if why != "" {
		return Moved{Why: why}
	}
	m := Moved{Checked: true, DXPx: s.DXPx, DYPx: s.DYPx, UXPx: ux, UYPx: uy}
	for y := 1; y < r.Height-1; y++ {
		for x := 1; x < r.Width-1; x++ {
			i := y*r.Width + x
			step := (m.DXPx*(r.Pixels[i+1]-r.Pixels[i-1]) + m.DYPx*(r.Pixels[i+r.Width]-r.Pixels[i-r.Width])) / 2
			m.Rise = math.Max(m.Rise, math.Abs(step)-3*noise.SD*math.Hypot(m.DXPx, m.DYPx))
		}
	}
	return m
}

// DistancePx is the length of the shift.
func (m Moved) DistancePx() float64 { return math.Hypot(m.DXPx, m.DYPx) }

// Warning says that the frames moved by more than a limit, for certain, and that
// this makes spots: the movement exceeds three times its uncertainty, and the rise
// that it makes the threshold of a spot, in the unit of the frame. "" where not.
func (m Moved) Warning(limitPx, threshold float64) string {
	u := math.Hypot(m.UXPx, m.UYPx)
	if d := m.DistancePx(); !m.Checked || d <= limitPx || d <= 3*u || !(m.Rise > threshold) {
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
