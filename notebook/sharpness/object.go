package sharpness

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// LengthUM turns a length in pixels into one at the object. The uncertainty is
// evaluated where both have one.
func LengthUM(px, pixelUM quantity.Estimate) quantity.Estimate {
	return product(px, pixelUM, px.Value*pixelUM.Value)
}

// LinePairsPerMM turns a frequency in cycles per pixel into one at the object.
func LinePairsPerMM(cyPerPx, pixelUM quantity.Estimate) quantity.Estimate {
	return product(cyPerPx, pixelUM, 1000*cyPerPx.Value/pixelUM.Value)
}

// PixelsWide is how many pixels a length at the object takes.
func PixelsWide(lengthUM, pixelUM quantity.Estimate) quantity.Estimate {
	e := product(lengthUM, pixelUM, lengthUM.Value/pixelUM.Value)
	if u, ok := lengthUM.StandardU(); ok && e.U == nil { // better than none
		e = quantity.With(e.Value, u/pixelUM.Value)
	}
	return e
}

// product is a value that follows from two by multiplication or division.
func product(a, b quantity.Estimate, value float64) quantity.Estimate {
	ua, oka := a.StandardU()
	ub, okb := b.StandardU()
	if !oka || !okb {
		return quantity.Exactly(value)
	}
	return quantity.With(value, math.Abs(value)*math.Hypot(ua/a.Value, ub/b.Value))
}

// Limits of the smallest bar.
const (
	ByModulation = "modulation"
	ByPixel      = "pixel"
)

// SmallestBar is the narrowest bar that an imaging chain resolves.
type SmallestBar struct {
	SizeUM   quantity.Estimate // half a period
	Contrast float64           // that it keeps: modulation of a sine
	Limit    string            // ByModulation, or ByPixel where that would keep more in bars narrower than a pixel
}

// SmallestBarUM is half the period at which the modulation falls to a contrast,
// and no less than a pixel: narrower bars fold into false ones. Fault Invalid when
// the contrast is not between 0 and 1.
func (e Edge) SmallestBarUM(contrast float64, pixelUM quantity.Estimate) (SmallestBar, error) {
	return smallestBar(e.modulations.fallsTo, contrast, pixelUM)
}

// SmallestBarUM as that of Edge.
func (w Wire) SmallestBarUM(contrast float64, pixelUM quantity.Estimate) (SmallestBar, error) {
	return smallestBar(w.fallsTo, contrast, pixelUM)
}

func smallestBar(fallsTo func(float64) *quantity.Estimate, contrast float64, pixelUM quantity.Estimate) (SmallestBar, error) {
	if !(contrast > 0 && contrast < 1) {
		return SmallestBar{}, fault.Invalidf("the contrast %g is not between 0 and 1", contrast).WithHint("type the contrast that a bar must keep, for example 0.2")
	}
	f := fallsTo(contrast)
	if f == nil || f.Value > 0.5 {
		return SmallestBar{pixelUM, contrast, ByPixel}, nil
	}
	return SmallestBar{product(*f, pixelUM, pixelUM.Value/(2*f.Value)), contrast, ByModulation}, nil
}
