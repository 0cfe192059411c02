// Package model sets a simulated map against a measured one: the model is blurred
// like the measurement, laid on its pixels, and compared with it within the
// uncertainty of both.
//
// Positions are in pixels of the measured frame, from the outer corner of its
// top left pixel. The place of a model is where its own top left corner lies.
package model

import (
	"math"
	"slices"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/radiometry"
)

// Point is a place in pixels of the measured frame.
type Point struct{ X, Y float64 }

// Region is a part of the measured frame with a name.
type Region struct {
	Name string
	Rect frame.Rect
}

// Job is what is compared. Temperatures of both are in one unit, kelvin or
// degrees Celsius.
type Job struct {
	Measured     frame.Frame
	PixelUM      quantity.Estimate // what one measured pixel sees
	Model        frame.Frame
	ModelPixelUM float64
	BlurUM       float64 // full width at half maximum of the blur of the measurement, a Gaussian
	RotateDeg    float64 // how far the model is turned about its middle, clockwise as it is seen

	Place    *Point   // stated; nil to find it
	Free     bool     // it may lie anywhere: see Placed
	UPlaceUM *float64 // standard uncertainty of where the model belongs; nil: see Placed

	NoiseK     *float64 // standard deviation of a measured pixel; nil to take it from the frame
	UMeasuredK *float64 // standard uncertainty that measured pixels share
	UModelK    *float64 // that of the model
	Regions    []Region
}

// Placed is how the model came to lie where it does.
type Placed struct {
	At, U Point   // pixels; U is 0 where the place was stated
	Start Point   // where it was looked for: corner on corner where both show the same field, else middle on middle
	Found bool    // by registration; else as stated, or left at Start
	Why   string  // why it was not found
	Tilt  float64 // of the model, degrees

	// Tested says that the distance from Start counts as disagreement where it is
	// beyond two standard uncertainties: when the uncertainty of the place was
	// stated, or both show the same field and the place was not left free (then it
	// is assumed to be a pixel).
	// A place that is only found by laying the model where it fits tests nothing.
	Tested     bool
	UStart     Point
	Normalised float64 // the larger of the distances along x and y over their uncertainty
}

// Limits of what is compared.
const (
	fewestPixels = 9
	sameField    = 0.02 // relative difference of two fields taken as one
	rounds       = 4    // of registration
	atRest       = 0.02 // pixels
)

// Compare lays the model on the frame and compares.
//
// Fault Invalid where a pixel size or an uncertainty is not above zero, a map has
// no value, they do not overlap, or a region lies outside the frame or the model.
func Compare(j Job) (Comparison, error) {
	if err := j.validate(); err != nil {
		return Comparison{}, err
	}
	l := newLayer(j)
	p, err := j.place(l)
	if err != nil {
		return Comparison{}, err
	}
	on := l.at(p.At)
	c := Comparison{Width: j.Measured.Width, Height: j.Measured.Height, Placed: p, OnFrame: on}
	return c, c.compare(j)
}

func (j Job) validate() error {
	for _, v := range []struct {
		what  string
		value float64
		zero  bool
	}{{"an object pixel of %g µm", j.PixelUM.Value, false}, {"a model pixel of %g µm", j.ModelPixelUM, false}, {"a blur of %g µm", j.BlurUM, true}} {
		if !(v.value >= 0) || v.value == 0 && !v.zero || math.IsInf(v.value, 0) {
			return fault.Invalidf(v.what, v.value).WithHint("give a length above 0, for example 25um")
		}
	}
	for _, u := range []*float64{j.NoiseK, j.UMeasuredK, j.UModelK, j.UPlaceUM} {
		if u != nil && (!(*u >= 0) || math.IsInf(*u, 0)) {
			return fault.Invalidf("an uncertainty of %g", *u).WithHint("give a standard uncertainty, not below 0")
		}
	}
	if math.IsNaN(j.RotateDeg) || math.IsInf(j.RotateDeg, 0) {
		return fault.Invalidf("a turn of %g degrees", j.RotateDeg).WithHint("give degrees, clockwise")
	}
	for _, m := range []struct {
		name string
		f    frame.Frame
	}{{"frame", j.Measured}, {"model", j.Model}} {
		if math.IsNaN(m.f.Stats().Max) {
			return fault.Invalidf("every pixel of the %s is missing", m.name).WithHint("export it again: it holds no temperature")
		}
	}
	for _, r := range j.Regions {
		if _, err := j.Measured.Crop(r.Rect); err != nil {
			return fault.Invalidf("region %s", r.Name).Because(err).WithHint("columns and rows of the measured frame count from 0 at the top left")
		}
	}
	return nil
}

// scale is measured pixels per model pixel.
func (j Job) scale() float64 { return j.ModelPixelUM / j.PixelUM.Value }

// start returns where the model is looked for, and whether it shows the same
// field as the frame.
func (j Job) start() (at Point, same bool) {
	w, h := float64(j.Model.Width)*j.scale(), float64(j.Model.Height)*j.scale()
	dx, dy := float64(j.Measured.Width)-w, float64(j.Measured.Height)-h
	same = math.Abs(dx) <= math.Max(1, sameField*w) && math.Abs(dy) <= math.Max(1, sameField*h)
	if same {
		return Point{}, true
	}
	return Point{dx / 2, dy / 2}, false
}

// place settles where the model lies.
func (j Job) place(l *layer) (Placed, error) {
	start, same := j.start()
	p := Placed{At: start, Start: start, Tilt: j.RotateDeg}
	if j.Place != nil {
		p.At, p.Start = *j.Place, *j.Place
		if j.UPlaceUM != nil {
			u := *j.UPlaceUM / j.PixelUM.Value
			p.U = Point{u, u}
		}
		return p, nil
	}
	if err := j.find(l, &p); err != nil {
		return p, err
	}
	u := 1.0
	if j.UPlaceUM != nil {
		u = *j.UPlaceUM / j.PixelUM.Value
	}
	if p.Tested = p.Found && (same && !j.Free || j.UPlaceUM != nil); p.Tested {
		p.UStart = Point{math.Hypot(u, p.U.X), math.Hypot(u, p.U.Y)}
		p.Normalised = math.Max(math.Abs(p.At.X-start.X)/p.UStart.X, math.Abs(p.At.Y-start.Y)/p.UStart.Y)
	}
	return p, nil
}

// find registers the model on the frame, anew after each move since it is sampled
// better where it lies right.
func (j Job) find(l *layer, p *Placed) error {
	fixed := radiometry.Picture{Width: j.Measured.Width, Height: j.Measured.Height, Pixels: j.Measured.Pixels}
	at := p.Start
	for range rounds {
		moving := fixed
		moving.Pixels = l.at(at)
		s, err := radiometry.Register(fixed, moving)
		if err != nil {
			p.Why = err.Error()
			return nil
		}
		if !s.Reliable {
			p.Why = s.Why
			return nil
		}
		at.X, at.Y = at.X-s.DXPx, at.Y-s.DYPx
		p.U = Point{s.UXPx, s.UYPx}
		if math.Hypot(s.DXPx, s.DYPx) < atRest {
			break
		}
	}
	p.At, p.Found = at, true
	return nil
}

// ZeroDiffers reports whether the two look like one in kelvin and one in degrees
// Celsius: their medians lie 273 apart, or nearly.
func (j Job) ZeroDiffers() bool {
	const near = 120
	return math.Abs(math.Abs(middle(j.Measured)-middle(j.Model))-quantity.CelsiusZeroK) < near
}

// middle is the median of the pixels that are not missing.
func middle(f frame.Frame) float64 {
	var there []float64
	for _, v := range f.Pixels {
		if !math.IsNaN(v) {
			there = append(there, v)
		}
	}
	if len(there) == 0 {
		return math.NaN()
	}
	slices.Sort(there)
	return there[len(there)/2]
}
