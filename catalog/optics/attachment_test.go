package optics_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

// camera is a small one of common make-up: 4 mm f/1, 12 µm pixels.
func camera() optics.Camera {
	return optics.Camera{FocalMM: 4, FNumber: 1, PitchXUM: 12, PitchYUM: 12, Width: 256, Height: 192, FocusMM: math.Inf(1)}
}

func figures(t *testing.T, a optics.Attachment) optics.AttachmentFigures {
	t.Helper()
	f, err := a.Figures()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestThreeLensesBeforeACamera(t *testing.T) {
	t.Parallel()
	// Common practice, no source: three 25 mm lenses close together work near 8 mm to 10 mm and give about 25 µm a pixel.
	stack := optics.Stack{{Element: optics.Thin(25)}, {Element: optics.Thin(25)}, {Element: optics.Thin(25)}}
	f := figures(t, optics.Attachment{Stack: stack, Camera: camera(), StandoffMM: 2, WavelengthUM: 10})
	if f.WorkingDistanceMM < 8 || f.WorkingDistanceMM > 10 || !within(f.ObjectPixelUM, 25, 0.01) {
		t.Errorf("works at %v mm with %v µm a pixel, want 8 to 10 and 25", f.WorkingDistanceMM, f.ObjectPixelUM)
	}
	// By hand: field 256 x 25 µm; a pupil of 4 mm at a focal length of 25/3 mm passes a slope of 0.24.
	na := 0.24 / math.Sqrt(1+0.24*0.24)
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"magnification", f.Magnification, -0.48}, {"field x", f.FieldXMM, 6.4}, {"field y", f.FieldYMM, 4.8}, {"NA", f.NAObject, na},
		{"Rayleigh", f.RayleighUM, 6.1 / na}, {"Nyquist period", f.NyquistPeriodUM, 50}, {"Nyquist", f.NyquistLPPerMM, 20},
	} {
		if !within(c.got, c.want, 1e-12) {
			t.Errorf("%s = %v, want %v", c.name, c.got, c.want)
		}
	}
	if f.Stop != optics.StopCamera {
		t.Errorf("stop %q, want the camera's lens", f.Stop)
	}
}

func TestThinAttachmentMatchesItsFormula(t *testing.T) {
	t.Parallel()
	// Two thin lenses, derived by hand and checked by computer algebra (sympy):
	// s = fa (U-d)/(U-d+fa), M = -fc (fa+U-d)/(fa (U-fc)); s = fa, M = -fc/fa for U infinite.
	const fc = 4.0
	for _, fa := range []float64{10, 25, 80} {
		for _, d := range []float64{0, 3, 12} {
			for _, u := range []float64{60, 300, 1e4} {
				c := camera()
				c.FocusMM = u
				f := figures(t, optics.Attachment{Stack: one(optics.Thin(fa)), Camera: c, StandoffMM: d, WavelengthUM: 10})
				s, m := fa*(u-d)/(u-d+fa), -fc*(fa+u-d)/(fa*(u-fc))
				if !within(f.WorkingDistanceMM, s, 1e-12) || !within(f.Magnification, m, 1e-12) {
					t.Errorf("fa %v, d %v, U %v: %v, %v, want %v, %v", fa, d, u, f.WorkingDistanceMM, f.Magnification, s, m)
				}
			}
			f := figures(t, optics.Attachment{Stack: one(optics.Thin(fa)), Camera: camera(), StandoffMM: d, WavelengthUM: 10})
			if !within(f.WorkingDistanceMM, fa, 1e-12) || !within(f.Magnification, -fc/fa, 1e-12) {
				t.Errorf("fa %v, d %v, U infinite: %v, %v, want %v, %v", fa, d, f.WorkingDistanceMM, f.Magnification, fa, -fc/fa)
			}
		}
	}
	// Close-up lens of +3 dioptres, U/(1 + U/fa) (tickerdossier.com/wiki/close-up-lens): 1.5 m becomes 0.273 m.
	c := optics.Camera{FocalMM: 50, FNumber: 2, PitchXUM: 12, PitchYUM: 12, Width: 100, Height: 100, FocusMM: 1500}
	if f := figures(t, optics.Attachment{Stack: one(optics.Thin(1000.0 / 3)), Camera: c, WavelengthUM: 10}); !within(f.WorkingDistanceMM, 272.727, 1e-5) {
		t.Errorf("close-up lens: %v mm, want 272.7", f.WorkingDistanceMM)
	}
}

func TestAttachmentAgreesWithConjugates(t *testing.T) {
	t.Parallel()
	// The specimen imaged by stack and camera together, as one stack, must fall on the detector, fc U/(U-fc) behind the lens.
	for name, s := range stacks() {
		for _, u := range []float64{400, math.Inf(1)} {
			c := camera()
			c.FocusMM = u
			a := optics.Attachment{Stack: s, Camera: c, StandoffMM: 5, WavelengthUM: 10}
			f, err := a.Figures()
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			whole := append(optics.Stack{}, s...)
			whole[len(whole)-1].GapAfterMM = a.StandoffMM
			whole = append(whole, optics.Mounted{Element: optics.Thin(c.FocalMM)})
			detector := c.FocalMM
			if !math.IsInf(u, 0) {
				detector = c.FocalMM * u / (u - c.FocalMM)
			}
			got := conjugate(t, whole, f.WorkingDistanceMM)
			if !within(got.ImageMM, detector, 1e-9) || !within(got.Magnification, f.Magnification, 1e-9) {
				t.Errorf("%s, U %v: image at %v with %v, want the detector at %v with %v", name, u, got.ImageMM, got.Magnification, detector, f.Magnification)
			}
			if math.IsInf(u, 0) && !within(f.WorkingDistanceMM, cardinal(t, s).FFLMM, 1e-12) {
				t.Errorf("%s: works at %v, want the front focal length", name, f.WorkingDistanceMM)
			}
		}
	}
}

func TestStop(t *testing.T) {
	t.Parallel()
	narrow := optics.Thin(10)
	narrow.Name, narrow.DiameterMM = "objective", 2
	f := figures(t, optics.Attachment{Stack: one(narrow), Camera: camera(), WavelengthUM: 10})
	// By hand: a semi-aperture of 1 mm at 10 mm.
	if want := math.Sin(math.Atan(0.1)); f.Stop != "objective" || !within(f.NAObject, want, 1e-12) {
		t.Errorf("stop %q, NA %v, want the objective and %v", f.Stop, f.NAObject, want)
	}
	rear := thick(4, 0, -30, 3)
	rear.SemiAperture1MM, rear.SemiAperture2MM = 8, 0.5
	f = figures(t, optics.Attachment{Stack: one(rear), Camera: camera(), WavelengthUM: 10})
	// By hand: f = 10 mm and the beam leaves collimated at half its pupil height, 0.5 mm: slope 0.05.
	if want := math.Sin(math.Atan(0.05)); f.Stop != "lens 1, surface 2" || !within(f.NAObject, want, 1e-12) {
		t.Errorf("stop %q, NA %v, want surface 2 and %v", f.Stop, f.NAObject, want)
	}
}

func TestOblongPixels(t *testing.T) {
	t.Parallel()
	c := camera()
	c.PitchYUM = 24
	f := figures(t, optics.Attachment{Stack: one(optics.Thin(8)), Camera: c, WavelengthUM: 10})
	if !within(f.ObjectPixelXUM, 24, 1e-12) || !within(f.ObjectPixelYUM, 48, 1e-12) || !within(f.ObjectPixelUM, 48, 1e-12) || !within(f.NyquistPeriodUM, 96, 1e-12) {
		t.Errorf("%+v, want 24 x 48 µm and the larger to count", f)
	}
}

func TestImpossibleAttachments(t *testing.T) {
	t.Parallel()
	good := func() optics.Attachment {
		return optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	}
	afocal := optics.Stack{{Element: optics.Thin(50), GapAfterMM: 75}, {Element: optics.Thin(25)}}
	tests := []struct {
		name   string
		change func(*optics.Attachment)
		msg    string
	}{
		{"no lenses", func(a *optics.Attachment) { a.Stack = nil }, "no lenses"},
		{"afocal", func(a *optics.Attachment) { a.Stack = afocal }, "no power"},
		{"diverging", func(a *optics.Attachment) { a.Stack = one(optics.Thin(-25)) }, "behind the stack's first vertex"},
		{"focus inside the stack", func(a *optics.Attachment) {
			a.Stack = optics.Stack{{Element: optics.Thin(25), GapAfterMM: 30}, {Element: optics.Thin(25)}}
		}, "behind the stack's first vertex"},
		{"specimen at infinity", func(a *optics.Attachment) { a.StandoffMM, a.Camera.FocusMM = 35, 10 }, "infinity"},
		{"focus within focal length", func(a *optics.Attachment) { a.Camera.FocusMM = 4 }, "focused at"},
		{"focus NaN", func(a *optics.Attachment) { a.Camera.FocusMM = math.NaN() }, "focused at"},
		{"no focal length", func(a *optics.Attachment) { a.Camera.FocalMM = 0 }, "focal length"},
		{"infinite focal length", func(a *optics.Attachment) { a.Camera.FocalMM = math.Inf(1) }, "focal length"},
		{"no f-number", func(a *optics.Attachment) { a.Camera.FNumber = 0 }, "f-number"},
		{"negative pitch", func(a *optics.Attachment) { a.Camera.PitchXUM = -12 }, "pixel pitch"},
		{"no pitch", func(a *optics.Attachment) { a.Camera.PitchYUM = 0 }, "pixel pitch"},
		{"no pixels", func(a *optics.Attachment) { a.Camera.Height = 0 }, "pixels"},
		{"negative standoff", func(a *optics.Attachment) { a.StandoffMM = -1 }, "stands"},
		{"standoff NaN", func(a *optics.Attachment) { a.StandoffMM = math.NaN() }, "stands"},
		{"no wavelength", func(a *optics.Attachment) { a.WavelengthUM = 0 }, "wavelength"},
	}
	for _, tt := range tests {
		a := good()
		tt.change(&a)
		_, err := a.Figures()
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.msg) || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v, hint %q, want Invalid with %q", tt.name, err, fault.HintOf(err), tt.msg)
		}
		if _, err := a.Explain(); err == nil {
			t.Errorf("%s: Explain has no error", tt.name)
		}
	}
	a := good() // afocal is fine before a camera with a finite focus
	a.Stack, a.Camera.FocusMM = optics.Stack{{Element: optics.Thin(50), GapAfterMM: 75}, {Element: optics.Thin(25)}}, 40
	if f := figures(t, a); !within(math.Abs(f.Magnification), 0.5*4/36.0, 1e-9) {
		t.Errorf("afocal with the camera at 40 mm: %+v", f)
	}
}

func TestExplanationsCarryTheirFigures(t *testing.T) {
	t.Parallel()
	a := optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	attachment, err := a.Explain()
	if err != nil {
		t.Fatal(err)
	}
	stack, err := a.Stack.Explain()
	if err != nil {
		t.Fatal(err)
	}
	values := map[string]string{"working distance": "25 mm", "magnification": "-0.16", "object pixel": "75 µm", "effective focal length": "25 mm"}
	for _, e := range append(attachment, stack...) {
		if e.Formula == "" || e.Source == "" || len(e.Inputs) == 0 {
			t.Errorf("%s: %+v lacks its formula, inputs or source", e.Figure, e)
		}
		if want := values[e.Figure]; want != "" && e.Value != want {
			t.Errorf("%s = %q, want %q", e.Figure, e.Value, want)
		}
	}
	if got := attachment[0].Inputs[5].Value; got != "infinite" {
		t.Errorf("camera focus prints as %q, want infinite", got)
	}
}
