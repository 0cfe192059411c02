package optics

import (
	"math"
	"testing"
)

// TestPath follows a skew ray through thick lenses and a mirror: every point must
// lie on its sphere, placed by hand, and the end must be Trace's.
func TestPath(t *testing.T) {
	t.Parallel()
	stack := Stack{
		{Element: Element{N: 4, Radius1MM: 60, Radius2MM: -90, ThicknessMM: 3}, GapAfterMM: 5},
		{Element: Element{N: 2.4, Radius2MM: 40, ThicknessMM: 2}, GapAfterMM: 12},
		{Element: Mirror(-100, 0.9)},
	}
	sys, err := stack.Compile()
	if err != nil {
		t.Fatal(err)
	}
	in := RayAt(1, 2, -20, 0.02, -0.05)
	points, out, outcome := sys.Path(in)
	want, wantOutcome := sys.Trace(in)
	if out != want || outcome != wantOutcome {
		t.Fatalf("Path ends as %v, %v, want Trace's %v, %v", out, outcome, want, wantOutcome)
	}
	spheres := []struct{ vertex, radius float64 }{{0, 60}, {3, -90}, {8, 0}, {10, 40}, {22, -100}, {22, 100}}
	if len(points) != len(spheres) {
		t.Fatalf("%d points, want %d", len(points), len(spheres))
	}
	for i, s := range spheres {
		p := points[i]
		off := p.ZMM - s.vertex
		if s.radius != 0 {
			off = math.Hypot(math.Hypot(p.XMM, p.YMM), p.ZMM-s.vertex-s.radius) - math.Abs(s.radius)
		}
		if math.Abs(off) > 1e-12 {
			t.Errorf("point %d lies %g mm off its surface", i, off)
		}
	}
	if x, y := in.At(points[0].ZMM); math.Hypot(x-points[0].XMM, y-points[0].YMM) > 1e-12 {
		t.Errorf("the first point is not on the ray that came in")
	}
}

// TestAttachmentPath checks the ends of a ray against thin-lens formulas by hand:
// a lens of 25 mm 5 mm before a camera of 5 mm focused at infinity has its
// specimen at 25 mm and a magnification of -5/25.
func TestAttachmentPath(t *testing.T) {
	t.Parallel()
	a := Attachment{
		Stack:      Stack{{Element: Thin(25)}},
		Camera:     Camera{FocalMM: 5, FNumber: 2, PitchXUM: 12, PitchYUM: 12, Width: 100, Height: 80, FocusMM: math.Inf(1)},
		StandoffMM: 5, WavelengthUM: 10,
	}
	path, outcome := a.Path(ArrayRay{DetectorXMM: 0.3, DetectorYMM: -0.4, PupilX: 0.5, PupilY: -1}, 25)
	want := []PathPoint{
		{-1.5, 2, -25},
		{0.625 - 0.3, -1.25 + 0.4, 0}, // from the pupil's point 5 mm back along the slopes -0.3/5 and 0.4/5
		{0.625, -1.25, 5},
		{0.3, -0.4, 10},
	}
	if outcome != "passed" || len(path) != len(want) {
		t.Fatalf("Path = %v, %q", path, outcome)
	}
	for i, w := range want {
		p := path[i]
		if math.Abs(p.XMM-w.XMM)+math.Abs(p.YMM-w.YMM)+math.Abs(p.ZMM-w.ZMM) > 1e-12 {
			t.Errorf("point %d = %v, want %v", i, p, w)
		}
	}
	a.Stack[0].Element.DiameterMM = 1
	if path, outcome := a.Path(ArrayRay{PupilY: 1}, 25); path != nil || outcome != "stopped by the clear aperture of lens 1" {
		t.Errorf("a ray outside the lens = %v, %q", path, outcome)
	}
}
