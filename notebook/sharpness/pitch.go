package sharpness

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// Pitch is the scale from a pattern of known pitch. Uncertainties are those of the
// fit together with that of the pitch; what a wrong pitch does is common to x and y.
type Pitch struct {
	XUM, YUM      *quantity.Estimate // object pixel along the rows and along the columns; nil where the pattern does not repeat that way
	PixelUM       quantity.Estimate  // the larger of the two, or the one there is
	PeriodXPx     *quantity.Estimate // of the pattern that repeats along the rows, across its lines
	PeriodYPx     *quantity.Estimate
	RotationDeg   quantity.Estimate // of the pattern against the rows, clockwise as the frame is seen
	ShearDeg      *float64          // departure of the two directions from a right angle; nil with one
	DistortionPct float64           // largest departure from an even scale, of half the diagonal of the frame
	QuadraticPct  float64           // its part that is quadratic in the position: a tilt
	CubicPct      float64           // its part that is cubic: barrel or pincushion
	FitResidualPx float64           // standard deviation of the places about the fit
	Warnings      []string
}

// MeasurePitch fits a pattern that repeats every pitchUM along the rows, along the
// columns or both: lines, a grid, dots in rows and columns. Where its spectrum peaks gives the
// pattern's frequency; the phase of that frequency in windows all over the frame
// gives where its lines lie, to a small part of a pixel; a cubic polynomial through
// the phases gives scale and rotation in the middle of the frame, and the
// distortion.
//
// Fault Invalid when no pattern stands out, fewer than four periods of it are in
// the frame or a period has fewer than 2.5 pixels, or the pitch is not positive.
func MeasurePitch(f frame.Frame, pitchUM quantity.Estimate) (Pitch, error) {
	if !(pitchUM.Value > 0) {
		return Pitch{}, fault.Invalidf("a pitch of %g µm", pitchUM.Value).WithHint("give the distance from one mark to the next, for example --pitch 100um")
	}
	if f.Width < 16 || f.Height < 16 {
		return Pitch{}, fault.Invalidf("a pattern cannot be looked for in %d x %d pixels", f.Width, f.Height).WithHint("give at least 16 x 16 pixels")
	}
	g := field{w: f.Width, h: f.Height, v: filled(f)}
	if s := f.Stats(); s.SaturatedCount*4 > len(f.Pixels) || s.MissingCount*4 > len(f.Pixels) {
		return Pitch{}, fault.Invalidf("%d pixels are saturated and %d missing", s.SaturatedCount, s.MissingCount).WithHint("take the frame again with a range that holds the pattern")
	} else if s.Max-s.Min <= 1e-9*math.Abs(s.Max) {
		return Pitch{}, fault.Invalidf("the field is flat: there is no pattern in it").WithHint("check the frame with dieglow frame show")
	}
	peaks, err := g.patterns()
	if err != nil {
		return Pitch{}, err
	}
	var fits [2]*phaseFit
	for i, p := range peaks {
		if p != nil {
			if fits[i], err = g.phases(*p); err != nil {
				return Pitch{}, err
			}
		}
	}
	return pitchOf(f, pitchUM, fits), nil
}

// filled returns the pixels with the mean in place of missing ones.
func filled(f frame.Frame) []float64 {
	mean := f.Stats().Mean
	out := make([]float64, len(f.Pixels))
	for i, v := range f.Pixels {
		if out[i] = v - mean; math.IsNaN(v) {
			out[i] = 0
		}
	}
	return out
}

// wave is a frequency in cycles per pixel.
type wave struct{ x, y float64 }

func (w wave) length() float64 { return math.Hypot(w.x, w.y) }

// pitchOf puts scale, rotation and distortion together.
func pitchOf(f frame.Frame, pitchUM quantity.Estimate, fits [2]*phaseFit) Pitch {
	var p Pitch
	relative := 0.0
	if u, ok := pitchUM.StandardU(); ok {
		relative = u / pitchUM.Value
	}
	scale := func(cyclesPerPx, u float64) *quantity.Estimate {
		v := pitchUM.Value * cyclesPerPx
		e := quantity.With(v, v*math.Hypot(u/cyclesPerPx, relative))
		return &e
	}
	period := func(fit *phaseFit) *quantity.Estimate {
		l := fit.g.length()
		e := quantity.With(1/l, math.Hypot(fit.g.x*fit.u.x, fit.g.y*fit.u.y)/(l*l*l))
		return &e
	}
	x, y := fits[0], fits[1]
	switch {
	case x != nil && y != nil:
		// Both gradients together are the map from pixels to the pattern, whatever its turn.
		along := func(a, b, ua, ub float64) *quantity.Estimate {
			l := math.Hypot(a, b)
			return scale(l, math.Hypot(a*ua, b*ub)/l)
		}
		p.XUM, p.YUM = along(x.g.x, y.g.x, x.u.x, y.u.x), along(x.g.y, y.g.y, x.u.y, y.u.y)
		p.PeriodXPx, p.PeriodYPx = period(x), period(y)
		p.PixelUM = *p.XUM
		if p.YUM.Value > p.PixelUM.Value {
			p.PixelUM = *p.YUM
		}
		// Directions of the two sets of lines, with unequal scales taken out.
		ax := math.Atan2(x.g.y/p.YUM.Value, x.g.x/p.XUM.Value)
		ay := math.Atan2(y.g.y/p.YUM.Value, y.g.x/p.XUM.Value) - math.Pi/2
		ay -= math.Pi * math.Round((ay-ax)/math.Pi)
		shear := (ay - ax) * 180 / math.Pi
		p.ShearDeg = &shear
		p.RotationDeg = rotation((ax+ay)/2, math.Hypot(x.u.y/x.g.length(), y.u.x/y.g.length())/2)
	case x != nil:
		p.PeriodXPx = period(x)
		p.XUM = scale(x.g.length(), math.Hypot(x.g.x*x.u.x, x.g.y*x.u.y)/x.g.length())
		p.PixelUM, p.RotationDeg = *p.XUM, rotation(math.Atan2(x.g.y, x.g.x), x.u.y/x.g.length())
	default:
		p.PeriodYPx = period(y)
		p.YUM = scale(y.g.length(), math.Hypot(y.g.x*y.u.x, y.g.y*y.u.y)/y.g.length())
		p.PixelUM, p.RotationDeg = *p.YUM, rotation(math.Atan2(y.g.y, y.g.x)-math.Pi/2, y.u.x/y.g.length())
	}
	p.distort(f, fits)
	return p
}

// rotation brings an angle of lines to -90 to 90 degrees.
func rotation(radians, u float64) quantity.Estimate {
	radians -= math.Pi * math.Round(radians/math.Pi)
	return quantity.With(radians*180/math.Pi, u*180/math.Pi)
}

// distort fills in what departs from an even scale, over the frame.
func (p *Pitch) distort(f frame.Frame, fits [2]*phaseFit) {
	half := math.Hypot(float64(f.Width), float64(f.Height)) / 2
	const steps = 16
	for j := -steps; j <= steps; j++ {
		for i := -steps; i <= steps; i++ {
			x, y := float64(i)/steps, float64(j)/steps
			var quadratic, cubic, both float64
			for _, fit := range fits {
				if fit == nil {
					continue
				}
				px := 1 / fit.g.length()
				a, b := fit.bend(x, y, 2)*px, fit.bend(x, y, 3)*px
				quadratic, cubic, both = math.Hypot(quadratic, a), math.Hypot(cubic, b), math.Hypot(both, a+b)
			}
			p.QuadraticPct = max(p.QuadraticPct, 100*quadratic/half)
			p.CubicPct = max(p.CubicPct, 100*cubic/half)
			p.DistortionPct = max(p.DistortionPct, 100*both/half)
		}
	}
	for _, fit := range fits {
		if fit != nil {
			p.FitResidualPx = max(p.FitResidualPx, fit.residual/fit.g.length())
		}
	}
	if p.DistortionPct > 1 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("the scale is uneven: places depart by up to %.1f %% of half the diagonal; the scale stated is that in the middle", p.DistortionPct))
	}
	if p.FitResidualPx > 0.2 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("places of the pattern scatter by %.2f px about a smooth field: dirt, a second pattern, or one that does not repeat evenly", p.FitResidualPx))
	}
}
