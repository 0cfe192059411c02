package optics

// PathPoint is a point on the way of a ray through the unfolded stack.
type PathPoint struct {
	XMM float64
	YMM float64
	ZMM float64 // from the first vertex, positive the way light goes
}

// ArrayRay names a ray by its end: a point of the camera's array, and where it
// crosses the camera's pupil, as shares of the pupil's radius.
type ArrayRay struct {
	DetectorXMM, DetectorYMM float64
	PupilX, PupilY           float64
}

// Path is Trace that keeps the point where the ray meets each surface. A curved
// mirror has two, since unfolding turns its sagitta round: where the ray comes
// in, and where it leaves. Of a ray that does not pass, the points it reached.
func (s *System) Path(r Ray) ([]PathPoint, Ray, Outcome) {
	points := make([]PathPoint, 0, len(s.faces)+2)
	vertex := 0.0
	for k := range s.faces {
		f := &s.faces[k]
		if fate := f.meet(&r); fate != Passed {
			return points, r, Outcome{fate, int32(k)}
		}
		vertex += f.before
		if f.kind == reflecting && r.Z != 0 {
			points = append(points, PathPoint{r.X, r.Y, vertex - r.Z})
		}
		points = append(points, PathPoint{r.X, r.Y, vertex + r.Z})
	}
	return points, r, Outcome{Passed, int32(len(s.faces))}
}

// Path returns the way of a ray from the specimen, a plane workingMM before the
// first vertex, through the stack and the middle plane of the camera's lens to
// its array; nil where it does not pass. outcome says why, in words. The
// attachment must be valid.
func (a Attachment) Path(q ArrayRay, workingMM float64) (path []PathPoint, outcome string) {
	v := a.view()
	px, py := q.PupilX*v.pupilMM, q.PupilY*v.pupilMM
	back, r, o := v.back.Path(v.ray(q.DetectorXMM, q.DetectorYMM, px, py))
	if o.Fate != Passed {
		return nil, v.back.Describe(o)
	}
	x, y := r.At(workingMM)
	path = append(path, PathPoint{x, y, -workingMM})
	length := a.Stack.LengthMM()
	for i := len(back) - 1; i >= 0; i-- {
		path = append(path, PathPoint{back[i].XMM, back[i].YMM, length - back[i].ZMM})
	}
	lens := length + a.StandoffMM
	return append(path, PathPoint{px, py, lens}, PathPoint{q.DetectorXMM, q.DetectorYMM, lens + v.arrayMM}), o.Fate.String()
}

// FocusPlaneMM is how far the array lies behind the camera's lens, 1/(1/f - 1/U).
func (c Camera) FocusPlaneMM() float64 { return c.focusPlaneMM() }

// SagittaMM is how far a sphere lies behind its vertex at a height from the
// axis, R - sqrt(R² - h²) for a positive radius; 0 for a plane, which is a radius
// of 0 or infinity. The height is at most the size of the radius.
func SagittaMM(radiusMM, heightMM float64) float64 { return sag(radiusMM, heightMM) }
