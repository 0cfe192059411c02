package drawing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
)

// paint draws the sheet.
func (d mount) paint(p pen) {
	t, notes := d.table(), footLines(d.notes())
	const above, labels = 42.0, 28.0
	below := marginMM + 1 + footLineMM*float64(len(notes)) + t.heightMM()
	room := max(30, sheetHeightMM-above-labels-below-uprightMM*d.crowded())
	wide := sheetWidthMM - 2*marginMM - 14
	start := -d.exact.WorkingDistanceMM
	scale := standardScale(min(wide/(d.lens-start), room/(2*d.high)))
	s := section{pen: p, scale: scale}
	s.axis = at{marginMM + 7 + (wide-scale*(d.lens-start))/2 - scale*start, sheetHeightMM - above - room/2}
	p.head(d.Title+": holder",
		fmt.Sprintf("Dimension sheet for a printed or turned holder, section along the axis. Predicted by exact rays at %s µm: working distance %s mm, object pixel %s µm.", fixed(d.Attachment.WavelengthUM, 4), fixed(d.exact.WorkingDistanceMM, 4), fixed(d.exact.ObjectPixelUM, 3)),
		"Clear distance from the holder or lens to the specimen "+toMicron(d.clearMM())+" mm. All lengths in mm.")
	p.text(words{sizePT: textPT, bold: true, align: right}, at{sheetWidthMM - marginMM, sheetHeightMM - 17}, "Scale "+scaleName(scale)+" on A4")
	d.section(s)
	s.row(d.titles(s), s.axis.y+scale*d.high+1.5, true)
	d.places(s)
	s.scaleBar(at{marginMM, below + 4})
	t.draw(p, at{marginMM, below})
	p.foot(notes)
}

// section draws holder, rings, lenses, specimen and axis.
func (d mount) section(s section) {
	edge := line{colour: ink(), widthMM: medium}
	bodies := d.bodies()
	if len(bodies) > 0 {
		for _, up := range []float64{-1, 1} {
			points := []at{s.to(bodies[0].from, up*d.radius)}
			for _, b := range bodies {
				points = append(points, s.to(b.from, up*b.radius), s.to(b.to, up*b.radius))
			}
			points = append(points, s.to(d.lens, up*d.radius))
			s.polygon(metal(), edge, points...)
			s.hatch(points)
		}
	}
	for _, r := range d.rings() {
		for _, up := range []float64{-1, 1} {
			middle := (r.from + r.to) / 2
			s.polygon(hair(), edge, s.to(r.from, up*r.outer1), s.to(r.from, up*r.inner1), s.to(middle, up*r.inner1), s.to(middle, up*r.inner2), s.to(r.to, up*r.inner2), s.to(r.to, up*r.outer2), s.to(middle, up*r.outer2), s.to(middle, up*r.outer1))
		}
	}
	z := 0.0
	for i, m := range d.Attachment.Stack {
		s.element(m.Element, z, d.halves[i], d.seats[i].known())
		z += m.Element.ThicknessMM + m.GapAfterMM
	}
	w := d.exact.WorkingDistanceMM
	s.polyline(line{colour: faint(), widthMM: thin, dashMM: chain()}, at{s.to(-w, 0).x - 4, s.axis.y}, at{s.to(d.lens, 0).x + 4, s.axis.y})
	s.polyline(line{colour: ink(), widthMM: thick}, s.to(-w, -0.6*d.high), s.to(-w, 0.6*d.high))
	x := s.to(d.lens, 0).x
	s.polyline(line{colour: blue(), widthMM: medium, dashMM: dashed()}, at{x, s.to(0, -d.high).y - 1}, at{x, s.to(0, d.high).y + 1})
}

// hatch fills a cut part with strokes at 45 degrees, clipped to its outline.
func (s section) hatch(outline []at) {
	const pitch = 1.8
	low, high := math.Inf(1), math.Inf(-1)
	for _, q := range outline {
		low, high = min(low, q.x-q.y), max(high, q.x-q.y)
	}
	for c := low + pitch; c < high; c += pitch {
		ends := crossings(outline, c)
		for i := 0; i+1 < len(ends); i += 2 {
			var path vg.Path
			path.Move(ends[i].point())
			path.Line(ends[i+1].point())
			s.stroke(line{colour: faint(), widthMM: thin * 0.7}, path)
		}
	}
}

// crossings are where the stroke x - y = c meets an outline, in order along it.
func crossings(outline []at, c float64) []at {
	var list []at
	for i, a := range outline {
		b := outline[(i+1)%len(outline)]
		u, v := a.x-a.y-c, b.x-b.y-c
		if (u < 0) == (v < 0) {
			continue
		}
		t := u / (u - v)
		list = append(list, at{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)})
	}
	slices.SortFunc(list, func(p, q at) int { return cmp.Compare(p.x, q.x) })
	return list
}

// titles labels lenses and planes above the section.
func (d mount) titles(s section) []label {
	list := []label{{s.to(-d.exact.WorkingDistanceMM, 0).x, "specimen", ""}}
	z := 0.0
	for i, m := range d.Attachment.Stack {
		text := d.numbered(i)
		if q := d.seats[i]; q.known() {
			text += ", Ø" + fixed(m.Element.DiameterMM, 4) + " in Ø" + fixed(2*q.boreMM, 4)
		}
		list = append(list, label{s.to(z+m.Element.ThicknessMM/2, 0).x, text, fmt.Sprint(i + 1)})
		z += m.Element.ThicknessMM + m.GapAfterMM
	}
	return append(list, label{s.to(d.lens, 0).x, "camera-side face", "face"})
}

// places draws the lengths of spacers and of the way to the specimen, and below
// them every seat's distance from the camera-side face.
func (d mount) places(s section) {
	y := s.axis.y - s.scale*d.high - 5
	guide := line{colour: faint(), widthMM: thin}
	down := func(z, to float64) {
		s.polyline(guide, at{s.to(z, 0).x, s.axis.y - s.scale*d.high - 1}, at{s.to(z, 0).x, to})
	}
	var lengths, seats []label
	length := func(from, to float64, text, short string) {
		x1, x2 := s.to(from, 0).x, s.to(to, 0).x
		s.dimension(x1, x2, y)
		lengths = append(lengths, label{(x1 + x2) / 2, text, short})
	}
	near := d.clearMM() - d.exact.WorkingDistanceMM
	down(-d.exact.WorkingDistanceMM, y-1)
	down(near, y-1)
	length(-d.exact.WorkingDistanceMM, near, toMicron(d.clearMM())+" clear to specimen", toMicron(d.clearMM()))
	for i := range len(d.seats) - 1 {
		if l, ok := spacerMM(d.seats[i], d.seats[i+1]); ok && l > 1e-6 {
			length(d.seats[i].rear.zMM, d.seats[i+1].front.zMM, d.part(i), toMicron(l))
		}
	}
	below := y - s.row(lengths, y, false) - 4
	place := func(z float64) {
		down(z, below)
		seats = append(seats, label{s.to(z, 0).x, toMicron(d.face(z)), ""})
	}
	for _, q := range d.seats {
		if q.known() {
			place(q.front.zMM)
			place(q.rear.zMM)
		}
	}
	if len(seats) == 0 {
		return
	}
	place(d.lens)
	s.row(seats, below, false)
	s.text(words{sizePT: smallPT, colour: faint(), align: right}, at{s.to(min(0, d.front), 0).x - 12, below - 7.6}, "seats, from the camera-side face")
}
