package frame

import (
	"math"
	"strings"

	"dieglow/catalog/fault"
)

// Orientation is a turn or a mirroring of the picture. It moves pixels and
// changes no value, so noise stays as it is.
type Orientation int

// The orientations. Turns are clockwise as the frame is seen, row 0 at the top.
const (
	AsStored Orientation = iota
	Rotate90
	Rotate180
	Rotate270
	MirrorLeftRight // column 0 becomes the last
	MirrorTopBottom // row 0 becomes the last
)

func orientationNames() []string {
	return []string{"as-stored", "rotate-90", "rotate-180", "rotate-270", "mirror-left-right", "mirror-top-bottom"}
}

// String returns the orientation as ParseOrientation reads it.
func (o Orientation) String() string {
	names := orientationNames()
	if o < 0 || int(o) >= len(names) {
		return "unknown"
	}
	return names[o]
}

// ParseOrientation reads as-stored, rotate-90, rotate-180, rotate-270 (all
// clockwise), mirror-left-right or mirror-top-bottom. Fault Invalid otherwise.
func ParseOrientation(s string) (Orientation, error) {
	for i, name := range orientationNames() {
		if strings.EqualFold(strings.TrimSpace(s), name) {
			return Orientation(i), nil
		}
	}
	return AsStored, fault.Invalidf("%q is no orientation", s).WithHint("one of %s; turns are clockwise", strings.Join(orientationNames(), ", "))
}

// copyOf returns a frame of another size with room for its pixels and all else
// as in f.
func (f Frame) copyOf(width, height int) Frame {
	f.Width, f.Height = width, height
	f.Pixels = make([]float64, width*height)
	return f
}

// Orient returns the frame turned or mirrored.
func (f Frame) Orient(o Orientation) Frame {
	g := f.copyOf(f.Width, f.Height)
	if o == Rotate90 || o == Rotate270 {
		g.Width, g.Height = f.Height, f.Width
	}
	for y := range g.Height {
		for x := range g.Width {
			sx, sy := x, y
			switch o {
			case Rotate90:
				sx, sy = y, f.Height-1-x
			case Rotate180:
				sx, sy = f.Width-1-x, f.Height-1-y
			case Rotate270:
				sx, sy = f.Width-1-y, x
			case MirrorLeftRight:
				sx = f.Width - 1 - x
			case MirrorTopBottom:
				sy = f.Height - 1 - y
			}
			g.Pixels[y*g.Width+x] = f.Pixels[sy*f.Width+sx]
		}
	}
	return g
}

// Rect is a part of a frame, in pixels: columns X to X+Width-1 and rows Y to
// Y+Height-1, from 0 at the top left.
type Rect struct{ X, Y, Width, Height int }

// Crop returns the part of the frame inside r. It changes no value, so noise
// stays as it is. Fault Invalid when r is empty or reaches outside.
func (f Frame) Crop(r Rect) (Frame, error) {
	if r.Width < 1 || r.Height < 1 || r.X < 0 || r.Y < 0 || r.Width > f.Width-r.X || r.Height > f.Height-r.Y {
		return Frame{}, fault.Invalidf("a part of %d x %d pixels at column %d, row %d reaches outside a frame of %d x %d", r.Width, r.Height, r.X, r.Y, f.Width, f.Height).
			WithHint("columns and rows count from 0 at the top left")
	}
	g := f.copyOf(r.Width, r.Height)
	for y := range r.Height {
		copy(g.Pixels[y*r.Width:(y+1)*r.Width], f.Pixels[(r.Y+y)*f.Width+r.X:])
	}
	return g, g.tally(f.Saturation)
}

// Subtract returns f - reference + the mean of the reference, pixel by pixel:
// the non-uniformity of the detector that the reference of a uniform surface
// shows is taken out, and the level stays. A pixel missing in either is missing.
//
// Noise: the reference adds its own. With equal and uncorrelated noise in f and
// a reference averaged over N frames, the standard deviation of a pixel becomes
// sqrt(1 + 1/N) of what it was, while the fixed pattern goes. What drifted since
// the reference was taken stays.
//
// Fault Conflict when sizes or units differ, Invalid when the reference has no
// pixel.
func (f Frame) Subtract(reference Frame) (Frame, error) {
	if f.Width != reference.Width || f.Height != reference.Height {
		return Frame{}, fault.Conflictf("the reference has %d x %d pixels, and the frame has %d x %d", reference.Width, reference.Height, f.Width, f.Height).
			WithHint("take the reference with the same camera at the same size, before turning or cropping")
	}
	if f.Unit != reference.Unit {
		return Frame{}, fault.Conflictf("the reference is in %s, and the frame in %s", reference.Unit, f.Unit).WithHint("export both in one unit")
	}
	level := reference.Stats().Mean
	if math.IsNaN(level) {
		return Frame{}, fault.Invalidf("every pixel of the reference is missing").WithHint("take the reference again")
	}
	g := f.copyOf(f.Width, f.Height)
	for i, v := range f.Pixels {
		g.Pixels[i] = v - reference.Pixels[i] + level
	}
	saturated := f.SaturatedCount
	err := g.tally(nil)
	g.SaturatedCount = saturated
	return g, err
}

// Bin returns the frame with the mean of n x n pixels in each new one; columns
// and rows at the right and lower edge that fill no bin are left out. A bin with
// a missing pixel is missing, and one with a saturated pixel counts as saturated.
//
// Noise: uncorrelated noise falls to 1/n of its standard deviation. Fixed
// pattern that changes slowly across the frame, and drift, do not fall.
// Resolution falls with it: details of less than 2n pixels go.
//
// Fault Invalid when n is below 1 or the frame is smaller than one bin.
func (f Frame) Bin(n int) (Frame, error) {
	if n < 1 || n > f.Width || n > f.Height {
		return Frame{}, fault.Invalidf("bins of %d x %d pixels in a frame of %d x %d", n, n, f.Width, f.Height).WithHint("at least 1, at most the shorter side")
	}
	g := f.copyOf(f.Width/n, f.Height/n)
	g.Saturation, g.SaturatedCount, g.MissingCount = nil, 0, 0
	limit := math.Inf(1)
	if f.Saturation != nil {
		limit = *f.Saturation
	}
	for y := range g.Height {
		for x := range g.Width {
			sum, saturated := 0.0, 0
			for j := range n {
				for _, v := range f.Pixels[(y*n+j)*f.Width+x*n:][:n] {
					sum += v
					if v >= limit {
						saturated = 1
					}
				}
			}
			g.Pixels[y*g.Width+x] = sum / float64(n*n)
			g.SaturatedCount += saturated
			if math.IsNaN(sum) {
				g.MissingCount++
			}
		}
	}
	return g, nil
}
