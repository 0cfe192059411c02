package sharpness

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"dieglow/catalog/quantity"
)

// listStep is the step of a modulation transfer function as it is listed, in
// cycles per pixel, and listEnd where the list ends: twice what the pixels of one
// row could show.
const (
	listStep = 0.005
	listEnd  = 1.0
)

// Spectrum is a modulation transfer function.
type Spectrum struct {
	Modulation []float64 // at whole steps of 0.005 cycles per pixel from 0; 1 at 0
	U          []float64 // standard uncertainty of each, from noise
}

// StepCyPerPx is the step of the frequencies of a Spectrum.
func (Spectrum) StepCyPerPx() float64 { return listStep }

// transform is the discrete Fourier transform of profiles of one length at steps
// of a frequency that is fine enough for how wide they are.
type transform struct {
	fft  *fourier.FFT
	fine int // how many of its steps make a step of the list
	room []float64
}

// newTransform serves profiles with a 10 to 90 % width of widthPx.
func newTransform(widthPx float64) transform {
	fine := 1
	for float64(fine)*10 < widthPx {
		fine *= 2
	}
	n := int(math.Round(oversampling/listStep)) * fine
	return transform{fourier.NewFFT(n), fine, make([]float64, n)}
}

// modulation returns |DFT| of a line spread up to the end of the list, over dc, at
// the fine steps. Values beyond the length are added to those a length before,
// which leaves the transform at its frequencies as it is.
func (t transform) modulation(lsf []float64, dc float64) []float64 {
	clear(t.room)
	for i, v := range lsf {
		t.room[i%len(t.room)] += v
	}
	c := t.fft.Coefficients(nil, t.room)
	out := make([]float64, int(math.Round(listEnd/listStep))*t.fine+1)
	for k := range out {
		out[k] = cmplx.Abs(c[k]) / math.Abs(dc)
	}
	out[0] = 1
	return out
}

// derivativeFactor makes up for taking the difference of neighbouring values in
// place of the derivative: the inverse of sin(x)/x at x = pi f step, at most 10
// (ISO 12233:2014 as optics literature gives it, with the sign of its printed
// formula put right).
func derivativeFactor(cyPerPx float64) float64 {
	x := math.Pi * cyPerPx * step
	if x == 0 {
		return 1
	}
	return min(x/math.Sin(x), 10)
}

// firstBelow returns the first frequency at which a modulation at fine steps falls
// to a level, read from the cubic through four values.
func (t transform) firstBelow(m []float64, level float64) (float64, bool) {
	for i := 0; i+1 < len(m); i++ {
		if m[i] > level && m[i+1] <= level {
			from := max(0, min(i-1, len(m)-4))
			return (float64(from) + solveFour(m[from:from+4], level, float64(i-from))) * listStep / float64(t.fine), true
		}
	}
	return math.NaN(), false
}

// solveFour finds where the cubic through four values at 0, 1, 2, 3 passes a level
// between low and low + 1.
func solveFour(v []float64, level, low float64) float64 {
	value := func(x float64) float64 {
		a, b, c, d := x, x-1, x-2, x-3
		return -v[0]*b*c*d/6 + v[1]*a*c*d/2 - v[2]*a*b*d/2 + v[3]*a*b*c/6
	}
	high := low + 1
	for range 50 {
		middle := (low + high) / 2
		if value(middle) > level {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

// modulations is a transfer function at fine steps, with those of the profile
// without one part of the rows each.
type modulations struct {
	t       transform
	all     []float64
	without [][]float64
}

// fallsTo is where the modulation falls to a level, in cycles per pixel, nil where
// it does not.
func (m modulations) fallsTo(level float64) *quantity.Estimate {
	f, ok := m.t.firstBelow(m.all, level)
	if !ok {
		return nil
	}
	e := jackknifed(f, m.without, func(w []float64) float64 { f, _ := m.t.firstBelow(w, level); return f })
	if u, _ := e.StandardU(); math.IsNaN(u) { // without some part it is never reached
		return nil
	}
	return &e
}

func (m modulations) spectrum() Spectrum {
	s := Spectrum{Modulation: m.t.list(m.all)}
	for k := range s.Modulation {
		s.U = append(s.U, *jackknifed(0, m.without, func(w []float64) float64 { return w[k*m.t.fine] }).U)
	}
	return s
}

// jackknifed is a value with the uncertainty that its values without one part give.
func jackknifed[T any](value float64, without []T, read func(T) float64) quantity.Estimate {
	list := make([]float64, len(without))
	for i, c := range without {
		list[i] = read(c)
	}
	return quantity.With(value, spreadOf(list))
}

// list picks the listed steps from the fine ones.
func (t transform) list(m []float64) []float64 {
	var out []float64
	for k := 0; k < len(m); k += t.fine {
		out = append(out, m[k])
	}
	return out
}

// taper is a Tukey window: 1 up to flat from the middle, falling as a cosine to 0
// at end.
func taper(x, flat, end float64) float64 {
	x = math.Abs(x)
	switch {
	case x <= flat:
		return 1
	case x >= end:
		return 0
	}
	return 0.5 + 0.5*math.Cos(math.Pi*(x-flat)/(end-flat))
}
