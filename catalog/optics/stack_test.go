package optics_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func thick(n, r1, r2, thickness float64) optics.Element {
	return optics.Element{N: n, Radius1MM: r1, Radius2MM: r2, ThicknessMM: thickness}
}

func one(e optics.Element) optics.Stack { return optics.Stack{{Element: e}} }

func cardinal(t *testing.T, s optics.Stack) optics.Cardinal {
	t.Helper()
	c, err := s.Cardinal()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func conjugate(t *testing.T, s optics.Stack, objectMM float64) optics.Conjugate {
	t.Helper()
	c, err := s.Conjugate(objectMM)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestLensMaker(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		e      optics.Element
		want   float64
		relTol float64
	}{
		// OpenStax University Physics 3, ch. 2.4, "Using the Lens Maker's Equation": n 1.55, f -20 cm, |R| 22 cm.
		{"biconcave", thick(1.55, -220, 220, 0), -200, 1e-9},
		// OpenStax University Physics 3, ch. 2.8, additional problems: plano-convex, R2 -35 cm, n 1.5, f 70 cm.
		{"plano-convex, plane as 0", thick(1.5, 0, -350, 0), 700, 1e-9},
		{"plano-convex, plane as infinity", thick(1.5, math.Inf(1), -350, 0), 700, 1e-9},
		// University of Tennessee, Optics 507, assignment 1s (electron9.phys.utk.edu/optics507/Assignments/a1s.htm).
		{"thick biconcave", thick(1.5, -50, 50, 15), -47.619, 1e-5},
		// Equation file optc443.equ (1993): n 1.6, R 50 and -30 mm, 20 mm thick, f 34.48 mm.
		{"thick biconvex", thick(1.6, 50, -30, 20), 34.48, 1.5e-4},
		{"window", thick(1.5, 0, 0, 3), math.Inf(1), 0},
	}
	for _, tt := range tests {
		if got := tt.e.FocalLengthMM(); !within(got, tt.want, tt.relTol) {
			t.Errorf("%s: FocalLengthMM = %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestThickLensDistances(t *testing.T) {
	t.Parallel()
	// University of Tennessee, Optics 507, assignment 1s: f -47.619 mm, focal points 52.38 mm from the vertices, on the virtual sides.
	c := cardinal(t, one(thick(1.5, -50, 50, 15)))
	if !within(c.EFLMM, -47.619, 1e-5) || !within(c.BFLMM, -52.38, 1e-4) || !within(c.FFLMM, -52.38, 1e-4) {
		t.Errorf("thick biconcave: %+v, want -47.619, -52.38, -52.38", c)
	}

	// Thick-lens tutorial (scribd.com, document 745675229): surfaces of -5 and +10 dioptres in n 1.50, 30 mm
	// apart: +6.0 dioptres, principal planes 33.3 mm and 16.7 mm behind the vertices.
	s := one(thick(1.5, -100, -50, 30))
	c = cardinal(t, s)
	if !within(1000/c.EFLMM, 6, 1e-9) || !within(c.PrincipalFrontMM, 33.3, 2e-3) || !within(c.PrincipalRearMM, 16.7, 3e-3) {
		t.Errorf("meniscus: %+v, want 6.0 dioptres, 33.3, 16.7", c)
	}
	// Its image of 2 cm at 50 cm is printed as 25.98 cm and 0.912 cm, which follows from f rounded to 16.7 cm;
	// unrounded arithmetic, by hand: 25.909 cm and 0.9091 cm.
	if i := conjugate(t, s, 500); !within(i.ImageMM, 259.0909, 1e-6) || !within(i.Magnification*20, -9.0909, 1e-5) {
		t.Errorf("meniscus: image %+v, want 259.09 mm and 9.09 mm inverted", i)
	}

	// Equation file optc443.equ (1993): two such lenses, principal planes 30 mm apart: 30.52 mm.
	e := thick(1.6, 50, -30, 20)
	c = cardinal(t, one(e))
	pair := optics.Stack{{Element: e, GapAfterMM: 30 + c.PrincipalRearMM - c.PrincipalFrontMM}, {Element: e}}
	if got := cardinal(t, pair).EFLMM; !within(got, 30.52, 2e-4) {
		t.Errorf("pair: EFL %v, want 30.52", got)
	}
}

func TestTwoThinLenses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name                string
		f1, gap, f2, object float64
		image, m            float64
		relTol              float64
	}{
		// OpenStax University Physics 3, ch. 2.4, problem: prints 83 cm right of the second lens and -2.3; both signs
		// are wrong there, since the intermediate image falls inside the second lens's focal length.
		{"virtual and upright", -200, 50, 200, 250, -828.57, 2.2857, 1e-5},
		// OpenStax College Physics, ch. 26.4: magnification -250, final image -367 mm.
		{"microscope", 6, 230, 50, 6.2, -367, -250, 1e-3},
		// OpenStax University Physics 3, ch. 2.8, and College Physics, ch. 26.4: amoeba, -11.3 cm, -400.
		{"microscope on an amoeba", 3, 200, 20, 3.05, -113.3, -400, 1e-3},
		// homeworksource.com/p/1072522, in metres there: q2 -4.68, m 1.36; more digits by hand: -4.67646, 1.36495.
		{"diverging second", 5900, 9460, -2400, 10000, -4676.46, 1.36495, 1e-5},
		// wizedu.com/questions/346629, in cm there: -24.5019, -2.77.
		{"equal lenses", 149, 398, 149, 291, -245.019, -2.77, 2e-3},
	}
	for _, tt := range tests {
		s := optics.Stack{{Element: optics.Thin(tt.f1), GapAfterMM: tt.gap}, {Element: optics.Thin(tt.f2)}}
		got := conjugate(t, s, tt.object)
		if !within(got.ImageMM, tt.image, tt.relTol) || !within(got.Magnification, tt.m, tt.relTol) || !got.Virtual {
			t.Errorf("%s: %+v, want image %v, magnification %v, virtual", tt.name, got, tt.image, tt.m)
		}
	}
	// OpenStax University Physics 3, ch. 2.8: first images of the microscopes, 18.3 cm at -60.0 and 4.65 cm at -30.0.
	for _, tt := range [][4]float64{{3, 3.05, 183, -60}, {1.5, 1.55, 46.5, -30}} {
		if got := conjugate(t, one(optics.Thin(tt[0])), tt[1]); !within(got.ImageMM, tt[2], 1e-9) || !within(got.Magnification, tt[3], 1e-9) {
			t.Errorf("objective of %v mm: %+v, want %v, %v", tt[0], got, tt[2], tt[3])
		}
	}
}

// stacks returns stacks of every make-up for the identities.
func stacks() map[string]optics.Stack {
	return map[string]optics.Stack{
		"thin":         one(optics.Thin(25)),
		"meniscus":     one(thick(4.003, 40, 60, 3)),
		"plano-convex": one(thick(2.4065, 0, -35, 4.5)),
		"thick and thin": {
			{Element: thick(4.003, 30, 45, 2.5), GapAfterMM: 1.5}, {Element: optics.Thin(-80), GapAfterMM: 7}, {Element: thick(2.4065, 50, 0, 3)},
		},
		"three thin": {{Element: optics.Thin(25), GapAfterMM: 2}, {Element: optics.Thin(30), GapAfterMM: 3}, {Element: optics.Thin(-100)}},
		"window":     {{Element: thick(1.4, 0, 0, 2), GapAfterMM: 4}, {Element: thick(3.418, -70, -33, 4)}},
	}
}

func TestStackIdentities(t *testing.T) {
	t.Parallel()
	for name, s := range stacks() {
		if det := s.Matrix().Determinant(); !within(det, 1, 1e-12) {
			t.Errorf("%s: determinant %v, want 1", name, det)
		}
		c, turned := cardinal(t, s), cardinal(t, s.Flip())
		if !within(turned.EFLMM, c.EFLMM, 1e-12) || !within(turned.BFLMM, c.FFLMM, 1e-12) || !within(turned.FFLMM, c.BFLMM, 1e-12) {
			t.Errorf("%s: turned %+v, want back and front focal lengths of %+v swapped", name, turned, c)
		}
		twice := s.Flip().Flip()
		for i := range s {
			if twice[i] != s[i] {
				t.Errorf("%s: turned twice, lens %d is %+v, want %+v", name, i+1, twice[i], s[i])
			}
		}
		if got := s.Flip().LengthMM(); !within(got, s.LengthMM(), 1e-12) {
			t.Errorf("%s: turned, length %v, want %v", name, got, s.LengthMM())
		}
		for _, object := range []float64{3, 17.5, 200, 1e5, -40} {
			there := conjugate(t, s, object)
			back := conjugate(t, s.Flip(), there.ImageMM)
			if !within(back.ImageMM, object, 1e-8) || !within(back.Magnification*there.Magnification, 1, 1e-8) {
				t.Errorf("%s: from %v to %+v and back to %+v", name, object, there, back)
			}
			// Newton: distances from the focal points multiply to EFL², and m = EFL/(distance from the front focal point), inverted.
			x, xImage := object-c.FFLMM, there.ImageMM-c.BFLMM
			if !within(x*xImage, c.EFLMM*c.EFLMM, 1e-8) || !within(there.Magnification, -c.EFLMM/x, 1e-8) {
				t.Errorf("%s: object %v: x x' = %v, want %v; m %v, want %v", name, object, x*xImage, c.EFLMM*c.EFLMM, there.Magnification, -c.EFLMM/x)
			}
		}
	}
}

func TestThickLensTendsToThin(t *testing.T) {
	t.Parallel()
	e := thick(4.003, 40, 60, 1e-7)
	thin := one(optics.Thin(1 / (3.003 * (1.0/40 - 1.0/60))))
	a, b := cardinal(t, one(e)), cardinal(t, thin)
	if !within(a.EFLMM, b.EFLMM, 1e-8) || !within(a.BFLMM, b.BFLMM, 1e-8) || math.Abs(a.PrincipalFrontMM) > 1e-6 || b.PrincipalFrontMM != 0 {
		t.Errorf("thick %+v, thin %+v", a, b)
	}
}

func TestInfiniteConjugates(t *testing.T) {
	t.Parallel()
	s := stacks()["thick and thin"]
	c := cardinal(t, s)
	if got := conjugate(t, s, math.Inf(1)); !within(got.ImageMM, c.BFLMM, 1e-12) || got.Magnification != 0 || got.AtInfinity {
		t.Errorf("object at infinity: %+v, want the back focal length %v", got, c.BFLMM)
	}
	if got := conjugate(t, s, c.FFLMM); !got.AtInfinity || !math.IsInf(got.ImageMM, 0) {
		t.Errorf("object at the front focal point: %+v, want an image at infinity", got)
	}

	// A beam reducer of 50 mm and 25 mm: the magnification is -1/2 at every distance.
	afocal := optics.Stack{{Element: optics.Thin(50), GapAfterMM: 75}, {Element: optics.Thin(25)}}
	if got := cardinal(t, afocal); !got.Afocal || !math.IsInf(got.EFLMM, 1) {
		t.Errorf("beam reducer: %+v, want afocal", got)
	}
	for _, object := range []float64{0, 100, 1e6, math.Inf(1)} {
		if got := conjugate(t, afocal, object); !within(got.Magnification, -0.5, 1e-9) || got.AtInfinity != math.IsInf(object, 0) {
			t.Errorf("beam reducer, object at %v: %+v, want -1/2", object, got)
		}
	}
	// In inches, where the sum of powers is zero only to rounding.
	inches := optics.Stack{{Element: optics.Thin(25.4 * 0.7), GapAfterMM: 25.4*0.7 + 25.4*0.1}, {Element: optics.Thin(25.4 * 0.1)}}
	if got := cardinal(t, inches); !got.Afocal {
		t.Errorf("beam reducer in inches: %+v, want afocal", got)
	}
	if got := cardinal(t, one(thick(4, 0, 0, 3))); !got.Afocal {
		t.Errorf("window: %+v, want afocal", got)
	}
	if _, err := s.Conjugate(math.NaN()); fault.KindOf(err) != fault.Invalid {
		t.Errorf("Conjugate(NaN): %v, want Invalid", err)
	}
}

func TestImpossibleElements(t *testing.T) {
	t.Parallel()
	with := func(e optics.Element, change func(*optics.Element)) optics.Element { change(&e); return e }
	good := optics.Element{Name: "L1", N: 4.003, Radius1MM: 30, Radius2MM: -30, ThicknessMM: 4, DiameterMM: 20}
	tests := []struct {
		name string
		e    optics.Element
		msg  string
	}{
		{"nothing", optics.Element{}, "neither"},
		{"thin with radii", with(optics.Thin(25), func(e *optics.Element) { e.Radius1MM = 10 }), "no index"},
		{"thin of focal length NaN", optics.Thin(math.NaN()), "focal length"},
		{"thin of infinite focal length", optics.Thin(math.Inf(1)), "focal length"},
		{"both", with(good, func(e *optics.Element) { e.FocalMM = 25 }), "both"},
		{"index 1", with(good, func(e *optics.Element) { e.N = 1 }), "index"},
		{"index below 0", with(good, func(e *optics.Element) { e.N = -4 }), "index"},
		{"no thickness", with(good, func(e *optics.Element) { e.ThicknessMM = 0 }), "thickness"},
		{"negative thickness", with(good, func(e *optics.Element) { e.ThicknessMM = -1 }), "thickness"},
		{"NaN radius", with(good, func(e *optics.Element) { e.Radius2MM = math.NaN() }), "radius"},
		{"negative diameter", with(good, func(e *optics.Element) { e.DiameterMM = -20 }), "diameter"},
		{"surface 1 too curved", with(good, func(e *optics.Element) { e.Radius1MM = 9.9 }), "surface 1"},
		{"surface 2 too curved", with(good, func(e *optics.Element) { e.Radius2MM = -9.9 }), "surface 2"},
		{"clear beyond the rim", with(good, func(e *optics.Element) { e.SemiAperture2MM = 11 }), "surface 2"},
		{"knife edge", with(good, func(e *optics.Element) { e.ThicknessMM = 3.4 }), "meet before the edge"},
		{"clear beyond the sphere", optics.Element{N: 4, Radius1MM: 5, ThicknessMM: 4, SemiAperture1MM: 6}, "surface 1"},
	}
	for _, tt := range tests {
		err := tt.e.Validate()
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.msg) || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v, hint %q, want Invalid with %q", tt.name, err, fault.HintOf(err), tt.msg)
		}
	}
	if err := good.Validate(); err != nil {
		t.Errorf("a good lens: %v", err)
	}
	// By hand: two sagittas of 30 - sqrt(30² - 10²) = 1.71573 mm.
	if got := good.EdgeThicknessMM(); !within(got, 4-2*1.715728753, 1e-8) {
		t.Errorf("edge thickness %v, want %v", got, 4-2*1.715728753)
	}
	for name, s := range map[string]optics.Stack{
		"empty": {}, "negative gap": {{Element: good, GapAfterMM: -1}, {Element: good}}, "infinite gap": {{Element: good, GapAfterMM: math.Inf(1)}, {Element: good}},
		"impossible second": {{Element: good}, {Element: optics.Element{}}},
	} {
		if _, err := s.Cardinal(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v, want Invalid with a hint", name, err)
		}
	}
}
