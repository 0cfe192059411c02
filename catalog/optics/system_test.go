package optics_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"dieglow/catalog/optics"
)

func compiled(t *testing.T, s optics.Stack) *optics.System {
	t.Helper()
	sys, err := s.Compile()
	if err != nil {
		t.Fatal(err)
	}
	return sys
}

// bundle is rays from about a plane 10 mm before the stack.
func bundle(n int, height, slope float64) []optics.Ray {
	random := rand.New(rand.NewPCG(3, 4))
	rays := make([]optics.Ray, n)
	for i := range rays {
		rays[i] = optics.RayAt(height*random.NormFloat64(), height*random.NormFloat64(), -10, slope*random.NormFloat64(), slope*random.NormFloat64())
	}
	return rays
}

func TestSingleSurfaceByHand(t *testing.T) {
	t.Parallel()
	// A ray at height h parallel to the axis meets a sphere of radius R at sin I = h/R; behind it sin I' = sin I/n, and it
	// turns by I - I'. The plane behind then refracts sin U' = n sin(I - I'). Trigonometry, by hand.
	const n, radius, thickness, h = 4.0, 30.0, 3.0, 6.0
	i := math.Asin(h / radius)
	turn := i - math.Asin(math.Sin(i)/n)
	sag := radius - math.Sqrt(radius*radius-h*h)
	y := h - (thickness-sag)*math.Tan(turn)
	slope := -math.Tan(math.Asin(n * math.Sin(turn)))
	rays, err := one(thick(n, radius, 0, thickness)).ParallelRays([]float64{h, -h, 0})
	if err != nil {
		t.Fatal(err)
	}
	if r := rays[0]; r.Outcome != "passed" || !within(*r.SlopeOut, slope, 1e-13) || !within(*r.AxisCrossingMM, -y/slope, 1e-13) {
		t.Errorf("slope %v, crossing %v, want %v, %v", *r.SlopeOut, *r.AxisCrossingMM, slope, -y/slope)
	}
	if r := rays[1]; !within(*r.SlopeOut, -slope, 1e-13) || !within(*r.AxisCrossingMM, -y/slope, 1e-13) {
		t.Errorf("below the axis: %v, %v, want the same crossing", *r.SlopeOut, *r.AxisCrossingMM)
	}
	if r := rays[2]; *r.SlopeOut != 0 || r.AxisCrossingMM != nil {
		t.Errorf("along the axis: %+v, want no crossing", r)
	}
}

func TestSnellAtEverySurface(t *testing.T) {
	t.Parallel()
	// Snell's law itself: n sin I = n' sin I' with both rays and the normal in one plane, for every surface and many skew rays,
	// checked on stacks that end at the surface.
	for name, s := range stacks() {
		for k, m := range s {
			if m.Element.IsThin() {
				continue
			}
			e := m.Element
			for _, r := range bundle(200, 2, 0.2) {
				sys := compiled(t, one(e))
				out, outcome := sys.Trace(r)
				if outcome.Fate != optics.Passed {
					continue
				}
				inside := innerRay(r, e)
				checkSnell(t, name, k, r, inside, 1, e.N, e.Radius1MM, [3]float64{inside.X, inside.Y, inside.Z})
				checkSnell(t, name, k, inside, out, e.N, 1, e.Radius2MM, [3]float64{out.X, out.Y, out.Z})
			}
		}
	}
}

// innerRay is the ray inside a lens, from where it enters, found without the
// package: Newton's method for the surface and Snell's law as vectors.
func innerRay(r optics.Ray, e optics.Element) optics.Ray {
	c := 0.0
	if e.Radius1MM != 0 && !math.IsInf(e.Radius1MM, 0) {
		c = 1 / e.Radius1MM
	}
	p := -r.Z / r.N
	var x, y, z float64
	for range 60 {
		x, y, z = r.X+p*r.L, r.Y+p*r.M, r.Z+p*r.N
		f := z - c*(x*x+y*y+z*z)/2
		p -= f / (r.N - c*(x*r.L+y*r.M+z*r.N))
	}
	nx, ny, nz := -c*x, -c*y, 1-c*z // unit normal along the light
	cosI := r.L*nx + r.M*ny + r.N*nz
	mu := 1 / e.N
	turn := math.Sqrt(1-mu*mu*(1-cosI*cosI)) - mu*cosI
	return optics.Ray{X: x, Y: y, Z: z, L: mu*r.L + turn*nx, M: mu*r.M + turn*ny, N: mu*r.N + turn*nz}
}

func checkSnell(t *testing.T, name string, k int, before, after optics.Ray, n1, n2, radius float64, at [3]float64) {
	t.Helper()
	c := 0.0
	if radius != 0 && !math.IsInf(radius, 0) {
		c = 1 / radius
	}
	// n (normal x direction) is kept, which is both halves of Snell's law.
	normal := [3]float64{-c * at[0], -c * at[1], 1 - c*at[2]}
	cross := func(r optics.Ray) [3]float64 {
		return [3]float64{normal[1]*r.N - normal[2]*r.M, normal[2]*r.L - normal[0]*r.N, normal[0]*r.M - normal[1]*r.L}
	}
	a, b := cross(before), cross(after)
	for i := range a {
		if math.Abs(n1*a[i]-n2*b[i]) > 1e-11 {
			t.Errorf("%s, lens %d: n (N x D) = %v before, %v behind", name, k+1, a, b)
			return
		}
	}
	if length := after.L*after.L + after.M*after.M + after.N*after.N; math.Abs(length-1) > 1e-12 {
		t.Errorf("%s, lens %d: direction of length² %v", name, k+1, length)
	}
}

func TestExactTendsToParaxial(t *testing.T) {
	t.Parallel()
	for name, s := range stacks() {
		c := cardinal(t, s)
		previous := math.Inf(1)
		for _, h := range []float64{1, 0.1, 0.01} {
			rays, err := s.ParallelRays([]float64{h})
			if err != nil {
				t.Fatal(err)
			}
			off := math.Abs(*rays[0].AxisCrossingMM-c.BFLMM) / math.Abs(c.BFLMM)
			// The error falls with the square of the height.
			if off > 1e-11 && off > previous/90 {
				t.Errorf("%s: at %v mm the crossing is off by %v, at ten times the height by %v", name, h, off, previous)
			}
			previous = off
		}
		if previous > 1e-5 {
			t.Errorf("%s: at 0.01 mm still off by %v", name, previous)
		}
		// Skew rays against the matrix, in both planes at once.
		m, sys := s.Matrix(), compiled(t, s)
		for _, r := range bundle(50, 1e-4, 1e-5) {
			out, outcome := sys.Trace(r)
			x, y := r.At(0)
			u, v := r.L/r.N, r.M/r.N
			gotX, gotY := out.At(0)
			if outcome.Fate != optics.Passed || math.Abs(gotX-m.A*x-m.BMM*u) > 1e-9 || math.Abs(gotY-m.A*y-m.BMM*v) > 1e-9 ||
				math.Abs(out.L/out.N-m.CPerMM*x-m.D*u) > 1e-10 || math.Abs(out.M/out.N-m.CPerMM*y-m.D*v) > 1e-10 {
				t.Errorf("%s: %+v becomes %+v (%v), not as the matrix says", name, r, out, outcome)
			}
		}
	}
}

func TestReversedRay(t *testing.T) {
	t.Parallel()
	all := stacks()
	all["mirrors"] = optics.Stack{{Element: optics.Mirror(-90, 0.97), GapAfterMM: 30}, {Element: thick(4.003, 40, 60, 3), GapAfterMM: 12}, {Element: optics.Mirror(200, 0.9)}}
	for name, s := range all {
		there, back := compiled(t, s), compiled(t, s.Flip())
		for _, r := range bundle(200, 1.5, 0.08) {
			out, outcome := there.Trace(r)
			if outcome.Fate != optics.Passed {
				continue
			}
			// Turned round, the light goes back along its own path.
			in, outcome := back.Trace(optics.Ray{X: out.X, Y: out.Y, Z: -out.Z, L: -out.L, M: -out.M, N: out.N})
			x, y := in.At(10)
			if outcome.Fate != optics.Passed || math.Abs(x-r.X) > 1e-9 || math.Abs(y-r.Y) > 1e-9 || math.Abs(in.L+r.L) > 1e-11 || math.Abs(in.M+r.M) > 1e-11 {
				t.Fatalf("%s: %+v comes back as %+v (%v)", name, r, in, outcome)
			}
		}
	}
}

func TestWindowMovesRaysOnly(t *testing.T) {
	t.Parallel()
	// A plane-parallel plate keeps every direction and moves a ray by t tan I (1 - cos I/sqrt(n² - sin² I)), textbook.
	const n, thickness = 2.4, 5.0
	sys := compiled(t, one(thick(n, 0, 0, thickness)))
	for _, deg := range []float64{0, 10, 45, 80} {
		i := deg * math.Pi / 180
		out, _ := sys.Trace(optics.RayAt(0, 0, 0, 0, math.Tan(i)))
		_, y := out.At(0)
		want := thickness*math.Tan(i) - thickness*math.Tan(i)*(1-math.Cos(i)/math.Sqrt(n*n-math.Sin(i)*math.Sin(i)))
		if !within(out.M, math.Sin(i), 1e-13) || math.Abs(y-want) > 1e-12 {
			t.Errorf("at %v degrees: direction %v, height %v, want %v, %v", deg, out.M, y, math.Sin(i), want)
		}
	}
}

func TestFates(t *testing.T) {
	t.Parallel()
	ball := thick(1.5, 5, -5, 10)
	narrow := thick(4, 40, 60, 3)
	narrow.SemiAperture1MM, narrow.SemiAperture2MM = 4, 2
	total := optics.Stack{{Element: thick(4, 0, -8, 6)}}
	crossing := optics.Stack{{Element: thick(4, 0, -20, 3), GapAfterMM: 0}, {Element: thick(4, -10, 0, 3)}}
	thin := optics.Thin(20)
	thin.DiameterMM = 6
	tests := []struct {
		name  string
		stack optics.Stack
		y     float64
		want  string
	}{
		{"misses a ball", one(ball), 5.1, "missed lens 1, surface 1"},
		{"clear aperture of surface 1", one(narrow), 4.1, "stopped by the clear aperture of lens 1, surface 1"},
		{"clear aperture of surface 2", one(narrow), 2.5, "stopped by the clear aperture of lens 1, surface 2"},
		{"on the rim", one(narrow), 1, "passed"},
		{"total reflection", total, 2.1, "totally reflected at lens 1, surface 2"}, // sin I = 2.1/8 > 1/4
		{"just refracted", total, 1.9, "passed"},
		{"thin lens", one(thin), 3.01, "stopped by the clear aperture of lens 1"},
		{"surfaces cross", crossing, 1.5, "lens 2, surface 1 lies before the surface in front of it"},
		{"mirror", one(optics.Mirror(-8, 1)), 9, "missed mirror 1"},
	}
	for _, tt := range tests {
		sys := compiled(t, tt.stack)
		rays, outcomes := []optics.Ray{{Y: tt.y, N: 1}}, make([]optics.Outcome, 1)
		_, outcome := sys.Trace(rays[0])
		passed := sys.TraceAll(rays, outcomes)
		if got := sys.Describe(outcome); got != tt.want || outcomes[0] != outcome || (passed == 1) != (tt.want == "passed") {
			t.Errorf("%s: %q, in a bundle %v, want %q", tt.name, got, outcomes[0], tt.want)
		}
	}
	// Feder's near root: a ray that starts far before a ball meets its front, not its back.
	out, outcome := compiled(t, one(ball)).Trace(optics.Ray{Y: 1, Z: -1e4, N: 1})
	if outcome.Fate != optics.Passed || out.Z > 0 || out.Z < -0.2 {
		t.Errorf("through a ball: %+v, %v", out, outcome)
	}
	for _, r := range []optics.Ray{{Y: 1, M: 1}, {Y: 1, N: -1}, {Y: math.NaN(), N: 1}, {Y: math.Inf(1), N: 1}} {
		if _, outcome := compiled(t, one(ball)).Trace(r); outcome.Fate == optics.Passed {
			t.Errorf("%+v passes", r)
		}
	}
}

func TestThinLensKeepsEveryPoint(t *testing.T) {
	t.Parallel()
	// All rays of a point off the axis meet in its image, 1/s' = 1/f - 1/s, at -s'/s times its height.
	sys := compiled(t, one(optics.Thin(20)))
	for _, slope := range []float64{-0.7, -0.2, 0, 0.3, 0.9} {
		out, _ := sys.Trace(optics.RayAt(3, -4, -30, slope, 0.5*slope))
		if x, y := out.At(60); !within(x, -6, 1e-12) || !within(y, 8, 1e-12) {
			t.Errorf("slope %v: image at %v, %v, want -6, 8", slope, x, y)
		}
	}
}

func TestBlurOfSlowLensMatchesExactRays(t *testing.T) {
	t.Parallel()
	// The least circle of a thin slow lens, found from exact rays alone, against third order.
	for _, n := range []float64{1.5, 2.4, 3.4, 4} {
		best := optics.BestShape(n)
		for _, q := range []float64{-1, 0, 1, best} {
			const focal, fNumber = 1000.0, 100.0
			k := (q + 1) / 2
			radius := func(curvature float64) float64 {
				if math.Abs(curvature) < 1e-15 {
					return 0
				}
				return 1 / curvature
			}
			e := thick(n, radius(k/(focal*(n-1))), radius((k-1)/(focal*(n-1))), 0.03) // just thick enough for an edge
			h := focal / fNumber / 2
			var heights []float64
			for i := 1; i <= 200; i++ {
				heights = append(heights, h*float64(i)/200)
			}
			rays, err := one(e).ParallelRays(heights)
			if err != nil {
				t.Fatal(err)
			}
			blur := leastCircle(rays)
			if want := optics.BlurCoefficient(n, q) / (fNumber * fNumber * fNumber) * focal; !within(blur, want, 1e-3) {
				t.Errorf("n %v, q %v: blur %v mm, want K f/N³ = %v", n, q, blur, want)
			}
			// Longitudinal aberration against the vergence formula, both conjugates.
			last := rays[len(rays)-1]
			c := cardinal(t, one(e))
			if got, want := 1 / *last.AxisCrossingMM - 1/c.BFLMM, optics.SphericalVergencePerMM(n, q, -1, focal, h); !within(got, want, 1e-3) {
				t.Errorf("n %v, q %v: vergence %v, want %v", n, q, got, want)
			}
			image := conjugate(t, one(e), 2*focal)
			sys := compiled(t, one(e))
			out, _ := sys.Trace(optics.RayAt(0, 0, -2*focal, 0, h/(2*focal)))
			crossing := out.Z - out.Y*out.N/out.M
			if got, want := 1/crossing-1/image.ImageMM, optics.SphericalVergencePerMM(n, q, 0, focal, h); !within(got, want, 2e-3) {
				t.Errorf("n %v, q %v, 1:1: vergence %v, want %v", n, q, got, want)
			}
		}
	}
}

// leastCircle is the diameter of the smallest circle that holds all rays, and
// their mirror images below the axis.
func leastCircle(rays []optics.StackRay) float64 {
	size := func(z float64) float64 {
		widest := 0.0
		for _, r := range rays {
			widest = max(widest, math.Abs(*r.SlopeOut*(z-*r.AxisCrossingMM)))
		}
		return 2 * widest
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range rays {
		low, high = min(low, *r.AxisCrossingMM), max(high, *r.AxisCrossingMM)
	}
	for range 100 {
		a, b := low+(high-low)/3, high-(high-low)/3
		if size(a) < size(b) {
			high = b
		} else {
			low = a
		}
	}
	return size((low + high) / 2)
}
