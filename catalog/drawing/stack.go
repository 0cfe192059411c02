package drawing

import (
	"fmt"
	"image/color"
	"math"

	"dieglow/catalog/optics"
)

// StackView is what a drawing of a stack shows.
type StackView struct {
	Title      string
	Attachment optics.Attachment
	Names      []string // of the elements, specimen side first; nil: those of the stack
	Notes      []string // written below the drawing
}

// view is a StackView worked out.
type view struct {
	StackView
	exact  optics.ExactFigures
	beams  []beam
	length float64      // first vertex to last
	lens   float64      // first vertex to the camera's lens
	array  float64      // first vertex to the array
	light  [][2]float64 // how far from the axis light meets each element's surfaces
	halves []float64    // how far each element reaches
	sure   []bool       // whether that is stated
	high   float64      // how far anything reaches
}

// beam is the light of one point of the field in the plane of the drawing.
type beam struct {
	name   string
	chief  []at   // nil where it does not pass
	rims   [][]at // the outermost rays that pass, none where no ray does
	reason string // why the chief ray does not pass
}

// Stack draws the stack to scale with its rays and dimensions, cut along the
// axis and the corner of the field. Faults as optics.Attachment.Exact.
func Stack(s StackView) (Drawing, error) {
	v, err := newView(s)
	return Drawing{title: s.Title, paint: v.paint}, err
}

func newView(s StackView) (view, error) {
	exact, err := s.Attachment.Exact()
	if err != nil {
		return view{}, err
	}
	v := view{StackView: s, exact: exact, length: s.Attachment.Stack.LengthMM()}
	v.lens = v.length + s.Attachment.StandoffMM
	v.array = v.lens + s.Attachment.Camera.FocusPlaneMM()
	for _, f := range []struct {
		name  string
		share float64
	}{{"centre", 0}, {"0.7 of the field", 0.7}, {"corner", 1}} {
		v.beams = append(v.beams, v.beam(f.name, f.share))
	}
	v.measure()
	return v, nil
}

// name is what the drawing calls element i.
func (s StackView) name(i int) string {
	if i < len(s.Names) {
		return s.Names[i]
	}
	return elementName(s.Attachment.Stack, i)
}

func elementName(s optics.Stack, i int) string {
	e := s[i].Element
	switch {
	case e.Name != "":
		return e.Name
	case e.Mirror:
		return fmt.Sprintf("mirror %d", i+1)
	}
	return fmt.Sprintf("lens %d", i+1)
}

// half is the half diagonal of the array and the direction to its corner.
func half(c optics.Camera) (diagonal, ux, uy float64) {
	x, y := float64(c.Width)*c.PitchXUM/2000, float64(c.Height)*c.PitchYUM/2000
	diagonal = math.Hypot(x, y)
	return diagonal, x / diagonal, y / diagonal
}

// beam finds the rays of a point of the field, a share of the way to the corner.
func (v view) beam(name string, share float64) beam {
	const steps = 80
	diagonal, ux, uy := half(v.Attachment.Camera)
	b := beam{name: name}
	trace := func(pupil float64) ([]at, string) {
		// The point of the specimen comes above the axis, whether or not its picture does.
		h := math.Copysign(share*diagonal, v.exact.Magnification)
		q := optics.ArrayRay{DetectorXMM: h * ux, DetectorYMM: h * uy, PupilX: pupil * ux, PupilY: pupil * uy}
		path, outcome := v.Attachment.Path(q, v.exact.WorkingDistanceMM)
		var points []at
		for _, p := range path {
			points = append(points, at{p.ZMM, p.XMM*ux + p.YMM*uy})
		}
		return points, outcome
	}
	var first, last []at
	for i := -steps; i <= steps; i++ {
		if points, _ := trace(float64(i) / steps); points != nil {
			if first == nil {
				first = points
			}
			last = points
		}
	}
	if first != nil {
		b.rims = [][]at{first, last}
	}
	b.chief, b.reason = trace(0)
	return b
}

// measure finds how far light, elements and drawing reach from the axis. An
// element whose size is not stated is drawn a little larger than its light needs.
func (v *view) measure() {
	v.light = make([][2]float64, len(v.Attachment.Stack))
	diagonal, _, _ := half(v.Attachment.Camera)
	v.high = max(diagonal, v.pupil())
	for _, b := range v.beams {
		for _, ray := range append(b.rims, b.chief) {
			v.reaches(ray)
		}
	}
	for i, m := range v.Attachment.Stack {
		h, known := halfMM(m.Element)
		if !known {
			h = 1.1 * max(v.light[i][0], v.light[i][1])
			for _, r := range []float64{m.Element.Radius1MM, m.Element.Radius2MM} {
				if r != 0 {
					h = min(h, math.Abs(r))
				}
			}
		}
		v.halves, v.sure = append(v.halves, h), append(v.sure, known)
		v.high = max(v.high, h)
	}
}

// reaches notes how far from the axis a ray goes, and meets either surface of
// each element.
func (v *view) reaches(ray []at) {
	for _, p := range ray {
		v.high = max(v.high, math.Abs(p.y))
	}
	k := 1 // the specimen comes first
	for i, m := range v.Attachment.Stack {
		if k >= len(ray) {
			return
		}
		e := m.Element
		v.light[i][0] = max(v.light[i][0], math.Abs(ray[k].y))
		if e.IsThin() || e.Mirror && optics.SagittaMM(e.Radius1MM, ray[k].y) == 0 {
			k++
			continue
		}
		v.light[i][1] = max(v.light[i][1], math.Abs(ray[k+1].y))
		k += 2
	}
}

// uprightMM is what a row of labels needs more when its texts stand upright.
const uprightMM = 9.0

// crowded is how many rows of labels will not have room side by side.
func (v view) crowded() float64 {
	if len(v.Attachment.Stack) > 10 {
		return 2
	}
	return 0
}

// pupil is the radius of the camera's pupil.
func (v view) pupil() float64 { return v.Attachment.Camera.FocalMM / v.Attachment.Camera.FNumber / 2 }

// paint draws the sheet.
func (v view) paint(p pen) {
	t := v.table()
	notes := footLines(append(v.Notes, "Unfolded along the axis. Elements by their recorded figures; dashed outlines where no diameter is stated. Thick strokes: ends of clear apertures. The camera's own lens is taken as perfect and drawn at its pupil."))
	const above, labels = 47.0, 34.0 // head and names above the drawing, dimensions below it
	below := marginMM + 1 + footLineMM*float64(len(notes)) + t.heightMM()
	room := max(30, sheetHeightMM-above-labels-below-uprightMM*v.crowded())
	wide := sheetWidthMM - 2*marginMM - 14
	scale := standardScale(min(wide/(v.array+v.exact.WorkingDistanceMM), room/(2*v.high)))
	used := scale * (v.array + v.exact.WorkingDistanceMM)
	s := section{pen: p, scale: scale, apertures: true}
	s.axis = at{marginMM + 10 + (wide-used)/2 + scale*v.exact.WorkingDistanceMM, sheetHeightMM - above - room/2}
	v.heading(s)
	v.planes(s)
	z := 0.0
	for i, m := range v.Attachment.Stack {
		s.element(m.Element, z, v.halves[i], v.sure[i])
		z += m.Element.ThicknessMM + m.GapAfterMM
	}
	v.rays(s)
	s.row(v.names(s), s.axis.y+scale*v.high+1.5, true)
	v.dimensions(s)
	v.key(p)
	t.draw(p, at{marginMM, below})
	p.foot(notes)
}

func (v view) heading(s section) {
	e, a := v.exact, v.Attachment
	focus := "infinity"
	if !math.IsInf(a.Camera.FocusMM, 0) {
		focus = fixed(a.Camera.FocusMM, 4) + " mm from its lens"
	}
	s.head(v.Title,
		fmt.Sprintf("Predicted by exact rays at %s µm, specimen at best focus, camera focused at %s. Cut through the axis and the corner of the field.", fixed(a.WavelengthUM, 4), focus),
		fmt.Sprintf("Working distance %s mm, clear to the specimen %s mm, object pixel %s µm, field %s x %s mm, NA %s limited by %s, depth of field %s.",
			fixed(e.WorkingDistanceMM, 4), fixed(e.ClearanceMM, 4), fixed(e.ObjectPixelUM, 3), fixed(e.FieldXMM, 3), fixed(e.FieldYMM, 3), fixed(e.NAObject, 3), e.Stop, small(e.DepthOfField.TotalUM)))
	w := words{sizePT: textPT, bold: true, align: right}
	s.text(w, at{sheetWidthMM - marginMM, sheetHeightMM - 17}, "Scale "+scaleName(s.scale)+" on A4")
}

// planes draws the axis, the specimen, and the camera's lens and array.
func (v view) planes(s section) {
	w := v.exact.WorkingDistanceMM
	s.polyline(line{colour: faint(), widthMM: thin, dashMM: chain()}, at{s.to(-w, 0).x - 5, s.axis.y}, at{s.to(v.array, 0).x + 5, s.axis.y})
	field := v.fieldCorner()
	tall := max(field, 0.6*v.high)
	s.polyline(line{colour: ink(), widthMM: thick}, s.to(-w, -tall), s.to(-w, tall))
	for y := -tall; y <= tall; y += 2 / s.scale { // solid behind its face
		q := s.to(-w, y)
		s.polyline(line{colour: faint(), widthMM: thin}, q, at{q.x - 1.6, q.y - 1.6})
	}
	s.thinLens(v.Attachment.Camera.FocalMM, v.lens, v.pupil(), line{colour: ink(), widthMM: thick})
	diagonal, _, _ := half(v.Attachment.Camera)
	a := s.to(v.array, diagonal)
	s.rectangle(ink(), line{colour: ink(), widthMM: thin}, s.to(v.array, -diagonal), at{a.x + 0.9, a.y})
	if field > 0 {
		x := s.to(-w, 0).x - 4
		s.polyline(line{colour: hair(), widthMM: thin}, s.to(-w, field), at{x - 1, s.to(0, field).y})
		s.polyline(line{colour: ink(), widthMM: thin}, at{x, s.axis.y}, at{x, s.to(0, field).y})
		s.arrow(ink(), at{x, s.to(0, field).y}, 0, 1)
		style := words{sizePT: smallPT}
		s.upright(style, at{x - 1, s.axis.y + 1}, 0, true, fixed(field, 3)+" to corner")
	}
}

// fieldCorner is how far the corner's chief ray lands from the axis, clear
// apertures aside; 0 where it misses.
func (v view) fieldCorner() float64 {
	for _, p := range v.exact.Points {
		if p.Name == "corner" && p.Chief != nil {
			return math.Hypot(p.Chief.XMM, p.Chief.YMM)
		}
	}
	return 0
}

// look is how the rays of each beam are drawn.
func look(i int) (chief, rim line) {
	c := []color.Color{blue(), teal(), orange()}[i]
	return line{colour: c, widthMM: medium, dashMM: [][]float64{nil, dashed(), nil}[i]}, line{colour: c, widthMM: medium * 0.7, dashMM: [][]float64{nil, dotted(), nil}[i]}
}

// rays draws the marginal rays of the centre, the chief ray of 0.7, and chief and
// outermost rays of the corner.
func (v view) rays(s section) {
	draw := func(l line, ray []at) {
		var points []at
		for _, q := range ray {
			points = append(points, s.to(q.x, q.y))
		}
		if len(points) > 0 {
			s.polyline(l, points...)
		}
	}
	for i, b := range v.beams {
		chief, rim := look(i)
		if i != 1 {
			for _, ray := range b.rims {
				draw(rim, ray)
			}
		}
		if i != 0 {
			draw(chief, b.chief)
		}
	}
}

// key says what the lines mean, and which light does not come through.
func (v view) key(p pen) {
	texts := []string{"marginal rays of the centre", "chief ray of 0.7 of the field", "chief and outermost rays of the corner"}
	x, y := marginMM, sheetHeightMM-35.0
	w := words{sizePT: smallPT}
	for i, b := range v.beams {
		chief, _ := look(i)
		s := texts[i]
		switch {
		case len(b.rims) == 0:
			s = b.name + ": no ray passes, " + b.reason
		case b.chief == nil && i > 0:
			s += " (chief ray " + b.reason + ")"
		}
		p.polyline(line{colour: chief.colour, widthMM: thick, dashMM: chief.dashMM}, at{x, y + 1}, at{x + 9, y + 1})
		p.text(w, at{x + 11, y}, s)
		x += 16 + w.widthMM(clean(s))
	}
}
