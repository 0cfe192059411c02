package plan

import "math"

// marginal is the paraxial marginal ray on its way from the camera, with the sum of
// the third-order spherical aberration so far.
type marginal struct {
	y, u float64 // height and slope behind the lens
	sum  float64 // Seidel's S I of the surfaces so far, in mm
	cut  float64 // share of the pupil's radius that the clear apertures leave
}

// glass is a lens as the marginal ray meets it, camera side first. A thin lens has
// its power alone and no aberration.
type glass struct {
	power        float64 // of a thin lens
	n, thickness float64
	c1, c2       float64 // curvatures in the direction of the ray
	semi1, semi2 float64 // clear semi-apertures, +Inf where not stated
}

// through carries the ray over a gap and through the lens:
//
//	S I = -sum A² y (u'/n' - u/n),  A = n (u + y c)
//
// (W. T. Welford, Aberrations of Optical Systems, ch. 8; from memory, checked
// against exact rays).
func (g *glass) through(m marginal, gap float64) marginal {
	m.y += gap * m.u
	m.clip(g.semi1)
	if g.n == 0 {
		m.u -= m.y * g.power
		return m
	}
	a := m.u + m.y*g.c1
	inside := (m.u - m.y*g.c1*(g.n-1)) / g.n
	m.sum -= a * a * m.y * (inside/g.n - m.u)
	m.y += g.thickness * inside
	m.clip(g.semi2)
	a = g.n * (inside + m.y*g.c2)
	m.u = g.n*inside + m.y*g.c2*(g.n-1)
	m.sum -= a * a * m.y * (m.u - inside/g.n)
	return m
}

func (m *marginal) clip(semi float64) {
	if y := math.Abs(m.y); y*m.cut > semi {
		m.cut = semi / y
	}
}

// rmsUM is the rms radius of the blur at best focus that third order gives. The
// transverse aberration at the paraxial focus is S/(2u) at the rim of the pupil and
// goes with the cube of the radius; at best focus its rms over the pupil is a sixth
// of that.
func (m *marginal) rmsUM() float64 {
	return 1000 * math.Abs(m.sum/(2*m.u)) / 6 * m.cut * m.cut * m.cut
}

// trust is the share of the third-order blur that higher orders are believed to
// leave at least: a stack is not traced whose bar with so little blur is already
// wider than another's, or than wished by far.
const trust = 0.6

// hopeless reports whether third order says that tracing the stack is in vain.
func (c *screener) hopeless(level int, pixel float64, good *bucket) bool {
	for ; c.summed <= level; c.summed++ {
		k := c.summed
		if k == 0 {
			start := marginal{y: c.pupilMM, u: -c.pupilMM / c.Camera.FocusMM, cut: 1}
			c.marginals[0] = c.variants[c.chosen[0]].glass.through(start, c.LastGapsMM[c.gapIndex[0]])
			continue
		}
		c.marginals[k] = c.variants[c.chosen[k]].glass.through(c.marginals[k-1], c.GapsMM[c.gapIndex[k]])
	}
	m := &c.marginals[level]
	bar := c.combined(pixel, math.Abs(m.u)*m.cut, trust*m.rmsUM())
	return good.set == c.set && good.best.barUM*(1-alike) <= bar || c.wishes.ResolveUM > 0 && bar > c.wishes.ResolveUM*(1+2*Margin)
}
