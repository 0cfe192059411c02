package sharpness

import (
	"math"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

func TestSmallestBar(t *testing.T) {
	t.Parallel()
	e, err := MeasureEdge(scene{width: 160, height: 140, degrees: 5, profile: gaussianEdge(2), low: 1, high: 2}.frame())
	if err != nil {
		t.Fatal(err)
	}
	pixel := quantity.With(25, 0.5)
	// exp(-2 (pi sigma f)^2) = 0.2, by hand.
	f := math.Sqrt(math.Log(5)/2) / (math.Pi * 2)
	b, err := e.SmallestBarUM(0.2, pixel)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "smallest bar", b.SizeUM.Value, 25/(2*f), 0.001)
	near(t, "its uncertainty, that of the pixel", *b.SizeUM.U, b.SizeUM.Value*0.5/25, 0.01)
	near(t, "width", LengthUM(e.RisePx, pixel).Value, gaussRise*50, 0.001)
	near(t, "half modulation", LinePairsPerMM(*e.MTF50, pixel).Value, gaussHalf/2/0.025, 0.001)
	if b.Limit != ByModulation {
		t.Errorf("limit %q", b.Limit)
	}
	if b, _ := e.SmallestBarUM(0.2, quantity.Exactly(25)); b.SizeUM.U != nil {
		t.Errorf("an uncertainty came from a pixel without one: %+v", b)
	}
	sharp, err := MeasureEdge(scene{width: 160, height: 140, degrees: 5, profile: gaussianEdge(0.3), low: 1, high: 2}.frame())
	if err != nil {
		t.Fatal(err)
	}
	if b, _ := sharp.SmallestBarUM(0.2, pixel); b.Limit != ByPixel || b.SizeUM.Value != 25 {
		t.Errorf("a sharp edge: %+v, want the pixel", b)
	}
	for _, c := range []float64{0, 1, -1, math.NaN()} {
		if _, err := e.SmallestBarUM(c, pixel); fault.KindOf(err) != fault.Invalid || err == nil {
			t.Errorf("contrast %g: %v", c, err)
		}
	}
}
