package optics_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func sharpness(t *testing.T, p optics.Prediction) optics.Sharpness {
	t.Helper()
	s, err := p.Sharpness()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestPerfectLensIsDiffractionAndPixels(t *testing.T) {
	t.Parallel()
	// Ideal thin lenses: in the middle the modulation is the circle's times the pixel's, to the last figure.
	a := optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	s := sharpness(t, optics.Prediction{Attachment: a, FillFactor: 0.64})
	cutoff := 2 * math.Sin(math.Atan(2.0/25)) / 0.010 // 2 NA/wavelength, /mm
	for _, d := range []*optics.DirectionSharpness{s.Points[0].Tangential, s.Points[0].Sagittal} {
		for k, f := range d.Curves.FrequencyLPPerMM {
			diffraction, pixels := optics.DiffractionMTF(f/cutoff), optics.DetectorMTF(f, 0.8*0.075)
			if math.Abs(d.Curves.Diffraction[k]-diffraction) > 2e-3 || math.Abs(d.Curves.Modulation[k]-diffraction*pixels) > 2e-3 || d.Curves.Geometrical[k] < 1-1e-9 {
				t.Fatalf("at %v /mm: diffraction %v, all %v, want %v, %v", f, d.Curves.Diffraction[k], d.Curves.Modulation[k], diffraction, diffraction*pixels)
			}
		}
		if d.Limit != optics.LimitPixels || d.SmallestBarUM != s.ObjectPixelUM {
			t.Errorf("limit %q, bar %v, want the pixels of %v", d.Limit, d.SmallestBarUM, s.ObjectPixelUM)
		}
	}
	// Fine pixels: the bar at a contrast of 0.2, the edge 1.332870 wavelength/(2 NA), and the limit are diffraction's.
	a.Camera.PitchXUM, a.Camera.PitchYUM = 0.5, 0.5
	s = sharpness(t, optics.Prediction{Attachment: a, Contrast: 0.1})
	d := s.Points[0].Tangential
	if want := 500 / (0.805384 * cutoff); !within(d.SmallestBarUM, want, 3e-3) || d.Limit != optics.LimitDiffraction {
		t.Errorf("bar %v by %q, want %v by diffraction", d.SmallestBarUM, d.Limit, want)
	}
	if want := 1.332870 / cutoff * 1000; !within(*d.EdgeWidthUM, want, 3e-3) {
		t.Errorf("edge %v, want %v", *d.EdgeWidthUM, want)
	}
	if !(d.SquareBarUM < d.ContrastBarUM) {
		t.Errorf("black and white bars down to %v, sines to %v", d.SquareBarUM, d.ContrastBarUM)
	}
	if s.FocusShiftMM > 1e-9 || s.RMSBlurUM > 1e-6 || s.Points[2].Passed != 1 {
		t.Errorf("%+v", s)
	}
}

func TestDefocusSpot(t *testing.T) {
	t.Parallel()
	// Out of focus by z the spots fill a disc of radius z tan(u), whose transform is 2 J1(x)/x; with a pupil this slow the
	// aperture in tangents and cosines is the same circle.
	const z = 2.0
	a := optics.Attachment{Stack: one(optics.Thin(100)), Camera: optics.Camera{FocalMM: 20, FNumber: 4, PitchXUM: 1, PitchYUM: 1, Width: 100, Height: 100, FocusMM: math.Inf(1)}, StandoffMM: 2, WavelengthUM: 1}
	s := sharpness(t, optics.Prediction{Attachment: a, DefocusMM: z, Rings: 40})
	d := s.Points[0].Tangential
	radius := z * 2.5 / 100
	for k, f := range d.Curves.FrequencyLPPerMM {
		x := 2 * math.Pi * f * radius
		want := 1.0
		if x > 0 {
			want = math.Abs(2 * math.J1(x) / x)
		}
		if x < 20 && math.Abs(d.Curves.Geometrical[k]-want) > 2e-3 {
			t.Fatalf("at %v /mm: %v, want %v", f, d.Curves.Geometrical[k], want)
		}
	}
	if d.Limit != optics.LimitDefocus || d.Without.Defocus >= d.SmallestBarUM || d.NearBarUM >= d.FarBarUM {
		t.Errorf("limit %q: %+v, near %v, far %v", d.Limit, d.Without, d.NearBarUM, d.FarBarUM)
	}
}

// plano is a fast germanium lens, flat side to the specimen, and the band.
func plano(colour float64) optics.Prediction {
	lens := func(n float64) optics.Stack {
		e := thick(n, 0, -45, 3)
		e.DiameterMM = 14
		return one(e)
	}
	a := optics.Attachment{Stack: lens(4.003), Camera: camera(), StandoffMM: 3, WavelengthUM: 10}
	return optics.Prediction{Attachment: a, Waves: []optics.Wave{{8, 1, lens(4.003 + colour)}, {10, 1.2, lens(4.003)}, {13, 0.8, lens(4.003 - colour)}}}
}

func TestCausesAreToldApart(t *testing.T) {
	t.Parallel()
	// A large spread of index makes colour the limit; a long focus of the specimen makes it defocus.
	fine := func(p optics.Prediction) optics.Prediction {
		p.Attachment.Camera.PitchXUM, p.Attachment.Camera.PitchYUM, p.Attachment.Camera.Width, p.Attachment.Camera.Height = 1, 1, 1000, 800
		return p
	}
	p := fine(plano(0.5))
	if d := sharpness(t, p).Points[0].Tangential; d.Limit != optics.LimitColour {
		t.Errorf("spread of index: limit %q, %+v", d.Limit, d.Without)
	}
	p = fine(plano(0.001))
	p.DefocusMM = 2
	if d := sharpness(t, p).Points[0].Tangential; d.Limit != optics.LimitDefocus {
		t.Errorf("defocus: limit %q, %+v", d.Limit, d.Without)
	}
	p = plano(0.001)
	if d := sharpness(t, p).Points[0].Tangential; d.Limit != optics.LimitPixels {
		t.Errorf("coarse pixels: limit %q, %+v", d.Limit, d.Without)
	}
	// Low index and short waves leave aberration.
	p = fine(plano(0))
	p.Attachment.Stack, p.Attachment.WavelengthUM, p.Waves = one(thick(1.5, 8, 0, 2)), 3, nil
	if d := sharpness(t, p).Points[2].Tangential; d.Limit != optics.LimitAberration {
		t.Errorf("bad lens: limit %q, %+v", d.Limit, d.Without)
	}
	// Best focus of the band is the focus where the spot is smallest: a step either way is larger.
	p = plano(0.05)
	for _, dz := range []float64{-0.05, 0.05} {
		moved := p
		moved.DefocusMM = dz
		at, err := p.SpotDiagrams()
		if err != nil {
			t.Fatal(err)
		}
		off, err := moved.SpotDiagrams()
		if err != nil {
			t.Fatal(err)
		}
		if !(off[0].RMSUM > at[0].RMSUM) || !within(at[0].RMSUM, sharpness(t, p).RMSBlurUM, 1e-9) {
			t.Errorf("moved by %v mm: spot %v, at best focus %v", dz, off[0].RMSUM, at[0].RMSUM)
		}
	}
}

func TestOneWaveIsTheExactFigures(t *testing.T) {
	t.Parallel()
	p := plano(0)
	p.Waves = nil
	s, f := sharpness(t, p), exact(t, p.Attachment)
	if !within(s.WorkingDistanceMM, f.WorkingDistanceMM, 1e-3) || !within(s.NAObject, f.NAObject, 1e-12) || !within(s.Magnification, f.Magnification, 1e-3) || !within(s.RMSBlurUM, f.RMSBlurUM, 2e-2) {
		t.Errorf("%+v, want %+v", s, f)
	}
	if corner := at(t, f, "corner"); math.Abs(s.Points[2].Passed-corner.Passed) > 0.03 || !within(s.Points[2].ObjectMM, math.Hypot(corner.Chief.XMM, corner.Chief.YMM), 0.03) {
		t.Errorf("corner %+v, want %+v", s.Points[2], corner)
	}
	fans, err := p.RayFans()
	if err != nil || len(fans) != 3 || len(fans[0].Tangential) != 41 {
		t.Fatalf("%d fans, %v", len(fans), err)
	}
	middle, edge := fans[0].Tangential, fans[0].Sagittal
	for i := range middle {
		// On the axis both fans are one, and odd.
		if math.Abs(middle[i].BlurUM-edge[i].BlurUM) > 1e-9 || math.Abs(middle[i].BlurUM+middle[40-i].BlurUM) > 1e-9 {
			t.Errorf("fan at %v: %v, %v", middle[i].Pupil, middle[i].BlurUM, edge[i].BlurUM)
		}
	}
}

func TestCutBeamIsDark(t *testing.T) {
	t.Parallel()
	e := optics.Thin(20)
	e.DiameterMM = 3
	c := camera()
	a := optics.Attachment{Stack: one(e), Camera: c, StandoffMM: 25, WavelengthUM: 10}
	s := sharpness(t, optics.Prediction{Attachment: a})
	if p := s.Points[2]; p.Passed != 0 || p.Tangential != nil || p.Sagittal != nil {
		t.Errorf("corner %+v, want it dark", p)
	}
	// The middle is a beam cut to a circle of 3 mm: its cut-off is 2 NA/wavelength with NA = sin atan(1.5/20).
	cutoff := 2 * math.Sin(math.Atan(1.5/20)) / 0.010
	d := s.Points[0].Tangential
	for k, f := range d.Curves.FrequencyLPPerMM {
		if want := optics.DiffractionMTF(f / cutoff); math.Abs(d.Curves.Diffraction[k]-want) > 5e-3 {
			t.Fatalf("at %v /mm: %v, want %v", f, d.Curves.Diffraction[k], want)
		}
	}
}

func TestImpossiblePredictions(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*optics.Prediction){
		"fill factor": func(p *optics.Prediction) { p.FillFactor = 1.5 }, "contrast of 1": func(p *optics.Prediction) { p.Contrast = 1 }, "negative contrast": func(p *optics.Prediction) { p.Contrast = -0.2 },
		"defocus NaN": func(p *optics.Prediction) { p.DefocusMM = math.NaN() }, "one ring": func(p *optics.Prediction) { p.Rings = 1 },
		"no weight": func(p *optics.Prediction) { p.Waves = []optics.Wave{{10, 0, p.Attachment.Stack}} }, "negative weight": func(p *optics.Prediction) { p.Waves[0].Weight = -1 },
		"another stack": func(p *optics.Prediction) { p.Waves[0].Stack = one(optics.Thin(20)) }, "no wavelength": func(p *optics.Prediction) { p.Waves[0].WavelengthUM = 0 },
		"impossible stack": func(p *optics.Prediction) { p.Waves[0].Stack = nil }, "no camera": func(p *optics.Prediction) { p.Attachment.Camera.FocalMM = 0 },
	} {
		p := plano(0.01)
		change(&p)
		if _, err := p.Sharpness(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want Invalid with a hint", name, err)
		}
	}
}

func BenchmarkSharpness(b *testing.B) {
	p := plano(0.01)
	for b.Loop() {
		if _, err := p.Sharpness(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkExact(b *testing.B) {
	p := plano(0.01)
	for b.Loop() {
		if _, err := p.Attachment.Exact(); err != nil {
			b.Fatal(err)
		}
	}
}

// TestSharpnessOfAScatteredCorner has a stack whose field points away from the
// middle blur so widely that the middle of their spots sends no light to the
// pupil: no figure, rather than one made from nothing.
func TestSharpnessOfAScatteredCorner(t *testing.T) {
	t.Parallel()
	lens := func(n, r1, r2, thickness, gap float64) optics.Mounted {
		return optics.Mounted{Element: optics.Element{N: n, Radius1MM: r1, Radius2MM: r2, ThicknessMM: thickness, DiameterMM: 12.7, SemiAperture1MM: 5.7, SemiAperture2MM: 5.7}, GapAfterMM: gap}
	}
	ge, zn15, zn38 := lens(4.0033, 36.04, 0, 2.2, 0.5), lens(2.4, 10.5, 21, 2.5, 10), lens(2.4, 26.6, 53.2, 2.5, 10)
	last := ge
	last.GapAfterMM = 3
	a := optics.Attachment{Stack: optics.Stack{ge, zn15, zn38, last}, StandoffMM: 3, WavelengthUM: 11,
		Camera: optics.Camera{FocalMM: 4, FNumber: 1, PitchXUM: 12, PitchYUM: 12, Width: 256, Height: 192, FocusMM: math.Inf(1)}}
	s, err := optics.Prediction{Attachment: a}.Sharpness()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range s.Points {
		for _, d := range []*optics.DirectionSharpness{p.Tangential, p.Sagittal} {
			if d != nil && !(d.SmallestBarUM >= s.ObjectPixelUM && !math.IsInf(d.SmallestBarUM, 0)) {
				t.Errorf("%s: a bar of %g µm", p.Name, d.SmallestBarUM)
			}
		}
	}
	if corner := s.Points[2]; s.Points[0].Tangential == nil || corner.Tangential != nil || corner.Passed == 0 {
		t.Errorf("middle %v, corner %v with %g of its beam", s.Points[0].Tangential != nil, corner.Tangential != nil, corner.Passed)
	}
}

// A bar that is nowhere resolved is infinite, which JSON cannot hold: null.
func TestUnresolvedBarInJSON(t *testing.T) {
	t.Parallel()
	d := optics.DirectionSharpness{SmallestBarUM: math.Inf(1), SquareBarUM: 25, Without: optics.Causes{Pixels: math.Inf(1)}, Limit: optics.LimitPixels}
	text, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"smallest_bar_um":null`, `"square_bar_um":25`, `"pixels":null`, `"limit":"pixels"`} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%s is not in %s", want, text)
		}
	}
}
