package model

import (
	"math"
	"testing"

	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// TestFlat: a model that is the same everywhere has no rises to scale, and neither
// flat map correlates, also where blur and areas leave rounding; the rest is known.
func TestFlat(t *testing.T) {
	t.Parallel()
	flat := func(f frame.Frame, value float64) frame.Frame {
		f.Pixels = make([]float64, len(f.Pixels))
		for i := range f.Pixels {
			f.Pixels[i] = value
		}
		return f
	}
	measured, simulated := scene(64, 48, 50, 120, chip()...), scene(128, 96, 25, 0, chip()...)
	for name, c := range map[string]struct {
		measured, model frame.Frame
		scale           bool
	}{
		"model":    {measured, flat(simulated, 300.1), false},
		"measured": {flat(measured, 25.7), simulated, true},
		"both":     {flat(measured, 25.7), flat(simulated, 300.1), false},
	} {
		got, err := Compare(Job{Measured: c.measured, Model: c.model, PixelUM: quantity.Exactly(50), ModelPixelUM: 25, BlurUM: 120, Place: &Point{}, NoiseK: of(0.02)})
		if err != nil {
			t.Fatal(err)
		}
		if !math.IsNaN(got.Correlation) {
			t.Errorf("%s: a correlation of %g", name, got.Correlation)
		}
		for what, v := range map[string]float64{"scale": got.Scale.Value, "its u": got.Scale.U, "offset": got.OffsetK} {
			if math.IsNaN(v) == c.scale {
				t.Errorf("%s: %s is %g", name, what, v)
			}
		}
		if math.IsNaN(got.BiasK.Value) || math.IsNaN(got.RMSK) {
			t.Errorf("%s: bias %g, rms %g", name, got.BiasK.Value, got.RMSK)
		}
	}
}
