package optics

import (
	"fmt"
	"math"
)

// Ray is a point on a ray and its direction cosines; light travels to larger z,
// so N is positive. Lengths are in mm. Before a trace Z counts from the first
// vertex of the system, after it from the last.
type Ray struct {
	X, Y, Z float64
	L, M, N float64
}

// RayAt returns the ray through a point with the given slopes dx/dz and dy/dz.
func RayAt(x, y, z, slopeX, slopeY float64) Ray {
	n := 1 / math.Sqrt(1+slopeX*slopeX+slopeY*slopeY)
	return Ray{x, y, z, slopeX * n, slopeY * n, n}
}

// At returns where the ray meets the plane at zMM.
func (r Ray) At(zMM float64) (x, y float64) {
	p := (zMM - r.Z) / r.N
	return r.X + p*r.L, r.Y + p*r.M
}

// Fate says how a trace ended.
type Fate uint8

// The fates of a ray.
const (
	Passed    Fate = iota // through every surface
	Missed                // a surface does not reach the ray, or the ray no longer goes forward
	Reflected             // totally reflected where it should have been refracted
	Vignetted             // outside a clear aperture
	Crossed               // a surface lies before the one in front of it at the ray's height
)

// String returns the fate in words.
func (f Fate) String() string {
	names := [...]string{"passed", "missed", "totally reflected", "stopped by the clear aperture", "surfaces cross"}
	if int(f) >= len(names) {
		return fmt.Sprintf("fate %d", f)
	}
	return names[f]
}

// Outcome is the fate of a ray, and the surface that decided it, counted from 0;
// for a ray that passed, the number of surfaces.
type Outcome struct {
	Fate    Fate
	Surface int32
}

// kinds of faces.
const (
	refracting = iota
	reflecting
	ideal
)

// face is a surface with what a trace needs of it.
type face struct {
	before    float64 // distance from the vertex in front, mm
	c         float64 // curvature, 1/mm
	mu        float64 // index before over index behind
	power     float64 // ideal thin lens: 1/f
	clear2    float64 // clear semi-aperture squared
	backwards float64 // least distance a ray may travel from the surface in front
	kind      uint8
}

// System is a stack ready for exact tracing. It does not change, so any number
// of goroutines may trace through one.
//
// Spheres and planes refract and reflect by Feder's form (J. Opt. Soc. Am. 41,
// 630 (1951)): the ray is moved to the vertex plane first, so that the near
// root is the surface and not the far side of its sphere. A thin lens has no
// surfaces to refract at; an exact ray is turned by
//
//	tan(x)' = tan(x) - x/f,  tan(y)' = tan(y) - y/f
//
// in its plane, which images every point of every plane without aberration and
// agrees with the paraxial lens. It flatters: a real lens in its place would
// blur, and no lens keeps tangents and the sine condition at once.
type System struct {
	faces    []face
	labels   []string
	lengthMM float64
}

// Compile returns the stack ready for exact tracing. That it can be built is
// CheckFit's business; a ray on which surfaces cross ends as Crossed.
// Faults as Validate.
func (s Stack) Compile() (*System, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	return s.compile(), nil
}

func (s Stack) compile() *System {
	list := s.surfaces()
	sys := &System{faces: make([]face, len(list)), labels: make([]string, len(list)), lengthMM: s.LengthMM()}
	before, backwards := 0.0, math.Inf(-1)
	for i, f := range list {
		out := face{before: before, c: curvature(f.radiusMM), mu: f.before / f.after, clear2: f.semiApertureMM * f.semiApertureMM, backwards: backwards}
		switch {
		case f.mirror:
			out.kind = reflecting
		case f.thinFocalMM != 0:
			out.kind, out.power = ideal, 1/f.thinFocalMM
		}
		sys.faces[i], sys.labels[i] = out, f.label
		before, backwards = f.distanceAfterMM, -touching
	}
	return sys
}

// withoutApertures returns the system with every surface clear to infinity.
func (s *System) withoutApertures() *System {
	open := *s
	open.faces = make([]face, len(s.faces))
	for i, f := range s.faces {
		f.clear2 = math.Inf(1)
		open.faces[i] = f
	}
	return &open
}

// Surfaces returns the number of surfaces.
func (s *System) Surfaces() int { return len(s.faces) }

// Label returns what messages call surface k, counted from 0.
func (s *System) Label(k int) string { return s.labels[k] }

// Describe returns the outcome in words, for example "missed lens 2, surface 1".
func (s *System) Describe(o Outcome) string {
	if o.Fate == Passed {
		return Passed.String()
	}
	label := s.labels[o.Surface]
	switch o.Fate {
	case Missed:
		return "missed " + label
	case Vignetted:
		return "stopped by the clear aperture of " + label
	case Crossed:
		return label + " lies before the surface in front of it"
	}
	return o.Fate.String() + " at " + label
}

// Trace sends one ray through the system. A ray that does not pass is returned
// as it was in front of the surface that ended it, seen from the vertex before.
func (s *System) Trace(r Ray) (Ray, Outcome) {
	for k := range s.faces {
		if fate := s.faces[k].meet(&r); fate != Passed {
			return r, Outcome{fate, int32(k)}
		}
	}
	return r, Outcome{Passed, int32(len(s.faces))}
}

// block is how many rays go through a surface before the next surface's turn:
// few enough to stay in the nearest cache, and each independent of the others,
// so that the processor works on several at once.
const block = 64

// TraceAll sends every ray through the system in place, writes each one's
// outcome, and returns how many passed. It does not allocate.
// It panics when outcomes is shorter than rays.
func (s *System) TraceAll(rays []Ray, outcomes []Outcome) (passed int) {
	outcomes = outcomes[:len(rays)]
	for start := 0; start < len(rays); start += block {
		end := min(start+block, len(rays))
		passed += s.traceBlock(rays[start:end], outcomes[start:end])
	}
	return passed
}

func (s *System) traceBlock(rays []Ray, outcomes []Outcome) (passed int) {
	outcomes = outcomes[:len(rays)]
	for i := range outcomes {
		outcomes[i] = Outcome{Passed, int32(len(s.faces))}
	}
	passed = len(rays)
	for k := range s.faces {
		f := &s.faces[k]
		for i := range rays {
			if outcomes[i].Fate != Passed {
				continue
			}
			if fate := f.meet(&rays[i]); fate != Passed {
				outcomes[i] = Outcome{fate, int32(k)}
				passed--
			}
		}
	}
	return passed
}

// meet moves a ray to the face and turns it. It leaves the ray alone unless it
// passes.
func (f *face) meet(r *Ray) Fate {
	l, m, n := r.L, r.M, r.N
	if !(n > 0) {
		return Missed
	}
	p := (f.before - r.Z) / n // to the vertex plane
	x, y := r.X+p*l, r.Y+p*m
	if f.kind == ideal {
		return f.turn(r, x, y, p)
	}
	c := f.c
	g := n - c*(x*l+y*m)
	q := c * (x*x + y*y)
	under := g*g - c*q
	if !(under >= 0 && g > 0) {
		return Missed
	}
	cosI := math.Sqrt(under)
	along := q / (g + cosI) // from the vertex plane to the surface
	x, y = x+along*l, y+along*m
	z := along * n
	if c*z >= 1 { // beyond the sphere's equator
		return Missed
	}
	if !(x*x+y*y <= f.clear2) {
		return Vignetted
	}
	if p+along < f.backwards {
		return Crossed
	}
	if f.kind == reflecting {
		*r = Ray{x, y, -z, l + 2*cosI*c*x, m + 2*cosI*c*y, -n - 2*cosI*(c*z-1)}
		return Passed
	}
	mu := f.mu
	cos2 := 1 - mu*mu*(1-under)
	if cos2 < 0 {
		return Reflected
	}
	turn := mu*cosI - math.Sqrt(cos2)
	*r = Ray{x, y, z, mu*l + turn*c*x, mu*m + turn*c*y, mu*n + turn*(c*z-1)}
	return Passed
}

// turn is meet for an ideal thin lens.
func (f *face) turn(r *Ray, x, y, p float64) Fate {
	if !(x*x+y*y <= f.clear2) {
		return Vignetted
	}
	if p < f.backwards {
		return Crossed
	}
	*r = RayAt(x, y, 0, r.L/r.N-x*f.power, r.M/r.N-y*f.power)
	return Passed
}
