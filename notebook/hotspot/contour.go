package hotspot

import "math"

// Segment is a stretch of a contour, in pixels of the frame.
type Segment struct{ A, B Point }

// Contour returns the line along which the rises over the background, smoothed by
// 1 2 1 along rows and columns, have a height (marching squares with the saddle
// decided by the mean of the four; W. E. Lorensen and H. E. Cline, Computer
// Graphics 21(4), 163 (1987), in two dimensions).
func (f Found) Contour(height float64) []Segment {
	v := f.smooth()
	var out []Segment
	for y := range f.Height - 1 {
		for x := range f.Width - 1 {
			i := y*f.Width + x
			c := [4]float64{v[i], v[i+1], v[i+f.Width+1], v[i+f.Width]} // clockwise from the top left
			if math.IsNaN(c[0] + c[1] + c[2] + c[3]) {
				continue
			}
			var cuts []Point
			corners := [4]Point{{float64(x), float64(y)}, {float64(x + 1), float64(y)}, {float64(x + 1), float64(y + 1)}, {float64(x), float64(y + 1)}}
			for k := range 4 {
				l := (k + 1) % 4
				if (c[k] > height) != (c[l] > height) {
					t := (height - c[k]) / (c[l] - c[k])
					cuts = append(cuts, Point{corners[k].X + t*(corners[l].X-corners[k].X), corners[k].Y + t*(corners[l].Y-corners[k].Y)})
				}
			}
			switch {
			case len(cuts) == 2:
				out = append(out, Segment{cuts[0], cuts[1]})
			case len(cuts) == 4 && ((c[0]+c[1]+c[2]+c[3])/4 > height) == (c[0] > height):
				out = append(out, Segment{cuts[0], cuts[1]}, Segment{cuts[2], cuts[3]})
			case len(cuts) == 4:
				out = append(out, Segment{cuts[3], cuts[0]}, Segment{cuts[1], cuts[2]})
			}
		}
	}
	return out
}

func (f Found) smooth() []float64 {
	g := ground{width: f.Width, height: f.Height, local: f.Local}
	all := make([]int, len(f.Local))
	for i := range all {
		all[i] = i
	}
	return g.smoothed(all)
}
