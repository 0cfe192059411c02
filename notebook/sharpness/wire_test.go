package sharpness

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// wireOf is a strip of width w blurred by a Gaussian: the difference of two edges.
func wireOf(w, sigma float64) func(float64) float64 {
	return func(d float64) float64 { return phi((d+w/2)/sigma) - phi((d-w/2)/sigma) }
}

func TestWire(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ w, sigma, tolerance float64 }{{0.4, 1, 0.002}, {1.5, 1, 0.002}, {0.2, 3, 0.001}, {3, 2, 0.001}} {
		for _, degrees := range []float64{5, -8, 20, 83} {
			s := scene{width: 160, height: 140, degrees: degrees, offset: 2.2, profile: wireOf(tt.w, tt.sigma), low: 30, high: 10}
			w, err := MeasureWire(s.frame(), &quantity.Estimate{Value: tt.w})
			if err != nil {
				t.Errorf("%g px at %g degrees: %v", tt.w, degrees, err)
				continue
			}
			if !w.Cold {
				t.Errorf("a cold wire is said to be hot")
			}
			near(t, "half modulation", at(w.MTF50), gaussHalf/tt.sigma, tt.tolerance)
			// The width at half of the peak, by bisection of the closed form.
			low, high := 0.0, 20.0
			for range 60 {
				if m := (low + high) / 2; wireOf(tt.w, tt.sigma)(m) > wireOf(tt.w, tt.sigma)(0)/2 {
					low = m
				} else {
					high = m
				}
			}
			near(t, "width at half of the peak", w.FWHMPx.Value, 2*low, tt.tolerance)
			near(t, "background", w.Background, 30, 1e-5)
		}
	}
}

func TestWireInNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("many frames")
	}
	t.Parallel()
	const runs = 60
	var err, u [2][]float64
	width := quantity.With(1, 0.05)
	for seed := range uint64(runs) {
		s := scene{width: 120, height: 120, degrees: 6, profile: wireOf(1, 1.2), low: 20, high: 80, noise: 1, seed: 300 + seed}
		w, fail := MeasureWire(s.frame(), &quantity.Estimate{Value: 1})
		if fail != nil {
			t.Fatal(fail)
		}
		err[0], u[0] = append(err[0], w.MTF50.Value-gaussHalf/1.2), append(u[0], *w.MTF50.U)
		err[1], u[1] = append(err[1], w.FWHMPx.Value), append(u[1], *w.FWHMPx.U)
		unsure, fail := MeasureWire(s.frame(), &width)
		if fail != nil {
			t.Fatal(fail)
		}
		// For a Gaussian d ln f/d w = -d ln sinc(w f)/dw / (4 pi^2 sigma^2 f^2), at half modulation.
		f := gaussHalf / 1.2
		move := 0.05 * (1 - math.Pi*f/math.Tan(math.Pi*f)) / (8 * math.Log(2) / 4) * f
		near(t, "uncertainty with the wire's", math.Sqrt(*unsure.MTF50.U**unsure.MTF50.U-*w.MTF50.U**w.MTF50.U), move, 0.15)
	}
	mean := meanOf(err[1])
	for i := range err[1] {
		err[1][i] -= mean
	}
	for i, name := range []string{"half modulation", "width"} {
		sd, stated := rmsOf(err[i]), rmsOf(u[i])
		t.Logf("%s: scatter %.4g, stated %.4g", name, sd, stated)
		if r := stated / sd; r < 0.75 || r > 1.4 {
			t.Errorf("stated uncertainty of %s is %.2f of the scatter", name, r)
		}
	}
}

func TestWireRefuses(t *testing.T) {
	t.Parallel()
	s := scene{width: 128, height: 96, degrees: 5, profile: wireOf(1, 1), low: 20, high: 60, noise: 0.2, seed: 4}
	turned := func(degrees float64) frame.Frame {
		other := s
		other.degrees = degrees
		return other.frame()
	}
	two := s
	two.profile = func(d float64) float64 { return wireOf(1, 1)(d+15) + wireOf(1, 1)(d-15) }
	none := s
	none.profile = func(float64) float64 { return 0 }
	edge := s
	edge.profile = gaussianEdge(1)
	for _, tt := range []struct {
		name string
		f    frame.Frame
		want string
	}{
		{"along the columns", turned(0), "lies 0.0"},
		{"along the rows", turned(90), "lies 0.0"},
		{"two wires", two.frame(), "something else"},
		{"noise", none.frame(), "no straight"},
		{"an edge", edge.frame(), "does not return"},
		{"cut off", each(s.frame(), func(_, _ int, v float64) float64 { return min(v, 30) }), "cut off"},
		{"flat", frame.Frame{Width: 40, Height: 40, Pixels: make([]float64, 1600)}, "flat"},
	} {
		w, err := MeasureWire(tt.f, nil)
		switch {
		case err == nil:
			t.Errorf("%s: measured, %.3f px at %.2f degrees; want a refusal", tt.name, w.FWHMPx.Value, w.AngleDeg.Value)
		case fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.want):
			t.Errorf("%s: %v; want %q", tt.name, err, tt.want)
		}
	}
}
