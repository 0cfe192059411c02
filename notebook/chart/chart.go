// Package chart draws lines and points over two axes, as PNG. The same data give
// the same bytes. The colours are those of Okabe and Ito, which people who cannot
// tell red from green can tell apart (M. Okabe and K. Ito, Color Universal Design,
// University of Tokyo, 2002; from memory, not verified), and each line has its own
// dashes, so that a chart can also be read in grey.
package chart

import (
	"bytes"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"dieglow/catalog/fault"
)

// LineChart is what Lines draws.
type LineChart struct {
	Title          string
	XLabel, YLabel string // with the unit
	Series         []Series
	VLines, HLines []Mark // at a value of x, and of y
	Below          *Panel // a second, lower one over the same x; nil: none
}

// Panel is what a second panel shows. Its series have the colours of those of the
// same place in the chart, and no legend of their own.
type Panel struct {
	YLabel string
	Series []Series
	HLines []Mark
}

// Series is one line or one set of points. X, Y and, where given, LowY and HighY
// have one length. A NaN or an infinity breaks the line.
type Series struct {
	Name        string // in the legend; "" is left out of it
	X, Y        []float64
	Points      bool      // markers in place of a line
	LowY, HighY []float64 // nil, or the limits of a band behind the line, of bars through points
}

// Mark is a thin line across the chart at a value, with its label.
type Mark struct {
	At    float64
	Label string
}

// The size of a chart; at this resolution it has 1200 x 800 pixels, and 1200 x 1200
// with a second panel.
const (
	width  = 8 * vg.Inch
	height = width * 2 / 3
	below  = width / 3
	dpi    = 150
)

// Lines returns the chart as a PNG file. Fault Other when no series of a panel has
// a finite point, or the lengths within a series differ.
func Lines(c LineChart) ([]byte, error) {
	p, err := panel(c)
	if err != nil {
		return nil, err
	}
	tall := height
	if c.Below != nil {
		tall += below
	}
	canvas := vgimg.NewWith(vgimg.UseWH(width, tall), vgimg.UseDPI(dpi))
	whole := draw.New(canvas)
	whole.SetColor(color.White)
	whole.Fill(whole.Rectangle.Path())
	inside := draw.Crop(whole, 10, -14, 8, -8)
	if c.Below == nil {
		p.Draw(head(inside, c))
	} else {
		lower, err := panel(LineChart{Title: c.Title, XLabel: c.XLabel, YLabel: c.Below.YLabel, Series: c.Below.Series, HLines: c.Below.HLines, VLines: unlabelled(c.VLines)})
		if err != nil {
			return nil, err
		}
		p.X.Label.Text = ""
		stack(p, lower, head(inside, c))
	}
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: canvas}).WriteTo(&b); err != nil {
		return nil, fault.Otherf("the chart %q cannot be drawn", c.Title).Because(err)
	}
	return b.Bytes(), nil
}

// panel returns one pair of axes with what is drawn over them.
func panel(c LineChart) (*plot.Plot, error) {
	p := plot.New()
	p.X.Label.Text, p.Y.Label.Text = clean(c.XLabel), clean(c.YLabel)
	style(p)
	p.Add(grid())
	drawn := 0
	for i, s := range c.Series {
		n, err := add(p, s, i)
		if err != nil {
			return nil, err
		}
		drawn += n
	}
	if drawn == 0 {
		return nil, fault.Otherf("the chart %q has nothing to show", c.Title)
	}
	ranges(p, c)
	for _, m := range c.HLines {
		p.Y.Min, p.Y.Max = reach(p.Y.Min, p.Y.Max, m.At)
	}
	for _, m := range c.VLines {
		p.X.Min, p.X.Max = reach(p.X.Min, p.X.Max, m.At)
	}
	p.Add(marks{c.VLines, c.HLines})
	return p, nil
}

// stack draws one panel above another, with the same x and their axes in line.
func stack(upper, lower *plot.Plot, c draw.Canvas) {
	upper.X.Min = min(upper.X.Min, lower.X.Min)
	upper.X.Max = max(upper.X.Max, lower.X.Max)
	lower.X.Min, lower.X.Max = upper.X.Min, upper.X.Max
	high, low := draw.Crop(c, 0, 0, below, 0), draw.Crop(c, 0, 0, 0, below-vg.Points(6)-c.Size().Y)
	left := upper.DataCanvas(high).Min.X - lower.DataCanvas(low).Min.X
	upper.Draw(draw.Crop(high, max(0, -left), 0, 0, 0))
	lower.Draw(draw.Crop(low, max(0, left), 0, 0, 0))
}

func unlabelled(list []Mark) []Mark {
	out := slices.Clone(list)
	for i := range out {
		out[i].Label = ""
	}
	return out
}

// add puts a series into the plot and returns how many points it has.
func add(p *plot.Plot, s Series, i int) (int, error) {
	banded := s.LowY != nil || s.HighY != nil
	if len(s.X) != len(s.Y) || banded && (len(s.LowY) != len(s.X) || len(s.HighY) != len(s.X)) {
		return 0, fault.Otherf("the columns of the series %q differ in length", s.Name)
	}
	switch {
	case banded && s.Points:
		p.Add(limits{s, i})
	case banded:
		if err := addBand(p, s, i); err != nil {
			return 0, err
		}
	}
	n := 0
	for _, part := range parts(s.X, s.Y) {
		n += len(part)
		if s.Points {
			points, err := plotter.NewScatter(part)
			if err != nil {
				return 0, fault.Otherf("the series %q cannot be drawn", s.Name).Because(err)
			}
			points.GlyphStyle = glyph(i)
			p.Add(points)
			continue
		}
		line, err := plotter.NewLine(part)
		if err != nil {
			return 0, fault.Otherf("the series %q cannot be drawn", s.Name).Because(err)
		}
		line.LineStyle = stroke(i)
		p.Add(line)
	}
	return n, nil
}

// limits draws upright bars between the limits of a series of points.
type limits struct {
	s Series
	i int
}

// Plot draws the bars.
func (l limits) Plot(c draw.Canvas, p *plot.Plot) {
	toX, toY := p.Transforms(&c)
	style := draw.LineStyle{Color: colour(l.i), Width: vg.Points(1)}
	const tip = 2.5
	for k, v := range l.s.X {
		if low, high := l.s.LowY[k], l.s.HighY[k]; finite(v) && finite(low) && finite(high) {
			x, low, high := toX(v), toY(low), toY(high)
			c.StrokeLine2(style, x, low, x, high)
			c.StrokeLine2(style, x-tip, low, x+tip, low)
			c.StrokeLine2(style, x-tip, high, x+tip, high)
		}
	}
}

// DataRange makes room for the bars.
func (l limits) DataRange() (xmin, xmax, ymin, ymax float64) {
	xmin, xmax, ymin, ymax = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for k, v := range l.s.X {
		if low, high := l.s.LowY[k], l.s.HighY[k]; finite(v) && finite(low) && finite(high) {
			xmin, xmax, ymin, ymax = min(xmin, v), max(xmax, v), min(ymin, low), max(ymax, high)
		}
	}
	return xmin, xmax, ymin, ymax
}

// addBand fills the area between LowY and HighY.
func addBand(p *plot.Plot, s Series, i int) error {
	middle := make([]float64, len(s.X))
	for k := range middle {
		middle[k] = s.LowY[k] + s.HighY[k] // NaN where either is missing
	}
	at := 0
	for _, part := range parts(s.X, middle) {
		for !finite(s.X[at]) || !finite(middle[at]) {
			at++
		}
		outline := make(plotter.XYs, 0, 2*len(part))
		for k := range part {
			outline = append(outline, plotter.XY{X: s.X[at+k], Y: s.LowY[at+k]})
		}
		for k := len(part) - 1; k >= 0; k-- {
			outline = append(outline, plotter.XY{X: s.X[at+k], Y: s.HighY[at+k]})
		}
		at += len(part)
		area, err := plotter.NewPolygon(outline)
		if err != nil {
			return fault.Otherf("the band of the series %q cannot be drawn", s.Name).Because(err)
		}
		c := colour(i)
		area.Color = color.NRGBA{R: c.R, G: c.G, B: c.B, A: 0x38}
		area.LineStyle.Width = 0
		p.Add(area)
	}
	return nil
}

// parts cuts a series where a value is missing.
func parts(x, y []float64) []plotter.XYs {
	var all []plotter.XYs
	open := false
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			open = false
			continue
		}
		if !open {
			all = append(all, nil)
			open = true
		}
		last := len(all) - 1
		all[last] = append(all[last], plotter.XY{X: x[i], Y: y[i]})
	}
	return all
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// ranges leaves room above and below the data and beside points, and a width where
// the data have none.
func ranges(p *plot.Plot, c LineChart) {
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		if a.Max == a.Min {
			d := max(math.Abs(a.Min)/10, 1e-9)
			a.Min, a.Max = a.Min-d, a.Max+d
		}
	}
	room := 0.04 * (p.Y.Max - p.Y.Min)
	p.Y.Min, p.Y.Max = p.Y.Min-room, p.Y.Max+room
	if slices.ContainsFunc(c.Series, func(s Series) bool { return s.Points }) {
		room := 0.02 * (p.X.Max - p.X.Min)
		p.X.Min, p.X.Max = p.X.Min-room, p.X.Max+room
	}
}

// reach widens a range to hold a value, if that is finite.
func reach(low, high, v float64) (float64, float64) {
	if !finite(v) {
		return low, high
	}
	room := 0.02 * (high - low)
	return min(low, v-room), max(high, v+room)
}
