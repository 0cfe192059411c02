package sharpness

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// The widths from 10 % to 90 % and the frequencies of half modulation of edges in
// closed form: for a Gaussian 2 z(0.9) sigma and sqrt(2 ln 2)/(2 pi sigma) = 0.187391/sigma; for
// a box 0.8 w and the root of sinc(f w) = 1/2, 0.603355/w; for the ideal circular
// aperture 1.332870 lambda N and 0.403973/(lambda N), by mpmath from the
// modulation transfer function (2/pi)(acos v - v sqrt(1-v^2)) (Goodman, Introduction
// to Fourier Optics, 6.4).
const (
	gaussRise, gaussHalf             = 2.563103, 0.187391
	boxRise, boxHalf                 = 0.8, 0.603355
	diffractionRise, diffractionHalf = 1.332870, 0.403973
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s = %.6g, want %.6g to %g %% (off by %.2f %%)", what, got, want, 100*relative, 100*(got/want-1))
	}
}

func at(e *quantity.Estimate) float64 {
	if e == nil {
		return math.NaN()
	}
	return e.Value
}

func TestEdgeOfClosedForms(t *testing.T) {
	t.Parallel()
	diffraction := diffractionEdge(2)
	for _, tt := range []struct {
		name       string
		profile    func(float64) float64
		rise, half float64
		tolerance  float64
	}{
		{"Gaussian 0.5 px", gaussianEdge(0.5), gaussRise * 0.5, gaussHalf / 0.5, 0.002},
		{"Gaussian 1 px", gaussianEdge(1), gaussRise, gaussHalf, 0.001},
		{"Gaussian 2.5 px", gaussianEdge(2.5), gaussRise * 2.5, gaussHalf / 2.5, 0.0005},
		{"Gaussian 8 px", gaussianEdge(8), gaussRise * 8, gaussHalf / 8, 0.0005},
		{"box 1 px", boxEdge(1), boxRise, boxHalf, 0.005},
		{"box 2 px", boxEdge(2), boxRise * 2, boxHalf / 2, 0.005},
		{"box 5 px", boxEdge(5), boxRise * 5, boxHalf / 5, 0.004},
		{"diffraction 2 px", diffraction, diffractionRise * 2, diffractionHalf / 2, 0.002},
	} {
		for _, degrees := range []float64{1, -2, 5, 10, 20, 35, 44, 85, -83, 60} {
			s := scene{width: 256, height: 192, degrees: degrees, offset: 3.3, profile: tt.profile, low: 20, high: 80}
			e, err := MeasureEdge(s.frame())
			if err != nil {
				t.Errorf("%s at %g degrees: %v", tt.name, degrees, err)
				continue
			}
			angle, along, direction := math.Abs(degrees), "columns", math.Mod(270-degrees, 180)
			if angle > 45 {
				angle, along = 90-angle, "rows"
			}
			near(t, tt.name+" angle", e.AngleDeg.Value, angle, 0.0005)
			near(t, tt.name+" direction", e.DirectionDeg, direction, 0.0005)
			near(t, tt.name+" width", e.RisePx.Value, tt.rise, tt.tolerance)
			near(t, tt.name+" half modulation", at(e.MTF50), tt.half, tt.tolerance)
			if e.Along != along {
				t.Errorf("%s at %g degrees lies along the %s, want %s", tt.name, degrees, e.Along, along)
			}
		}
	}
}

// TestEdgeModulation compares the whole curve. Integrated over the pixel, the
// modulation is the product of the Gaussian's and the footprint's, a square of one
// pixel seen at the edge's angle.
func TestEdgeModulation(t *testing.T) {
	t.Parallel()
	sinc := func(x float64) float64 {
		if x == 0 {
			return 1
		}
		return math.Sin(math.Pi*x) / (math.Pi * x)
	}
	const sigma, degrees = 0.8, 6.0
	s := scene{width: 200, height: 160, degrees: degrees, pixel: gaussianEdgeOverPixel(sigma), low: 500, high: 300}
	e, err := MeasureEdge(s.frame())
	if err != nil {
		t.Fatal(err)
	}
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	for k, got := range e.MTF.Modulation {
		f := float64(k) * e.MTF.StepCyPerPx()
		want := math.Exp(-2*math.Pow(math.Pi*sigma*f, 2)) * sinc(f*cos) * sinc(f*sin)
		if math.Abs(got-want) > 0.0005 {
			t.Errorf("modulation at %g = %.5f, want %.5f", f, got, want)
		}
	}
	if e.Low > 301 || e.High < 499 {
		t.Errorf("levels %g and %g, want 300 and 500", e.Low, e.High)
	}
}

// TestEdgeInNoise holds that noise moves results by as much as their uncertainties
// say: over frames of different seeds, the mean error is small against its own
// uncertainty and the scatter agrees with the stated one.
func TestEdgeInNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("many frames")
	}
	t.Parallel()
	const runs = 60
	for _, contrast := range []float64{100, 20, 8} {
		var err, u, n [3][]float64
		for seed := range uint64(runs) {
			s := scene{width: 128, height: 128, degrees: 5 + 0.01*float64(seed), profile: gaussianEdge(1.5), low: 20, high: 40, noise: 20 / contrast, seed: 100 + seed}
			e, fail := MeasureEdge(s.frame())
			if fail != nil {
				t.Fatalf("contrast %g, seed %d: %v", contrast, 100+seed, fail)
			}
			for i, got := range []struct {
				e    quantity.Estimate
				want float64
			}{{e.RisePx, gaussRise * 1.5}, {*e.MTF50, gaussHalf / 1.5}, {e.AngleDeg, s.degrees}} {
				err[i] = append(err[i], got.e.Value-got.want)
				u[i] = append(u[i], *got.e.U)
				n[i] = append(n[i], got.want)
			}
			near(t, "noise", e.NoiseSD, 20/contrast, 0.05)
		}
		for i, name := range []string{"width", "half modulation", "angle"} {
			mean, sd, stated := meanOf(err[i]), rmsOf(err[i]), rmsOf(u[i])
			t.Logf("contrast %g: %s off by %.3f %%, scatter %.3f %%, stated %.3f %%", contrast, name, 100*mean/n[i][0], 100*sd/n[i][0], 100*stated/n[i][0])
			if math.Abs(mean) > 4*sd/math.Sqrt(runs)+0.001*n[i][0] {
				t.Errorf("contrast %g: %s is off by %.4g on average, scatter %.4g", contrast, name, mean, sd)
			}
			if r := stated / sd; r < 0.75 || r > 1.4 {
				t.Errorf("contrast %g: stated uncertainty of %s is %.2f of the scatter", contrast, name, r)
			}
		}
	}
}

func meanOf(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(len(v))
}

func rmsOf(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x * x
	}
	return math.Sqrt(s / float64(len(v)))
}

// TestEdgeOnUnevenField: levels that change along and across the edge are taken out.
func TestEdgeOnUnevenField(t *testing.T) {
	t.Parallel()
	f := scene{width: 160, height: 120, degrees: 7, profile: gaussianEdge(1.2), low: 20, high: 60, noise: 0.1, seed: 5}.frame()
	for i := range f.Pixels {
		x, y := float64(i%f.Width), float64(i/f.Width)
		f.Pixels[i] += 0.02*x + 0.03*y
	}
	e, err := MeasureEdge(f)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "width", e.RisePx.Value, gaussRise*1.2, 0.01)
	near(t, "half modulation", e.MTF50.Value, gaussHalf/1.2, 0.01)
	near(t, "angle", e.AngleDeg.Value, 7, 0.01)
}

func TestEdgeWithMissingPixels(t *testing.T) {
	t.Parallel()
	f := scene{width: 160, height: 120, degrees: 7, profile: gaussianEdge(1.2), low: 20, high: 60}.frame()
	for i := 0; i < len(f.Pixels); i += 397 {
		f.Pixels[i] = math.NaN()
	}
	e, err := MeasureEdge(f)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "width", e.RisePx.Value, gaussRise*1.2, 0.002)
	if !strings.Contains(strings.Join(e.Warnings, "; "), "missing pixels were left out") {
		t.Errorf("missing pixels are passed over in silence: %q", e.Warnings)
	}
}

// each changes every pixel of a frame.
func each(f frame.Frame, change func(x, y int, v float64) float64) frame.Frame {
	for i, v := range f.Pixels {
		f.Pixels[i] = change(i%f.Width, i/f.Width, v)
	}
	return f
}

func TestEdgeRefuses(t *testing.T) {
	t.Parallel()
	edge := scene{width: 128, height: 96, degrees: 5, profile: gaussianEdge(1), low: 20, high: 60}
	noisy := edge
	noisy.noise, noisy.seed = 0.2, 3
	turned := func(degrees float64) frame.Frame {
		s := noisy
		s.degrees = degrees
		return s.frame()
	}
	saturated := noisy.frame()
	saturated.SaturatedCount = 500
	blank := frame.Frame{Width: 64, Height: 64, Pixels: make([]float64, 64*64)}
	for _, tt := range []struct {
		name string
		f    frame.Frame
		want string
	}{
		{"flat", blank, "flat"},
		{"noise alone", each(noisy.frame(), func(x, y int, _ float64) float64 { return 20 + float64((x*7919+y*104729+x*y*31)%1000)/1000 }), "no straight edge"},
		{"Gaussian noise alone", scene{width: 128, height: 96, profile: func(float64) float64 { return 0 }, noise: 1, seed: 9}.frame(), "no straight edge"},
		{"along the columns", turned(0), "lies 0.0"},
		{"along the rows", turned(90), "lies 0.0"},
		{"at 45 degrees", turned(45), "lies 45.00"},
		{"nearly along the columns", turned(0.2), "lies 0.2"},
		{"a ramp", each(noisy.frame(), func(x, _ int, _ float64) float64 { return 20 + 0.1*float64(x) }), "edge"},
		{"a hot spot", each(noisy.frame(), func(x, y int, _ float64) float64 {
			return 20 + 40*math.Exp(-(math.Pow(float64(x)-60, 2)+math.Pow(float64(y)-50, 2))/200)
		}), "edge"},
		{"two edges", scene{width: 128, height: 96, degrees: 5, profile: func(d float64) float64 { return gaussianEdge(1)(d+20) - gaussianEdge(1)(d-25) }, high: 60, noise: 0.2, seed: 1}.frame(), "more than one edge"},
		{"two edges of a stair", scene{width: 128, height: 96, degrees: 5, profile: func(d float64) float64 { return gaussianEdge(1)(d+20)/2 + gaussianEdge(1)(d-25)/2 }, high: 60, noise: 0.2, seed: 1}.frame(), "more than one edge"},
		{"saturated", saturated, "saturated"},
		{"cut off in noise", each(noisy.frame(), func(_, _ int, v float64) float64 { return min(v, 50) }), "cut off"},
		{"cut off below in noise", each(noisy.frame(), func(_, _ int, v float64) float64 { return max(v, 32) }), "cut off"},
		{"cut off without noise", each(edge.frame(), func(_, _ int, v float64) float64 { return min(v, 48) }), "cut off"},
		{"missing across the edge", each(noisy.frame(), func(x, _ int, v float64) float64 {
			if x >= 60 && x < 68 {
				return math.NaN()
			}
			return v
		}), "pixels across it are missing"},
		{"mostly missing", each(noisy.frame(), func(x, _ int, v float64) float64 {
			if x > 20 {
				return math.NaN()
			}
			return v
		}), "missing"},
		{"small", scene{width: 8, height: 96, degrees: 5, profile: gaussianEdge(1), high: 1}.frame(), "be looked for in 8 x 96"},
		{"too wide", scene{width: 64, height: 64, degrees: 5, profile: gaussianEdge(20), low: 20, high: 60, noise: 0.01}.frame(), "too wide"},
		{"at the border", scene{width: 128, height: 96, degrees: 5, offset: -64, profile: gaussianEdge(1), low: 20, high: 60, noise: 0.01}.frame(), "edge"},
		{"curved", each(noisy.frame(), func(x, y int, _ float64) float64 {
			return 20 + 40*phi(float64(x)-40-math.Pow(float64(y)-48, 2)/60)
		}), "edge"},
	} {
		e, err := MeasureEdge(tt.f)
		switch {
		case err == nil:
			t.Errorf("%s: measured, width %.3f px at %.2f degrees; want a refusal", tt.name, e.RisePx.Value, e.AngleDeg.Value)
		case fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.want):
			t.Errorf("%s: %v (%v), hint %q; want %q", tt.name, err, fault.KindOf(err), fault.HintOf(err), tt.want)
		default:
			t.Logf("%s: %v", tt.name, err)
		}
	}
}

func BenchmarkEdge(b *testing.B) {
	f := scene{width: 256, height: 192, degrees: 5, profile: gaussianEdge(1.5), low: 20, high: 80, noise: .5}.frame()
	for b.Loop() {
		if _, err := MeasureEdge(f); err != nil {
			b.Fatal(err)
		}
	}
}
