package drawing

import (
	"image/color"
	"math"
	"strings"

	"golang.org/x/image/font"
	"gonum.org/v1/plot"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// The colours differ in lightness as well as in hue, and lines in their dashes,
// so that a drawing can be read in grey and by the colour-blind.
func ink() color.Color    { return color.RGBA{0x1c, 0x22, 0x2b, 0xff} }
func faint() color.Color  { return color.RGBA{0x66, 0x6e, 0x7a, 0xff} }
func hair() color.Color   { return color.RGBA{0xc9, 0xce, 0xd6, 0xff} }
func glass() color.Color  { return color.RGBA{0xd9, 0xe6, 0xf0, 0xff} }
func metal() color.Color  { return color.RGBA{0xe9, 0xe4, 0xda, 0xff} }
func blue() color.Color   { return color.RGBA{0x17, 0x4f, 0x86, 0xff} }
func orange() color.Color { return color.RGBA{0xd0, 0x6a, 0x12, 0xff} }
func teal() color.Color   { return color.RGBA{0x3a, 0xa3, 0x94, 0xff} }

// Sizes of text in points and widths of lines in millimetres.
const (
	titlePT = 14.0
	textPT  = 9.0
	smallPT = 7.5

	thin   = 0.13
	medium = 0.25
	thick  = 0.5
)

// Where a text stands from its point.
const (
	left   = draw.XLeft
	middle = draw.XCenter
	right  = draw.XRight
)

// at is a point of the sheet, in mm from its lower left corner.
type at struct{ x, y float64 }

// line says how a line is drawn.
type line struct {
	colour  color.Color
	widthMM float64
	dashMM  []float64 // nil: unbroken
}

func dashed() []float64 { return []float64{2, 1} }
func dotted() []float64 { return []float64{0.5, 0.9} }
func chain() []float64  { return []float64{5, 1, 1, 1} }

// words says how a text is drawn.
type words struct {
	sizePT float64
	colour color.Color
	align  draw.XAlignment
	bold   bool
}

// pen draws on a sheet in millimetres.
type pen struct{ c draw.Canvas }

func newPen(c draw.Canvas) pen { return pen{c} }

func (a at) point() vg.Point { return vg.Point{X: mm(a.x), Y: mm(a.y)} }

func (l line) style() draw.LineStyle {
	s := draw.LineStyle{Color: l.colour, Width: mm(l.widthMM)}
	for _, d := range l.dashMM {
		s.Dashes = append(s.Dashes, mm(d))
	}
	return s
}

// polyline joins points.
func (p pen) polyline(l line, points ...at) {
	var path vg.Path
	for i, q := range points {
		if i == 0 {
			path.Move(q.point())
		} else {
			path.Line(q.point())
		}
	}
	p.stroke(l, path)
}

func (p pen) stroke(l line, path vg.Path) {
	p.c.SetLineStyle(l.style())
	p.c.Stroke(path)
}

func (p pen) fill(colour color.Color, path vg.Path) {
	p.c.SetColor(colour)
	p.c.Fill(path)
}

// polygon fills a shape and draws its outline.
func (p pen) polygon(fill color.Color, l line, points ...at) {
	var path vg.Path
	for i, q := range points {
		if i == 0 {
			path.Move(q.point())
		} else {
			path.Line(q.point())
		}
	}
	path.Close()
	p.fill(fill, path)
	p.stroke(l, path)
}

// rectangle is a polygon between two corners.
func (p pen) rectangle(fill color.Color, l line, a, b at) {
	p.polygon(fill, l, a, at{b.x, a.y}, b, at{a.x, b.y})
}

// arrow fills a small head at tip, pointing along (dx, dy).
func (p pen) arrow(colour color.Color, tip at, dx, dy float64) {
	const long, half = 1.8, 0.42
	n := math.Hypot(dx, dy)
	ux, uy := dx/n, dy/n
	var path vg.Path
	path.Move(tip.point())
	path.Line(at{tip.x - long*ux - half*uy, tip.y - long*uy + half*ux}.point())
	path.Line(at{tip.x - long*ux + half*uy, tip.y - long*uy - half*ux}.point())
	path.Close()
	p.fill(colour, path)
}

func (w words) style() draw.TextStyle {
	if w.colour == nil {
		w.colour = ink()
	}
	f := sans(w.sizePT)
	if w.bold {
		f.Weight = font.WeightBold
	}
	return draw.TextStyle{Color: w.colour, Font: f, XAlign: w.align, YAlign: draw.YBottom, Handler: plot.DefaultTextHandler}
}

func sans(sizePT float64) plotfont.Font {
	return plotfont.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(sizePT)}
}

// text writes one line with its lower edge at a point.
func (p pen) text(w words, where at, s string) {
	if s = clean(s); s != "" {
		p.c.FillText(w.style(), where.point(), s)
	}
}

// widthMM is how wide a text comes out.
func (w words) widthMM(s string) float64 {
	return float64(w.style().Width(clean(s)) / vg.Millimeter)
}

// fit cuts a text with an ellipsis to a width.
func (w words) fit(s string, widthMM float64) string {
	s = clean(s)
	if w.widthMM(s) <= widthMM {
		return s
	}
	runes := []rune(s)
	for len(runes) > 0 && w.widthMM(string(runes)+"…") > widthMM {
		runes = runes[:len(runes)-1]
	}
	return string(runes) + "…"
}

// head writes the title of a sheet and what stands below it.
func (p pen) head(title string, lines ...string) {
	w := words{sizePT: titlePT, bold: true}
	p.text(w, at{marginMM, sheetHeightMM - 17}, w.fit(title, sheetWidthMM-2*marginMM))
	for i, s := range lines {
		w := words{sizePT: textPT, colour: faint()}
		p.text(w, at{marginMM, sheetHeightMM - 23 - 4.6*float64(i)}, w.fit(s, sheetWidthMM-2*marginMM))
	}
}

const footLineMM = 3.6

// footLines breaks texts into the lines that foot writes.
func footLines(texts []string) []string {
	var lines []string
	w := words{sizePT: smallPT}
	for _, s := range texts {
		line := ""
		for _, word := range strings.Fields(clean(s)) {
			if longer := strings.TrimSpace(line + " " + word); w.widthMM(longer) <= sheetWidthMM-2*marginMM {
				line = longer
				continue
			}
			lines, line = append(lines, line), word
		}
		lines = append(lines, line)
	}
	return lines
}

// foot writes lines along the lower edge, the last one lowest.
func (p pen) foot(lines []string) {
	for i, s := range lines {
		w := words{sizePT: smallPT, colour: faint()}
		p.text(w, at{marginMM, marginMM - 3 + footLineMM*float64(len(lines)-1-i)}, w.fit(s, sheetWidthMM-2*marginMM))
	}
}

const marginMM = 12.0
