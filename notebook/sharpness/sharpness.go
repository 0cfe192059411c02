// Package sharpness measures scale and resolution on frames of artefacts of known
// shape: a slanted edge, a thin wire, bars, two marks at a known distance, a
// pattern of known pitch.
//
// What is measured is the whole chain: optics, defocus, the footprint of a pixel
// and whatever the camera does to its numbers. Nothing is divided out but what the
// evaluation itself adds, so that a modulation measured here is to be compared
// with a prediction that holds the pixel's footprint as well. Lengths are in
// pixels of the frame and across the edge or wire; frequencies are in cycles per
// pixel, also across it. Columns and rows count from 0 at the top left, whole
// numbers in the middle of a pixel.
package sharpness

import (
	"math"
	"slices"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// DefaultContrast is the modulation that what counts as resolved must keep.
const DefaultContrast = 0.2

// oversampling is how many steps of a profile make up a pixel.
const oversampling = 4

// step is one step of a profile, in pixels.
const step = 1.0 / oversampling

// smallestSide is the least number of columns and rows an edge or a wire is
// looked for in.
const smallestSide = 12

// field is a frame turned so that an edge or a wire runs nearer to its columns
// than to its rows.
type field struct {
	w, h   int
	v      []float64
	turned bool // columns and rows are exchanged
}

// fieldOf checks a frame and turns it. what names the thing to be found.
func fieldOf(f frame.Frame, what string) (field, error) {
	g := field{w: f.Width, h: f.Height, v: f.Pixels}
	if g.w < smallestSide || g.h < smallestSide {
		return g, fault.Invalidf("%s cannot be looked for in %d x %d pixels", what, g.w, g.h).WithHint("give a part of at least %d x %d pixels", smallestSide, smallestSide)
	}
	s := f.Stats()
	if s.MissingCount*2 > len(f.Pixels) {
		return g, fault.Invalidf("%d of %d pixels are missing", s.MissingCount, len(f.Pixels)).WithHint("crop to a part without them, or repair them first with --bad 6")
	}
	if s.SaturatedCount > 0 {
		return g, fault.Invalidf("%d pixels are saturated, so the profile is cut off", s.SaturatedCount).WithHint("lower the contrast of the artefact or the gain of the camera and take the frame again; or crop to a part without them")
	}
	if s.Max-s.Min <= 1e-9*max(math.Abs(s.Max), math.Abs(s.Min)) {
		return g, fault.Invalidf("the field is flat: there is no %s in it", strings.TrimPrefix(strings.TrimPrefix(what, "an "), "a ")).WithHint("check the frame with dieglow frame show, and that --crop holds the artefact")
	}
	if g.steeperDown() {
		return g.turn(), nil
	}
	return g, nil
}

// turn exchanges columns and rows.
func (g field) turn() field {
	t := field{w: g.h, h: g.w, v: make([]float64, len(g.v)), turned: !g.turned}
	for y := range g.h {
		for x, v := range g.v[y*g.w : (y+1)*g.w] {
			t.v[x*t.w+y] = v
		}
	}
	return t
}

// steeperDown reports whether values change more from row to row than from column
// to column. Means of blocks are compared, which noise moves less than pixels.
func (g field) steeperDown() bool {
	b := max(1, min(g.w, g.h)/24)
	nx, ny := g.w/b, g.h/b
	means := make([]float64, nx*ny)
	for y := range ny {
		for x := range nx {
			means[y*nx+x] = g.mean(x*b, y*b, b)
		}
	}
	var across, down float64
	add := func(sum *float64, a, b float64) {
		if d := a - b; !math.IsNaN(d) {
			*sum += d * d
		}
	}
	for y := range ny {
		for x := range nx {
			if x > 0 {
				add(&across, means[y*nx+x], means[y*nx+x-1])
			}
			if y > 0 {
				add(&down, means[y*nx+x], means[(y-1)*nx+x])
			}
		}
	}
	return down > across
}

// mean is the mean of the pixels of a block that are there, NaN without any.
func (g field) mean(x0, y0, b int) float64 {
	sum, n := 0.0, 0
	for y := y0; y < y0+b; y++ {
		for _, v := range g.v[y*g.w+x0 : y*g.w+x0+b] {
			if !math.IsNaN(v) {
				sum += v
				n++
			}
		}
	}
	return sum / float64(n)
}

// axis names the pixel axis that an edge or a wire in the field is nearest to.
func (g field) axis() string {
	if g.turned {
		return "rows"
	}
	return "columns"
}

// crossing names the lines of pixels that cross the edge or wire.
func (g field) crossing() string {
	if g.turned {
		return "columns"
	}
	return "rows"
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}
