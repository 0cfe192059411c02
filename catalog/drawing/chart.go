package drawing

import (
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// newPlot is an empty plot in the style of the sheets.
func newPlot(title, x, y string) *plot.Plot {
	p := plot.New()
	p.Title.Text = clean(title)
	p.Title.TextStyle.Font = sans(textPT + 1.5)
	p.Title.TextStyle.Color = ink()
	p.Title.Padding = mm(2)
	for i, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.Text = clean([]string{x, y}[i])
		a.Label.TextStyle.Font = sans(textPT)
		a.Tick.Label.Font = sans(smallPT)
		a.Label.TextStyle.Color, a.Tick.Label.Color = ink(), ink()
		a.LineStyle.Color, a.Tick.Color = faint(), faint()
		a.LineStyle.Width, a.Tick.Width = mm(thin), mm(thin)
		a.Label.Padding, a.Padding = mm(1), mm(1)
		a.Tick.Marker = plot.TickerFunc(ticks)
	}
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = hair(), hair()
	grid.Vertical.Width, grid.Horizontal.Width = mm(thin/2), mm(thin/2)
	p.Add(grid)
	return p
}

// ticks marks four to ten round steps of 1, 2 or 5, and the fifths or halves
// between them without numbers.
func ticks(low, high float64) []plot.Tick {
	if !(high > low) || math.IsInf(high-low, 0) {
		return nil
	}
	step := standardScale((high - low) / 4)
	parts := 5
	if lead := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9)); math.Abs(lead-2) < 1e-6 {
		parts = 4
	}
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	var list []plot.Tick
	for k := math.Ceil(low/step*float64(parts) - 1e-9); k <= high/step*float64(parts)+1e-9; k++ {
		t := plot.Tick{Value: k * step / float64(parts)}
		if math.Mod(k, float64(parts)) == 0 {
			t.Label = tickText(t.Value, digits)
		}
		list = append(list, t)
	}
	return list
}

// tickText prints a number of an axis.
func tickText(v float64, digits int) string {
	if digits > 4 || math.Abs(v) >= 1e6 {
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	if v == 0 {
		v = 0 // no minus
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

// within fixes the range of both axes.
func within(p *plot.Plot, x0, x1, y0, y1 float64) {
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = x0, x1, y0, y1
}

// curve adds a line through points, those that are not finite left out.
func curve(p *plot.Plot, l line, xs, ys []float64) {
	var points plotter.XYs
	for i, x := range xs {
		if finite(x) && finite(ys[i]) {
			points = append(points, plotter.XY{X: x, Y: ys[i]})
		}
	}
	if len(points) > 0 {
		p.Add(&plotter.Line{XYs: points, LineStyle: l.style()})
	}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// dots adds marks at points.
func dots(p *plot.Plot, g draw.GlyphStyle, points plotter.XYs) {
	if len(points) > 0 {
		p.Add(&plotter.Scatter{XYs: points, GlyphStyle: g})
	}
}

// note writes a text over a plot, a share of the way along either axis.
type note struct {
	text string
	x, y float64
}

// Plot draws the note; plot.Plotter.
func (n note) Plot(c draw.Canvas, _ *plot.Plot) {
	style := words{sizePT: smallPT + 0.5}.style()
	style.YAlign = draw.YTop
	c.FillText(style, vg.Point{X: c.X(n.x), Y: c.Y(n.y)}, n.text)
}

// panels draws plots side by side in rows between the head and the foot of a
// sheet, their axes in line. alike widens the range across so that a length is
// the same in both directions.
func panels(p pen, rows [][]*plot.Plot, footMM float64, alike bool) {
	const headMM = 30.0
	area := draw.Crop(p.c, mm(marginMM), -mm(marginMM), mm(footMM), -mm(headMM))
	tiles := draw.Tiles{Rows: len(rows), Cols: len(rows[0]), PadX: mm(6), PadY: mm(5)}
	for i, row := range plot.Align(rows, tiles, area) {
		for k, c := range row {
			if alike {
				size := rows[i][k].DataCanvas(c).Size()
				share := float64(size.X / size.Y)
				rows[i][k].X.Min, rows[i][k].X.Max = rows[i][k].Y.Min*share, rows[i][k].Y.Max*share
			}
			rows[i][k].Draw(c)
		}
	}
}

// entry is a line of the key below a chart.
type entry struct {
	line line
	mark draw.GlyphDrawer // nil: a line
	text string
}

// keys writes entries side by side, in as many rows as they need, the first at a
// height.
func (p pen) keys(yMM float64, list []entry) {
	w := words{sizePT: textPT}
	x := marginMM
	for _, e := range list {
		wide := 12 + w.widthMM(e.text)
		if x > marginMM && x+wide > sheetWidthMM-marginMM {
			x, yMM = marginMM, yMM-5
		}
		if e.mark != nil {
			p.c.DrawGlyph(draw.GlyphStyle{Color: e.line.colour, Radius: mm(1.1), Shape: e.mark}, at{x + 4.5, yMM + 1.2}.point())
		} else {
			p.polyline(e.line, at{x, yMM + 1.2}, at{x + 9, yMM + 1.2})
		}
		p.text(w, at{x + 11, yMM}, e.text)
		x += wide + 6
	}
}

// waveColour goes from blue over teal to orange along a band, in which place
// runs from 0 to 1.
func waveColour(place float64) color.Color {
	mix := func(a, b color.Color, t float64) color.Color {
		ar, ag, ab, _ := a.RGBA()
		br, bg, bb, _ := b.RGBA()
		at := func(u, v uint32) uint8 { return uint8((float64(u)*(1-t) + float64(v)*t) / 257) }
		return color.RGBA{at(ar, br), at(ag, bg), at(ab, bb), 0xff}
	}
	if place < 0.5 {
		return mix(blue(), teal(), 2*place)
	}
	return mix(teal(), orange(), 2*place-1)
}

// waveMark is the shape of a wavelength's marks, and waveDash its line.
func waveMark(i int) draw.GlyphDrawer {
	return []draw.GlyphDrawer{draw.CircleGlyph{}, draw.PlusGlyph{}, draw.TriangleGlyph{}, draw.CrossGlyph{}, draw.SquareGlyph{}, draw.RingGlyph{}, draw.PyramidGlyph{}}[i%7]
}

func waveDash(i int) []float64 {
	return [][]float64{nil, {3, 0.8}, {1.2, 0.8}, {4, 0.8, 0.8, 0.8}, {0.5, 0.7}}[i%5]
}

// wavePlace is where one of n wavelengths lies along waveColour.
func wavePlace(i, n int) float64 {
	if n < 2 {
		return 0.0
	}
	return float64(i) / float64(n-1)
}

func waveText(um float64) string { return fixed(um, 4) + " µm" }
