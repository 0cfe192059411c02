package drawing

import "math"

// assembly says how a holder is put together.
type assembly int

const (
	fromSpecimen assembly = iota // shoulder at the camera's end, ring at the specimen's
	fromCamera                   // the other way round
	fromBoth                     // onto a web of the holder, a ring at either end
	split                        // in two parts
)

func (a assembly) text() string {
	switch a {
	case fromSpecimen:
		return "Lenses and spacers go in from the specimen's side onto the shoulder; a ring holds them."
	case fromCamera:
		return "Lenses and spacers go in from the camera's side onto the shoulder; a ring holds them."
	case fromBoth:
		return "The web is part of the holder: what stands on either side of it goes in from that side, and a ring at either end holds it."
	}
	return "The bores narrow and widen again: make the holder in two parts, split at the narrowest lens; a web is part of it."
}

// webbed reports whether two seated neighbours differ so much in size that no
// ring between them could reach both seats, so that the holder itself must.
func webbed(a, b seated, clearanceMM float64) bool {
	outer1, outer2 := a.boreMM-clearanceMM/2, b.boreMM-clearanceMM/2
	return a.known() && b.known() && min(outer1, outer2)-max(a.rear.openMM, b.front.openMM) < ledgeMM/4
}

// assemblyOf finds from which end the lenses can go in: they must not grow on
// their way to the shoulder or web.
func assemblyOf(list []seated, clearanceMM float64) assembly {
	var known []seated
	web, webs := 0, 0
	for i, s := range list {
		if !s.known() {
			continue
		}
		known = append(known, s)
		if i > 0 && webbed(list[i-1], s, clearanceMM) {
			web = len(known) - 1
			webs++
		}
	}
	// shrinks reports whether lenses never grow towards the camera, and grows
	// whether they never shrink.
	shrinks := func(part []seated) bool {
		for i := 1; i < len(part); i++ {
			if part[i].boreMM > part[i-1].boreMM {
				return false
			}
		}
		return true
	}
	grows := func(part []seated) bool {
		for i := 1; i < len(part); i++ {
			if part[i].boreMM < part[i-1].boreMM {
				return false
			}
		}
		return true
	}
	switch {
	case webs == 0 && shrinks(known):
		return fromSpecimen
	case webs == 0 && grows(known):
		return fromCamera
	case webs == 1 && shrinks(known[:web]) && grows(known[web:]):
		return fromBoth
	}
	return split
}

// stretch is a part of the holder along the axis, of one inner radius.
type stretch struct{ from, to, radius float64 }

// bodies are the stretches of the holder, none where no seat is known.
func (d mount) bodies() []stretch {
	var list []stretch
	from := d.front
	last := -1
	for i, s := range d.seats {
		if !s.known() {
			continue
		}
		switch {
		case last < 0 && i == 0 && d.assembly == fromCamera:
			list = append(list, stretch{from, s.front.zMM, s.front.openMM})
			from = s.front.zMM
		case last == i-1 && i > 0 && webbed(d.seats[last], s, d.clearanceMM):
			a := d.seats[last]
			change := (a.rear.zMM + s.front.zMM) / 2
			list = append(list, stretch{from, a.rear.zMM, a.boreMM}, stretch{a.rear.zMM, change, a.rear.openMM}, stretch{change, s.front.zMM, s.front.openMM})
			from = s.front.zMM
		case last >= 0:
			a := d.seats[last]
			change := d.boreChange(a, s)
			list = append(list, stretch{from, change, a.boreMM})
			from = change
		}
		last = i
	}
	if last < 0 {
		return nil
	}
	s := d.seats[last]
	if last == len(d.seats)-1 && d.assembly == fromSpecimen && s.rear.zMM < d.lens {
		return append(list, stretch{from, s.rear.zMM, s.boreMM}, stretch{s.rear.zMM, d.lens, s.rear.openMM})
	}
	return append(list, stretch{from, d.lens, s.boreMM})
}

// boreChange is where the bore goes over from one lens's to the next one's: near
// the smaller one, so that the step never bears on the ring between them.
func (d mount) boreChange(a, b seated) float64 {
	middle, quarter := (a.rear.zMM+b.front.zMM)/2, math.Abs(b.front.zMM-a.rear.zMM)/4
	switch {
	case a.boreMM > b.boreMM:
		return middle + quarter
	case a.boreMM < b.boreMM:
		return middle - quarter
	}
	return middle
}

// ring is a spacer or a ring that holds lenses in, of two openings and two
// outlines where its lenses differ in size.
type ring struct {
	from, to       float64
	inner1, inner2 float64
	outer1, outer2 float64
}

func (d mount) rings() []ring {
	var list []ring
	for i := range len(d.seats) - 1 {
		a, b := d.seats[i], d.seats[i+1]
		if length, ok := spacerMM(a, b); ok && length >= thinnestMM && !webbed(a, b, d.clearanceMM) {
			list = append(list, ring{a.rear.zMM, b.front.zMM, a.rear.openMM, b.front.openMM, a.boreMM - d.clearanceMM/2, b.boreMM - d.clearanceMM/2})
		}
	}
	if first := d.seats[0]; first.known() && d.assembly != fromCamera {
		open := first.front.openMM
		list = append(list, ring{d.front, first.front.zMM, open, open, first.boreMM, first.boreMM})
	}
	if last := d.seats[len(d.seats)-1]; last.known() && d.assembly != fromSpecimen && last.rear.zMM < d.lens {
		open := last.rear.openMM
		list = append(list, ring{last.rear.zMM, min(last.rear.zMM+retainerMM, d.lens), open, open, last.boreMM, last.boreMM})
	}
	return list
}
