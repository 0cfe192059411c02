package optics_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func TestMirrors(t *testing.T) {
	t.Parallel()
	// A concave mirror of 100 mm focuses at 50 mm; 1/s + 1/s' = 2/R (any textbook): 75 mm is imaged to 150 mm at -2.
	s := one(optics.Mirror(-100, 0.97))
	if c := cardinal(t, s); !within(c.EFLMM, 50, 1e-12) || !within(c.BFLMM, 50, 1e-12) || !within(s[0].Element.FocalLengthMM(), 50, 1e-12) {
		t.Errorf("concave mirror: %+v, want 50 mm", c)
	}
	if i := conjugate(t, s, 75); !within(i.ImageMM, 150, 1e-12) || !within(i.Magnification, -2, 1e-12) {
		t.Errorf("concave mirror: %+v, want 150 mm, -2", i)
	}
	// Exact, by plane geometry: a ray at height h crosses the axis R/(2 cos I) from the centre, sin I = h/R.
	rays, err := s.ParallelRays([]float64{30, 1e-3})
	if err != nil {
		t.Fatal(err)
	}
	if want := 100 - 50/math.Cos(math.Asin(0.3)); !within(*rays[0].AxisCrossingMM, want, 1e-12) || !within(*rays[1].AxisCrossingMM, 50, 1e-9) {
		t.Errorf("concave mirror: crossings %v, %v, want %v, 50", *rays[0].AxisCrossingMM, *rays[1].AxisCrossingMM, want)
	}
	if c := cardinal(t, one(optics.Mirror(100, 0.97))); !within(c.EFLMM, -50, 1e-12) {
		t.Errorf("convex mirror: %+v, want -50 mm", c)
	}
	// A plane mirror between two lenses changes nothing but the light.
	flat := optics.Element{Mirror: true, Reflectance: 0.95, IncidenceDeg: 45, DiameterMM: 20}
	pair := optics.Stack{{Element: thick(4.003, 40, 60, 3), GapAfterMM: 20}, {Element: optics.Thin(30)}}
	folded := optics.Stack{{Element: thick(4.003, 40, 60, 3), GapAfterMM: 8}, {Element: flat, GapAfterMM: 12}, {Element: optics.Thin(30)}}
	a, b := cardinal(t, pair), cardinal(t, folded)
	if !within(b.EFLMM, a.EFLMM, 1e-12) || !within(b.BFLMM, a.BFLMM, 1e-12) || folded.Reflections() != 1 {
		t.Errorf("folded %+v, straight %+v", b, a)
	}
	for _, r := range bundle(50, 1, 0.05) {
		straight, _ := compiled(t, pair).Trace(r)
		bent, outcome := compiled(t, folded).Trace(r)
		if outcome.Fate != optics.Passed || math.Abs(straight.X-bent.X) > 1e-12 || math.Abs(straight.M-bent.M) > 1e-12 {
			t.Fatalf("folded %+v, straight %+v", bent, straight)
		}
	}
	// At 45 degrees a mirror 20 mm across shows 10 mm cos 45° either side of the axis.
	sys := compiled(t, one(flat))
	for y, want := range map[float64]optics.Fate{7: optics.Passed, 7.08: optics.Vignetted} {
		if _, o := sys.Trace(optics.Ray{Y: y, N: 1}); o.Fate != want {
			t.Errorf("tilted mirror at %v mm: %v, want %v", y, o.Fate, want)
		}
	}
	// A spherical mirror sends light from its centre back to it, every ray.
	centre := compiled(t, one(optics.Mirror(-100, 1)))
	for _, slope := range []float64{0.1, 0.5, 1} {
		out, _ := centre.Trace(optics.RayAt(0, 0, -100, 0.3*slope, slope))
		if x, y := out.At(100); math.Abs(x) > 1e-11 || math.Abs(y) > 1e-11 {
			t.Errorf("slope %v: back at %v, %v, want the centre", slope, x, y)
		}
	}
	for name, e := range map[string]optics.Element{
		"no reflectance": {Mirror: true}, "reflectance above 1": {Mirror: true, Reflectance: 1.1}, "index": {Mirror: true, Reflectance: 1, N: 4},
		"thickness": {Mirror: true, Reflectance: 1, ThicknessMM: 3}, "grazing": {Mirror: true, Reflectance: 1, IncidenceDeg: 90},
		"curved and tilted": {Mirror: true, Reflectance: 1, Radius1MM: -50, IncidenceDeg: 45}, "too curved": {Mirror: true, Reflectance: 1, Radius1MM: -5, DiameterMM: 20},
		"lens with a reflectance": {FocalMM: 20, Reflectance: 0.9},
	} {
		if err := e.Validate(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want Invalid with a hint", name, err)
		}
	}
}

func TestCheckFit(t *testing.T) {
	t.Parallel()
	lens := func(r1, r2, d float64) optics.Element {
		return optics.Element{N: 4, Radius1MM: r1, Radius2MM: r2, ThicknessMM: 4, DiameterMM: d}
	}
	pair := func(a optics.Element, gap float64, b optics.Element) optics.Stack {
		return optics.Stack{{Element: a, GapAfterMM: gap}, {Element: b}}
	}
	sag := func(r, h float64) float64 { return r - math.Sqrt(r*r-h*h) }
	// By hand: a hollow rear surface of 30 mm, whose rim lies sag(30, 8) behind its vertex, before a plane 16 mm across.
	hollow, flat := lens(25, 30, 20), lens(0, -40, 16)
	needed := sag(30, 8)
	if gap, at := pair(hollow, 0, flat).NeededGapMM(0); !within(gap, needed, 1e-12) || at != 8 {
		t.Errorf("needs %v at %v, want %v at 8", gap, at, needed)
	}
	for _, tt := range []struct {
		name  string
		stack optics.Stack
		words []string
	}{
		{"rim into a plane", pair(hollow, needed-0.01, flat), []string{"lens 1, surface 2", "lens 2, surface 1", "cross", "1.086"}},
		{"just apart", pair(hollow, needed, flat), nil},
		{"ball faces in contact", pair(lens(25, -30, 16), 0, lens(30, -40, 16)), nil},
		{"alike and nested in contact", pair(lens(25, 30, 16), 0, lens(30, 40, 16)), nil},
		{"thin lens has no shape", pair(hollow, 0, optics.Thin(20)), nil},
		{"mirror's rim", optics.Stack{{Element: optics.Element{Mirror: true, Reflectance: 1, Radius1MM: -30, DiameterMM: 16}, GapAfterMM: 1}, {Element: flat}}, []string{"mirror 1", "cross"}},
		{"surfaces meet in the clear aperture", one(optics.Element{N: 4, Radius1MM: 20, Radius2MM: -20, ThicknessMM: 2, SemiAperture1MM: 8, SemiAperture2MM: 8}), []string{"lens 1", "meet"}},
	} {
		err := tt.stack.CheckFit()
		if (err == nil) != (tt.words == nil) {
			t.Errorf("%s: %v", tt.name, err)
		}
		for _, w := range tt.words {
			if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), w) || fault.HintOf(err) == "" {
				t.Errorf("%s: %v (hint %q), want %q in it", tt.name, err, fault.HintOf(err), w)
			}
		}
	}
	// The hint's gap is enough.
	err := pair(hollow, 0, flat).CheckFit()
	if !strings.Contains(fault.HintOf(err), "1.0864mm") {
		t.Errorf("hint %q, want at least 1.0864mm", fault.HintOf(err))
	}
	if err := pair(hollow, 1.0864, flat).CheckFit(); err != nil {
		t.Errorf("with the hint's gap: %v", err)
	}
}

// A mirror tilted by 45° rises by as much as its height: 12.5 mm sin 45° = 8.84 mm at
// the rim, and 6.35 mm where a lens of 12.7 mm ends (by hand).
func TestTiltedMirrorNeedsRoom(t *testing.T) {
	t.Parallel()
	fold := optics.Mirror(0, 0.97)
	fold.IncidenceDeg, fold.DiameterMM = 45, 25
	lens := optics.Thin(25)
	lens.DiameterMM = 12.7
	thick := optics.Element{N: 4, Radius1MM: 0, Radius2MM: -75, ThicknessMM: 2, DiameterMM: 12.7}
	near := optics.Stack{{Element: fold, GapAfterMM: 5}, {Element: thick}}
	if gap, at := near.NeededGapMM(0); math.Abs(gap-6.35) > 1e-9 || at != 6.35 {
		t.Errorf("needs %g mm at %g mm", gap, at)
	}
	if err := near.CheckFit(); err == nil {
		t.Error("a mirror that cuts its lens is accepted")
	}
	a := optics.Attachment{Stack: optics.Stack{{Element: fold, GapAfterMM: 8}, {Element: lens}}, StandoffMM: 3, WavelengthUM: 10,
		Camera: optics.Camera{FocalMM: 4, FNumber: 1, PitchXUM: 12, PitchYUM: 12, Width: 10, Height: 10, FocusMM: math.Inf(1)}}
	exact, err := a.Exact()
	if err != nil || math.Abs(exact.WorkingDistanceMM-exact.ClearanceMM-12.5*math.Sqrt2/2) > 1e-9 {
		t.Errorf("%g mm clear of %g mm, %v", exact.ClearanceMM, exact.WorkingDistanceMM, err)
	}
}

// What is impossible to make is a slip of the unit, and said so.
func TestAbsurdSizes(t *testing.T) {
	t.Parallel()
	for name, e := range map[string]optics.Element{
		"radius": {N: 4, Radius1MM: 1e-6, ThicknessMM: 2}, "thickness": {N: 4, Radius1MM: 50, ThicknessMM: 1e6}, "index": {N: 1e6, Radius1MM: 50, ThicknessMM: 2},
		"focal": {FocalMM: 1e300}, "short": {FocalMM: 1e-300}, "diameter": {FocalMM: 25, DiameterMM: 1e6},
	} {
		if err := e.Validate(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}
