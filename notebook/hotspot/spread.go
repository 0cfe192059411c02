package hotspot

import "math"

// surround is the local background of a frame and the pixels that it is made of.
type surround struct {
	level  []float64
	kept   []bool // pixels that do not stand out
	window int
}

// surrounding finds the background in windows of a quarter of the shorter side, at
// least 15 pixels.
func (g *ground) surrounding(d []float64) surround {
	s := surround{level: make([]float64, len(d)), window: min(max(15, min(g.width, g.height)/4), g.width, g.height)}
	plane, kept := g.plane(d, true)
	g.spread(kept)
	g.windows(d, s.level, mesh{window: s.window, plane: plane, kept: kept})
	s.kept = kept
	return s
}

// fewestQuiet is how many pixels tell the spread of a background, and quietShare
// which share of the frame they have to be: of less a spot may be the greater part.
const (
	fewestQuiet = 200
	quietShare  = 0.5
)

// widen takes the spread of the pixels about the local background for the noise
// where it is plainly greater than that of neighbours: stripes drop out of second
// differences, and noise that many pixels share shows little in them. Spots have no
// part in it, nor has what the local background follows.
func (g *ground) widen(d []float64, s surround) {
	if g.noise.From == NoiseNone {
		return
	}
	residual := make([]float64, len(d))
	for i, v := range d {
		residual[i] = v - s.level[i]
	}
	work := make([]float64, 0, len(d))
	sd := math.Min(quieterSide(residual, work), bends(residual, g.width, g.height, work))
	if sd <= g.noise.SD*scatters(len(d)) {
		return
	}
	quiet := 0
	for i, v := range residual {
		if math.Abs(v) <= clipSD*sd {
			quiet++
		} else {
			residual[i] = math.NaN()
		}
	}
	if quiet < fewestQuiet || float64(quiet) < quietShare*float64(countFinite(d)) {
		return
	}
	g.noise.SD, g.noise.From, g.noise.ReachPx = sd, NoiseSpread, s.window/2
	g.noise.CorrelatedPx = math.Max(1, sharing(residual, g.width, g.height, shared{sd, s.window / 2}, work))
}

// bendReach is how far apart pixels are compared to tell noise from the slopes of
// what is wide: pixels beyond it share little noise.
const bendReach = 10

// bends returns the standard deviation of a pixel by differences 1 -2 1, whose
// variance is 6, along rows or along columns, whichever is more: stripes of one
// direction are in it, and the slopes of wide spots are not.
func bends(v []float64, width, height int, work []float64) float64 {
	reach := max(1, min(bendReach, min(width, height)/6))
	most := 0.0
	for _, step := range [...]int{1, width} {
		work = work[:0]
		for i, mid := range v {
			at, count := i%width, width
			if step == width {
				at, count = i/width, height
			}
			if at < reach || at >= count-reach {
				continue
			}
			if d := v[i-reach*step] - 2*mid + v[i+reach*step]; d == d {
				work = append(work, math.Abs(d))
			}
		}
		most = math.Max(most, madToSD*middle(work)/math.Sqrt(6))
	}
	return most
}

// quieterSide returns the standard deviation of values about their middle. Where
// those below it and those above plainly differ, the less counts, since hot spots are
// on the one side and cold ones on the other. What lies farther off than clipSD of it
// takes no part.
func quieterSide(v, work []float64) float64 {
	const rounds, alike = 20, 1.2
	centre, limit := 0.0, math.Inf(1)
	side := func(sign float64) float64 {
		work = work[:0]
		for _, x := range v {
			if r := sign * (x - centre); r >= 0 && r <= limit {
				work = append(work, r)
			}
		}
		return madToSD * middle(work)
	}
	sd := 0.0
	for range rounds {
		work = work[:0]
		for _, x := range v {
			if math.Abs(x-centre) <= limit {
				work = append(work, x)
			}
		}
		centre = middle(work)
		before := sd
		below, above := side(-1), side(1)
		if sd = math.Min(below, above); math.Max(below, above) <= alike*sd {
			sd = (below + above) / 2
		}
		if math.Abs(sd-before) <= 1e-3*before {
			break
		}
		limit = clipSD * sd
	}
	return sd
}

// scatters is the ratio of two estimates of one noise that is no difference: less
// than 4 times what a median of so many pixels itself scatters by.
func scatters(n int) float64 { return 1 + math.Max(0.05, 6/math.Sqrt(float64(n))) }
