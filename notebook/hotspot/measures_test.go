package hotspot_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/hotspot"
)

func refused(t *testing.T, what string, err error) {
	t.Helper()
	if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
		t.Errorf("%s: error %v with hint %q, want Invalid with a hint", what, err, fault.HintOf(err))
	}
}

// TestBlur: a Gaussian of variance 4 px² blurred by one of 5 px² has a variance of 9 px²
// and a height of 4/9 (the volume stays), so its height is to be multiplied by 9/4.
func TestBlur(t *testing.T) {
	t.Parallel()
	const width = 2.3548200450309493
	s := find(t, scene(96, 72, 25, 0.01, 3, bump{9 * 4.0 / 9, 45.3, 33.8, 3, 3}), usual()).Spots[0]
	c, err := hotspot.CorrectBlur(s, quantity.With(width*math.Sqrt(5), 0.05))
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(c.Factor-2.25) > 3*c.UFactor || math.Abs(c.Rise-9) > 3*c.URise || c.URise > 0.5 || math.Abs(c.TrueFWHM-2*width) > 0.1 {
		t.Errorf("%+v, want factor 2.25, rise 9, width %.3f", c, 2*width)
	}
	// 6 x 2 blurred: each axis has its own part.
	s = find(t, scene(96, 72, 25, 0.01, 3, bump{2, 45.3, 33.8, math.Sqrt(36 + 5), 3}), usual()).Spots[0]
	if c, err = hotspot.CorrectBlur(s, quantity.Exactly(width*math.Sqrt(5))); err != nil || math.Abs(c.Factor-math.Sqrt(41.0/36*9/4)) > 4*c.UFactor {
		t.Errorf("long spot: %+v, %v", c, err)
	}
	for what, b := range map[string]float64{"as wide as the spot": 7.3, "wider": 20, "zero": 0, "negative": -1} {
		_, err := hotspot.CorrectBlur(s, quantity.Exactly(b))
		refused(t, what, err)
	}
}

// TestRegions: pixels of a frame whose value is 100 y + x, so that sums are known.
func TestRegions(t *testing.T) {
	t.Parallel()
	f := frame.Frame{Width: 30, Height: 20, Pixels: make([]float64, 600)}
	for i := range f.Pixels {
		f.Pixels[i] = float64(100*(i/30) + i%30)
	}
	f.Pixels[5*30+5] = math.NaN()
	regions, err := hotspot.ParseRegions("pad=rect:10,5,4,2; ellipse:15,10,3,2; tri=polygon:0,0 4,0 0,4; rect:4,4,3,3; whole=rect:0,0,30,20")
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		name      string
		n         int
		mean      float64
		low, high float64
		missing   int
	}{{"pad", 8, 561.5, 510, 613, 0}, {"region 2", 19, 1015, 815, 1215, 0}, {"tri", 10, 101, 0, 300, 0}, {"region 4", 8, 505, 404, 606, 1}, {"whole", 599, (964.5*600 - 505) / 599, 0, 1929, 1}} {
		s, err := regions[i].Measure(f, hotspot.Noise{SD: 2, CorrelatedPx: 1})
		if err != nil || regions[i].Name != want.name || s.Pixels != want.n || s.Missing != want.missing || math.Abs(s.Mean-want.mean) > 1e-9 || s.Min != want.low || s.Max != want.high || math.Abs(s.UMean-2/math.Sqrt(float64(want.n))) > 1e-12 {
			t.Errorf("%s: %+v, %v, want %+v", regions[i].Name, s, err, want)
		}
	}
	if s, _ := regions[0].Measure(f, hotspot.Noise{}); math.Abs(s.SD-math.Sqrt(50*50+1.25)) > 1e-9 || s.Median != 561.5 {
		t.Errorf("spread %v, median %v", s.SD, s.Median)
	}
	for _, text := range []string{"", " ; ", "rect:1,2,3", "rect:1,2,0,3", "circle:1,2,3,4", "polygon:1,1 2,2", "polygon:0,0 4,4 4,0 0,4", "polygon:0,0 2,2 4,4", "=rect:1,1,1,1", "a=rect:1,1,1,1;a=rect:2,2,2,2",
		"rect:nan,1,1,1", "rect:1e300,1,1,1", "polygon:1,1 2,2 x,3", "polygon:" + strings.Repeat("1,1 ", 2000)} {
		_, err := hotspot.ParseRegions(text)
		refused(t, text, err)
	}
	for _, text := range []string{"rect:28,0,4,2", "ellipse:1,1,3,1", "polygon:0,0 40,0 0,5", "rect:-3,0,2,2", "rect:2.4,2.4,0.2,0.2", "rect:5,5,1,1"} {
		r, err := hotspot.ParseRegions(text)
		if err != nil {
			t.Fatal(err)
		}
		_, err = r[0].Measure(f, hotspot.Noise{})
		refused(t, text, err)
	}
}

func FuzzParseRegions(f *testing.F) {
	for _, s := range []string{"pad=rect:10,5,4,2; ellipse:15,10,3,2", "polygon:0,0 4,0 0,4", "=;=", "polygon:"} {
		f.Add(s)
	}
	field := frame.Frame{Width: 8, Height: 8, Pixels: make([]float64, 64)}
	f.Fuzz(func(t *testing.T, s string) {
		regions, err := hotspot.ParseRegions(s)
		if err != nil && fault.HintOf(err) == "" {
			t.Errorf("%q: %v has no hint", s, err)
		}
		for _, r := range regions {
			if st, err := r.Measure(field, hotspot.Noise{}); err == nil && st.Pixels == 0 {
				t.Errorf("%q: a region without a pixel", s)
			}
		}
	})
}

// TestProfile: bilinear values of a plane are exact.
func TestProfile(t *testing.T) {
	t.Parallel()
	f := frame.Frame{Width: 20, Height: 10, Pixels: make([]float64, 200)}
	for i := range f.Pixels {
		f.Pixels[i] = 3*float64(i%20) - 2*float64(i/20)
	}
	for _, l := range []hotspot.Line{{From: hotspot.Point{X: 0, Y: 0}, Until: hotspot.Point{X: 19, Y: 9}, WidthPx: 1}, {From: hotspot.Point{X: 17.5, Y: 5.25}, Until: hotspot.Point{X: 3, Y: 4}, WidthPx: 3}, {From: hotspot.Point{X: 2, Y: 9}, Until: hotspot.Point{X: 12, Y: 9}, WidthPx: 1}} {
		samples, err := hotspot.Profile(f, l)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range samples {
			if math.Abs(s.Value-(3*s.X-2*s.Y)) > 1e-9 {
				t.Errorf("at %v, %v: %v, want %v", s.X, s.Y, s.Value, 3*s.X-2*s.Y)
			}
		}
		if last := samples[len(samples)-1]; math.Hypot(last.X-l.Until.X, last.Y-l.Until.Y) > 1e-9 || math.Abs(last.DistancePx-math.Hypot(l.Until.X-l.From.X, l.Until.Y-l.From.Y)) > 1e-9 {
			t.Errorf("the line ends at %+v", last)
		}
	}
	f.Pixels[5*20+10] = math.NaN()
	samples, err := hotspot.Profile(f, hotspot.Line{From: hotspot.Point{X: 8, Y: 5}, Until: hotspot.Point{X: 12, Y: 5}, WidthPx: 1})
	if err != nil || !math.IsNaN(samples[2].Value) || samples[1].Value != 17 {
		t.Errorf("a missing pixel: %+v, %v", samples, err)
	}
	for what, l := range map[string]hotspot.Line{
		"outside": {From: hotspot.Point{X: 0, Y: 0}, Until: hotspot.Point{X: 20, Y: 5}, WidthPx: 1}, "one place": {From: hotspot.Point{X: 3, Y: 3}, Until: hotspot.Point{X: 3, Y: 3}, WidthPx: 1},
		"no width": {From: hotspot.Point{X: 0, Y: 0}, Until: hotspot.Point{X: 9, Y: 5}}, "too wide": {From: hotspot.Point{X: 0, Y: 0}, Until: hotspot.Point{X: 9, Y: 5}, WidthPx: 21}, "not a number": {From: hotspot.Point{X: math.NaN()}, Until: hotspot.Point{X: 9, Y: 5}, WidthPx: 1},
	} {
		_, err := hotspot.Profile(f, l)
		refused(t, what, err)
	}
}

// TestRegister: points mapped by a known scale, rotation, shift and mirror.
func TestRegister(t *testing.T) {
	t.Parallel()
	places := []hotspot.Point{{X: 10, Y: 12}, {X: 240, Y: 20}, {X: 200, Y: 180}, {X: 15, Y: 170}, {X: 120, Y: 90}}
	to := func(p hotspot.Point, mirror bool) hotspot.Point {
		s, c := math.Sincos(0.1)
		y := p.Y
		if mirror {
			y = -y
		}
		return hotspot.Point{X: 5*(c*p.X-s*y) + 100, Y: 5*(s*p.X+c*y) + 1000}
	}
	for _, mirror := range []bool{false, true} {
		for _, n := range []int{2, 3, 5} {
			var pairs []hotspot.Pair
			for _, p := range places[:n] {
				pairs = append(pairs, hotspot.Pair{Frame: p, Micrograph: to(p, mirror)})
			}
			for _, affine := range []bool{false, n > 2} {
				r, err := hotspot.Register(pairs, hotspot.Alignment{Affine: affine, Mirror: mirror})
				if err != nil {
					t.Fatal(err)
				}
				p := hotspot.Point{X: 66, Y: 77}
				got, want := r.Map(p), to(p, mirror)
				if math.Hypot(got.X-want.X, got.Y-want.Y) > 1e-6 || math.Abs(r.Scale-5) > 1e-9 || math.Abs(r.RotationDeg-0.1*180/math.Pi) > 1e-6 || r.Mirrored != mirror {
					t.Errorf("%d pairs, mirror %v, affine %v: %+v", n, mirror, affine, r)
				}
				if free := 2*n - 4; (r.RMSPx != nil) != (free > 0 && !affine || affine && n > 3) {
					t.Errorf("%d pairs, affine %v: residual %v", n, affine, r.RMSPx)
				}
				if _, _, known := r.U(p, hotspot.Point{}); known != (r.RMSPx != nil) {
					t.Errorf("%d pairs: uncertainty known %v", n, known)
				}
			}
		}
	}
}

// TestRegisterUncertainty places points with a known error and holds that a place
// is missed by what is stated for it, near the points and far from them.
func TestRegisterUncertainty(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 5))
	const placed, trials = 2.0, 400
	for _, affine := range []bool{false, true} {
		var near, far pull
		for range trials {
			var pairs []hotspot.Pair
			for _, p := range []hotspot.Point{{X: 10, Y: 12}, {X: 140, Y: 20}, {X: 120, Y: 130}, {X: 15, Y: 110}} {
				pairs = append(pairs, hotspot.Pair{Frame: p, Micrograph: hotspot.Point{X: 5*p.X + placed*rng.NormFloat64(), Y: 5*p.Y + placed*rng.NormFloat64()}})
			}
			u := placed
			r, err := hotspot.Register(pairs, hotspot.Alignment{Affine: affine, PlacingPx: &u})
			if err != nil {
				t.Fatal(err)
			}
			for p, pull := range map[hotspot.Point]*pull{{X: 70, Y: 70}: &near, {X: 250, Y: 190}: &far} {
				m := r.Map(p)
				ux, uy, _ := r.U(p, hotspot.Point{})
				pull.add(m.X-5*p.X, ux)
				pull.add(m.Y-5*p.Y, uy)
			}
		}
		near.check(t, "in the middle")
		far.check(t, "far off")
	}
}

func TestRegisterRefusals(t *testing.T) {
	t.Parallel()
	pair := func(x, y, mx, my float64) hotspot.Pair {
		return hotspot.Pair{Frame: hotspot.Point{X: x, Y: y}, Micrograph: hotspot.Point{X: mx, Y: my}}
	}
	zero := 0.0
	for what, c := range map[string]struct {
		pairs []hotspot.Pair
		how   hotspot.Alignment
	}{
		"one": {[]hotspot.Pair{pair(1, 1, 2, 2)}, hotspot.Alignment{}}, "two at one place": {[]hotspot.Pair{pair(1, 1, 2, 2), pair(1, 1, 9, 9)}, hotspot.Alignment{}},
		"two at one place of the micrograph": {[]hotspot.Pair{pair(1, 1, 2, 2), pair(9, 9, 2, 2)}, hotspot.Alignment{}}, "affine of two": {[]hotspot.Pair{pair(1, 1, 2, 2), pair(9, 9, 20, 20)}, hotspot.Alignment{Affine: true}},
		"affine on a line": {[]hotspot.Pair{pair(1, 1, 2, 2), pair(9, 9, 20, 20), pair(17, 17, 40, 38)}, hotspot.Alignment{Affine: true}}, "placing": {[]hotspot.Pair{pair(1, 1, 2, 2), pair(9, 9, 20, 20)}, hotspot.Alignment{PlacingPx: &zero}},
	} {
		_, err := hotspot.Register(c.pairs, c.how)
		refused(t, what, err)
	}
	for _, text := range []string{"", "1,2=3,4", "1,2=3", "1,2;3,4", "a,b=c,d;1,2=3,4"} {
		_, err := hotspot.ParsePairs(text)
		refused(t, text, err)
	}
	for _, text := range []string{"", "x@1,2,3", "@1,2,3,4", "x@1,2,0,4", "x 1,2,3,4", "x@1,2,3,4;x@1,2,3,4"} {
		_, err := hotspot.ParseAreas(text)
		refused(t, text, err)
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	areas, err := hotspot.ParseAreas("core@0,0,100,100; driver @ 10,10,20,20; a@b@200,0,10,10")
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		x, y, u float64
		want    string
	}{
		{20, 20, 1, "driver, within core"}, {50, 50, 1, "core"}, {31, 20, 2, "core (or driver), not certain"}, {150, 50, 1, "no named area"}, {205, 5, 1, "a@b"}, {101, 50, 3, "no named area (or core), not certain"}, {20, 20, math.Inf(1), "driver (or core, a@b), not certain"},
	} {
		if got := hotspot.Name(areas, hotspot.Point{X: tt.x, Y: tt.y}, tt.u).Text(); got != tt.want {
			t.Errorf("at %v, %v: %q, want %q", tt.x, tt.y, got, tt.want)
		}
	}
	if err := areas[2].Inside(205, 300); err == nil {
		t.Error("an area reaches outside and is taken")
	}
}

// TestAxes: from a corner at 10, 20 with the x axis along the diagonal.
func TestAxes(t *testing.T) {
	t.Parallel()
	a := hotspot.Axes{Origin: hotspot.Point{X: 10, Y: 20}, Along: &hotspot.Point{X: 40, Y: 60}, PixelUM: quantity.With(2, 0.02)}
	p := a.Of(hotspot.Point{X: 40, Y: 60}, hotspot.Point{X: 0.3, Y: 0.3})
	if math.Abs(p.XUM.Value-100) > 1e-9 || math.Abs(p.YUM.Value) > 1e-9 || math.Abs(*p.XUM.U-math.Hypot(0.6, 1)) > 1e-9 || math.Abs(*p.YUM.U-0.6) > 1e-9 {
		t.Errorf("along the axis: %+v", p)
	}
	if p := a.Of(hotspot.Point{X: 10 - 8, Y: 20 + 6}, hotspot.Point{}); math.Abs(p.XUM.Value) > 1e-9 || math.Abs(p.YUM.Value-20) > 1e-9 {
		t.Errorf("a quarter turn from it: %+v", p)
	}
	a.Along = &hotspot.Point{X: 10.5, Y: 20}
	refused(t, "an axis to its origin", a.Validate())
}

// TestMoved shifts a scene of closed form with a spot that only the powered frame
// has: waves everywhere, and pads with soft edges on an even ground, whose edges
// make spots of their own when they move.
func TestMoved(t *testing.T) {
	t.Parallel()
	build := func(dx float64, seed uint64, pads bool, bumps ...bump) frame.Frame {
		f := scene(128, 96, 25, 0.03, seed, bumps...)
		for i := range f.Pixels {
			x, y := float64(i%128)-dx, float64(i/128)
			if !pads {
				f.Pixels[i] += math.Sin(x/5) * math.Cos(y/6)
				continue
			}
			for _, c := range []hotspot.Point{{X: 25, Y: 20}, {X: 100, Y: 25}, {X: 90, Y: 75}, {X: 20, Y: 70}} {
				f.Pixels[i] += 3 * edge(6-math.Abs(x-c.X)) * edge(4-math.Abs(y-c.Y))
			}
		}
		return f
	}
	for _, pads := range []bool{false, true} {
		cold, hot := build(0, 1, pads), build(0.6, 2, pads, bump{8, 60, 40, 3, 3})
		o := usual()
		o.Reference = &cold
		found := find(t, hot, o)
		m := found.MovedSince(hot, cold, o)
		if !m.Checked || math.Abs(m.DXPx-0.6) > 4*m.UXPx || math.Abs(m.DYPx) > 4*m.UYPx || m.UXPx > 0.03 || m.Rise < 0.01 {
			t.Fatalf("pads %v, moved by 0.6 pixels: %+v", pads, m)
		}
		// The waves move everywhere and are noise; the pads' edges make false spots.
		threshold := o.ThresholdSD * found.Noise.SD
		if got := m.Warning(0.2, threshold); (got != "") != pads || m.Warning(1, 0) != "" || m.Warning(0.2, 0) == "" {
			t.Errorf("pads %v: warning %q at a threshold of %v, %+v", pads, got, threshold, m)
		}
		aligned, err := m.Aligned(cold)
		if err != nil {
			t.Fatal(err)
		}
		o.Reference = &aligned
		again := find(t, hot, o)
		if s := again.Spots[0]; again.Noise.SD > 0.06 || math.Abs(s.XPx-60) > 4*s.UXPx || len(again.Spots) != 1 {
			t.Errorf("pads %v, aligned: noise %v, %d spots, first %+v", pads, again.Noise.SD, len(again.Spots), s)
		}
		flat := scene(128, 96, 25, 0.03, 9)
		if m := found.MovedSince(hot, flat, o); m.Checked || m.Why == "" {
			t.Errorf("against a frame without structure: %+v", m)
		}
	}
}

// edge is a step from 0 to 1 at 0 with a soft edge of a pixel.
func edge(d float64) float64 { return math.Erfc(-d/math.Sqrt2) / 2 }

// TestMovementNotKnown: an even ramp does not tell where it lies, nor does a
// straight edge along itself, nor noise. No frame has moved.
func TestMovementNotKnown(t *testing.T) {
	t.Parallel()
	for name, ground := range map[string]func(x, y float64) float64{
		"ramp":  func(x, y float64) float64 { return 0.02*x + 0.01*y },
		"step":  func(x, _ float64) float64 { return 4 * edge(x-64.3) },
		"slant": func(x, y float64) float64 { return 4 * edge((x+y-100)/math.Sqrt2) },
		"noise": func(_, _ float64) float64 { return 0 },
	} {
		for seed := range uint64(5) {
			build := func(seed uint64, bumps ...bump) frame.Frame {
				f := scene(128, 96, 25, 0.05, seed, bumps...)
				for i := range f.Pixels {
					f.Pixels[i] += ground(float64(i%128), float64(i/128))
				}
				return f
			}
			hot, cold := build(2*seed+40, bump{3, 40, 30, 3, 3}, bump{2, 90, 60, 3, 3}), build(2*seed+41)
			o := usual()
			o.Reference = &cold
			found := find(t, hot, o)
			m := found.MovedSince(hot, cold, o)
			if m.Checked || !strings.HasPrefix(m.Why, "too little structure") || m.Warning(0, 0) != "" || len(found.Spots) != 2 {
				t.Errorf("%s, seed %d: %d spots, %+v", name, seed, len(found.Spots), m)
			}
		}
	}
}

// TestMovementUncertainty holds that movements are missed by what is stated, with
// much structure and with little.
func TestMovementUncertainty(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	for _, height := range []float64{0.6, 2} {
		var dx pull
		for seed := range uint64(24) {
			x, y := rng.Float64()-0.5, rng.Float64()-0.5
			pads := func(dx, dy float64) []bump {
				return []bump{{height, 30 + dx, 25 + dy, 3, 3}, {height, 90 + dx, 20 + dy, 3, 4}, {height, 100 + dx, 70 + dy, 4, 3}, {height, 25 + dx, 75 + dy, 3, 3}}
			}
			cold := scene(128, 96, 25, 0.05, 2*seed+300, pads(0, 0)...)
			hot := scene(128, 96, 25, 0.05, 2*seed+301, append(pads(x, y), bump{4, 60, 45, 3, 3})...)
			o := usual()
			o.Reference = &cold
			m := find(t, hot, o).MovedSince(hot, cold, o)
			if !m.Checked {
				t.Fatalf("height %v, moved by %v, %v: %+v", height, x, y, m)
			}
			dx.add(m.DXPx-x, m.UXPx)
			dx.add(m.DYPx-y, m.UYPx)
			if seed == 0 {
				t.Logf("height %v: u %v, %v", height, m.UXPx, m.UYPx)
			}
		}
		dx.check(t, "movement")
	}
}

// TestContour: the contour of a round Gaussian at half its height is a circle of
// half its width; the weights 1 2 1 add half a square pixel to its variance.
func TestContour(t *testing.T) {
	t.Parallel()
	found := find(t, scene(96, 72, 25, 0, 0, bump{4, 45.3, 33.8, 6, 6}), usual())
	segments := found.Contour(2)
	if len(segments) < 20 {
		t.Fatalf("%d segments", len(segments))
	}
	v := 36.5
	want := math.Sqrt(2 * v * math.Log(2*36/v))
	for _, s := range segments {
		if r := math.Hypot(s.A.X-45.3, s.A.Y-33.8); math.Abs(r-want) > 0.03 {
			t.Errorf("at a radius of %.3f, want %.3f", r, want)
		}
	}
}
