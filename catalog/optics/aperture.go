package optics

import "math"

// aperture is the pupil as the specimen sees it: the directions, as cosines
// along x and y, in which light from a point reaches the camera's pupil through
// every clear aperture. Bars of frequency f diffract by wavelength times f in
// these cosines, so the overlap of the aperture with itself, moved by that much,
// is what an aberration-free system keeps of them.
type aperture struct {
	forward    *System
	x, y, z    float64 // the specimen's point, before the first vertex
	standoffMM float64
	pupilMM    float64
}

func (a *aperture) passes(l, m float64) bool {
	n2 := 1 - l*l - m*m
	if n2 <= 0 {
		return false
	}
	r, outcome := a.forward.Trace(Ray{a.x, a.y, a.z, l, m, math.Sqrt(n2)})
	if outcome.Fate != Passed || !(r.N > 0) {
		return false
	}
	x, y := r.At(a.standoffMM)
	return x*x+y*y <= a.pupilMM*a.pupilMM
}

// window is a rectangle of directions around the aperture.
type window struct{ lowL, highL, lowM, highM float64 }

// strip is the part of one line of directions within the aperture.
type strip struct {
	weight float64
	spans  [][2]float64
}

const (
	stripLines   = 24 // lines across the aperture
	stripSamples = 32 // directions looked at along a line
	stripHalves  = 18 // halvings to find an edge between two of them
)

// strips cuts the aperture into lines along m (tangential) or along l. Lines lie
// at equal steps of angle on a circle, which integrates round shapes exactly.
func (a *aperture) strips(w window, tangential bool) []strip {
	across, along := [2]float64{w.lowL, w.highL}, [2]float64{w.lowM, w.highM}
	inside := a.passes
	if !tangential {
		across, along = along, across
		inside = func(l, m float64) bool { return a.passes(m, l) }
	}
	middle, half := (across[0]+across[1])/2, (across[1]-across[0])/2
	margin := 0.05 * (along[1] - along[0])
	low, step := along[0]-margin, (along[1]-along[0]+2*margin)/stripSamples
	list := make([]strip, stripLines)
	for i := range list {
		sin, cos := math.Sincos(math.Pi * ((float64(i)+0.5)/stripLines - 0.5))
		at := middle + half*sin
		list[i].weight = cos
		was, start := false, 0.0
		for k := 0; k <= stripSamples+1; k++ {
			v := low + step*float64(k)
			is := k <= stripSamples && inside(at, v)
			if is != was {
				edge := findEdge(v-step, v, was, func(u float64) bool { return inside(at, u) })
				if is {
					start = edge
				} else {
					list[i].spans = append(list[i].spans, [2]float64{start, edge})
				}
			}
			was = is
		}
	}
	return list
}

// findEdge halves the way between a direction where inside is was, and one
// where it is not.
func findEdge(a, b float64, was bool, inside func(float64) bool) float64 {
	for range stripHalves {
		if mid := (a + b) / 2; inside(mid) == was {
			a = mid
		} else {
			b = mid
		}
	}
	return (a + b) / 2
}

// overlap is the share of the aperture common to itself moved by shift.
func overlap(list []strip, shift float64) float64 {
	common, whole := 0.0, 0.0
	for _, s := range list {
		for _, p := range s.spans {
			whole += s.weight * (p[1] - p[0])
			for _, q := range s.spans {
				common += s.weight * max(0, min(p[1], q[1]+shift)-max(p[0], q[0]+shift))
			}
		}
	}
	if whole == 0 {
		return 0
	}
	return common / whole
}

// width is the greatest shift at which the aperture still overlaps itself.
func width(list []strip) float64 {
	widest := 0.0
	for _, s := range list {
		if n := len(s.spans); n > 0 {
			widest = max(widest, s.spans[n-1][1]-s.spans[0][0])
		}
	}
	return widest
}

// outline goes round the edge of the beam that passes, and returns the window of
// directions it leaves for the specimen in, as light comes from there, and the
// middle of where it meets the plane at workingMM. ok is false when nothing
// passes.
func (w *sceneWave) outline(heightMM, workingMM float64, spots []spot) (out window, x, y float64, ok bool) {
	if len(spots) == 0 {
		return window{}, 0, 0, false
	}
	out = window{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	take := func(l, m float64) {
		out.lowL, out.highL = min(out.lowL, l), max(out.highL, l)
		out.lowM, out.highM = min(out.lowM, m), max(out.highM, m)
	}
	for _, s := range spots {
		n := 1 / math.Sqrt(1+s.tx*s.tx+s.ty*s.ty)
		take(-s.tx*n, -s.ty*n)
		x, y = x+s.x/float64(len(spots)), y+s.y/float64(len(spots))
	}
	const directions, steps = 64, 16
	for k := range directions {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / directions)
		try := func(r float64) (Ray, bool) {
			ray, outcome := w.back.Trace(w.ray(0, heightMM, r*cos*w.pupilMM, r*sin*w.pupilMM))
			return ray, outcome.Fate == Passed
		}
		for i := steps; i > 0; i-- {
			r := float64(i) / steps
			ray, passes := try(r)
			if !passes {
				continue
			}
			if i < steps {
				r = findEdge(r, r+1.0/steps, true, func(v float64) bool { _, p := try(v); return p })
				if nearer, p := try(r - 1e-6); p {
					ray = nearer
				}
			}
			take(-ray.L, -ray.M)
			break
		}
	}
	return out, x, y, true
}
