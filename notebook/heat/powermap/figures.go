package powermap

import (
	"math"

	"dieglow/catalog/quantity"
)

// asked is a figure that is a weighted sum of the map of power.
type asked struct {
	into    *Figure
	weights []float64 // by coefficient; nil for the total, which is in the first alone
	area    bool      // in W: times the area of a pixel
}

// figures computes total, peak and region with their uncertainties.
func (s *solver) figures(r *Result, q []float64) {
	for i, v := range r.PowerWM2 {
		if v > r.PowerWM2[r.PeakY*r.Width+r.PeakX] {
			r.PeakX, r.PeakY = i%r.Width, i/r.Width
		}
		r.HottestK = math.Max(r.HottestK, s.job.RiseK[i])
		r.NegativeW += math.Min(0, v) * s.job.Plate.pixelAreaM2()
	}
	list := []asked{{into: &r.TotalW, area: true}, {into: &r.PeakWM2, weights: s.point(r.PeakX, r.PeakY)}}
	if g := s.job.Region; g != nil {
		r.RegionW = new(Figure)
		list = append(list, asked{r.RegionW, product(weights(r.Width, g.X, g.Width), weights(r.Height, g.Y, g.Height)), true})
	}
	for _, a := range list {
		scale := a.scale(s.job.Plate)
		a.into.Value = scale * s.sum(a, q)
		a.into.add("noise", scale*s.noise(a))
	}
	r.PeakHigh, r.PeakLow = s.peakLimits(r)
	r.PeakWM2.add("ringing and choice of the largest", r.PeakHigh/math.Sqrt(3))
	r.PeakWM2.add("spread", r.PeakLow/math.Sqrt(3))
	if r.RegionW != nil {
		region := list[len(list)-1]
		r.RegionLost = region.scale(s.job.Plate) * s.regionLimit(region.weights, r)
		r.RegionW.add("regularisation", r.RegionLost/math.Sqrt(3))
	}
	r.NotStated = s.inputs(list)
	for _, a := range list {
		for _, p := range a.into.Parts {
			a.into.U = math.Hypot(a.into.U, p.U)
		}
	}
}

func (f *Figure) add(input string, u float64) { f.Parts = append(f.Parts, Part{input, u}) }

func (a asked) scale(p Plate) float64 {
	if a.area {
		return p.pixelAreaM2()
	}
	return 1
}

// sum applies the weights to coefficients.
func (s *solver) sum(a asked, c []float64) float64 {
	if a.weights == nil {
		return c[0] * math.Sqrt(float64(len(c)))
	}
	total := 0.0
	for i, w := range a.weights {
		total += w * c[i]
	}
	return total
}

// noise is the standard deviation that noise gives the sum.
func (s *solver) noise(a asked) float64 {
	if a.weights == nil {
		return s.noiseK * math.Sqrt(float64(len(s.h))) / s.h[0]
	}
	total := 0.0
	for i, w := range a.weights {
		v := w * s.filter(i) / s.h[i]
		total += v * v
	}
	return s.noiseK * math.Sqrt(total)
}

// inputs adds what the uncertainties of the plate's values make of each figure,
// by computing it again with the value one standard uncertainty higher. It
// returns the values without an uncertainty.
func (s *solver) inputs(list []asked) (notStated []string) {
	for _, in := range []struct {
		name string
		of   func(*Plate) *quantity.Estimate
	}{
		{"pixel", func(p *Plate) *quantity.Estimate { return &p.PixelUM }}, {"thickness", func(p *Plate) *quantity.Estimate { return &p.ThicknessMM }},
		{"conductivity", func(p *Plate) *quantity.Estimate { return &p.ConductivityWMK }}, {"film", func(p *Plate) *quantity.Estimate { return &p.FilmWM2K }},
		{"film on the seen face", func(p *Plate) *quantity.Estimate { return &p.TopFilmWM2K }}, {"blur", func(p *Plate) *quantity.Estimate { return &p.BlurUM }},
	} {
		p := s.job.Plate
		e := in.of(&p)
		u, ok := e.StandardU()
		if !ok {
			if e.Value != 0 {
				notStated = append(notStated, in.name)
			}
			continue
		}
		e.Value += u
		other := *s
		other.see(p)
		q := make([]float64, len(s.c))
		for i := range q {
			q[i] = other.filter(i) * s.c[i] / other.h[i]
		}
		for _, a := range list {
			a.into.add(in.name, math.Abs(a.scale(p)*s.sum(a, q)-a.into.Value))
		}
	}
	return notStated
}

// Balance is the total power less the electrical power that was put in.
type Balance struct {
	DifferenceW float64
	UW          float64
	Normalised  float64 // difference over its standard uncertainty
	Closes      bool    // within two of them
}

// Balance compares the total with the electrical power.
func (r Result) Balance(electricalW quantity.Estimate) Balance {
	u, _ := electricalW.StandardU()
	b := Balance{DifferenceW: r.TotalW.Value - electricalW.Value, UW: math.Hypot(u, r.TotalW.U)}
	b.Normalised = b.DifferenceW / b.UW
	b.Closes = math.Abs(b.Normalised) <= 2
	return b
}

// LooksAbsolute reports whether values can hardly be rises in kelvin: none is
// below 200.
func LooksAbsolute(values []float64) bool {
	for _, v := range values {
		if !(v >= 200) {
			return false
		}
	}
	return true
}
