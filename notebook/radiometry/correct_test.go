package radiometry_test

import (
	"math"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/radiometry"
)

func corrector(t testing.TB, e *radiometry.Equation, c radiometry.Correction) *radiometry.Corrector {
	t.Helper()
	out, err := radiometry.NewCorrector(e, c)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func response(t testing.TB) *radiometry.Band {
	t.Helper()
	b, err := radiometry.NewResponseBand([]radiometry.ResponsePoint{{7, 0.02}, {8, 0.8}, {9.5, 1}, {12, 0.9}, {13.5, 0.3}, {15, 0}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestCorrectionErrorOverADenseSweep holds the tables against the exact inverse.
func TestCorrectionErrorOverADenseSweep(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name       string
		band       *radiometry.Band
		correction radiometry.Correction
	}{
		{"long wave, °C", band(t, 8, 14), radiometry.Correction{In: radiometry.PixelDegC, Out: radiometry.PixelDegC}},
		{"long wave, radiance", band(t, 7.5, 13), radiometry.Correction{In: radiometry.PixelRadiance, Out: radiometry.PixelK, LowK: 250, HighK: 450}},
		{"long wave, wide", band(t, 8, 14), radiometry.Correction{In: radiometry.PixelK, Out: radiometry.PixelK, LowK: 150, HighK: 2000}},
		{"mid wave", band(t, 3, 5), radiometry.Correction{In: radiometry.PixelK, Out: radiometry.PixelK, LowK: 250, HighK: 900}},
		{"short wave", band(t, 1, 2.5), radiometry.Correction{In: radiometry.PixelK, Out: radiometry.PixelK, LowK: 300, HighK: 1500}},
		{"response", response(t), radiometry.Correction{In: radiometry.PixelDegC, Out: radiometry.PixelK}},
	} {
		e := equation(t, c.band, radiometry.Scene{Emissivity: 0.6, ReflectedK: 296.15, Elements: []radiometry.Element{{Name: "optics", Transmission: 0.9, TempK: 298.15}}})
		worst := 0.0
		var src, eps, exact []float64
		for k := 270.0; k < 440; k += 0.0137 {
			l := c.band.Radiance(k)
			reading := k
			switch c.correction.In {
			case radiometry.PixelDegC:
				reading -= 273.15
			case radiometry.PixelRadiance:
				reading = l
			}
			emissivity := 0.05 + 0.95*math.Abs(math.Sin(k*1000))
			scene := e.Scene()
			scene.Emissivity = emissivity
			want, err := equation(t, c.band, scene).ObjectFromRadiance(l)
			if err != nil {
				want = math.NaN()
			}
			if c.correction.Out == radiometry.PixelDegC {
				want -= 273.15
			}
			src, eps, exact = append(src, reading), append(eps, emissivity), append(exact, want)
		}
		got := make([]float64, len(src))
		tally, err := corrector(t, e, c.correction).Map(got, src, eps)
		if err != nil {
			t.Fatal(err)
		}
		solved := 0
		for i := range got {
			if math.IsNaN(got[i]) != math.IsNaN(exact[i]) {
				t.Fatalf("%s: pixel %v with emissivity %v is %v, want %v", c.name, src[i], eps[i], got[i], exact[i])
			}
			if !math.IsNaN(got[i]) {
				solved++
				worst = math.Max(worst, math.Abs(got[i]-exact[i]))
			}
		}
		if worst > radiometry.ToleranceK || tally[radiometry.Solved] != solved {
			t.Errorf("%s: worst error %g K, want at most %g; %d solved, counted %d", c.name, worst, radiometry.ToleranceK, solved, tally[radiometry.Solved])
		}
		t.Logf("%s: worst error %.2g K of %d pixels", c.name, worst, solved)
	}
}

func TestUnsolvedPixelsAreCountedByReason(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	e := equation(t, b, radiometry.Scene{Emissivity: 0.9, ReflectedK: 330, Elements: []radiometry.Element{{Name: "optics", Transmission: 0.5, TempK: 300}}})
	c := corrector(t, e, radiometry.Correction{In: radiometry.PixelK, Out: radiometry.PixelK})
	nan, inf := math.NaN(), math.Inf(1)
	src := []float64{350, nan, inf, -5, 350, 350, 350, 350, 220, 310, 900, 1e9}
	eps := []float64{0.9, 0.9, 0.9, 0.9, nan, 0, -0.5, 1.01, 0.9, 0.1, 1e-4, 0.9}
	dst := make([]float64, len(src))
	got, err := c.Map(dst, src, eps)
	if err != nil {
		t.Fatal(err)
	}
	want := radiometry.Tally{}
	want[radiometry.Solved], want[radiometry.Missing], want[radiometry.BadEmissivity] = 1, 4, 4
	want[radiometry.BelowElements], want[radiometry.BelowReflected], want[radiometry.TooHot] = 1, 1, 1
	if got != want {
		t.Errorf("tally %v, want %v", got.Map(), want.Map())
	}
	for i, v := range dst {
		if math.IsNaN(v) != (i > 0) {
			t.Errorf("pixel %d is %v", i, v)
		}
	}
	if _, err := c.Map(dst, src, eps[1:]); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a map of another size: %v", err)
	}
}

func TestUniformAndLookupAgreeWithTheEquation(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	e := equation(t, b, radiometry.Scene{Emissivity: 0.6, ReflectedK: 296.15, Elements: []radiometry.Element{{Name: "optics", Transmission: 0.9, TempK: 298.15}}})
	c := corrector(t, e, radiometry.Correction{In: radiometry.PixelDegC, Out: radiometry.PixelDegC})
	l, err := c.Lookup(radiometry.Counts{Scale: 0.01, Offset: -273.15})
	if err != nil {
		t.Fatal(err)
	}
	src, counts := make([]float64, 1<<16), make([]uint16, 1<<16)
	for i := range src {
		src[i], counts[i] = 0.01*float64(i)-273.15, uint16(i)
	}
	dst, fast := make([]float64, len(src)), make([]float32, len(src))
	tally, err := c.Uniform(dst, src)
	if err != nil {
		t.Fatal(err)
	}
	fastTally, err := l.Correct(fast, counts)
	if err != nil {
		t.Fatal(err)
	}
	if tally != fastTally || tally[radiometry.BelowElements] == 0 || tally[radiometry.BelowReflected] == 0 {
		t.Errorf("tallies %v and %v", tally.Map(), fastTally.Map())
	}
	for i := range src {
		want, err := e.Object(src[i] + 273.15)
		if err != nil {
			if !math.IsNaN(dst[i]) || fast[i] == fast[i] {
				t.Fatalf("%v °C is %v and %v, want none: %v", src[i], dst[i], fast[i], err)
			}
			continue
		}
		if math.Abs(dst[i]+273.15-want) > radiometry.ToleranceK || math.Abs(float64(fast[i])-dst[i]) > 1.6e-5*math.Max(1, math.Abs(dst[i])/256) {
			t.Fatalf("%v °C is %v and %v, want %v", src[i], dst[i], fast[i], want-273.15)
		}
	}
	if _, err := c.Lookup(radiometry.Counts{}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("counts without a scale: %v", err)
	}
}

// Not parallel: it counts allocations.
func TestNothingIsAllocatedForAPixel(t *testing.T) {
	b := band(t, 8, 14)
	e := equation(t, b, radiometry.Scene{Emissivity: 0.6, ReflectedK: 296.15})
	c := corrector(t, e, radiometry.Correction{In: radiometry.PixelK, Out: radiometry.PixelK})
	src, eps := []float64{300, 350, math.NaN(), 900, 250}, []float64{0.9, 0, 0.5, 0.9, 0.1}
	dst := make([]float64, len(src))
	if n := testing.AllocsPerRun(100, func() { _, _ = c.Map(dst, src, eps) }); n != 0 {
		t.Errorf("Map: %v allocations", n)
	}
	table, err := b.Table(150, 1500)
	if err != nil {
		t.Fatal(err)
	}
	model, x := radiometry.ObjectModel(table), []float64{340, 0.4, 296, 0.97, 297, 0.85, 303}
	if n := testing.AllocsPerRun(100, func() { _, _ = model(x) }); n != 0 {
		t.Errorf("ObjectModel: %v allocations", n)
	}
}

// thermalFrame is a frame of 256 x 192 with an emissivity map from 0.2 to 0.9.
func thermalFrame(b *testing.B, e *radiometry.Equation, in radiometry.PixelUnit) (src, eps []float64) {
	const n = 256 * 192
	src, eps = make([]float64, n), make([]float64, n)
	for i := range src {
		eps[i] = 0.2 + 0.7*float64(i*7919%n)/n
		s := e.Scene()
		s.Emissivity = eps[i]
		signal, err := equation(b, e.Band(), s).Apparent(300 + 80*float64(i*104729%n)/n)
		if err != nil {
			b.Fatal(err)
		}
		if src[i] = signal.RadianceWM2SR; in == radiometry.PixelDegC {
			src[i] = signal.ApparentK - 273.15
		}
	}
	return src, eps
}

func benchmarkMap(b *testing.B, in radiometry.PixelUnit) {
	e := equation(b, band(b, 8, 14), radiometry.Scene{Emissivity: 0.6, ReflectedK: 296.15, Elements: []radiometry.Element{{Transmission: 0.9, TempK: 298.15}}})
	c := corrector(b, e, radiometry.Correction{In: in, Out: radiometry.PixelDegC})
	src, eps := thermalFrame(b, e, in)
	dst := make([]float64, len(src))
	for b.Loop() {
		if _, err := c.Map(dst, src, eps); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(src)), "ns/pixel")
}

func BenchmarkMapRadiance(b *testing.B) { benchmarkMap(b, radiometry.PixelRadiance) }
func BenchmarkMapDegC(b *testing.B)     { benchmarkMap(b, radiometry.PixelDegC) }

func BenchmarkLookup(b *testing.B) {
	e := equation(b, band(b, 8, 14), radiometry.Scene{Emissivity: 0.6, ReflectedK: 296.15})
	l, err := corrector(b, e, radiometry.Correction{In: radiometry.PixelDegC, Out: radiometry.PixelDegC}).Lookup(radiometry.Counts{Scale: 0.01, Offset: -100})
	if err != nil {
		b.Fatal(err)
	}
	src := make([]uint16, 256*192)
	for i := range src {
		src[i] = uint16(13000 + i*7919%3000)
	}
	dst := make([]float32, len(src))
	for b.Loop() {
		if _, err := l.Correct(dst, src); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(src)), "ns/pixel")
}

func BenchmarkExactInverse(b *testing.B) {
	x := band(b, 8, 14)
	for b.Loop() {
		if _, err := x.Temperature(54); err != nil {
			b.Fatal(err)
		}
	}
}
