package radiometry_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/radiometry"
)

// scene is a picture of something known at every place, sampled with a shift.
type scene func(x, y float64) float64

func (s scene) picture(w, h int, dx, dy, gain, offset, noise float64, seed uint64) radiometry.Picture {
	r := rand.New(rand.NewPCG(seed, 1))
	p := radiometry.Picture{Width: w, Height: h, Pixels: make([]float64, w*h)}
	for y := range h {
		for x := range w {
			p.Pixels[y*w+x] = gain*s(float64(x)-dx, float64(y)-dy) + offset + noise*r.NormFloat64()
		}
	}
	return p
}

// warmSpot is smooth: one broad hot spot on a slope.
func warmSpot(x, y float64) float64 {
	return 20*math.Exp(-((x-60)*(x-60)+(y-45)*(y-45))/(2*25*25)) + 0.02*x
}

// die is textured: pads and traces of soft edges (width 1.2 px) and a grid of
// fine lines.
func die(x, y float64) float64 {
	edge := func(d float64) float64 { return 0.5 * (1 + math.Erf(d/(1.2*math.Sqrt2))) }
	box := func(cx, cy, w, h float64) float64 {
		return edge(w/2-math.Abs(x-cx)) * edge(h/2-math.Abs(y-cy))
	}
	v := 3*box(30, 25, 14, 9) - 2*box(75, 60, 22, 30) + 4*box(95, 20, 6, 6) + 1.5*box(50, 70, 40, 3) + 2.5*box(20, 75, 3, 25)
	return v + 0.3*math.Sin(2*math.Pi*x/7)*math.Sin(2*math.Pi*y/9)
}

func TestKnownShiftsAreRecovered(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		scene  scene
		dx, dy float64
		gain   float64
		noise  float64 // in the unit of the scene: contrast is 20 for the spot, about 4 for the die
	}{
		{"spot, none", warmSpot, 0, 0, 1, 0.06}, {"spot, fraction", warmSpot, 0.37, -0.61, 1, 0.06}, {"spot, far", warmSpot, -6.3, 4.45, 1.8, 0.06},
		{"die, none", die, 0, 0, 1, 0.06}, {"die, fraction", die, 0.5, 0.25, 1, 0.06}, {"die, noise", die, -0.73, 1.21, 1, 0.2},
		{"die, other contrast", die, 2.4, -1.35, 2.1, 0.06}, {"die, inverted", die, 1.3, 0.4, -0.7, 0.06}, {"die, far", die, 9.2, -7.85, 1, 0.06},
	} {
		fixed, moving := c.scene.picture(128, 96, 0, 0, 1, 300, c.noise, 1), c.scene.picture(128, 96, c.dx, c.dy, c.gain, 340, c.noise, 2)
		s, err := radiometry.Register(fixed, moving)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if off := math.Hypot(s.DXPx-c.dx, s.DYPx-c.dy); off > 0.05 || !s.Reliable {
			t.Errorf("%s: %+v is off by %v px, want within 0.05", c.name, s, off)
		}
		if math.Abs(s.Gain/c.gain-1) > 0.03 {
			t.Errorf("%s: gain %v, want %v", c.name, s.Gain, c.gain)
		}
		if off := math.Max(math.Abs(s.DXPx-c.dx)/s.UXPx, math.Abs(s.DYPx-c.dy)/s.UYPx); off > 4 {
			t.Errorf("%s: off by %v standard uncertainties, %+v", c.name, off, s)
		}
		t.Logf("%s: off by %+.4f, %+.4f px, u %.4f, %.4f, correlation %.4f", c.name, s.DXPx-c.dx, s.DYPx-c.dy, s.UXPx, s.UYPx, s.Correlation)
	}
}

func TestMissingPixelsTakeNoPart(t *testing.T) {
	t.Parallel()
	fixed, moving := scene(die).picture(128, 96, 0, 0, 1, 0, 0.06, 1), scene(die).picture(128, 96, 0.4, 0.7, 1, 0, 0.06, 2)
	for i := 0; i < len(fixed.Pixels); i += 397 {
		fixed.Pixels[i], moving.Pixels[(i*3+11)%len(moving.Pixels)] = math.NaN(), math.NaN()
	}
	s, err := radiometry.Register(fixed, moving)
	if err != nil || math.Hypot(s.DXPx-0.4, s.DYPx-0.7) > 0.05 || s.Overlap > 0.9 {
		t.Errorf("%+v, %v", s, err)
	}
}

func TestWhatCannotBeAlignedIsSaid(t *testing.T) {
	t.Parallel()
	stripes := func(x, y float64) float64 { return math.Sin(x / 5) }
	for _, c := range []struct {
		name          string
		fixed, moving radiometry.Picture
	}{
		{"noise alone", scene(func(x, y float64) float64 { return 0 }).picture(64, 64, 0, 0, 1, 0, 1, 1), scene(func(x, y float64) float64 { return 0 }).picture(64, 64, 0, 0, 1, 0, 1, 2)},
		{"stripes", scene(stripes).picture(64, 64, 0, 0, 1, 0, 0, 1), scene(stripes).picture(64, 64, 0.4, 0, 1, 0, 0, 2)},
		{"noisy stripes", scene(stripes).picture(64, 64, 0, 0, 1, 0, 0.2, 1), scene(stripes).picture(64, 64, 0.4, 0, 1, 0, 0.2, 2)},
	} {
		if s, err := radiometry.Register(c.fixed, c.moving); err != nil || s.Reliable || s.Why == "" {
			t.Errorf("%s: %+v, %v, want a reason", c.name, s, err)
		}
	}
	good := scene(die).picture(64, 64, 0, 0, 1, 0, 0, 1)
	small := scene(die).picture(15, 64, 0, 0, 1, 0, 0, 1)
	flat := scene(func(x, y float64) float64 { return 0 }).picture(64, 64, 0, 0, 1, 300, 0, 1)
	for name, pair := range map[string][2]radiometry.Picture{"sizes": {good, small}, "small": {small, small}, "flat": {good, flat}, "count": {good, {Width: 64, Height: 64}}} {
		if _, err := radiometry.Register(pair[0], pair[1]); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want a fault with a hint", name, err)
		}
	}
}

func TestShiftedUndoesAShift(t *testing.T) {
	t.Parallel()
	want, moving := scene(warmSpot).picture(96, 80, 0, 0, 1, 0, 0, 1), scene(warmSpot).picture(96, 80, 1.3, -2.6, 1, 0, 0, 1)
	got, err := moving.Shifted(1.3, -2.6)
	if err != nil {
		t.Fatal(err)
	}
	missing := 0
	for i, v := range got.Pixels {
		if math.IsNaN(v) {
			missing++
			continue
		}
		if math.Abs(v-want.Pixels[i]) > 1e-4 { // of a contrast of 20
			t.Fatalf("pixel %d is %v, want %v", i, v, want.Pixels[i])
		}
	}
	// A place between two pixels needs two on each side: columns x with x+1.3 from
	// 1 to below 94 are 0 to 92, and rows y with y-2.6 from 1 to below 78 are 4 to 79.
	if known := 93 * 76; len(got.Pixels)-missing != known {
		t.Errorf("%d pixels are known, want %d", len(got.Pixels)-missing, known)
	}
}

func TestShiftedByWholePixelsIsExact(t *testing.T) {
	t.Parallel()
	p := scene(die).picture(32, 24, 0, 0, 1, 300, 1, 1)
	p.Pixels[5*32+7] = math.NaN()
	got, err := p.Shifted(2, -1)
	if err != nil {
		t.Fatal(err)
	}
	for y := range 24 {
		for x := range 32 {
			want := math.NaN()
			if x+2 < 32 && y-1 >= 0 {
				want = p.Pixels[(y-1)*32+x+2]
			}
			if v := got.Pixels[y*32+x]; v != want && !(math.IsNaN(v) && math.IsNaN(want)) {
				t.Fatalf("%d, %d is %v, want %v", x, y, v, want)
			}
		}
	}
	far, err := p.Shifted(1e300, 0)
	if err != nil || !math.IsNaN(far.Pixels[0]) {
		t.Errorf("a shift out of the picture: %v, %v", far.Pixels[0], err)
	}
}

func BenchmarkRegister(b *testing.B) {
	fixed, moving := scene(die).picture(256, 192, 0, 0, 1, 0, 0.06, 1), scene(die).picture(256, 192, 0.4, 0.7, 1, 0, 0.06, 2)
	for b.Loop() {
		if _, err := radiometry.Register(fixed, moving); err != nil {
			b.Fatal(err)
		}
	}
}
