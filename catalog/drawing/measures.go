package drawing

import (
	"fmt"

	"dieglow/catalog/optics"
)

// names labels what stands along the axis.
func (v view) names(s section) []label {
	list := []label{{s.to(-v.exact.WorkingDistanceMM, 0).x, "specimen", ""}}
	z := 0.0
	for i, m := range v.Attachment.Stack {
		list = append(list, label{s.to(z+m.Element.ThicknessMM/2, 0).x, v.numbered(i), fmt.Sprint(i + 1)})
		z += m.Element.ThicknessMM + m.GapAfterMM
	}
	c := v.Attachment.Camera
	return append(list,
		label{s.to(v.lens, 0).x, fmt.Sprintf("camera lens f %s mm, f/%s", fixed(c.FocalMM, 3), fixed(c.FNumber, 3)), "camera"},
		label{s.to(v.array, 0).x, fmt.Sprintf("array %d x %d", c.Width, c.Height), "array"})
}

// numbered is an element's name after its place, as the table has it.
func (v view) numbered(i int) string { return fmt.Sprintf("%d  %s", i+1, v.name(i)) }

// interval is a stretch of the axis with what it is called.
type interval struct {
	from, to float64 // from the first vertex
	what     string
}

// intervals are what lies between specimen and array, in order.
func (v view) intervals() []interval {
	list := []interval{{-v.exact.WorkingDistanceMM, 0, "to specimen"}}
	z := 0.0
	for i, m := range v.Attachment.Stack {
		if t := m.Element.ThicknessMM; t > 0 {
			list = append(list, interval{z, z + t, "thick"})
			z += t
		}
		if i+1 < len(v.Attachment.Stack) {
			list = append(list, interval{z, z + m.GapAfterMM, "gap"})
			z += m.GapAfterMM
		}
	}
	return append(list, interval{v.length, v.lens, "to camera lens"}, interval{v.lens, v.array, "to array"})
}

// dimensions draws the chain of lengths below the drawing, and the whole lengths
// below that.
func (v view) dimensions(s section) {
	y := s.axis.y - s.scale*v.high - 5
	var labels []label
	list := v.intervals()
	guide := line{colour: hair(), widthMM: thin}
	s.polyline(guide, s.to(list[0].from, 0), at{s.to(list[0].from, 0).x, y - 1})
	for _, d := range list {
		x1, x2 := s.to(d.from, 0).x, s.to(d.to, 0).x
		s.polyline(guide, at{x2, s.axis.y}, at{x2, y - 1})
		s.dimension(x1, x2, y)
		labels = append(labels, label{(x1 + x2) / 2, fixed(d.to-d.from, 4) + " " + d.what, fixed(d.to-d.from, 4)})
	}
	y -= s.row(labels, y, false) + 4
	w := words{sizePT: smallPT, align: middle}
	whole := func(from, to float64, what string) {
		x1, x2 := s.to(from, 0).x, s.to(to, 0).x
		s.dimension(x1, x2, y)
		s.text(w, at{(x1 + x2) / 2, y + 0.7}, fixed(to-from, 4)+" "+what)
		y -= 5
	}
	if v.length > 0 {
		whole(0, v.length, "first to last vertex")
	}
	whole(-v.exact.WorkingDistanceMM, v.array, "specimen to array")
	s.scaleBar(at{marginMM, y + 1})
	s.text(words{sizePT: smallPT, colour: faint(), align: right}, at{sheetWidthMM - marginMM, y + 1}, "all lengths in mm")
}

// maxRows is how many elements a sheet lists.
const maxRows = 10

// table lists the elements.
func (v view) table() table {
	t := table{widthsMM: []float64{9, 62, 34, 27, 27, 27, 27, 30, 30},
		rows: [][]string{{"", "element", "kind", "radius 1", "radius 2", "thickness", "diameter", "clear 1 / 2", "gap after"}}}
	for i, m := range v.Attachment.Stack {
		if i == maxRows {
			t.rows = append(t.rows, []string{"", fmt.Sprintf("and %d more", len(v.Attachment.Stack)-i), "", "", "", "", "", "", ""})
			break
		}
		t.rows = append(t.rows, append([]string{fmt.Sprint(i + 1), v.name(i)}, elementRow(m.Element, v.gap(i))...))
	}
	return t
}

// gap is the gap behind element i, which behind the last reaches the camera's lens.
func (v view) gap(i int) float64 {
	if i+1 == len(v.Attachment.Stack) {
		return v.Attachment.StandoffMM
	}
	return v.Attachment.Stack[i].GapAfterMM
}

func elementRow(e optics.Element, gap float64) []string {
	size := func(v float64) string {
		if v == 0 {
			return "not stated"
		}
		return fixed(v, 4)
	}
	row := []string{"", "", "", "", size(e.DiameterMM), size(2 * clearMM(e, 0)), fixed(gap, 4)}
	switch {
	case e.Mirror:
		row[0], row[1] = "mirror", radiusText(e.Radius1MM)
	case e.IsThin():
		row[0] = "thin, f " + fixed(e.FocalMM, 4)
	default:
		row[0] = "n " + fixed(e.N, 5)
		row[1], row[2], row[3] = radiusText(e.Radius1MM), radiusText(e.Radius2MM), fixed(e.ThicknessMM, 4)
		row[5] += " / " + size(2*clearMM(e, 1))
	}
	return row
}
