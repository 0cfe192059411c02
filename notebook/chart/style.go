package chart

import (
	"image/color"
	"math"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

func ink() color.RGBA  { return color.RGBA{0x1c, 0x22, 0x2b, 0xff} }
func grey() color.RGBA { return color.RGBA{0x60, 0x66, 0x70, 0xff} }
func hair() color.RGBA { return color.RGBA{0xe0, 0xe3, 0xe8, 0xff} }

// colour returns the colour of series i: blue, vermilion, green, purple, orange,
// sky blue and black of the palette the package names, in that order.
func colour(i int) color.RGBA {
	palette := [...]color.RGBA{
		{0x00, 0x72, 0xb2, 0xff}, {0xd5, 0x5e, 0x00, 0xff}, {0x00, 0x9e, 0x73, 0xff}, {0xcc, 0x79, 0xa7, 0xff},
		{0xe6, 0x9f, 0x00, 0xff}, {0x56, 0xb4, 0xe9, 0xff}, {0x00, 0x00, 0x00, 0xff},
	}
	return palette[i%len(palette)]
}

func stroke(i int) draw.LineStyle {
	dashes := [...][]vg.Length{nil, {7, 3}, {2, 2}, {8, 2, 2, 2}, {4, 4}}
	return draw.LineStyle{Color: colour(i), Width: vg.Points(1.8), Dashes: dashes[i%len(dashes)]}
}

func glyph(i int) draw.GlyphStyle {
	shapes := [...]draw.GlyphDrawer{draw.CircleGlyph{}, draw.SquareGlyph{}, draw.TriangleGlyph{}, draw.CrossGlyph{}, draw.RingGlyph{}}
	return draw.GlyphStyle{Color: colour(i), Radius: vg.Points(2.2), Shape: shapes[i%len(shapes)]}
}

func sans(points float64) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(points)}
}

func words(points float64, c color.Color) draw.TextStyle {
	return draw.TextStyle{Color: c, Font: sans(points), Handler: plot.DefaultTextHandler}
}

func style(p *plot.Plot) {
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font, a.Label.TextStyle.Color = sans(11), ink()
		a.Label.Padding = vg.Points(4)
		a.Tick.Label.Font, a.Tick.Label.Color = sans(9.5), ink()
		a.LineStyle.Color, a.Tick.LineStyle.Color = grey(), grey()
		a.Padding = 0
		a.Tick.Marker = plot.TickerFunc(ticks)
	}
}

func grid() *plotter.Grid {
	g := plotter.NewGrid()
	g.Horizontal.Color, g.Vertical.Color = hair(), hair()
	return g
}

// marks draws the lines across a chart. The labels of upright lines step down
// from one to the next, so that near ones stay readable.
type marks struct{ vertical, horizontal []Mark }

// Plot draws the marks: the lines first, so that none crosses a label.
func (m marks) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	line := draw.LineStyle{Color: grey(), Width: vg.Points(0.9), Dashes: []vg.Length{3, 3}}
	for _, v := range m.vertical {
		if finite(v.At) {
			c.StrokeLine2(line, toX(v.At), c.Min.Y, toX(v.At), c.Max.Y)
		}
	}
	for _, h := range m.horizontal {
		if finite(h.At) {
			c.StrokeLine2(line, c.Min.X, toY(h.At), c.Max.X, toY(h.At))
		}
	}
	text := words(8.5, ink())
	for i, v := range m.vertical {
		if !finite(v.At) {
			continue
		}
		label, x := clean(v.Label), toX(v.At)+vg.Points(3)
		if w := text.Width(label); x+w > c.Max.X {
			x = toX(v.At) - vg.Points(3) - w
		}
		backed(c, text, vg.Point{X: x, Y: c.Max.Y - vg.Points(12+11*float64(i%8))}, label)
	}
	for _, h := range m.horizontal {
		if finite(h.At) {
			label := clean(h.Label)
			backed(c, text, vg.Point{X: c.Max.X - vg.Points(3) - text.Width(label), Y: toY(h.At) + vg.Points(1.5)}, label)
		}
	}
}

// backed writes a text on white, its lower left corner at a point.
func backed(c draw.Canvas, style draw.TextStyle, at vg.Point, text string) {
	if text == "" {
		return
	}
	width, height := style.Width(text), vg.Points(10)
	style.YAlign = draw.YBottom
	c.FillPolygon(color.NRGBA{0xff, 0xff, 0xff, 0xd8}, []vg.Point{at, {X: at.X + width, Y: at.Y}, {X: at.X + width, Y: at.Y + height}, {X: at.X, Y: at.Y + height}})
	c.FillText(style, at, text)
}

// ticks puts five to ten labelled steps of 1, 2 or 5 times a power of ten on an axis.
func ticks(low, high float64) []plot.Tick {
	step := math.Pow(10, math.Floor(math.Log10((high-low)/5)))
	for _, times := range []float64{5, 2} {
		if times*step*5 <= high-low {
			step *= times
			break
		}
	}
	decimals := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	format := byte('f')
	if decimals > 6 || high-low > 1e7 || math.Abs(high) > 1e7 || math.Abs(low) > 1e7 {
		format, decimals = 'g', 6
	}
	var list []plot.Tick
	for k := math.Ceil(low/step - 1e-9); k*step <= high+1e-9*step && len(list) < 50; k++ {
		v := k * step
		if k == 0 {
			v = 0 // not -0
		}
		list = append(list, plot.Tick{Value: v, Label: strconv.FormatFloat(v, format, decimals, 64)})
	}
	return list
}

// head writes title and legend above the axes and returns what is left of the canvas.
func head(c draw.Canvas, chart LineChart) draw.Canvas {
	y := c.Max.Y
	if chart.Title != "" {
		title := words(13, ink())
		title.YAlign = draw.YTop
		c.FillText(title, vg.Point{X: c.Min.X, Y: y}, fit(title, clean(chart.Title), c.Size().X))
		y -= vg.Points(20)
	}
	x, named := c.Min.X, false
	text := words(10, ink())
	text.YAlign = draw.YCenter
	for i, s := range chart.Series {
		if s.Name == "" {
			continue
		}
		const thumb = 26
		name := fit(text, clean(s.Name), c.Size().X-thumb)
		if w := thumb + text.Width(name); x > c.Min.X && x+w > c.Max.X {
			x, y = c.Min.X, y-vg.Points(14)
		}
		middle := y - vg.Points(7)
		if s.Points {
			c.DrawGlyph(glyph(i), vg.Point{X: x + vg.Points(11), Y: middle})
		} else {
			c.StrokeLine2(stroke(i), x, middle, x+vg.Points(22), middle)
		}
		c.FillText(text, vg.Point{X: x + vg.Points(thumb), Y: middle}, name)
		x += vg.Points(thumb) + text.Width(name) + vg.Points(16)
		named = true
	}
	if named {
		y -= vg.Points(18)
	}
	c.Max.Y = y
	return c
}

// fit cuts a text with an ellipsis to a width.
func fit(s draw.TextStyle, text string, width vg.Length) string {
	if s.Width(text) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && s.Width(string(runes)+"…") > width {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// clean takes out what would break a line or steer a reader's eye.
func clean(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return -1
		}
		return r
	}, text)
}
