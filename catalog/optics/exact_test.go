package optics_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func exact(t *testing.T, a optics.Attachment) optics.ExactFigures {
	t.Helper()
	f, err := a.Exact()
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func at(t *testing.T, f optics.ExactFigures, name string) optics.FieldPoint {
	t.Helper()
	for _, p := range f.Points {
		if p.Name == name {
			return p
		}
	}
	t.Fatalf("no point %q", name)
	return optics.FieldPoint{}
}

func TestExactFiguresOfThinLenses(t *testing.T) {
	t.Parallel()
	// Ideal lenses have no aberrations: exact rays must give the first-order figures, with every field point where the
	// magnification puts it.
	stacks := map[string]optics.Stack{
		"one":   one(optics.Thin(25)),
		"three": {{Element: optics.Thin(25), GapAfterMM: 2}, {Element: optics.Thin(30), GapAfterMM: 3}, {Element: optics.Thin(-100)}},
	}
	for name, s := range stacks {
		for _, u := range []float64{80, 400, math.Inf(1)} {
			c := camera()
			c.FocusMM = u
			a := optics.Attachment{Stack: s, Camera: c, StandoffMM: 5, WavelengthUM: 10}
			first, f := figures(t, a), exact(t, a)
			if !within(f.WorkingDistanceMM, first.WorkingDistanceMM, 1e-9) || !within(f.Magnification, first.Magnification, 1e-9) || !within(f.NAObject, first.NAObject, 1e-9) ||
				!within(f.FieldXMM, first.FieldXMM, 1e-9) || !within(f.FieldYMM, first.FieldYMM, 1e-9) || f.RMSBlurUM > 1e-6 || f.Stop != first.Stop || f.ClearanceMM != f.WorkingDistanceMM {
				t.Errorf("%s, U %v: %+v, want %+v", name, u, f, first)
			}
			for _, p := range f.Points {
				if !within(p.Chief.XMM, p.DetectorXMM/first.Magnification, 1e-9) || !within(p.Chief.YMM, p.DetectorYMM/first.Magnification, 1e-9) || math.Abs(p.Chief.DistortionShare) > 1e-9 || p.Passed != 1 || p.StoppedBy != optics.StopCamera {
					t.Errorf("%s, U %v: %+v %+v", name, u, p, p.Chief)
				}
			}
		}
	}
}

// lens is the area common to two circles, by integration in steps.
func common(a, b, d float64) float64 {
	const steps = 200000
	sum := 0.0
	for i := range steps {
		y := -a + 2*a*(float64(i)+0.5)/steps
		if math.Abs(y) >= b {
			continue
		}
		halfA, halfB := math.Sqrt(a*a-y*y), math.Sqrt(b*b-y*y)
		sum += max(0, min(halfA, d+halfB)-max(-halfA, d-halfB)) * 2 * a / steps
	}
	return sum
}

func TestVignettingIsTwoCircles(t *testing.T) {
	t.Parallel()
	for _, u := range []float64{150, math.Inf(1)} {
		for _, clear := range []float64{3, 4.5, 7} {
			e := optics.Thin(20)
			e.Name, e.DiameterMM = "front", clear
			c := camera()
			c.FocusMM = u
			const d = 9.0
			a := optics.Attachment{Stack: one(e), Camera: c, StandoffMM: d, WavelengthUM: 10}
			f := exact(t, a)
			thin, err := optics.ThinAttachment{StackFocalMM: 20, CameraFocalMM: 4, SeparationMM: d, FocusMM: u, PitchUM: 12, Width: 256, Height: 192, PupilMM: 4, ClearApertureMM: clear}.Figures()
			if err != nil {
				t.Fatal(err)
			}
			// Beam of radius rb = (EP/2)(1 - d/U) at the lens, its middle at d tan w: two circles, integrated here.
			beam := 2 * (1 - d/u)
			for _, p := range f.Points {
				middle := d * math.Hypot(p.DetectorXMM, p.DetectorYMM) * (1/4.0 - 1/u)
				want := common(beam, clear/2, middle) / (math.Pi * beam * beam)
				if math.Abs(p.Passed-want) > 0.003 {
					t.Errorf("U %v, %v mm clear, %s: %v of the beam passes, want %v", u, clear, p.Name, p.Passed, want)
				}
				if (want < 0.997) != (p.StoppedBy == "front") {
					t.Errorf("U %v, %v mm clear, %s: stopped by %q, %v passes", u, clear, p.Name, p.StoppedBy, want)
				}
				if p.Name == "corner" && math.Abs(thin.CornerPassed-want) > 1e-5 {
					t.Errorf("U %v, %v mm clear: thin attachment's corner passes %v, want %v", u, clear, thin.CornerPassed, want)
				}
			}
			if want := math.Sin(math.Atan(min(beam, clear/2) / f.WorkingDistanceMM)); !within(f.NAObject, want, 1e-9) || (f.Stop == "front") != (clear/2 < beam) {
				t.Errorf("U %v, %v mm clear: NA %v, stop %q, want %v", u, clear, f.NAObject, f.Stop, want)
			}
		}
	}
}

func TestBestFocusOfASphere(t *testing.T) {
	t.Parallel()
	// A plano-convex lens, curved side to the camera, which is focused at infinity. To third order a ray at a share r of the
	// pupil misses by T r³ at the paraxial focus. Over an evenly filled pupil <r²> = 1/2, <r⁴> = 1/3, <r⁶> = 1/4, so the mean of
	// (r³ - a r)² is least at a = 2/3, two thirds of the way to the marginal focus, and there 1/4 - 2/9 = (1/6)². By hand.
	const n, r = 4.0, 150.0 // f = 50 mm
	c := optics.Camera{FocalMM: 20, FNumber: 8, PitchXUM: 12, PitchYUM: 12, Width: 10, Height: 10, FocusMM: math.Inf(1)}
	a := optics.Attachment{Stack: one(thick(n, 0, -r, 0.5)), Camera: c, StandoffMM: 1, WavelengthUM: 10}
	f := exact(t, a)
	back, err := a.Stack.Flip().ParallelRays([]float64{c.FocalMM / c.FNumber / 2})
	if err != nil {
		t.Fatal(err)
	}
	lsa := *back[0].AxisCrossingMM - figures(t, a).WorkingDistanceMM
	tsa := math.Abs(lsa * *back[0].SlopeOut)
	if !within(f.FocusShiftMM, 2.0/3*lsa, 2e-3) || !within(f.RMSBlurUM, 1000*tsa/6, 5e-3) {
		t.Errorf("shift %v mm, rms %v µm, want %v, %v", f.FocusShiftMM, f.RMSBlurUM, 2.0/3*lsa, 1000*tsa/6)
	}
	// The exact NA is the marginal ray's own sine.
	if want := math.Sin(math.Atan(math.Abs(*back[0].SlopeOut))); !within(f.NAObject, want, 1e-12) {
		t.Errorf("NA %v, want %v", f.NAObject, want)
	}
}

func TestThickAttachmentTendsToFirstOrder(t *testing.T) {
	t.Parallel()
	for name, s := range stacks() {
		for _, u := range []float64{400, math.Inf(1)} {
			// A small pupil and a small array.
			c := optics.Camera{FocalMM: 4, FNumber: 200, PitchXUM: 1, PitchYUM: 1, Width: 20, Height: 12, FocusMM: u}
			a := optics.Attachment{Stack: s, Camera: c, StandoffMM: 5, WavelengthUM: 10}
			first, f := figures(t, a), exact(t, a)
			if !within(f.WorkingDistanceMM, first.WorkingDistanceMM, 1e-5) || !within(f.Magnification, first.Magnification, 1e-5) || !within(f.NAObject, first.NAObject, 1e-4) || !within(f.FieldXMM, first.FieldXMM, 1e-5) {
				t.Errorf("%s, U %v: %+v, want %+v", name, u, f, first)
			}
			if p := at(t, f, "corner"); !within(p.Chief.XMM, p.DetectorXMM/first.Magnification, 1e-4) {
				t.Errorf("%s, U %v: corner at %v", name, u, p.Chief.XMM)
			}
		}
	}
}

func TestLabelsCountFromTheSpecimen(t *testing.T) {
	t.Parallel()
	rear := thick(4, 0, -30, 3)
	rear.SemiAperture1MM, rear.SemiAperture2MM = 8, 0.5
	a := optics.Attachment{Stack: optics.Stack{{Element: optics.Thin(200), GapAfterMM: 1}, {Element: rear}}, Camera: camera(), StandoffMM: 1, WavelengthUM: 10}
	if f := exact(t, a); f.Stop != "lens 2, surface 2" || f.Points[4].StoppedBy != "lens 2, surface 2" {
		t.Errorf("stop %q, corner %q, want lens 2, surface 2", f.Stop, f.Points[4].StoppedBy)
	}
}

func TestClearanceAndFit(t *testing.T) {
	t.Parallel()
	hollow := optics.Element{N: 4, Radius1MM: -60, Radius2MM: -12, ThicknessMM: 3, DiameterMM: 16}
	a := optics.Attachment{Stack: one(hollow), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	f := exact(t, a)
	// The rim of a surface hollow towards the specimen stands nearer by its sagitta, 60 - sqrt(60² - 8²).
	if want := f.WorkingDistanceMM - (60 - math.Sqrt(3600-64)); !within(f.ClearanceMM, want, 1e-12) {
		t.Errorf("clearance %v, want %v", f.ClearanceMM, want)
	}
	a.Stack = one(optics.Element{N: 4, Radius1MM: 12, Radius2MM: 20, ThicknessMM: 3, DiameterMM: 16})
	a.StandoffMM = 1
	if _, err := a.Exact(); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "camera's lens") || fault.HintOf(err) == "" {
		t.Errorf("rim in the camera: %v", err)
	}
	crossing := optics.Attachment{Stack: optics.Stack{{Element: a.Stack[0].Element, GapAfterMM: 0.2}, {Element: optics.Element{N: 4, Radius1MM: 0, Radius2MM: -60, ThicknessMM: 3, DiameterMM: 16}}}, Camera: camera(), StandoffMM: 3, WavelengthUM: 10}
	if _, err := crossing.Exact(); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "lens 1, surface 2 and lens 2, surface 1") {
		t.Errorf("crossing: %v", err)
	}
}

func TestFocusTravel(t *testing.T) {
	t.Parallel()
	a := optics.Attachment{Stack: one(optics.Thin(25)), Camera: camera(), StandoffMM: 2, WavelengthUM: 10}
	travel, err := a.OverFocus(100, math.Inf(1), optics.FirstOrder)
	if err != nil {
		t.Fatal(err)
	}
	// Thin-lens formulas by hand: s = fa (U-d)/(U-d+fa) from 25·98/123 to 25; |M| from fc (fa+U-d)/(fa (U-fc)) = 4·123/(25·96) to 0.16.
	want := map[string][2]float64{"working_distance_mm": {25 * 98.0 / 123, 25}, "magnification": {-4 * 123.0 / (25 * 96), -0.16}, "object_pixel_um": {12 * 25 * 96 / (4 * 123.0), 75}}
	for _, r := range travel.Figures {
		if w, ok := want[r.Name]; ok && (!within(r.Low, w[0], 1e-12) || !within(r.High, w[1], 1e-12)) {
			t.Errorf("%+v, want %v", r, w)
		}
		if !(r.Low <= r.High) {
			t.Errorf("%+v is not a range", r)
		}
	}
	if len(travel.Figures) != 9 || travel.Impossible != "" {
		t.Errorf("%+v", travel)
	}
	a.Stack = optics.Stack{{Element: optics.Thin(50), GapAfterMM: 75}, {Element: optics.Thin(25)}}
	if travel, err = a.OverFocus(40, math.Inf(1), optics.FirstOrder); err != nil || travel.Impossible == "" {
		t.Errorf("afocal: %+v, %v, want infinity to be impossible and nearer focus to do", travel, err)
	}
	for _, d := range [][2]float64{{3, 100}, {100, 50}, {math.NaN(), 100}, {100, math.NaN()}} {
		if _, err := a.OverFocus(d[0], d[1], optics.FirstOrder); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%v: %v, want Invalid with a hint", d, err)
		}
	}
}
