package hotspot

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Shape is a kind of region.
type Shape int

// The shapes.
const (
	Rectangle Shape = iota
	EllipseShape
	Polygon
)

// Point is a place in a picture, in pixels.
type Point struct{ X, Y float64 }

// Region is a part of a frame. A pixel belongs to it when its centre does; for a
// rectangle of whole numbers those are columns X to X+width-1 and rows Y to Y+height-1.
type Region struct {
	Name  string
	Shape Shape
	Text  string // as typed
	At    Point  // corner of the rectangle, centre of the ellipse
	Size  Point  // width and height, or the two radii
	Ring  []Point
}

const regionHint = "give rect:column,row,width,height, ellipse:x,y,radius,radius or polygon:x,y x,y x,y, with ; between regions and NAME= before one"

// ParseRegions reads regions separated by semicolons, each with or without a name:
//
//	rect:10,20,8,6; pad=ellipse:40.5,30,5,3; polygon:1,1 9,1 5,8
//
// Regions without a name are called region 1, region 2 ... by their place. Fault
// Invalid for anything else, two regions of one name, a size that is not above 0,
// and a polygon with fewer than three corners, without area or crossing itself.
func ParseRegions(text string) ([]Region, error) {
	var out []Region
	names := map[string]bool{}
	for part := range strings.SplitSeq(text, ";") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		r := Region{Name: fmt.Sprintf("region %d", len(out)+1), Text: part}
		body := part
		if name, rest, ok := strings.Cut(part, "="); ok {
			r.Name, body = strings.TrimSpace(name), strings.TrimSpace(rest)
			if r.Name == "" || len(r.Name) > 60 {
				return nil, fault.Invalidf("%q has no name before its = that can be used", part).WithHint(regionHint)
			}
		}
		if names[r.Name] {
			return nil, fault.Invalidf("two regions are called %q", r.Name).WithHint("give each region a name of its own")
		}
		names[r.Name] = true
		if err := r.parse(body); err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if len(out) == 0 {
		return nil, fault.Invalidf("no region is given").WithHint(regionHint)
	}
	return out, nil
}

func (r *Region) parse(body string) error {
	kind, numbers, ok := strings.Cut(body, ":")
	bad := fault.Invalidf("%q is not a region", body).WithHint(regionHint)
	if !ok {
		return bad
	}
	switch strings.ToLower(strings.TrimSpace(kind)) {
	case "rect":
		r.Shape = Rectangle
	case "ellipse":
		r.Shape = EllipseShape
	case "polygon":
		r.Shape = Polygon
		return r.parseRing(numbers)
	default:
		return bad
	}
	v, err := parseNumbers(numbers, 4)
	if err != nil {
		return bad.Because(err)
	}
	r.At, r.Size = Point{v[0], v[1]}, Point{v[2], v[3]}
	if !(r.Size.X > 0 && r.Size.Y > 0) {
		return fault.Invalidf("%q has a size that is not above 0", body).WithHint(regionHint)
	}
	return nil
}

func (r *Region) parseRing(text string) error {
	for corner := range strings.FieldsSeq(text) {
		v, err := parseNumbers(corner, 2)
		if err != nil {
			return fault.Invalidf("%q is not a corner of a polygon", corner).WithHint("give corners as x,y with spaces between, for example polygon:10,10 20,10 15,18").Because(err)
		}
		r.Ring = append(r.Ring, Point{v[0], v[1]})
	}
	if n := len(r.Ring); n > 3 && r.Ring[0] == r.Ring[n-1] { // closed by hand
		r.Ring = r.Ring[:n-1]
	}
	if len(r.Ring) < 3 {
		return fault.Invalidf("a polygon of %d corners", len(r.Ring)).WithHint("give at least three corners as x,y with spaces between")
	}
	if len(r.Ring) > 1000 {
		return fault.Invalidf("a polygon of %d corners", len(r.Ring)).WithHint("give at most 1000")
	}
	n := len(r.Ring)
	area := 0.0
	for i, p := range r.Ring {
		q := r.Ring[(i+1)%n]
		area += p.X*q.Y - q.X*p.Y
		for j := i + 1; j < n; j++ {
			neighbours := j == i+1 || i == 0 && j == n-1
			if !neighbours && meet(p, q, r.Ring[j], r.Ring[(j+1)%n]) {
				return fault.Invalidf("the polygon crosses itself between corners %d and %d", i+1, j+1).WithHint("give the corners in order around the region")
			}
		}
	}
	if math.Abs(area) < 1e-9 {
		return fault.Invalidf("the polygon %q has no area", text).WithHint("give corners that do not lie on one line")
	}
	return nil
}

// meet reports whether two stretches have a point in common.
func meet(a, b, c, d Point) bool {
	side := func(p, q, r Point) float64 { return (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X) }
	within := func(p, q, r Point) bool {
		return math.Min(p.X, q.X) <= r.X && r.X <= math.Max(p.X, q.X) && math.Min(p.Y, q.Y) <= r.Y && r.Y <= math.Max(p.Y, q.Y)
	}
	s1, s2, s3, s4 := side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
	if s1*s2 < 0 && s3*s4 < 0 {
		return true
	}
	return s1 == 0 && within(a, b, c) || s2 == 0 && within(a, b, d) || s3 == 0 && within(c, d, a) || s4 == 0 && within(c, d, b)
}

func parseNumbers(text string, n int) ([]float64, error) {
	parts := strings.Split(text, ",")
	if len(parts) != n {
		return nil, fault.Invalidf("%d numbers are wanted", n)
	}
	out := make([]float64, n)
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || math.IsNaN(v) || math.Abs(v) > 1e6 {
			return nil, fault.Invalidf("%q is not a number of pixels", p)
		}
		out[i] = v
	}
	return out, nil
}

// Outline returns the corners of the region's border, of an ellipse 72 of them.
func (r Region) Outline() []Point {
	switch r.Shape {
	case Rectangle:
		a, b := r.At, Point{r.At.X + r.Size.X, r.At.Y + r.Size.Y}
		h := 0.5 // a rectangle is meant with whole pixels
		return []Point{{a.X - h, a.Y - h}, {b.X - h, a.Y - h}, {b.X - h, b.Y - h}, {a.X - h, b.Y - h}}
	case EllipseShape:
		const corners = 72
		out := make([]Point, corners)
		for i := range out {
			s, c := math.Sincos(2 * math.Pi * float64(i) / corners)
			out[i] = Point{r.At.X + r.Size.X*c, r.At.Y + r.Size.Y*s}
		}
		return out
	}
	return r.Ring
}

// Contains reports whether a place belongs to the region; of a border those
// points do that lie left of it or above.
func (r Region) Contains(p Point) bool {
	switch r.Shape {
	case Rectangle:
		return p.X >= r.At.X && p.X < r.At.X+r.Size.X && p.Y >= r.At.Y && p.Y < r.At.Y+r.Size.Y
	case EllipseShape:
		return sq((p.X-r.At.X)/r.Size.X)+sq((p.Y-r.At.Y)/r.Size.Y) <= 1
	}
	in := false
	n := len(r.Ring)
	for i, a := range r.Ring {
		b := r.Ring[(i+1)%n]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// RegionStats sums up the pixels of a region, in the unit of the frame.
type RegionStats struct {
	Pixels    int     `json:"pixels"` // that are there
	Mean      float64 `json:"mean"`
	UMean     float64 `json:"u_mean"` // of the noise alone: what is common to all pixels is not in it
	SD        float64 `json:"sd"`     // between the pixels, their number in the denominator
	Median    float64 `json:"median"`
	Min       float64 `json:"min"`
	Max       float64 `json:"max"`
	MinX      int     `json:"min_x"`
	MinY      int     `json:"min_y"`
	MaxX      int     `json:"max_x"`
	MaxY      int     `json:"max_y"`
	Missing   int     `json:"missing"`
	Saturated int     `json:"saturated"` // Mean and Max are then lower limits
}

// Measure sums up a region of a frame with that noise. Fault Invalid when the
// region reaches outside the frame or has no pixel, or only missing ones.
func (r Region) Measure(f frame.Frame, noise Noise) (RegionStats, error) {
	const edge = 0.5 + 1e-9 // half a pixel beyond the outermost centres
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range r.Outline() {
		x0, y0, x1, y1 = math.Min(x0, p.X), math.Min(y0, p.Y), math.Max(x1, p.X), math.Max(y1, p.Y)
	}
	if x0 < -edge || y0 < -edge || x1 > float64(f.Width-1)+edge || y1 > float64(f.Height-1)+edge {
		return RegionStats{}, fault.Invalidf("%s (%s) reaches outside a frame of %d x %d pixels", r.Name, r.Text, f.Width, f.Height).WithHint("columns and rows count from 0 at the top left; %s", regionHint)
	}
	limit := math.Inf(1)
	if f.Saturation != nil {
		limit = *f.Saturation
	}
	s := RegionStats{Min: math.Inf(1), Max: math.Inf(-1)}
	var values []float64
	for y := max(0, int(math.Ceil(y0))); y <= min(f.Height-1, int(math.Floor(y1))); y++ {
		for x := max(0, int(math.Ceil(x0))); x <= min(f.Width-1, int(math.Floor(x1))); x++ {
			v := f.Pixels[y*f.Width+x]
			switch {
			case !r.Contains(Point{float64(x), float64(y)}):
				continue
			case v != v:
				s.Missing++
				continue
			case v >= limit:
				s.Saturated++
			}
			values = append(values, v)
			s.Mean += v
			if v < s.Min {
				s.Min, s.MinX, s.MinY = v, x, y
			}
			if v > s.Max {
				s.Max, s.MaxX, s.MaxY = v, x, y
			}
		}
	}
	if s.Pixels = len(values); s.Pixels == 0 {
		what := "has the centre of no pixel in it"
		if s.Missing > 0 {
			what = "has nothing but missing pixels"
		}
		return RegionStats{}, fault.Invalidf("%s (%s) %s", r.Name, r.Text, what).WithHint("make it larger")
	}
	n := float64(s.Pixels)
	s.Mean /= n
	for _, v := range values {
		s.SD += sq(v-s.Mean) / n
	}
	s.SD = math.Sqrt(s.SD)
	s.UMean = noise.SD * math.Sqrt(math.Min(noise.CorrelatedPx, n)/n)
	s.Median = middle(values)
	return s, nil
}
