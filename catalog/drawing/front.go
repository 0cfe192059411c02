package drawing

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dieglow/catalog/fault"
)

// FrontPlot is a choice between two figures.
type FrontPlot struct {
	Title, XLabel, YLabel string // the labels with their units
	Points                []FrontPoint
}

// FrontPoint is one thing to choose.
type FrontPoint struct {
	X, Y    float64
	Label   string // written beside it; may be empty
	OnFront bool   // nothing is better in every respect
	Meets   bool   // what was wished for
}

// Front draws what there is to choose from. Fault Invalid when there is no point,
// or one has no finite place.
func Front(f FrontPlot) (Drawing, error) {
	if len(f.Points) == 0 {
		return Drawing{}, fault.Invalidf("there is nothing to choose from").WithHint("relax a wish, so that at least one stack is found")
	}
	for _, q := range f.Points {
		if !finite(q.X) || !finite(q.Y) {
			return Drawing{}, fault.Invalidf("%s has no finite place in the plot", cmp.Or(clean(q.Label), "a point")).WithHint("leave it out")
		}
	}
	p := newPlot("", f.XLabel, f.YLabel)
	p.X.Label.TextStyle.Font, p.Y.Label.TextStyle.Font = sans(textPT+1), sans(textPT+1)
	for _, k := range frontKinds() {
		var points plotter.XYs
		for _, q := range f.Points {
			if q.OnFront == k.onFront && q.Meets == k.meets {
				points = append(points, plotter.XY{X: q.X, Y: q.Y})
			}
		}
		dots(p, k.style, points)
	}
	x0, x1 := reach(f.Points, func(q FrontPoint) float64 { return q.X })
	y0, y1 := reach(f.Points, func(q FrontPoint) float64 { return q.Y })
	within(p, x0, x1, y0, y1)
	p.Add(frontLabels(f.Points))
	return Drawing{title: f.Title, paint: func(s pen) {
		s.head(f.Title, "Predicted. On the front: no other that was found is at least as good in every respect and better in one, respects not drawn here included.")
		panels(s, [][]*plot.Plot{{p}}, 28, false)
		var list []entry
		for _, k := range frontKinds() {
			list = append(list, entry{line{colour: k.style.Color}, k.style.Shape, k.text})
		}
		s.keys(17, list)
	}}, nil
}

// frontKind is how one kind of point is drawn.
type frontKind struct {
	onFront, meets bool
	style          draw.GlyphStyle
	text           string
}

// frontKinds are in the order they are drawn, the most wanted on top.
func frontKinds() []frontKind {
	return []frontKind{
		{false, false, draw.GlyphStyle{Color: faint(), Radius: mm(0.9), Shape: draw.CrossGlyph{}}, "misses a wish"},
		{false, true, draw.GlyphStyle{Color: teal(), Radius: mm(1.1), Shape: draw.RingGlyph{}}, "meets the wishes, bettered by another"},
		{true, false, draw.GlyphStyle{Color: orange(), Radius: mm(1.4), Shape: draw.PyramidGlyph{}}, "on the front, misses a wish"},
		{true, true, draw.GlyphStyle{Color: blue(), Radius: mm(1.5), Shape: draw.CircleGlyph{}}, "on the front and meets the wishes"},
	}
}

// reach is the range of a figure with a margin on either side.
func reach(points []FrontPoint, of func(FrontPoint) float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, q := range points {
		low, high = min(low, of(q)), max(high, of(q))
	}
	margin := 0.08 * (high - low)
	if margin <= 1e-12*max(math.Abs(low), math.Abs(high)) {
		margin = max(0.1*math.Abs(high), 1e-9)
	}
	return low - margin, high + margin
}

// frontLabels writes the labels of points, each where it covers none before it;
// the front's come first, and a label without a place is left out.
type frontLabels []FrontPoint

// Plot draws the labels; plot.Plotter.
func (l frontLabels) Plot(c draw.Canvas, p *plot.Plot) {
	order := slices.Clone(l)
	rank := func(q FrontPoint) int {
		switch {
		case q.OnFront && q.Meets:
			return 0
		case q.OnFront:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(order, func(a, b FrontPoint) int { return cmp.Compare(rank(a), rank(b)) })
	transX, transY := p.Transforms(&c)
	var taken []vg.Rectangle
	for _, q := range l {
		taken = append(taken, around(vg.Point{X: transX(q.X), Y: transY(q.Y)}, mm(1.2)))
	}
	w := words{sizePT: smallPT}
	for _, q := range order {
		text := w.fit(q.Label, 60)
		if text == "" {
			continue
		}
		place := vg.Point{X: transX(q.X), Y: transY(q.Y)}
		if box, ok := free(c.Rectangle, taken, place, mm(w.widthMM(text))); ok {
			taken = append(taken, box)
			c.FillText(w.style(), vg.Point{X: box.Min.X, Y: box.Min.Y}, text)
		}
	}
}

func around(p vg.Point, r vg.Length) vg.Rectangle {
	return vg.Rectangle{Min: vg.Point{X: p.X - r, Y: p.Y - r}, Max: vg.Point{X: p.X + r, Y: p.Y + r}}
}

// free finds a box of a width beside a place that lies in the frame and covers
// nothing taken.
func free(frame vg.Rectangle, taken []vg.Rectangle, place vg.Point, wide vg.Length) (vg.Rectangle, bool) {
	high, apart := mm(3), mm(2.3)
	for _, d := range []vg.Point{
		{X: apart, Y: -high / 2}, {X: -apart - wide, Y: -high / 2}, {X: -wide / 2, Y: apart}, {X: -wide / 2, Y: -apart - high},
		{X: apart, Y: apart / 2}, {X: apart, Y: -apart/2 - high}, {X: -apart - wide, Y: apart / 2}, {X: -apart - wide, Y: -apart/2 - high},
	} {
		box := vg.Rectangle{Min: place.Add(d), Max: place.Add(d).Add(vg.Point{X: wide, Y: high})}
		inside := box.Min.X >= frame.Min.X && box.Max.X <= frame.Max.X && box.Min.Y >= frame.Min.Y && box.Max.Y <= frame.Max.Y
		if inside && !slices.ContainsFunc(taken, func(r vg.Rectangle) bool { return overlap(box, r) }) {
			return box, true
		}
	}
	return vg.Rectangle{}, false
}

func overlap(a, b vg.Rectangle) bool {
	return a.Min.X < b.Max.X && b.Min.X < a.Max.X && a.Min.Y < b.Max.Y && b.Min.Y < a.Max.Y
}
