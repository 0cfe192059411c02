package radiometry_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/radiometry"
)

func equation(t testing.TB, b *radiometry.Band, s radiometry.Scene) *radiometry.Equation {
	t.Helper()
	e, err := radiometry.NewEquation(b, s)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestApparentAgainstComputedTable(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	for _, v := range published(t, "radiometry_apparent.tsv") {
		w := v.words
		object := kelvin(t, w[1])
		s := radiometry.Scene{Emissivity: number(t, w[2]), ReflectedK: kelvin(t, w[3])}
		if tau := number(t, w[4]); tau < 1 {
			s.Elements = []radiometry.Element{{Name: "optics", Transmission: tau, TempK: kelvin(t, w[5])}}
		}
		e := equation(t, b, s)
		got, err := e.Apparent(object)
		if err != nil {
			t.Fatal(err)
		}
		if w[0] == "radiance" {
			v.check(t, got.RadianceWM2SR)
		} else {
			v.check(t, got.ApparentK-quantity.CelsiusZeroK)
		}
		if back, err := e.Object(got.ApparentK); err != nil || math.Abs(back-object) > 1e-9 {
			t.Errorf("%s: back to %v K, %v, want %v", v.name, back, err, object)
		}
	}
}

func TestTraps(t *testing.T) {
	t.Parallel()
	// Computed independently with scipy: what comes out when the optics are
	// forgotten, and what sigma T⁴ makes of a band.
	b := band(t, 8, 14)
	for _, c := range []struct{ eps, opticsC, want float64 }{{0.60, 25, 80.088630}, {0.05, 30, 89.0}} {
		s := radiometry.Scene{Emissivity: c.eps, ReflectedK: 296.15, Elements: []radiometry.Element{{Name: "optics", Transmission: 0.9, TempK: c.opticsC + 273.15}}}
		signal, err := equation(t, b, s).Apparent(358.15)
		if err != nil {
			t.Fatal(err)
		}
		s.Elements = nil
		k, err := equation(t, b, s).Object(signal.ApparentK)
		if tol := map[bool]float64{true: 6e-7, false: 0.05}[c.eps == 0.60]; err != nil || math.Abs(k-273.15-c.want) > tol {
			t.Errorf("emissivity %v without optics: %v °C, %v, want %v", c.eps, k-273.15, err, c.want)
		}
	}
	got, err := equation(t, b, radiometry.Scene{Emissivity: 0.6, ReflectedK: 296.15}).Apparent(358.15)
	if err != nil || math.Abs(got.ApparentK-273.15-63.408) > 6e-4 {
		t.Errorf("85 °C at 0.6 appears at %v °C, %v, want 63.408 (sigma T⁴ would give 64.183)", got.ApparentK-273.15, err)
	}
}

func TestElementsInSeries(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	s := radiometry.Scene{Emissivity: 0.7, ReflectedK: 295, Elements: []radiometry.Element{
		{Name: "path", Transmission: 0.98, TempK: 297}, {Name: "lens-1", Transmission: 0.93, TempK: 300}, {Name: "lens-2", Transmission: 0.9, TempK: 305},
	}}
	// The equation written out by hand.
	l := 0.7*b.Radiance(350) + 0.3*b.Radiance(295)
	l = 0.98*l + 0.02*b.Radiance(297)
	l = 0.93*l + 0.07*b.Radiance(300)
	l = 0.9*l + 0.1*b.Radiance(305)
	e := equation(t, b, s)
	got, err := e.Apparent(350)
	if err != nil || math.Abs(got.RadianceWM2SR/l-1) > 1e-14 {
		t.Errorf("radiance %v, %v, want %v", got.RadianceWM2SR, err, l)
	}
	if k, err := e.ObjectFromRadiance(l); err != nil || math.Abs(k-350) > 1e-9 {
		t.Errorf("object %v K, %v, want 350", k, err)
	}
	// All at one temperature: everything looks like a blackbody.
	s.ReflectedK = 310
	for i := range s.Elements {
		s.Elements[i].TempK = 310
	}
	if got, err := equation(t, b, s).Apparent(310); err != nil || math.Abs(got.ApparentK-310) > 1e-9 {
		t.Errorf("in a cavity at 310 K: %v K, %v", got.ApparentK, err)
	}
}

func TestRefusalNamesTheInput(t *testing.T) {
	t.Parallel()
	b := band(t, 8, 14)
	optics := func(tau, k float64) []radiometry.Element {
		return []radiometry.Element{{Name: "path", Transmission: 0.99, TempK: 296}, {Name: "optics", Transmission: tau, TempK: k}}
	}
	for _, c := range []struct {
		name     string
		scene    radiometry.Scene
		apparent float64
		want     string
	}{
		{"emissivity 0", radiometry.Scene{Emissivity: 0, ReflectedK: 296}, 300, "the emissivity is 0"},
		{"emissivity 1.2", radiometry.Scene{Emissivity: 1.2, ReflectedK: 296}, 300, "the emissivity is 1.2"},
		{"emissivity NaN", radiometry.Scene{Emissivity: math.NaN(), ReflectedK: 296}, 300, "the emissivity is NaN"},
		{"transmission 0", radiometry.Scene{Emissivity: 0.8, ReflectedK: 296, Elements: optics(0, 296)}, 300, "the transmission of the optics is 0"},
		{"transmission 1.1", radiometry.Scene{Emissivity: 0.8, ReflectedK: 296, Elements: optics(1.1, 296)}, 300, "the transmission of the optics is 1.1"},
		{"optics NaN", radiometry.Scene{Emissivity: 0.8, ReflectedK: 296, Elements: optics(0.9, math.NaN())}, 300, "the temperature of the optics"},
		{"reflected infinite", radiometry.Scene{Emissivity: 0.8, ReflectedK: math.Inf(1)}, 300, "the reflected temperature"},
		{"apparent NaN", radiometry.Scene{Emissivity: 0.8, ReflectedK: 296}, math.NaN(), "the apparent temperature"},
		{"below the reflected part", radiometry.Scene{Emissivity: 0.2, ReflectedK: 350}, 300, "below what the reflected part alone gives"},
		{"below the optics", radiometry.Scene{Emissivity: 0.8, ReflectedK: 296, Elements: optics(0.3, 400)}, 300, "what the optics alone gives"},
		{"below the path", radiometry.Scene{Emissivity: 0.8, ReflectedK: 296, Elements: []radiometry.Element{{Name: "path", Transmission: 0.5, TempK: 400}, {Name: "optics", Transmission: 0.9, TempK: 296}}}, 300, "what the path alone gives"},
		{"too hot", radiometry.Scene{Emissivity: 1e-6, ReflectedK: 296}, 400, "above 10000 K"},
		{"0 K", radiometry.Scene{Emissivity: 0.8, ReflectedK: 0}, 0, "no radiation at all"},
	} {
		e, err := radiometry.NewEquation(b, c.scene)
		if err == nil {
			_, err = e.Object(c.apparent)
		}
		if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want a fault with %q and a hint", c.name, err, c.want)
		}
	}
}

func TestNoSolutionAtTheEdge(t *testing.T) {
	t.Parallel()
	// A signal of exactly what the reflected part gives leaves nothing but rounding for the object.
	b := band(t, 8, 14)
	e := equation(t, b, radiometry.Scene{Emissivity: 0.3, ReflectedK: 320, Elements: []radiometry.Element{{Name: "optics", Transmission: 0.87, TempK: 301}}})
	l := 0.87*0.7*b.Radiance(320) + 0.13*b.Radiance(301)
	for _, f := range []float64{1 - 1e-15, 1, 1 + 1e-15} {
		if k, err := e.ObjectFromRadiance(l * f); err == nil {
			t.Errorf("an object of %v K out of rounding", k)
		}
	}
}

func TestObjectModelIsTheEquation(t *testing.T) {
	t.Parallel()
	b := band(t, 7.5, 13)
	table, err := b.Table(150, 1500)
	if err != nil {
		t.Fatal(err)
	}
	model := radiometry.ObjectModel(table, "path", "optics")
	x := []float64{340, 0.4, 296, 0.97, 297, 0.85, 303}
	e := equation(t, b, radiometry.Scene{Emissivity: 0.4, ReflectedK: 296, Elements: []radiometry.Element{{Transmission: 0.97, TempK: 297}, {Transmission: 0.85, TempK: 303}}})
	want, err := e.Object(340)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := model(x); err != nil || math.Abs(got-want) > 1e-6 {
		t.Errorf("model gives %v, %v, equation %v", got, err, want)
	}
	x[1] = 0
	if _, err := model(x); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "emissivity is 0") {
		t.Errorf("emissivity 0: %v", err)
	}
	x[1], x[5] = 0.4, 0
	if _, err := model(x); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "optics") {
		t.Errorf("transmission 0: %v", err)
	}
}
