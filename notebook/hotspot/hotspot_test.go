package hotspot_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
	"dieglow/notebook/hotspot"
)

// bump is a Gaussian of a scene in closed form; sx, sy are standard deviations.
type bump struct{ height, x, y, sx, sy float64 }

// scene is a level with Gaussians and normal noise of a stated seed.
func scene(width, height int, level, noise float64, seed uint64, bumps ...bump) frame.Frame {
	rng := rand.New(rand.NewPCG(seed, 1))
	f := frame.Frame{Width: width, Height: height, Unit: frame.DegC, Pixels: make([]float64, width*height)}
	for i := range f.Pixels {
		v := level
		for _, b := range bumps {
			v += b.height * math.Exp(-sq(float64(i%width)-b.x)/(2*b.sx*b.sx)-sq(float64(i/width)-b.y)/(2*b.sy*b.sy))
		}
		f.Pixels[i] = v
		if noise > 0 {
			f.Pixels[i] += noise * rng.NormFloat64()
		}
	}
	return f
}

func sq(v float64) float64 { return v * v }

func usual() hotspot.Options {
	return hotspot.Options{ThresholdSD: 5, MinAreaPx: 4, SaddleShare: 0.05}
}

func find(t *testing.T, f frame.Frame, o hotspot.Options) hotspot.Found {
	t.Helper()
	found, err := hotspot.Find(f, o)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// pull collects how far values lie off the truth in units of their uncertainty.
type pull struct {
	n, inside float64
	sum, sq   float64
}

func (p *pull) add(off, u float64) {
	z := off / u
	p.n++
	if math.Abs(z) <= 2 {
		p.inside++
	}
	p.sum += z
	p.sq += z * z
}

// check holds that about 95 % lie within two standard uncertainties, that the
// mean is 0 and that the uncertainty is neither much too small nor much too large.
func (p *pull) check(t *testing.T, what string) {
	t.Helper()
	share, mean, sd := p.inside/p.n, p.sum/p.n, math.Sqrt(p.sq/p.n)
	t.Logf("%s: %.1f %% of %.0f within 2 u, mean %.2f u, spread %.2f u", what, 100*share, p.n, mean, sd)
	// The limits are those that chance crosses less than once in a thousand, and a
	// tenth for what the noise itself is not known by.
	if share < 0.954-3.5*math.Sqrt(0.954*0.046/p.n) || math.Abs(mean) > 3.5/math.Sqrt(p.n)+0.2 || sd < 0.7 || sd > 1.1+3.5/math.Sqrt(2*p.n) {
		t.Errorf("%s: %.1f %% within 2 u, mean %.2f u, spread %.2f u", what, 100*share, mean, sd)
	}
}

// TestOneSpot: Gaussians of known place, height and size in white noise, with a
// reference and without, on a slope and off it.
func TestOneSpot(t *testing.T) {
	t.Parallel()
	const noise = 0.05
	trials := uint64(150)
	if testing.Short() {
		trials = 25
	}
	for _, tt := range []struct {
		name      string
		height    float64
		sx, sy    float64
		reference bool
		slope     float64
	}{
		{"round, reference", 2, 2.5, 2.5, true, 0}, {"round, alone", 2, 2.5, 2.5, false, 0}, {"long, on a slope", 1, 5, 3, false, 0.01}, {"small", 4, 1, 1, false, 0}, {"faint", 0.6, 3, 3, true, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var x, y, rise, size pull
			rng := rand.New(rand.NewPCG(7, 7))
			for n := range trials {
				b := bump{tt.height, 40 + 10*rng.Float64(), 30 + 10*rng.Float64(), tt.sx, tt.sy}
				f := scene(96, 72, 25, noise, 100+n, b)
				for i := range f.Pixels {
					f.Pixels[i] += tt.slope * float64(i%96)
				}
				o := usual()
				if tt.reference {
					r := scene(96, 72, 25, noise, 10000+n)
					o.Reference = &r
				}
				found := find(t, f, o)
				if len(found.Spots) != 1 || found.Spots[0].Fit == nil {
					t.Fatalf("trial %d: spots %+v", n, found.Spots)
				}
				s := found.Spots[0]
				x.add(s.XPx-b.x, s.UXPx)
				y.add(s.YPx-b.y, s.UYPx)
				rise.add(*s.FitRise-b.height, *s.UFitRise)
				size.add(s.Fit.FWHMPx-2.3548200450309493*math.Sqrt(tt.sx*tt.sy), s.Fit.UFWHMPx)
			}
			x.check(t, "x")
			y.check(t, "y")
			rise.check(t, "rise")
			size.check(t, "size")
		})
	}
}

// TestCentreBound compares the stated uncertainty of a centre with the bound of
// theory, sqrt(2/pi) noise/height for a round Gaussian known but for its place
// (Cramer-Rao; from memory, not verified). Place, height, size and offset of a
// symmetric spot do not mix, so a fit of all of them comes close to it.
func TestCentreBound(t *testing.T) {
	t.Parallel()
	f := scene(96, 72, 25, 0.05, 3, bump{2, 45.3, 33.8, 3, 3})
	s := find(t, f, usual()).Spots[0]
	want := math.Sqrt(2/math.Pi) * 0.05 / 2
	for _, u := range []float64{s.UXPx, s.UYPx} {
		if u < 0.95*want || u > 1.2*want {
			t.Errorf("u = %.5f px, theory %.5f", u, want)
		}
	}
}

// TestTwoSpots: two equal Gaussians 1.5 widths (full at half height) apart, where
// the valley lies at 42 % of the sum; the sum of two at 1.22 widths still dips by
// 11 %.
func TestTwoSpots(t *testing.T) {
	t.Parallel()
	const sd, noise = 3.0, 0.05
	trials := uint64(60)
	if testing.Short() {
		trials = 20
	}
	for _, widths := range []float64{1.22, 1.5, 2.5} {
		apart := widths * 2.3548 * sd
		var x, d pull
		for n := range trials {
			left, right := bump{3, 60.3, 50.6, sd, sd}, bump{3, 60.3 + apart, 50.6, sd, sd}
			found := find(t, scene(128, 96, 25, noise, 500+n, left, right), usual())
			if len(found.Spots) != 2 {
				t.Fatalf("%.2f widths apart, trial %d: %d spots", widths, n, len(found.Spots))
			}
			for _, s := range found.Spots {
				at := left.x
				if s.XPx > left.x+apart/2 {
					at = right.x
				}
				x.add(s.XPx-at, s.UXPx)
			}
			d.add(found.Distances[0].DistancePx-apart, found.Distances[0].UPx)
		}
		x.check(t, "centres")
		d.check(t, "distance")
	}
	if found := find(t, scene(128, 96, 25, noise, 1, bump{3, 60, 50, sd, sd}, bump{3, 60 + 0.8*2.3548*sd, 50, sd, sd}), usual()); len(found.Spots) != 1 {
		t.Errorf("two Gaussians 0.8 widths apart have one maximum: %d spots", len(found.Spots))
	}
}

// upperTail is the share of a normal distribution above z.
func upperTail(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// TestNoiseAlone counts spots in pure noise: at 3.5 standard deviations, single
// pixels allowed, as many as the normal distribution says; none at the usual
// settings.
func TestNoiseAlone(t *testing.T) {
	t.Parallel()
	const frames, threshold = 40, 3.5
	o := usual()
	loose := o
	loose.ThresholdSD, loose.MinAreaPx = threshold, 1
	count := 0
	for n := range uint64(frames) {
		f := scene(128, 96, 25, 0.05, 900+n)
		r := scene(128, 96, 25, 0.05, 1900+n)
		withRef := o
		withRef.Reference = &r
		if a, b := find(t, f, o), find(t, f, withRef); len(a.Spots)+len(b.Spots) > 0 {
			t.Errorf("frame %d of noise: %d and %d spots at 5 standard deviations", n, len(a.Spots), len(b.Spots))
		}
		count += len(find(t, f, loose).Spots)
	}
	want := frames * 128 * 96 * upperTail(threshold)
	t.Logf("%d spots in noise at %.1f standard deviations, expected %.0f", count, threshold, want)
	if math.Abs(float64(count)-want) > 4*math.Sqrt(want)+0.1*want { // a tenth for the noise's own estimate
		t.Errorf("%d spots in noise at %.1f standard deviations, want about %.0f", count, threshold, want)
	}
}

// TestSharedNoise: white noise averaged over 3 x 3 pixels has a third of its
// standard deviation, and nine pixels share it (the sum of its autocorrelation).
func TestSharedNoise(t *testing.T) {
	t.Parallel()
	white := scene(256, 192, 0, 1, 5)
	if n := hotspot.MeasureNoise(white); math.Abs(n.SD-1) > 0.03 || n.CorrelatedPx != 1 {
		t.Errorf("white noise: %+v", n)
	}
	if n := hotspot.MeasureNoise(smoothed3(white)); math.Abs(n.SD-1.0/3) > 0.02 || n.CorrelatedPx < 7 || n.CorrelatedPx > 11 {
		t.Errorf("noise shared by 9 pixels: %+v", n)
	}
	loose := usual()
	loose.ThresholdSD = 4
	var x pull
	for n := range uint64(80) {
		f := smoothed3(scene(96, 72, 25, 0.3, 40+n))
		b := bump{2, 45.4, 33.7, 4, 4}
		for i := range f.Pixels {
			f.Pixels[i] += b.height * math.Exp(-(sq(float64(i%96)-b.x)+sq(float64(i/96)-b.y))/(2*b.sx*b.sx))
		}
		s := find(t, f, loose).Spots[0]
		x.add(s.XPx-b.x, s.UXPx)
		x.add(s.YPx-b.y, s.UYPx)
	}
	x.check(t, "centre in shared noise")
}

func smoothed3(f frame.Frame) frame.Frame {
	out := f
	out.Pixels = make([]float64, len(f.Pixels))
	for i := range out.Pixels {
		n := 0.0
		for dy := -1; dy <= 1; dy++ {
			for dx := -1; dx <= 1; dx++ {
				x, y := i%f.Width+dx, i/f.Width+dy
				if x >= 0 && y >= 0 && x < f.Width && y < f.Height {
					out.Pixels[i] += f.Pixels[y*f.Width+x]
					n++
				}
			}
		}
		out.Pixels[i] /= n
	}
	return out
}

func TestColdMissingSaturated(t *testing.T) {
	t.Parallel()
	o := usual()
	o.Cold = true
	cold := find(t, scene(64, 48, 25, 0.05, 8, bump{-2, 20.5, 30.2, 2, 2}, bump{3, 45, 15, 2, 2}), o)
	if len(cold.Spots) != 1 || math.Abs(cold.Spots[0].XPx-20.5) > 0.1 || math.Abs(cold.Spots[0].Rise+2) > 0.2 || math.Abs(*cold.Spots[0].FitRise+2) > 0.1 || cold.Spots[0].Sigma < 30 || cold.Spots[0].Peak > 23.2 {
		t.Errorf("cold: %+v", cold.Spots)
	}
	f := scene(64, 48, 25, 0.05, 9, bump{20, 30.3, 24.6, 3, 3})
	level := 40.0
	f.Saturation = &level
	for i, v := range f.Pixels {
		f.Pixels[i] = math.Min(v, level)
	}
	f.Pixels[24*64+36], f.Pixels[24*64+37] = math.NaN(), math.NaN()
	s := find(t, f, usual()).Spots[0]
	if s.SaturatedPx == 0 || s.MissingPx != 2 || s.Peak != 40 || math.Abs(s.XPx-30.3) > 5*s.UXPx || math.Abs(*s.FitRise-20) > 5**s.UFitRise || s.UXPx > 0.1 {
		t.Errorf("cut off at 40: %+v, rise %v(%v)", s, *s.FitRise, *s.UFitRise)
	}
}

func TestOffsetOfReference(t *testing.T) {
	t.Parallel()
	f, r := scene(64, 48, 25.7, 0.05, 12, bump{3, 30, 24, 3, 3}), scene(64, 48, 25, 0.05, 13)
	o := usual()
	o.Reference = &r
	found := find(t, f, o)
	s := found.Spots[0]
	if math.Abs(found.Background.Level-0.7) > 0.02 || math.Abs(*s.FitRise-3.7) > 0.1 || math.Abs(s.Rise-s.LocalRise-0.7) > 0.02 {
		t.Errorf("0.7 above the reference: level %v, rise %v, local %v, fit %v", found.Background.Level, s.Rise, s.LocalRise, *s.FitRise)
	}
}

// TestWithoutNoise: closed forms without noise, rounded to a hundredth or not.
func TestWithoutNoise(t *testing.T) {
	t.Parallel()
	f := scene(64, 48, 25, 0, 0, bump{3, 30.25, 24.5, 3, 3})
	g := f
	g.Pixels = make([]float64, len(f.Pixels))
	for i, v := range f.Pixels {
		g.Pixels[i] = math.Round(v*100) / 100
	}
	for name, f := range map[string]frame.Frame{"plain": f, "rounded": g} {
		found := find(t, f, usual())
		if len(found.Spots) != 1 || math.Abs(found.Spots[0].XPx-30.25) > 0.01 || math.Abs(*found.Spots[0].FitRise-3) > 0.02 {
			t.Errorf("%s: %+v %+v", name, found.Noise, found.Spots)
		}
	}
	flat := frame.Frame{Width: 20, Height: 20, Pixels: make([]float64, 400)}
	if found := find(t, flat, usual()); len(found.Spots) != 0 {
		t.Errorf("a flat frame has %d spots", len(found.Spots))
	}
	for _, size := range [][2]int{{1, 1}, {1, 50}, {3, 2}} {
		if _, err := hotspot.Find(scene(size[0], size[1], 20, 1, 3), usual()); err != nil {
			t.Errorf("%v: %v", size, err)
		}
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	f := scene(20, 20, 25, 0.1, 1)
	other, unit := scene(20, 21, 25, 0.1, 1), scene(20, 20, 298, 0.1, 1)
	unit.Unit = frame.Kelvin
	nothing := scene(20, 20, math.NaN(), 0, 1)
	for name, o := range map[string]func(*hotspot.Options){
		"threshold": func(o *hotspot.Options) { o.ThresholdSD = 0 }, "area": func(o *hotspot.Options) { o.MinAreaPx = 0 }, "saddle": func(o *hotspot.Options) { o.SaddleShare = 1 },
		"window": func(o *hotspot.Options) { o.WindowPx = 2 }, "size": func(o *hotspot.Options) { o.Reference = &other }, "unit": func(o *hotspot.Options) { o.Reference = &unit },
		"nothing": func(o *hotspot.Options) { o.Reference = &nothing },
	} {
		options := usual()
		o(&options)
		_, err := hotspot.Find(f, options)
		if k := fault.KindOf(err); k != fault.Invalid && k != fault.Conflict || fault.HintOf(err) == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func BenchmarkFind(b *testing.B) {
	f := scene(256, 192, 25, 0.05, 1, bump{3, 60.3, 50.6, 3, 3}, bump{2, 160, 90, 4, 4}, bump{5, 200, 150, 2, 2})
	r := scene(256, 192, 25, 0.05, 2)
	for name, ref := range map[string]*frame.Frame{"alone": nil, "reference": &r} {
		o := usual()
		o.Reference = ref
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if found, err := hotspot.Find(f, o); err != nil || len(found.Spots) != 3 {
					b.Fatal(err, len(found.Spots))
				}
			}
		})
	}
}
