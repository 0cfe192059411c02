package radiometry_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/radiometry"
)

func TestTemperatureInvertsRadiance(t *testing.T) {
	t.Parallel()
	for _, e := range [][2]float64{{0.1, 0.1001}, {0.1, 1000}, {1, 2}, {3, 5}, {8, 14}, {10, 10.000001}, {999, 1000}} {
		b := band(t, e[0], e[1])
		for k := radiometry.MinK; k < radiometry.MaxK; k *= 1.37 {
			l := b.Radiance(k)
			if l < 1e-300 { // underflow, as documented
				continue
			}
			got, err := b.Temperature(l)
			if err != nil || math.Abs(got/k-1) > 1e-12 {
				t.Errorf("%v µm: Temperature(Radiance(%v K)) = %v, %v", e, k, got, err)
			}
		}
	}
}

func TestDerivativeIsThatOfRadiance(t *testing.T) {
	t.Parallel()
	for _, e := range [][2]float64{{0.1, 1000}, {3, 5}, {8, 14}} {
		b := band(t, e[0], e[1])
		for _, k := range []float64{150, 300, 1000, 6000} {
			h := k * 1e-4
			want := (8*(b.Radiance(k+h)-b.Radiance(k-h)) - (b.Radiance(k+2*h) - b.Radiance(k-2*h))) / (12 * h)
			if got := b.Derivative(k); math.Abs(got/want-1) > 1e-9 {
				t.Errorf("%v µm at %v K: derivative %v, differences give %v", e, k, got, want)
			}
		}
	}
}

func TestOutsideTheDomain(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	for _, k := range []float64{-1, math.NaN(), math.Inf(1), radiometry.MaxK * 1.001} {
		for name, got := range map[string]float64{"Radiance": b.Radiance(k), "Derivative": b.Derivative(k), "Exponent": b.Exponent(k), "SpectralRadiance": radiometry.SpectralRadiance(10, k)} {
			if !math.IsNaN(got) {
				t.Errorf("%s(%v K) = %v, want NaN", name, k, got)
			}
		}
		if _, err := b.At(k); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("At(%v K): %v, want a fault with a hint", k, err)
		}
	}
	if got := b.Radiance(0); got != 0 {
		t.Errorf("Radiance(0 K) = %v, want 0", got)
	}
	for _, l := range []float64{0, -1, math.NaN(), math.Inf(1), 1e12} {
		if k, err := b.Temperature(l); fault.KindOf(err) != fault.Invalid || !math.IsNaN(k) {
			t.Errorf("Temperature(%v) = %v, %v, want a fault", l, k, err)
		}
	}
	for _, e := range [][2]float64{{14, 8}, {8, 8}, {0, 8}, {8, 1001}, {math.NaN(), 8}, {8, math.Inf(1)}} {
		if _, err := radiometry.NewBand(e[0], e[1]); fault.KindOf(err) != fault.Invalid {
			t.Errorf("NewBand(%v) gives %v, want a fault", e, err)
		}
	}
}

func TestTableAgreesWithItsBand(t *testing.T) {
	t.Parallel()
	for _, e := range [][2]float64{{1, 2.5}, {3, 5}, {8, 14}, {0.1, 1000}} {
		b := band(t, e[0], e[1])
		table, err := b.Table(150, 2000)
		if err != nil {
			t.Fatal(err)
		}
		for k := 140.0; k < 2100; k += 0.7 {
			l := b.Radiance(k)
			if got := table.Radiance(k); math.Abs(got/l-1) > 1e-9 {
				t.Fatalf("%v µm: table's radiance at %v K off by %g", e, k, got/l-1)
			}
			if got, err := table.Temperature(l); err != nil || math.Abs(got/k-1) > 1e-9 {
				t.Fatalf("%v µm: table's temperature at %v K = %v, %v", e, k, got, err)
			}
		}
	}
	if _, err := band(t, 8, 14).Table(300, 200); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a table from 300 K to 200 K: %v", err)
	}
}

func TestReadResponse(t *testing.T) {
	t.Parallel()
	rectangular := band(t, 8, 14).Radiance(300)
	for _, text := range []string{
		"8,1\n14,1\n", "\ufeffwavelength_um,response\r\n8,1\r\n14,1\r\n", "# camera\n\n8;50\n10;50\n14;50", "8\t.5\n14\t.5", "wavelength [µm];relative response\n7,0;0",
	} {
		b, err := radiometry.ReadResponse(strings.NewReader(text))
		if strings.Contains(text, "7,0") {
			if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "line 2") {
				t.Errorf("%q: %v, want a fault at line 2", text, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%q: %v", text, err)
			continue
		}
		if got := b.Radiance(300); math.Abs(got/rectangular-1) > 1e-13 {
			t.Errorf("%q: radiance %v, want that of 8 µm to 14 µm, %v", text, got, rectangular)
		}
	}
}

func TestReadResponseRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ text, want string }{
		{"", "0 points"}, {"8,1\n", "1 points"}, {"8,0\n14,0\n", "0 everywhere"}, {"8,1\n8,1\n", "line 2"}, {"14,1\n8,1\n", "line 2"},
		{"8,1\n9,-0.1\n", "line 2"}, {"8,1\n9,NaN\n", "line 2"}, {"8,1\n9,Inf\n", "line 2"}, {"8,1\n9\n", "line 2"}, {"8,1,2\n", "line 1"}, {"8,1\nx,1\n", "line 2"},
		{"8000,1\n14000,1\n", "line 1"}, {"wavelength_nm,r\n8,1\n9,1\n", "wavelength_nm"}, {"a,b\nc,d\n8,1\n", "line 2"}, {"8,0x1p3\n", "line 1"},
		{"8 1\n9 1\n", "line 1"}, {"8,1\n" + strings.Repeat("9", 3000) + ",1\n", "line 2"}, {"nan,nan\n8,1\n9,1\n", "line 1"},
	} {
		_, err := radiometry.ReadResponse(strings.NewReader(c.text))
		if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.40q: %v, want a fault with %q and a hint", c.text, err, c.want)
		}
	}
}

func FuzzReadResponse(f *testing.F) {
	for _, s := range []string{"8,1\n14,1\n", "wavelength_um;response\n8;0.5\n9;1\n", "# x\n1\t2\n", "0.1,1e308\n1000,5e-324\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		b, err := radiometry.ReadResponse(strings.NewReader(s))
		if err != nil {
			if fault.KindOf(err) != fault.Invalid {
				t.Errorf("%q: %v is not a fault", s, err)
			}
			return
		}
		if l := b.Radiance(300); !(l >= 0) || math.IsInf(l, 0) {
			t.Errorf("%q: radiance %v", s, l)
		}
	})
}
