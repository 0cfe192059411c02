package drawing

import (
	"cmp"
	"image/color"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot/vg"

	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// section places what lies along an axis on a sheet, to scale.
type section struct {
	pen
	scale     float64 // millimetres on paper for one of the thing
	axis      at      // of the first vertex, on paper
	apertures bool    // mark where clear apertures end
}

// to is where a point z behind the first vertex and y from the axis comes out.
func (s section) to(z, y float64) at { return at{s.axis.x + s.scale*z, s.axis.y + s.scale*y} }

// standardScale is the largest of 1, 2, 5, 10, ... to 1 and 1 to 2, 5, 10, ...
// that is not above a scale: the steps that drawings use (ISO 5455, from memory,
// not verified).
func standardScale(most float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(most)))
	for _, step := range []float64{5, 2} {
		if step*decade <= most {
			return step * decade
		}
	}
	return decade
}

// scaleName prints a standard scale as drawings do: 5:1, 1:2.
func scaleName(scale float64) string {
	if scale >= 1 {
		return strconv.FormatFloat(math.Round(scale), 'f', -1, 64) + ":1"
	}
	return "1:" + strconv.FormatFloat(math.Round(1/scale), 'f', -1, 64)
}

// scaleBar draws a bar of a round length that comes out 15 to 50 mm long.
func (s section) scaleBar(where at) {
	length := standardScale(50 / s.scale)
	paper := length * s.scale
	s.polyline(line{colour: ink(), widthMM: thick}, where, at{where.x + paper, where.y})
	for _, x := range []float64{where.x, where.x + paper} {
		s.polyline(line{colour: ink(), widthMM: medium}, at{x, where.y - 1}, at{x, where.y + 1})
	}
	s.text(words{sizePT: textPT, align: middle}, at{where.x + paper/2, where.y + 1.2}, strconv.FormatFloat(length, 'g', 6, 64)+" mm")
}

// halfMM is how far from the axis an element reaches, and whether that is known.
func halfMM(e optics.Element) (h float64, known bool) {
	h = max(e.SemiAperture1MM, e.SemiAperture2MM, e.DiameterMM/2)
	return h, h > 0
}

// clearMM is the clear semi-aperture of surface 0 or 1; 0 where nothing is stated.
func clearMM(e optics.Element, surface int) float64 {
	a := e.SemiAperture1MM
	if surface == 1 {
		a = e.SemiAperture2MM
	}
	if a > 0 {
		return a
	}
	return e.DiameterMM / 2
}

// arc adds a spherical surface with its vertex at z to a path, from -h to h, or
// the other way with down. It goes on with a straight line from where the path is.
func (s section) arc(path *vg.Path, z, radiusMM, h float64, down bool) {
	side := 1.0
	if down {
		side = -1
	}
	if flat := math.Abs(optics.SagittaMM(radiusMM, h)) * s.scale; flat < 0.002 { // less than a line is wide
		join(path, s.to(z, -side*h))
		join(path, s.to(z, side*h))
		return
	}
	half := math.Asin(min(1, h/math.Abs(radiusMM)))
	start, turn := math.Pi+side*half, -side*2*half
	if radiusMM < 0 {
		start, turn = -side*half, side*2*half
	}
	join(path, s.to(z+optics.SagittaMM(radiusMM, h), -side*h))
	path.Arc(s.to(z+radiusMM, 0).point(), mm(math.Abs(radiusMM)*s.scale), start, turn)
}

func join(path *vg.Path, q at) {
	if len(*path) == 0 {
		path.Move(q.point())
		return
	}
	path.Line(q.point())
}

// element draws an element with its first vertex at z; h is how far it reaches,
// sure whether that is stated.
func (s section) element(e optics.Element, z, h float64, sure bool) {
	edge := line{colour: ink(), widthMM: medium}
	if !sure {
		edge.dashMM = dashed()
	}
	switch {
	case e.Mirror:
		s.mirror(e, z, h, edge)
	case e.IsThin():
		s.thinLens(e.FocalMM, z, h, edge)
	default:
		var path vg.Path
		s.arc(&path, z, e.Radius1MM, h, false)
		s.arc(&path, z+e.ThicknessMM, e.Radius2MM, h, true)
		path.Close()
		s.fill(glass(), path)
		s.stroke(edge, path)
		s.clearMark(z, e.Radius1MM, clearMM(e, 0), h, -1)
		s.clearMark(z+e.ThicknessMM, e.Radius2MM, clearMM(e, 1), h, 1)
	}
}

// clearMark marks where the clear aperture of a surface ends, beside it.
func (s section) clearMark(z, radiusMM, clear, h, side float64) {
	if !s.apertures || !(clear > 0 && clear < h) {
		return
	}
	for _, up := range []float64{-1, 1} {
		q := s.to(z+optics.SagittaMM(radiusMM, clear), up*clear)
		s.polyline(line{colour: ink(), widthMM: thick}, q, at{q.x + 1.2*side, q.y})
	}
}

// thinLens draws a line with arrows: outwards for a lens that gathers, inwards
// for one that spreads.
func (s section) thinLens(focalMM, z, h float64, edge line) {
	s.polyline(edge, s.to(z, -h), s.to(z, h))
	for _, up := range []float64{-1, 1} {
		tip := s.to(z, up*h)
		if focalMM < 0 {
			s.arrow(ink(), at{tip.x, tip.y - up*1.8}, 0, -up)
			continue
		}
		s.arrow(ink(), tip, 0, up)
	}
}

// mirror draws the face as light meets it, and its unfolded other side where it
// is curved, with hatching that says no light goes through.
func (s section) mirror(e optics.Element, z, h float64, edge line) {
	var front, back vg.Path
	s.arc(&front, z, e.Radius1MM, h, false)
	s.stroke(line{colour: edge.colour, widthMM: thick, dashMM: edge.dashMM}, front)
	s.arc(&back, z, -e.Radius1MM, h, false)
	s.stroke(line{colour: faint(), widthMM: thin, dashMM: dashed()}, back)
	const pitch = 2.0
	n := int(2 * h * s.scale / pitch)
	for i := range n {
		y := -h + (float64(i)+0.5)*2*h/float64(n)
		q := s.to(z+max(0, optics.SagittaMM(e.Radius1MM, y)), y)
		s.polyline(line{colour: faint(), widthMM: thin}, q, at{q.x + 1.6, q.y + 1.2})
	}
}

// dimension draws a dimension line with arrows between two points at one height.
func (p pen) dimension(x1, x2, y float64) {
	l := line{colour: ink(), widthMM: thin}
	if x2-x1 >= 5 {
		p.polyline(l, at{x1, y}, at{x2, y})
		p.arrow(ink(), at{x1, y}, -1, 0)
		p.arrow(ink(), at{x2, y}, 1, 0)
		return
	}
	// Too narrow for arrows: short strokes across, as drawings do.
	p.polyline(l, at{x1, y}, at{x2, y})
	for _, x := range []float64{x1, x2} {
		p.polyline(line{colour: ink(), widthMM: medium}, at{x - 0.6, y - 0.6}, at{x + 0.6, y + 0.6})
	}
}

// label is a text that belongs to a place along a line and may be moved along it;
// short is what stands for it where there is little room, and "" the text itself.
type label struct {
	x           float64
	text, short string
}

// spread moves labels of the given widths along a line so that none overlaps
// another, each as near to its place as its neighbours allow. It reports whether
// there is room between low and high.
func spread(labels []label, width func(string) float64, low, high float64) (centres []float64, fits bool) {
	const apart = 2.0
	edge := low
	for _, l := range labels {
		w := width(l.text)
		x := max(l.x, edge+w/2)
		centres = append(centres, x)
		edge = x + w/2 + apart
	}
	for i, edge := len(labels)-1, high; i >= 0; i-- {
		w := width(labels[i].text)
		centres[i] = min(centres[i], edge-w/2)
		edge = centres[i] - w/2 - apart
	}
	return centres, len(labels) == 0 || centres[0]-width(labels[0].text)/2 >= low-1e-9
}

// row writes labels side by side below (or, with up, above) y, each with a leader
// from its place; in short where they do not fit side by side, and upright where
// even that is too long. It returns how much height they took.
func (p pen) row(labels []label, y float64, up bool) float64 {
	const leader = 4.0
	w := words{sizePT: smallPT, align: middle}
	side := -1.0
	if up {
		side = 1
	}
	centres, fits := spread(labels, w.widthMM, marginMM, sheetWidthMM-marginMM)
	high := 3.2
	if !fits {
		labels = slices.Clone(labels)
		for i, l := range labels {
			labels[i].text = cmp.Or(l.short, l.text)
		}
		centres, fits = spread(labels, w.widthMM, marginMM, sheetWidthMM-marginMM)
	}
	if !fits {
		centres, _ = spread(labels, func(string) float64 { return 1.4 }, marginMM+1, sheetWidthMM-marginMM-1)
		high = 0
		for i := range labels {
			labels[i].text = w.fit(labels[i].text, 12)
			high = max(high, w.widthMM(labels[i].text))
		}
	}
	for i, l := range labels {
		end := at{centres[i], y + side*leader}
		p.polyline(line{colour: faint(), widthMM: thin}, at{l.x, y}, end)
		foot := at{end.x, end.y + 0.6}
		if !up {
			foot.y = end.y - 0.6 - high
		}
		if fits {
			p.text(w, foot, l.text)
			continue
		}
		p.upright(w, foot, high, up, l.text)
	}
	return leader + 0.6 + high
}

// upright writes a text from below upwards in a column of a height, next to its
// leader.
func (p pen) upright(w words, foot at, high float64, up bool, s string) {
	style := w.style()
	style.Rotation = math.Pi / 2
	style.XAlign, style.YAlign = left, -0.3
	if !up {
		foot.y += high - w.widthMM(s)
	}
	p.c.FillText(style, foot.point(), s)
}

// table writes rows in columns; the first row is the head. A text goes on over
// the empty cells that follow it.
type table struct {
	widthsMM []float64
	rows     [][]string
}

const rowMM = 4.3

func (t table) heightMM() float64 { return rowMM * float64(len(t.rows)) }

// draw writes the table with its upper left corner at a point.
func (t table) draw(p pen, corner at) {
	for i, r := range t.rows {
		x := corner.x
		y := corner.y - rowMM*float64(i+1)
		for k, s := range r {
			w := words{sizePT: smallPT, bold: i == 0}
			room := t.widthsMM[k]
			for next := k + 1; next < len(r) && r[next] == ""; next++ {
				room += t.widthsMM[next]
			}
			p.text(w, at{x, y + 1.1}, w.fit(s, room-1.5))
			x += t.widthsMM[k]
		}
		var colour color.Color = hair()
		if i == 0 {
			colour = faint()
		}
		p.polyline(line{colour: colour, widthMM: thin}, at{corner.x, y}, at{x, y})
	}
}

// fixed prints a length or other number; a dash where there is none.
func fixed(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	return quantity.Fixed(v, digits)
}

// small prints a length given in µm, in mm where that is easier to read.
func small(um float64) string {
	if um >= 1000 {
		return fixed(um/1000, 3) + " mm"
	}
	return fixed(um, 3) + " µm"
}

// toMicron prints a length to cut, in mm.
func toMicron(v float64) string { return strconv.FormatFloat(v, 'f', 3, 64) }

// radiusText prints a radius, or that the surface is plane.
func radiusText(r float64) string {
	if r == 0 || math.IsInf(r, 0) {
		return "plane"
	}
	return fixed(r, 5)
}
