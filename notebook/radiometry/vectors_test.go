package radiometry_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"dieglow/catalog/quantity"
	"dieglow/notebook/radiometry"
	"dieglow/testdata/vectors"
)

// vector is a line of testdata/vectors: an input of several words, what is
// wanted, and how near.
type vector struct {
	name         string
	words        []string
	want, relTol float64
}

func published(t *testing.T, name string) (out []vector) {
	t.Helper()
	for _, row := range vectors.Rows(t, name) {
		out = append(out, vector{row[0], strings.Fields(row[0]), number(t, row[1]), number(t, row[2])})
	}
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func kelvin(t *testing.T, text string) float64 {
	t.Helper()
	k, err := quantity.ParseValue(text, quantity.Kelvin)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func (v vector) check(t *testing.T, got float64) {
	t.Helper()
	if !(math.Abs(got-v.want) <= v.relTol*math.Abs(v.want)) {
		t.Errorf("%s = %.13g, want %.13g to %.1e", v.name, got, v.want, v.relTol)
	}
}

func band(t testing.TB, low, high float64) *radiometry.Band {
	t.Helper()
	b, err := radiometry.NewBand(low, high)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// figure picks the one that a vector names.
func figure(t *testing.T, name string, f radiometry.Figures) float64 {
	t.Helper()
	switch name {
	case "radiance":
		return f.RadianceWM2SR
	case "derivative":
		return f.DerivativeWM2SRK
	case "exponent":
		return f.Exponent
	}
	t.Fatalf("no figure %q", name)
	return 0
}

func TestBandRadianceAgainstPublishedAndIndependentValues(t *testing.T) {
	t.Parallel()
	for _, v := range published(t, "radiometry_band.tsv") {
		low, high, err := quantity.ParseBand(v.words[1])
		if err != nil {
			t.Fatal(err)
		}
		b, k := band(t, low, high), kelvin(t, v.words[2])
		f, err := b.At(k)
		if err != nil {
			t.Fatal(err)
		}
		v.check(t, figure(t, v.words[0], f))
		if got := figure(t, v.words[0], radiometry.Figures{RadianceWM2SR: b.Radiance(k), DerivativeWM2SRK: b.Derivative(k), Exponent: b.Exponent(k)}); got != figure(t, v.words[0], f) {
			t.Errorf("%s: At gives %v, the method %v", v.name, figure(t, v.words[0], f), got)
		}
	}
}

func TestResponseRadiance(t *testing.T) {
	t.Parallel()
	// The tables the vectors were made from; the scale of a response must not matter.
	tables := map[string][]radiometry.ResponsePoint{
		"triangle": {{8, 0}, {10, 7}, {14, 0}},
		"plateau":  {{7, 0.02}, {8, 0.8}, {9.5, 1}, {12, 0.9}, {13.5, 0.3}, {15, 0}},
		"wide":     {{1, 1}, {1000, 0.001}},
	}
	for _, v := range published(t, "radiometry_response.tsv") {
		b, err := radiometry.NewResponseBand(tables[v.words[1]])
		if err != nil {
			t.Fatal(err)
		}
		k := kelvin(t, v.words[2])
		f, err := b.At(k)
		if err != nil {
			t.Fatal(err)
		}
		v.check(t, figure(t, v.words[0], f))
		if back, err := b.Temperature(f.RadianceWM2SR); err != nil || math.Abs(back/k-1) > 1e-12 {
			t.Errorf("%s: inverse gives %v, %v", v.name, back, err)
		}
	}
}

func TestFractionBelow(t *testing.T) {
	t.Parallel()
	for _, v := range published(t, "radiometry_fraction.tsv") {
		v.check(t, radiometry.FractionBelow(number(t, v.words[0])))
	}
	for _, c := range []struct{ in, want float64 }{{0, 0}, {math.Inf(1), 1}} {
		if got := radiometry.FractionBelow(c.in); got != c.want {
			t.Errorf("FractionBelow(%v) = %v, want %v", c.in, got, c.want)
		}
	}
	if got := radiometry.FractionBelow(-1); !math.IsNaN(got) {
		t.Errorf("FractionBelow(-1) = %v, want NaN", got)
	}
}

func TestConstants(t *testing.T) {
	t.Parallel()
	// CODATA 2018, as printed.
	for _, c := range []struct {
		name              string
		got, want, relTol float64
	}{
		{"c1L", radiometry.FirstRadiationWUM4, 1.191042972e8, 4e-10}, {"c2", radiometry.SecondRadiationUMK, 14387.76877504, 1e-12}, {"sigma", radiometry.StefanBoltzmannWM2K4, 5.670374419184e-8, 1e-12},
	} {
		if math.Abs(c.got/c.want-1) > c.relTol {
			t.Errorf("%s = %.13g, want %.13g", c.name, c.got, c.want)
		}
	}
}

func TestWienDisplacement(t *testing.T) {
	t.Parallel()
	const wienUMK = 2897.771955185 // CODATA 2018
	for _, k := range []float64{3, 300, 5772} {
		peak := wienUMK / k
		slope := func(um float64) float64 {
			h := um * 1e-5
			return (radiometry.SpectralRadiance(um+h, k) - radiometry.SpectralRadiance(um-h, k)) / (2 * h) * um / radiometry.SpectralRadiance(um, k)
		}
		if got := slope(peak); math.Abs(got) > 1e-8 {
			t.Errorf("at %v K the relative slope at the peak is %g, want 0", k, got)
		}
		if slope(peak*1.001) >= 0 || slope(peak*0.999) <= 0 {
			t.Errorf("at %v K the radiance has no maximum at %v µm", k, peak)
		}
	}
}

func TestStefanBoltzmannLimit(t *testing.T) {
	t.Parallel()
	b := band(t, 0.1, 1000)
	for _, k := range []float64{500, 1000, 3000} {
		// What lies beyond 1000 µm, by the Rayleigh-Jeans limit 2ck T/(3 λ³) with its first correction.
		x := radiometry.SecondRadiationUMK / (1000 * k)
		beyond := (x*x*x/3 - x*x*x*x/8) * 15 / math.Pow(math.Pi, 4)
		want := radiometry.StefanBoltzmannWM2K4 * math.Pow(k, 4) / math.Pi * (1 - beyond)
		if got := b.Radiance(k); math.Abs(got/want-1) > 1e-9 {
			t.Errorf("whole spectrum at %v K = %v, want %v", k, got, want)
		}
	}
}

func TestBandOfFractions(t *testing.T) {
	t.Parallel()
	// The series of FractionBelow and the quadrature of Band share no code.
	for _, e := range [][2]float64{{8, 14}, {3, 5}, {0.5, 40}, {100, 900}} {
		for _, k := range []float64{200, 300, 1000} {
			want := (radiometry.FractionBelow(e[1]*k) - radiometry.FractionBelow(e[0]*k)) * radiometry.StefanBoltzmannWM2K4 * math.Pow(k, 4) / math.Pi
			if got := band(t, e[0], e[1]).Radiance(k); math.Abs(got/want-1) > 1e-9 {
				t.Errorf("%v µm at %v K = %v, want %v by fractions", e, k, got, want)
			}
		}
	}
}
