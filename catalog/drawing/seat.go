package drawing

import (
	"math"

	"dieglow/catalog/optics"
)

const (
	// ledgeMM is how far a shoulder or ring reaches over a lens whose clear
	// aperture leaves no more, and thinnestMM the shortest ring worth turning
	// (common practice, no source).
	ledgeMM    = 0.5
	thinnestMM = 0.2

	// clearanceMM is that of a bore over its lens, in diameter, unless another is
	// stated: what a turned bore and a lens of usual tolerance need (common
	// practice, no source).
	clearanceMM = 0.1

	retainerMM = 1.0 // thickness of a ring that holds lenses in
	shoulderMM = 1.0 // thickness of a shoulder at the specimen's end
	wallMM     = 2.0
)

// seat is where the holder touches one surface: the plane of the flat end that
// bears on it, and the height at which it does.
type seat struct {
	openMM    float64 // radius of the opening
	contactMM float64 // height of the contact
	zMM       float64 // of the plane, from the first vertex
	lightMM   float64 // how far from the axis light meets the surface
}

// seated is a lens in its holder.
type seated struct {
	index       int // in the stack
	reason      string
	boreMM      float64 // radius
	front, rear seat
}

// known reports whether the lens's seats can be given.
func (s seated) known() bool { return s.reason == "" }

// newSeat finds where a flat end bears on a surface with its vertex at z. bulge
// is 1 where a positive radius bulges towards the end, -1 where it is hollow. A
// bulging surface rests on the inner edge of the opening, a hollow one is touched
// at its rim, and a plane one anywhere.
func newSeat(e optics.Element, surface int, z, bulge float64) seat {
	rim := e.DiameterMM / 2
	radius := e.Radius1MM
	if surface == 1 {
		radius = e.Radius2MM
	}
	s := seat{openMM: min(clearMM(e, surface), rim-min(ledgeMM, rim/5))}
	s.contactMM = s.openMM
	if radius*bulge < 0 && !math.IsInf(radius, 0) {
		s.contactMM = rim
	}
	s.zMM = z + optics.SagittaMM(radius, s.contactMM)
	return s
}

// seatsOf places every element of a stack in its holder.
func seatsOf(stack optics.Stack, clearanceMM float64) []seated {
	var list []seated
	z := 0.0
	for i, m := range stack {
		e := m.Element
		s := seated{index: i, boreMM: (e.DiameterMM + clearanceMM) / 2}
		switch {
		case e.Mirror:
			s.reason = "a mirror: the path folds here, and its seat is not given by this sheet"
		case e.IsThin():
			s.reason = "known by its focal length only: its seat cannot be given; record radii, thickness and diameter"
		case !(e.DiameterMM > 0):
			s.reason = "no diameter is recorded: its seat cannot be given"
		default:
			s.front = newSeat(e, 0, z, 1)
			s.rear = newSeat(e, 1, z+e.ThicknessMM, -1)
		}
		list = append(list, s)
		z += e.ThicknessMM + m.GapAfterMM
	}
	return list
}

// spacerMM is the length of the ring between two seated neighbours: the vertex
// gap with the sagittas at which its ends bear. ok is false where a seat of one
// of them is not known.
func spacerMM(a, b seated) (length float64, ok bool) {
	return b.front.zMM - a.rear.zMM, a.known() && b.known()
}

// play is how far a gap may be off.
type play struct {
	mm    float64 // either way; NaN where it could not be found
	limit string  // what it uses up
}

const mostPlayMM = 0.5 // beyond this a gap is not critical

// plays finds the tolerance of every gap, the last of which reaches the camera's
// lens: either way the step of 1, 2, 5, ... at or below which this gap alone
// moves best focus by a quarter of the depth of field or the scale by 1 %.
func plays(a optics.Attachment, depthMM float64) []play {
	const stepMM = 0.01
	list := make([]play, len(a.Stack))
	for i := range a.Stack {
		list[i] = play{mm: math.NaN()}
		t := optics.Tolerances{Elements: make([]optics.Tolerance, len(a.Stack))}
		t.Elements[i].GapAfterMM = stepMM
		report, err := a.Tolerate(t, optics.Trials{Count: 2}, optics.FirstOrder)
		if err != nil {
			continue
		}
		focus, scale := math.Inf(1), math.Inf(1)
		for _, f := range report.Figures {
			slope := math.Abs(f.Shares[0].Sensitivity)
			switch f.Name {
			case "working_distance_mm":
				focus = depthMM / 4 / slope
			case "magnification":
				scale = 0.01 * math.Abs(f.Nominal) / slope
			}
		}
		list[i] = allowed(focus, scale)
	}
	return list
}

// allowed is the smaller of two tolerances as a round number.
func allowed(focus, scale float64) play {
	p := play{min(focus, scale), "focus"}
	if scale < focus {
		p.limit = "scale"
	}
	if p.mm >= mostPlayMM {
		return play{mostPlayMM, "not critical"}
	}
	p.mm = standardScale(p.mm)
	return p
}
