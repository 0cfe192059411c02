package drawing

import (
	"fmt"
	"math"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

// MountView is what the dimension sheet of a holder is made from.
type MountView struct {
	Title       string
	Attachment  optics.Attachment
	Names       []string // of the elements, specimen side first; nil: those of the stack
	ClearanceMM float64  // of a bore over its lens, in diameter; 0: 0.1 mm
}

// mount is a MountView worked out.
type mount struct {
	view
	clearanceMM float64
	seats       []seated
	plays       []play
	front       float64 // of the holder, from the first vertex
	radius      float64 // of the holder
	assembly    assembly
}

// Mount draws the dimension sheet of a printed or turned holder: its section to
// scale, where the lenses sit, bores, spacers, the clear distance to the
// specimen, and how far each may be off. Faults as optics.Attachment.Exact;
// Invalid for a clearance below 0 or above 2 mm.
func Mount(m MountView) (Drawing, error) {
	if !(m.ClearanceMM >= 0 && m.ClearanceMM <= 2) {
		return Drawing{}, fault.Invalidf("a clearance of %g mm is not between 0 and 2 mm", m.ClearanceMM).WithHint("give the difference of bore and lens in diameter, for example 0.1mm")
	}
	v, err := newView(StackView{Title: m.Title, Attachment: m.Attachment, Names: m.Names})
	if err != nil {
		return Drawing{}, err
	}
	d := mount{view: v, clearanceMM: m.ClearanceMM}
	if d.clearanceMM == 0 {
		d.clearanceMM = clearanceMM
	}
	d.seats = seatsOf(m.Attachment.Stack, d.clearanceMM)
	d.plays = plays(m.Attachment, v.exact.DepthOfField.TotalUM/1000)
	for i, light := range v.light {
		d.seats[i].front.lightMM, d.seats[i].rear.lightMM = light[0], light[1]
	}
	d.shape()
	return Drawing{title: m.Title, paint: d.paint}, nil
}

// shape finds the holder's outline and how it is put together.
func (d *mount) shape() {
	for _, s := range d.seats {
		if s.known() {
			d.radius = max(d.radius, s.boreMM+wallMM)
		}
	}
	d.high = max(d.high, d.radius)
	if first := d.seats[0]; first.known() {
		d.front = first.front.zMM - retainerMM
	}
	d.assembly = assemblyOf(d.seats, d.clearanceMM)
	if d.assembly == fromCamera && d.seats[0].known() {
		d.front = d.seats[0].front.zMM - shoulderMM
	}
}

// clearMM is the distance from the specimen to what stands nearest, lens or holder.
func (d mount) clearMM() float64 {
	return min(d.exact.ClearanceMM, d.exact.WorkingDistanceMM+min(0, d.front))
}

// face is how far a plane lies before the holder's camera-side face.
func (d mount) face(z float64) float64 { return d.lens - z }

// part is what keeps element i from what comes after it, and how long it is.
func (d mount) part(i int) string {
	a := d.seats[i]
	if i+1 == len(d.seats) {
		if !a.known() {
			return "not given"
		}
		if d.assembly == fromSpecimen {
			return "shoulder"
		}
		return "ring"
	}
	length, ok := spacerMM(a, d.seats[i+1])
	switch {
	case !ok:
		return "not given"
	case length < 1e-6:
		return "rims touch"
	case webbed(a, d.seats[i+1], d.clearanceMM):
		return "web " + toMicron(length)
	case length < thinnestMM:
		return "shim " + toMicron(length)
	}
	return "spacer " + toMicron(length)
}

// table lists the lenses with their places.
func (d mount) table() table {
	t := table{widthsMM: []float64{44, 16, 18, 24, 20, 24, 20, 33, 18, 28, 28}, rows: [][]string{
		{"element", "Ø", "bore Ø", "front seat at", "bears on Ø", "rear seat at", "bears on Ø", "light / opening Ø", "gap after", "then", "gap may be off"}}}
	for i, s := range d.seats {
		if i == maxRows {
			t.rows = append(t.rows, []string{fmt.Sprintf("and %d more", len(d.seats)-i), "", "", "", "", "", "", "", "", "", ""})
			break
		}
		row := []string{d.numbered(i), s.reason, "", "", "", "", "", "", fixed(d.gap(i), 4), d.part(i), d.plays[i].text()}
		if s.known() {
			e := d.Attachment.Stack[i].Element
			narrow, light := s.front.openMM, s.front.lightMM
			if s.rear.openMM-s.rear.lightMM < narrow-light {
				narrow, light = s.rear.openMM, s.rear.lightMM
			}
			copy(row[1:], []string{fixed(e.DiameterMM, 4), fixed(2*s.boreMM, 4), toMicron(d.face(s.front.zMM)), fixed(2*s.front.contactMM, 4),
				toMicron(d.face(s.rear.zMM)), fixed(2*s.rear.contactMM, 4), fixed(2*light, 3) + " / " + fixed(2*narrow, 4)})
			if light > narrow {
				row[7] += " cut"
			}
		}
		t.rows = append(t.rows, row)
	}
	return t
}

func (p play) text() string {
	if math.IsNaN(p.mm) {
		return "not evaluated"
	}
	return "±" + fixed(p.mm, 2) + " (" + p.limit + ")"
}

// notes are the rules of the sheet.
func (d mount) notes() []string {
	var cut, unknown []string
	for i, s := range d.seats {
		if !s.known() {
			unknown = append(unknown, fmt.Sprint(i+1))
		} else if s.front.lightMM > s.front.openMM || s.rear.lightMM > s.rear.openMM {
			cut = append(cut, fmt.Sprint(i+1))
		}
	}
	notes := []string{
		fmt.Sprintf("Seats are counted from the camera-side face, which lies in the plane of the camera's lens: cut the face back by as much as the camera's housing stands before its lens. Walls %s mm, clearance of bores %s mm in diameter, retaining ring %s mm: free to change.", fixed(wallMM, 3), fixed(d.clearanceMM, 3), fixed(retainerMM, 3)),
		"A seat is the plane of a flat end: on a bulging surface it bears on the edge of the opening, on a hollow one on the rim, taken as sharp. Spacer = vertex gap + sagitta of the next front surface - sagitta of this rear surface, each where it bears.",
		fmt.Sprintf("A gap may be off either way until it alone moves best focus by a quarter of the depth of field (%s) or the scale by 1 %%, rounded down to 1, 2, 5 and at most %s mm. Specimen distance ±%s mm by the same rule. Tilt and decentring are not looked at.",
			small(d.exact.DepthOfField.TotalUM), fixed(mostPlayMM, 2), fixed(allowed(d.exact.DepthOfField.TotalUM/4000, math.Inf(1)).mm, 2)),
	}
	if len(unknown) < len(d.seats) {
		notes = append(notes, d.assembly.text())
	}
	if d.clearMM() <= 0 {
		notes = append(notes, "This holder does not clear the specimen: its ring would stand in it. Hold the first lens from behind, or choose a longer working distance.")
	}
	if len(cut) > 0 {
		notes = append(notes, "The ledge that holds it cuts into the light at "+strings.Join(cut, ", ")+". Record the clear aperture, or use a narrower ledge.")
	}
	if len(unknown) > 0 {
		notes = append(notes, "No seat can be given for "+strings.Join(unknown, ", ")+". What is given beyond it is counted from its principal plane, or a mirror's face, not from its rim.")
	}
	return notes
}
