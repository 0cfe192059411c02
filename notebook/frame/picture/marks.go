package picture

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	"dieglow/notebook/frame"

	"golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// Point is a place in a frame or a photo, in its pixels: 0, 0 is the centre of the
// top left one.
type Point struct{ X, Y float64 }

// Mark is something drawn over a picture.
type Mark struct {
	Path   []Point // a line through these; a cross at a single one
	Closed bool    // the line goes back to its beginning
	Radius float64 // of a circle around a single point, in pixels of the frame; 0: none
	Label  string  // beside the first point, or right of the circle
	Thin   bool    // for what there is much of
	Colour *color.RGBA
}

// pen draws marks. place turns a place of the frame or photo into one of the
// picture, whose pixels have corners at whole numbers; scale is the enlargement.
type pen struct {
	img   *image.RGBA
	clip  image.Rectangle
	face  font.Face
	place func(Point) Point
	scale float64
}

// leastRadius keeps the circle of a small spot visible, in pixels of the picture.
const leastRadius = 9

func light() color.RGBA { return color.RGBA{R: 0xff, G: 0xff, B: 0xff, A: 0xff} }

// Marked draws the frame like Render, and marks over it.
func Marked(f frame.Frame, o Options, marks []Mark) (image.Image, error) {
	s, err := drawnSheet(f, o)
	if err != nil {
		return nil, err
	}
	p := pen{img: s.img, clip: s.area, face: s.regular, scale: float64(s.scale), place: func(at Point) Point {
		return Point{float64(s.area.Min.X) + (at.X+0.5)*float64(s.scale), float64(s.area.Min.Y) + (at.Y+0.5)*float64(s.scale)}
	}}
	p.all(marks)
	return s.img, nil
}

// all draws the marks with a dark rim, so that they show on any colour: all rims
// first, then all lines, then the labels.
func (p *pen) all(marks []Mark) {
	for _, rim := range [...]bool{true, false} {
		for _, m := range marks {
			width, c := 2.0, light()
			if m.Colour != nil {
				c = *m.Colour
			}
			if m.Thin {
				width = 1.4
			}
			if rim {
				width, c = width+2.2, color.RGBA{A: 0xb0}
			}
			p.mark(m, width, c)
		}
	}
	for _, m := range marks {
		if m.Label == "" || len(m.Path) == 0 {
			continue
		}
		at := p.place(m.Path[0])
		if len(m.Path) > 1 { // above where the line begins
			p.label(m.Label, Point{at.X, at.Y - textSize}, 0)
			continue
		}
		p.label(m.Label, at, p.radius(m)+4)
	}
}

func (p *pen) radius(m Mark) float64 {
	if m.Radius <= 0 {
		return leastRadius
	}
	return math.Max(leastRadius, m.Radius*p.scale)
}

func (p *pen) mark(m Mark, width float64, c color.RGBA) {
	switch {
	case len(m.Path) == 0:
	case len(m.Path) > 1:
		for i := 1; i < len(m.Path); i++ {
			p.line(p.place(m.Path[i-1]), p.place(m.Path[i]), width, c)
		}
		if m.Closed {
			p.line(p.place(m.Path[len(m.Path)-1]), p.place(m.Path[0]), width, c)
		}
	default:
		at := p.place(m.Path[0])
		if m.Radius > 0 {
			p.ring(at, p.radius(m), width, c)
		}
		const arm = 5
		p.line(Point{at.X - arm, at.Y}, Point{at.X + arm, at.Y}, width, c)
		p.line(Point{at.X, at.Y - arm}, Point{at.X, at.Y + arm}, width, c)
	}
}

// line fills the box that a stroke covers, with smooth edges.
func (p *pen) line(a, b Point, width float64, c color.RGBA) {
	dx, dy := b.X-a.X, b.Y-a.Y
	d := math.Hypot(dx, dy)
	if d == 0 || math.IsNaN(d) || math.IsInf(d, 0) {
		return
	}
	nx, ny := -dy/d*width/2, dx/d*width/2
	p.fill([][]Point{{{a.X + nx, a.Y + ny}, {b.X + nx, b.Y + ny}, {b.X - nx, b.Y - ny}, {a.X - nx, a.Y - ny}}}, c)
}

// ring fills the space between two circles, the inner one drawn the other way round.
func (p *pen) ring(at Point, radius, width float64, c color.RGBA) {
	circle := func(r, turn float64) []Point {
		n := 24 + int(radius/2)
		out := make([]Point, n)
		for i := range out {
			s, co := math.Sincos(turn * 2 * math.Pi * float64(i) / float64(n))
			out[i] = Point{at.X + r*co, at.Y + r*s}
		}
		return out
	}
	p.fill([][]Point{circle(radius+width/2, 1), circle(radius-width/2, -1)}, c)
}

func (p *pen) fill(rings [][]Point, c color.RGBA) {
	low, high := Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, ring := range rings {
		for _, q := range ring {
			low, high = Point{math.Min(low.X, q.X), math.Min(low.Y, q.Y)}, Point{math.Max(high.X, q.X), math.Max(high.Y, q.Y)}
		}
	}
	const far = 1e6
	if !(low.X > -far && low.Y > -far && high.X < far && high.Y < far) {
		return
	}
	box := image.Rect(int(math.Floor(low.X)), int(math.Floor(low.Y)), int(math.Ceil(high.X)), int(math.Ceil(high.Y)))
	seen := box.Intersect(p.clip)
	if seen.Empty() {
		return
	}
	if box.Dx() > 8192 || box.Dy() > 8192 { // a mark far larger than the picture
		return
	}
	z := vector.NewRasterizer(box.Dx(), box.Dy())
	for _, ring := range rings {
		for i, q := range ring {
			x, y := float32(q.X-float64(box.Min.X)), float32(q.Y-float64(box.Min.Y))
			if i == 0 {
				z.MoveTo(x, y)
			} else {
				z.LineTo(x, y)
			}
		}
		z.ClosePath()
	}
	mask := image.NewAlpha(image.Rect(0, 0, box.Dx(), box.Dy()))
	z.Draw(mask, mask.Bounds(), image.Opaque, image.Point{})
	draw.DrawMask(p.img, seen, image.NewUniform(c), image.Point{}, mask, seen.Min.Sub(box.Min), draw.Over)
}

// label writes right of a place, or left of it where there is no room.
func (p *pen) label(text string, at Point, off float64) {
	width := float64(font.MeasureString(p.face, text).Ceil())
	x := at.X + off
	if x+width > float64(p.clip.Max.X) {
		x = math.Max(float64(p.clip.Min.X)+2, at.X-off-width)
	}
	y := math.Min(math.Max(at.Y+textSize/3.0, float64(p.clip.Min.Y)+textSize), float64(p.clip.Max.Y)-4)
	base := fixed.P(int(math.Round(x)), int(math.Round(y)))
	dst, ok := p.img.SubImage(p.clip).(draw.Image)
	if !ok {
		return
	}
	for _, d := range [...]image.Point{{-1, -1}, {0, -1}, {1, -1}, {-1, 0}, {1, 0}, {-1, 1}, {0, 1}, {1, 1}, {0, 0}} {
		c := color.RGBA{A: 0xff}
		if d == (image.Point{}) {
			c = light()
		}
		drawer := font.Drawer{Dst: dst, Src: image.NewUniform(c), Face: p.face, Dot: base.Add(fixed.P(d.X, d.Y))}
		drawer.DrawString(text)
	}
}
