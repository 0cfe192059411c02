package optics_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/testdata/vectors"
)

func pointer(v float64) *float64 { return &v }

func TestLightMatchesPublished(t *testing.T) {
	t.Parallel()
	for _, row := range vectors.Rows(t, "optics_light.tsv") {
		name, given := fields(row[0])
		n := number(t, given["n"])
		figure, text, _ := strings.Cut(row[1], "=")
		var got float64
		if name == "fresnel" {
			got = optics.FresnelReflectance(n)
		} else {
			s := optics.Slab{Index: n, AbsorptionPerCM: number(t, given["alpha"]), ThicknessMM: number(t, given["t"])}
			l, err := s.Light()
			if err != nil {
				t.Fatal(err)
			}
			got = map[string]float64{"transmission": l.Transmission, "reflection": l.Reflection, "absorption": l.Absorption}[figure]
			if list, err := s.Explain(); err != nil || len(list) != 3 {
				t.Errorf("%s: %d explanations, %v", row[0], len(list), err)
			}
		}
		if want := number(t, text); !within(got, want, number(t, row[2])) {
			t.Errorf("%s: %s = %v, want %v (%s)", row[0], figure, got, want, row[3])
		}
	}
	for _, s := range []optics.Slab{{0.5, 0, 1}, {4, -1, 1}, {4, 0, 0}, {4, 0, -3}, {math.NaN(), 0, 1}, {4, math.NaN(), 1}, {4, 0, 1e6}, {4, math.Inf(1), 1}} {
		if _, err := s.Light(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%+v: %v, want Invalid with a hint", s, err)
		}
	}
}

func TestEnergyIsKept(t *testing.T) {
	t.Parallel()
	for _, n := range []float64{1, 1.5, 2.4, 4} {
		for _, alpha := range []float64{0, 0.02, 3, 1e4} {
			bare := optics.Pane{Name: "a", Material: "m", Index: n, ThicknessMM: 3, AbsorptionPerCM: pointer(alpha)}
			coated := bare
			coated.Faces = [2]*optics.Face{{Reflectance: 0.01, Transmittance: 0.985}, nil}
			mirror := optics.Pane{Name: "m", Reflectance: 0.95}
			for _, p := range []optics.Pane{bare, coated, mirror} {
				l, err := p.Light(false)
				if err != nil {
					t.Fatal(err)
				}
				if sum := l.Transmission + l.Reflection + l.Absorption; !within(sum, 1, 1e-12) || l.Transmission < 0 || l.Reflection < 0 || l.Absorption < 0 {
					t.Errorf("n %v, alpha %v: %+v adds up to %v", n, alpha, l, sum)
				}
			}
			if l, _ := bare.Light(false); true {
				s, _ := optics.Slab{Index: n, AbsorptionPerCM: alpha, ThicknessMM: 3}.Light()
				if l.Light != s {
					t.Errorf("a bare pane %+v is not the slab %+v", l.Light, s)
				}
			}
			band, err := optics.ThroughStack([]optics.LightWave{
				{WavelengthUM: 8, Weight: 1, Panes: []optics.Pane{bare, mirror, coated}}, {WavelengthUM: 12, Weight: 3, Panes: []optics.Pane{coated, mirror, coated}},
				{WavelengthUM: 20, Weight: 0, Panes: []optics.Pane{{}, {}, {}}},
			}, false)
			if err != nil {
				t.Fatal(err)
			}
			shares := 0.0
			for _, e := range band.Elements {
				shares += e.Share
			}
			if sum := band.Transmission + band.Reflection + band.Emission; !within(sum, 1, 1e-12) || !within(shares, band.Emission, 1e-12) || len(band.Waves) != 2 || band.Waves[1].Weight != 0.75 {
				t.Errorf("n %v, alpha %v: %+v adds up to %v, elements emit %v", n, alpha, band, sum, shares)
			}
		}
	}
}

func TestStackLightByHand(t *testing.T) {
	t.Parallel()
	// Two elements of 0.9 and 0.8, 0.06 and 0.1 reflected, 0.04 and 0.1 absorbed, by hand.
	pane := func(measured float64) optics.Pane {
		return optics.Pane{Name: "l", Material: "m", Index: 1.5, Measured: pointer(measured)}
	}
	band, err := optics.ThroughStack([]optics.LightWave{{WavelengthUM: 10, Weight: 5, Panes: []optics.Pane{pane(0.9), {Name: "mirror", Reflectance: 0.8}}}}, false)
	if err != nil {
		t.Fatal(err)
	}
	first := band.Elements[0]
	if !within(band.Transmission, 0.72, 1e-12) || !within(band.Elements[1].Share, 0.2, 1e-12) || !within(first.Share, 0.8*first.Absorption, 1e-12) || band.SplitUnknown {
		t.Errorf("%+v, want 0.9 x 0.8 passed and the mirror's 0.2 emitted", band)
	}
	// Bare glass passes 12/13 at most (T = 2n/(1+n²)); 0.95 means coatings, whose share is not known.
	if l, err := pane(0.95).Light(false); err != nil || !l.SplitUnknown || !within(l.Absorption, 0.05, 1e-12) || l.UpperBound {
		t.Errorf("measured 0.95: %+v, %v", l, err)
	}
	if l, err := pane(12.0 / 13).Light(false); err != nil || l.SplitUnknown || !within(l.Reflection, 1.0/13, 1e-9) || l.Absorption > 1e-9 {
		t.Errorf("measured as much as bare glass passes: %+v, %v", l, err)
	}
	if l, err := (optics.Pane{Name: "l", Measured: pointer(0.9)}).Light(false); err != nil || !l.SplitUnknown {
		t.Errorf("measured, nothing else known: %+v, %v", l, err)
	}
}

func TestUnknownAbsorption(t *testing.T) {
	t.Parallel()
	unknown := optics.Pane{Name: "lens 2 (pe)", Material: "polyethylene", Index: 1.54, ThicknessMM: 1}
	if _, err := unknown.Light(false); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "lens 2 (pe)") || !strings.Contains(err.Error(), "absorption of polyethylene") || fault.HintOf(err) == "" {
		t.Errorf("%v (%q), want the lens and its material named", err, fault.HintOf(err))
	}
	l, err := unknown.Light(true)
	if want := 2 * 1.54 / (1 + 1.54*1.54); err != nil || !l.UpperBound || !within(l.Transmission, want, 1e-12) {
		t.Errorf("bound %+v, %v, want at most %v", l, err, want)
	}
	band, err := optics.ThroughStack([]optics.LightWave{{WavelengthUM: 10, Weight: 1, Panes: []optics.Pane{unknown}}}, true)
	if err != nil || !band.UpperBound {
		t.Errorf("stack: %+v, %v, want an upper bound", band, err)
	}
	thin := optics.Pane{Name: "a", Material: "germanium", Index: 4, AbsorptionPerCM: pointer(0.02)}
	if _, err := thin.Light(false); err == nil || !strings.Contains(err.Error(), "thickness") {
		t.Errorf("%v, want the thickness to be missed", err)
	}
	for name, p := range map[string]optics.Pane{
		"index below 1": {Index: 0.5, ThicknessMM: 1, AbsorptionPerCM: pointer(0)}, "negative thickness": {Index: 4, ThicknessMM: -1, AbsorptionPerCM: pointer(0)},
		"negative absorption": {Index: 4, ThicknessMM: 1, AbsorptionPerCM: pointer(-1)}, "transmission above 1": {Index: 4, ThicknessMM: 1, Measured: pointer(1.2)},
		"coating that gains": {Index: 4, ThicknessMM: 1, AbsorptionPerCM: pointer(0), Faces: [2]*optics.Face{{Reflectance: 0.5, Transmittance: 0.6}, nil}}, "mirror above 1": {Reflectance: 1.2},
	} {
		if l, err := p.Light(true); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %+v, %v, want Invalid with a hint", name, l, err)
		}
	}
	for name, band := range map[string][]optics.LightWave{
		"empty": nil, "no weight": {{WavelengthUM: 10}}, "negative weight": {{WavelengthUM: 10, Weight: -1}, {WavelengthUM: 11, Weight: 3}},
		"other elements": {{WavelengthUM: 10, Weight: 1}, {WavelengthUM: 11, Weight: 1, Panes: []optics.Pane{unknown}}},
	} {
		if _, err := optics.ThroughStack(band, true); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want Invalid with a hint", name, err)
		}
	}
}
