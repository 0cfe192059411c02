package temperature

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
)

// NewCorrector prepares the correction of frames like f, whose numbers are in
// unit, to object temperatures in °C. Faults as radiometry.NewEquation.
func NewCorrector(s Scene, unit radiometry.PixelUnit, f frame.Frame) (*radiometry.Corrector, error) {
	equation, err := s.Equation()
	if err != nil {
		return nil, err
	}
	low, high := apparentRange(s.Band, unit, f)
	return radiometry.NewCorrector(equation, radiometry.Correction{In: unit, Out: radiometry.PixelDegC, LowK: low, HighK: high})
}

// The range a corrector tabulates beyond the frame's own: object temperatures
// lie further out than apparent ones.
const (
	coldest = 200.0 // K
	hotter  = 1.6   // times the highest apparent temperature
)

func apparentRange(b *radiometry.Band, unit radiometry.PixelUnit, f frame.Frame) (low, high float64) {
	top := f.Stats().Max
	switch unit {
	case radiometry.PixelDegC:
		top += quantity.CelsiusZeroK
	case radiometry.PixelRadiance:
		k, err := b.Temperature(top)
		if err != nil {
			k = 0
		}
		top = k
	}
	if math.IsNaN(top) || top < coldest {
		top = 400
	}
	return coldest, min(radiometry.MaxK, hotter*top)
}

// Correct returns the object temperatures of a frame in °C, with a map of
// emissivities or, when eps is nil, the scene's own; and what became of the
// pixels. Fault Conflict when the map has another size.
func Correct(c *radiometry.Corrector, f frame.Frame, eps *frame.Frame) (frame.Frame, radiometry.Tally, error) {
	out := frame.Frame{Width: f.Width, Height: f.Height, Pixels: make([]float64, len(f.Pixels)), Unit: frame.DegC, Index: f.Index, HasTime: f.HasTime, TimeS: f.TimeS}
	var tally radiometry.Tally
	var err error
	if eps == nil {
		tally, err = c.Uniform(out.Pixels, f.Pixels)
	} else {
		if err := sameSize(*eps, f); err != nil {
			return out, tally, err
		}
		tally, err = c.Map(out.Pixels, f.Pixels, eps.Pixels)
	}
	out.MissingCount = tally.Unsolved()
	return out, tally, err
}

func sameSize(eps, f frame.Frame) error {
	if eps.Width == f.Width && eps.Height == f.Height {
		return nil
	}
	return fault.Conflictf("the emissivity map has %d x %d pixels, the frame %d x %d", eps.Width, eps.Height, f.Width, f.Height).
		WithHint("use a map made from frames of the same camera, cut alike")
}
