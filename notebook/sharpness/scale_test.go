package sharpness

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

func TestScaleFromLength(t *testing.T) {
	t.Parallel()
	l, err := ScaleFromLength(Point{10, 20, 0.3, 0.3}, Point{170, 140, 0.3, 0.3}, quantity.With(4000, 5))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pixel", l.PixelUM.Value, 20, 1e-12) // 4000 µm over 200 px
	// 0.3 px in each of two readings along the line, and 5 of 4000 µm.
	near(t, "uncertainty", *l.PixelUM.U, 20*math.Hypot(0.3*math.Sqrt2/200, 5.0/4000), 1e-12)
	near(t, "angle", l.AngleDeg, 36.8699, 1e-6)
	for _, tt := range []struct {
		from, until Point
		length      quantity.Estimate
	}{
		{Point{XPx: 1, YPx: 1}, Point{XPx: 1, YPx: 1}, quantity.Exactly(100)}, {Point{1, 1, 0.3, 0}, Point{2, 1, 0.3, 0}, quantity.Exactly(100)},
		{Point{1, 1, 0.3, 0}, Point{90, 1, 0.3, 0}, quantity.Exactly(0)}, {Point{1, 1, 0.3, 0}, Point{90, 1, 0.3, 0}, quantity.Exactly(-5)},
		{Point{1, 1, -1, 0}, Point{90, 1, 0.3, 0}, quantity.Exactly(100)}, {Point{1, 1, 0.3, 0}, Point{90, 1, math.NaN(), 0}, quantity.Exactly(100)},
	} {
		if _, err := ScaleFromLength(tt.from, tt.until, tt.length); err == nil || fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%+v: %v, want fault Invalid with a hint", tt, err)
		}
	}
	one, err := ScaleFromLength(Point{0, 5, 0.1, 0.9}, Point{100, 5, 0.2, 0.9}, quantity.Exactly(500))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "uncertainty along the rows alone", *one.DistancePx.U, math.Hypot(0.1, 0.2), 1e-12)
}

// grid is a pattern of lines both ways, blurred, in closed form: the sum of two
// square waves' first three harmonics. place turns pixels into periods.
func grid(width, height int, noise float64, seed uint64, place func(x, y float64) (u, v float64), both bool) frame.Frame {
	wave := func(p float64) float64 {
		return math.Cos(2*math.Pi*p) - 0.15*math.Cos(6*math.Pi*p)
	}
	f := scene{width: width, height: height, profile: func(float64) float64 { return 0 }, noise: noise, seed: seed}.frame()
	return each(f, func(x, y int, v float64) float64 {
		a, b := place(float64(x)-float64(width-1)/2, float64(y)-float64(height-1)/2)
		v += 30 + 5*wave(a)
		if both {
			v += 5 * wave(b)
		}
		return v
	})
}

// turnedGrid is a grid turned clockwise, with different scales along x and y.
func turnedGrid(degrees, pixelX, pixelY, pitch float64) func(x, y float64) (u, v float64) {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	return func(x, y float64) (float64, float64) {
		x, y = x*pixelX, y*pixelY
		return (x*cos + y*sin) / pitch, (-x*sin + y*cos) / pitch
	}
}

func TestPitch(t *testing.T) {
	t.Parallel()
	for _, degrees := range []float64{0, 0.5, -3, 12, 30} {
		for _, period := range []float64{4.3, 9.7, 21} {
			pixelX, pixelY := 100/period, 100/period*1.02
			f := grid(256, 192, 0.3, 8, turnedGrid(degrees, pixelX, pixelY, 100), true)
			p, err := MeasurePitch(f, quantity.With(100, 0.2))
			if err != nil {
				t.Errorf("%g degrees, period %g: %v", degrees, period, err)
				continue
			}
			near(t, "pixel along x", at(p.XUM), pixelX, 2e-4)
			near(t, "pixel along y", at(p.YUM), pixelY, 2e-4)
			near(t, "the larger", p.PixelUM.Value, pixelY, 2e-4)
			if math.Abs(p.RotationDeg.Value-degrees) > 0.01 {
				t.Errorf("rotation %.4f, want %g", p.RotationDeg.Value, degrees)
			}
			if p.DistortionPct > 0.1 || p.FitResidualPx > 0.1 {
				t.Errorf("%g degrees, period %g: distortion %.3f %%, residual %.3f px of an even grid", degrees, period, p.DistortionPct, p.FitResidualPx)
			}
			if *p.XUM.U < 0.002*pixelX || *p.XUM.U > 0.0022*pixelX { // the pitch's 0.2 % is most of it
				t.Errorf("uncertainty %.4g of %.4g", *p.XUM.U, pixelX)
			}
		}
	}
}

func TestPitchOfLines(t *testing.T) {
	t.Parallel()
	f := grid(200, 120, 0.2, 3, turnedGrid(-7, 12, 12, 100), false)
	p, err := MeasurePitch(f, quantity.Exactly(100))
	if err != nil {
		t.Fatal(err)
	}
	if p.YUM != nil || p.ShearDeg != nil {
		t.Errorf("lines one way give a scale both ways: %+v", p)
	}
	near(t, "pixel", p.PixelUM.Value, 12, 2e-4)
	near(t, "rotation", p.RotationDeg.Value, -7, 0.005)
	p, err = MeasurePitch(f.Orient(frame.Rotate90), quantity.Exactly(100))
	if err != nil {
		t.Fatal(err)
	}
	if p.XUM != nil {
		t.Errorf("lines one way give a scale both ways: %+v", p)
	}
	near(t, "pixel", p.PixelUM.Value, 12, 2e-4)
	near(t, "rotation", p.RotationDeg.Value, -7, 0.005)
}

// TestPitchNoise: the stated uncertainty of the fit against the scatter over seeds.
func TestPitchNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("many frames")
	}
	t.Parallel()
	const runs = 40
	var err, u []float64
	for seed := range uint64(runs) {
		p, fail := MeasurePitch(grid(128, 96, 3, 50+seed, turnedGrid(2, 10, 10, 100), true), quantity.Exactly(100))
		if fail != nil {
			t.Fatal(fail)
		}
		err, u = append(err, p.XUM.Value-10), append(u, *p.XUM.U)
	}
	r := rmsOf(u) / rmsOf(err)
	t.Logf("scatter %.3g, stated %.3g", rmsOf(err), rmsOf(u))
	if r < 0.6 || r > 1.7 {
		t.Errorf("stated uncertainty is %.2f of the scatter", r)
	}
}

// TestPitchDistortion: a place r from the middle lies at r (1 + k r²), so that the
// largest departure from the scale in the middle, in the corner, is k r² of r.
func TestPitchDistortion(t *testing.T) {
	t.Parallel()
	const width, height, k = 256.0, 192.0, 0.03
	half := math.Hypot(width, height) / 2
	f := grid(width, height, 0.05, 6, func(x, y float64) (float64, float64) {
		s := 1 + k*(x*x+y*y)/(half*half)
		return x * s / 8, y * s / 8
	}, true)
	p, err := MeasurePitch(f, quantity.Exactly(80))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pixel in the middle", p.PixelUM.Value, 10, 0.001)
	near(t, "distortion", p.DistortionPct, 100*k, 0.05)
	near(t, "cubic part", p.CubicPct, 100*k, 0.05)
	if p.QuadraticPct > 0.1 || len(p.Warnings) != 1 {
		t.Errorf("quadratic part %.3f %%, warnings %q", p.QuadraticPct, p.Warnings)
	}
}

func TestPitchRefuses(t *testing.T) {
	t.Parallel()
	noise := scene{width: 100, height: 80, profile: func(float64) float64 { return 0 }, noise: 1, seed: 2}
	edge := scene{width: 100, height: 80, degrees: 5, profile: gaussianEdge(1), high: 5, noise: 0.1}
	for _, tt := range []struct {
		name  string
		f     frame.Frame
		pitch quantity.Estimate
		want  string
	}{
		{"noise", noise.frame(), quantity.Exactly(100), "no pattern"},
		{"an edge", edge.frame(), quantity.Exactly(100), "no pattern"},
		{"three periods", grid(100, 80, 0.1, 1, turnedGrid(0, 2.5, 2.5, 100), true), quantity.Exactly(100), "no pattern"},
		{"no pitch", noise.frame(), quantity.Exactly(0), "a pitch of 0"},
		{"flat", canvas(40, 40, 3), quantity.Exactly(100), "flat"},
		{"small", canvas(10, 40, 3), quantity.Exactly(100), "10 x 40"},
	} {
		p, err := MeasurePitch(tt.f, tt.pitch)
		if err == nil || fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v (%+v), want %q", tt.name, err, p, tt.want)
		}
	}
}

func BenchmarkPitch(b *testing.B) {
	f := grid(256, 192, 0.3, 8, turnedGrid(2, 10, 10, 100), true)
	for b.Loop() {
		if _, err := MeasurePitch(f, quantity.Exactly(100)); err != nil {
			b.Fatal(err)
		}
	}
}
