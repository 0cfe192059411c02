package radiometry

import (
	"math"

	"dieglow/catalog/fault"
)

// Picture is a frame with its size. NaN is a missing pixel.
type Picture struct {
	Width, Height int
	Pixels        []float64 // row by row, Width*Height of them
}

func (p Picture) validate() error {
	if p.Width < 1 || p.Height < 1 || len(p.Pixels) != p.Width*p.Height {
		return fault.Invalidf("a frame of %d x %d with %d pixels", p.Width, p.Height, len(p.Pixels)).WithHint("give one value for each pixel")
	}
	return nil
}

// Shifted returns the picture sampled dxPx to the right and dyPx below each
// pixel, by cubic convolution with a = -1/2 (R. Keys, IEEE Trans. Acoust. Speech
// Signal Process. 29, 1153 (1981)), which is exact for whole pixels. Pixels whose
// value would need one outside the picture, or a missing one, are missing. With
// the shift that Register found for it, a moving frame comes to lie on the fixed
// one. Fault Invalid for a picture that is not one, or a shift not finite.
func (p Picture) Shifted(dxPx, dyPx float64) (Picture, error) {
	if err := p.validate(); err != nil {
		return Picture{}, err
	}
	if math.IsNaN(dxPx+dyPx) || math.IsInf(dxPx+dyPx, 0) {
		return Picture{}, fault.Invalidf("a shift of %g, %g pixels", dxPx, dyPx).WithHint("give a finite shift")
	}
	out := Picture{p.Width, p.Height, make([]float64, len(p.Pixels))}
	s := newSampler(dxPx, dyPx)
	for y := range p.Height {
		for x := range p.Width {
			out.Pixels[y*p.Width+x], _, _ = s.at(p, x, y, false)
		}
	}
	return out, nil
}

// sampler holds the weights of one shift: those of the value and those of the
// slope along x and y.
type sampler struct {
	column, row    int // of the second of the four taps, from the pixel
	wx, wy, sx, sy [4]float64
}

func newSampler(dx, dy float64) sampler {
	fx, fy := math.Floor(dx), math.Floor(dy)
	s := sampler{column: clampInt(fx), row: clampInt(fy)}
	s.wx, s.sx = keys(dx - fx)
	s.wy, s.sy = keys(dy - fy)
	return s
}

// clampInt keeps a shift far outside any picture from overflowing.
func clampInt(v float64) int { return int(math.Max(-1e9, math.Min(1e9, v))) }

// keys returns the weights of the four neighbours of a place t from 0 to 1
// between the second and the third, and their derivatives.
func keys(t float64) (weight, slope [4]float64) {
	weight = [4]float64{t * (-0.5 + t*(1-0.5*t)), 1 + t*t*(-2.5+1.5*t), t * (0.5 + t*(2-1.5*t)), t * t * (-0.5 + 0.5*t)}
	slope = [4]float64{-0.5 + t*(2-1.5*t), t * (-5 + 4.5*t), 0.5 + t*(4-4.5*t), t * (-1 + 1.5*t)}
	return weight, slope
}

// at samples near pixel x, y; NaN where a tap that counts is missing. With
// slopes every tap counts.
func (s *sampler) at(p Picture, x, y int, slopes bool) (value, gx, gy float64) {
	x, y = x+s.column, y+s.row
	for j := range 4 {
		if !slopes && s.wy[j] == 0 {
			continue
		}
		row := y + j - 1
		if row < 0 || row >= p.Height {
			return math.NaN(), math.NaN(), math.NaN()
		}
		var line, dline float64
		for i := range 4 {
			if !slopes && s.wx[i] == 0 {
				continue
			}
			col := x + i - 1
			if col < 0 || col >= p.Width {
				return math.NaN(), math.NaN(), math.NaN()
			}
			v := p.Pixels[row*p.Width+col]
			line += s.wx[i] * v
			dline += s.sx[i] * v
		}
		value += s.wy[j] * line
		gx += s.wy[j] * dline
		gy += s.sy[j] * line
	}
	return value, gx, gy
}
