package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// view is an attachment seen backwards, from its camera to the specimen.
//
// The camera is an ideal thin lens with its pupil at the lens, so every ray that
// reaches a point of the array is known where it crosses the pupil: it left the
// pupil as if from the point's image in the plane the camera is focused at.
// Tracing from there needs no aiming, finds the specimen's point by itself, and
// a bundle that fills the pupil evenly is the light the array's point receives
// from an evenly radiating specimen (radiance is kept along a ray). Forward
// tracing would have to search for the pupil through every aberration.
type view struct {
	back       *System // camera side first
	open       *System // the same without clear apertures
	standoffMM float64 // from the camera's lens to the stack
	perFocus   float64 // 1/U in 1/mm, 0 for infinity
	arrayMM    float64 // from the camera's lens to its array
	pupilMM    float64 // radius
}

// focusPlaneMM returns s'c, how far the array lies behind the camera's lens.
func (c Camera) focusPlaneMM() float64 { return 1 / (1/c.FocalMM - 1/c.FocusMM) }

// pupilRadiusMM is the radius of the camera's pupil.
func (c Camera) pupilRadiusMM() float64 { return c.FocalMM / c.FNumber / 2 }

// halfSizeMM is half the width and half the height of the array.
func (c Camera) halfSizeMM() (x, y float64) {
	return float64(c.Width) * c.PitchXUM / 2000, float64(c.Height) * c.PitchYUM / 2000
}

func (a Attachment) view() view {
	back := a.Stack.Flip().compile()
	for i, f := range a.Stack.surfaces() { // messages count from the specimen
		back.labels[len(back.labels)-1-i] = f.label
	}
	return view{
		back: back, open: back.withoutApertures(), standoffMM: a.StandoffMM, perFocus: 1 / a.Camera.FocusMM,
		arrayMM: a.Camera.focusPlaneMM(), pupilMM: a.Camera.pupilRadiusMM(),
	}
}

// ray leaves the pupil at (px, py) for the image of the array's point (x, y).
func (v view) ray(x, y, px, py float64) Ray {
	return RayAt(px, py, -v.standoffMM, -x/v.arrayMM-px*v.perFocus, -y/v.arrayMM-py*v.perFocus)
}

// point is a point of the unit disc.
type point struct{ x, y float64 }

// pupilPoints covers the unit disc with rings x spokes points of equal area,
// even about both axes. spokes is a multiple of 4.
func pupilPoints(rings, spokes int) []point {
	points := make([]point, 0, rings*spokes)
	for i := range rings {
		r := math.Sqrt((float64(i) + 0.5) / float64(rings))
		for k := range spokes {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / float64(spokes))
			points = append(points, point{r * cos, r * sin})
		}
	}
	return points
}

// spiral covers the unit disc with n points of equal area in no line with one
// another, each a golden section of a turn from the last, so that counting those
// inside an edge measures the area there (H. Vogel, Math. Biosci. 44, 179 (1979)).
func spiral(n int) []point {
	points := make([]point, n)
	for i := range points {
		r := math.Sqrt((float64(i) + 0.5) / float64(n))
		sin, cos := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
		points[i] = point{r * cos, r * sin}
	}
	return points
}

// marginal returns the steepest axial ray that passes, as it leaves for the
// specimen, and what stops the next one.
func (v view) marginal() (out Ray, stop string, err error) {
	const steps = 64
	try := func(r float64) (Ray, Outcome) { return v.back.Trace(v.ray(0, 0, 0, r*v.pupilMM)) }
	passes, fails, blocked := -1.0, 1.0, Outcome{}
	for i := 0; i <= steps; i++ {
		r := float64(i) / steps
		ray, outcome := try(r)
		if outcome.Fate != Passed {
			fails, blocked = r, outcome
			break
		}
		passes, out = r, ray
	}
	if passes == 1 {
		return out, StopCamera, nil
	}
	if passes < 0 {
		return Ray{}, "", fault.Invalidf("the ray along the axis does not pass: %s", v.back.Describe(blocked)).WithHint("check the lenses and gaps of the stack")
	}
	for range 48 {
		mid := (passes + fails) / 2
		if ray, outcome := try(mid); outcome.Fate == Passed {
			passes, out = mid, ray
		} else {
			fails, blocked = mid, outcome
		}
	}
	if blocked.Fate == Vignetted {
		return out, v.back.Label(int(blocked.Surface)), nil
	}
	return out, v.back.Describe(blocked), nil
}

// focusOf gathers where rays cross the axis: the distance from the stack's last
// vertex, backwards its first, at which the weighted mean square height of
// axial rays is least, which the heights and slopes give in closed form.
type focusOf struct{ weight, tt, xt, xx float64 }

// add takes a ray in by its height at zMM and its slopes.
func (f *focusOf) add(r Ray, zMM, weight float64) {
	x, y := r.At(zMM)
	tx, ty := r.L/r.N, r.M/r.N
	f.weight += weight
	f.tt += weight * (tx*tx + ty*ty)
	f.xt += weight * (x*tx + y*ty)
	f.xx += weight * (x*x + y*y)
}

// best returns the shift from zMM to the best focus, and the root mean square
// radius there.
func (f focusOf) best() (shiftMM, rmsMM float64) {
	if f.tt == 0 {
		return 0, 0
	}
	shiftMM = -f.xt / f.tt
	return shiftMM, math.Sqrt(max(0, (f.xx-f.xt*f.xt/f.tt)/f.weight))
}

// addAxial takes the bundle of the array's middle in.
func (v view) addAxial(f *focusOf, zMM, weight float64, points []point) {
	for _, p := range points {
		if r, o := v.back.Trace(v.ray(0, 0, p.x*v.pupilMM, p.y*v.pupilMM)); o.Fate == Passed {
			f.add(r, zMM, weight)
		}
	}
}
