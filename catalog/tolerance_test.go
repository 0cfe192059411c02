package catalog_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog"
	"dieglow/catalog/quantity"
)

// thinSetup is one ideal lens of 25.0 mm before a camera of 5.00 mm and 12 µm pixels.
func thinSetup(lensU, cameraU, gapU float64) (catalog.Setup, catalog.Parts) {
	focal := quantity.With(25, lensU)
	s := catalog.Setup{Stack: []catalog.Seat{{Lens: catalog.Ref{Handle: "lens-1"}, GapAfterMM: quantity.With(3, gapU)}}, WavelengthUM: 10}
	return s, catalog.Parts{
		Camera:       catalog.Camera{PixelsX: 100, PixelsY: 80, PitchUM: 12, BandLowUM: 8, BandHighUM: 12, FocalLengthMM: quantity.With(5, cameraU), FNumber: 1},
		CameraHandle: "camera-1",
		Lenses:       []catalog.Lens{{Material: "germanium", Form: catalog.Thin, FocalLengthMM: &focal, FocalWavelengthUM: 10, DiameterMM: 30, Condition: catalog.Usable}},
	}
}

// The object pixel of a thin lens before a camera at infinity is p f/fc, and the
// working distance f: their standard uncertainties follow by hand.
func TestUncertaintyOfAThinSetup(t *testing.T) {
	t.Parallel()
	s, parts := thinSetup(0.5, 0.05, 0.1)
	f, err := s.Compute(parts)
	if err != nil {
		t.Fatal(err)
	}
	for key, want := range map[string]float64{
		"working_distance_mm": 0.5,
		"efl_mm":              0.5,
		"object_pixel_um":     60 * math.Hypot(0.5/25, 0.05/5),
		"magnification":       0.2 * math.Hypot(0.5/25, 0.05/5),
	} {
		u, ok := f.Uncertainty(key)
		if !ok || math.Abs(u.U/want-1) > 0.02 { // three times what 10000 trials know it to
			t.Errorf("%s: u %g, want %g", key, u.U, want)
		}
	}
	// (0.5/25)² of (0.5/25)² + (0.05/5)² is 80 % of the variance of the scale.
	if u, _ := f.Uncertainty("object_pixel_um"); !strings.Contains(u.MainInput, "focal length") || !strings.Contains(u.MainInput, "lens-1") || math.Abs(u.MainShare-0.8) > 0.01 {
		t.Errorf("scale depends most on %s by %g", u.MainInput, u.MainShare)
	}
	if slices.ContainsFunc(f.Assumptions, func(a string) bool { return strings.Contains(a, "limits of error") }) {
		t.Errorf("everything is stated, yet assumed: %q", f.Assumptions)
	}
}

// Where the record gives no uncertainty usual limits are taken, as a rectangular
// distribution (JCGM 100:2008, 4.3.7), and the figures say so.
func TestUsualTolerances(t *testing.T) {
	t.Parallel()
	s, parts := thinSetup(0.5, 0.05, 0.1)
	parts.Lenses[0].FocalLengthMM.U, parts.Camera.FocalLengthMM.U, s.Stack[0].GapAfterMM.U = nil, nil, nil
	f, err := s.Compute(parts)
	if err != nil {
		t.Fatal(err)
	}
	if u, _ := f.Uncertainty("working_distance_mm"); math.Abs(u.U/(0.02*25/math.Sqrt(3))-1) > 0.05 {
		t.Errorf("u %g of a focal length with limits of 2 %%", u.U)
	}
	assumed := strings.Join(f.Assumptions, "\n")
	for _, what := range []string{"gaps", "camera focal lengths", "stated focal lengths"} {
		if !strings.Contains(assumed, what) {
			t.Errorf("%s is not among what was assumed: %s", what, assumed)
		}
	}
}

// A flat mirror folds the axis and changes no figure but the light, and the
// picture becomes a mirror image.
func TestFoldChangesNothingButTheLight(t *testing.T) {
	t.Parallel()
	s, parts := thinSetup(0.5, 0.05, 0.1)
	straight, err := s.Compute(parts)
	if err != nil {
		t.Fatal(err)
	}
	reflectance := quantity.Exactly(0.97)
	flat := catalog.Lens{Form: catalog.Mirror, Reflectance: &reflectance, DiameterMM: 40, Condition: catalog.Usable}
	if err := flat.Validate(); err != nil {
		t.Fatal(err)
	}
	s.Stack = append([]catalog.Seat{{Lens: catalog.Ref{Handle: "lens-2"}, IncidenceDeg: 45, GapAfterMM: quantity.With(8, 0.1)}}, s.Stack...)
	parts.Lenses = append([]catalog.Lens{flat}, parts.Lenses...)
	folded, err := s.Compute(parts)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(folded.WorkingDistanceMM-(straight.WorkingDistanceMM-8)) > 1e-9 || math.Abs(folded.ObjectPixelUM-straight.ObjectPixelUM) > 1e-9 || !folded.Mirrored || straight.Mirrored {
		t.Errorf("folded %+v, straight %+v", folded, straight)
	}
	light, err := s.Light(parts, func(float64) float64 { return 1 })
	if err != nil || light.Transmission >= 0.97 || math.Abs(light.Elements[0].Transmission-0.97) > 1e-12 {
		t.Errorf("light %+v, %v", light.StackLight, err)
	}
}
