package plan

import (
	"math"
	"runtime"

	"dieglow/catalog/optics"
)

// variant is a part the one or the other way round.
type variant struct {
	part       int
	flipped    bool
	a, b, c, d float64          // matrix from the specimen's side to the camera's
	back       *optics.System   // at the main wavelength, camera side first
	open       *optics.System   // the same without clear apertures
	waves      []*optics.System // at each wavelength of the band, camera side first
	glass      glass
	rimMM      float64 // how far the rim of the specimen's side stands before its vertex
}

// space is a problem with everything worked out that stacks have in common.
type space struct {
	Problem
	variants []variant
	ofPart   [][]int // variants of each part
	// firstGap is the first of GapsMM at which a variant fits before another one,
	// towards the camera; firstLast the first of LastGapsMM before the camera.
	firstGap  [][]int
	firstLast []int
	infinite  bool    // the camera's focus
	scale     float64 // of |M| over the row's first entry; see screen.go
	arrayMM   float64 // from the camera's lens to its array
	pupilMM   float64 // radius
	pitchUM   float64 // the larger one
	shortMM   float64 // shorter side of the array
	// What a bar at the contrast is, in units of wavelength/NA, of the rms radius
	// of the blur and of the pixel, were each alone.
	barDiffraction, barBlur, barPixel float64
}

func newSpace(p Problem) *space {
	if p.Workers <= 0 {
		p.Workers = runtime.GOMAXPROCS(0)
	}
	c := p.Camera
	s := &space{
		Problem: p, infinite: math.IsInf(c.FocusMM, 1), pupilMM: c.FocalMM / c.FNumber / 2,
		arrayMM: 1 / (1/c.FocalMM - 1/c.FocusMM), pitchUM: max(c.PitchXUM, c.PitchYUM),
		shortMM: min(float64(c.Width)*c.PitchXUM, float64(c.Height)*c.PitchYUM) / 1000,
	}
	s.scale = c.FocalMM
	if !s.infinite {
		s.scale = c.FocalMM / (c.FocusMM - c.FocalMM)
	}
	s.barDiffraction = 0.25 / falls(p.Contrast, optics.DiffractionMTF)
	s.barPixel = 0.5 / falls(p.Contrast, func(v float64) float64 { return optics.DetectorMTF(v, 1) })
	s.barBlur = math.Pi / math.Sqrt(-4*math.Log(p.Contrast)) // exp(-(pi r f)²) for a rms radius r
	s.turnParts()
	s.fitParts()
	return s
}

// falls is where a curve that falls from 1 at 0 to 0 at 1 reaches a contrast.
func falls(contrast float64, curve func(float64) float64) float64 {
	low, high := 0.0, 1.0
	for range 50 {
		if mid := (low + high) / 2; curve(mid) > contrast {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// turnParts makes the variants. A lens that looks the same both ways has one.
func (s *space) turnParts() {
	s.ofPart = make([][]int, len(s.Parts))
	for i, part := range s.Parts {
		ways := []bool{false, true}
		if e := part.Element; e.IsThin() || e == e.Flip() {
			ways = ways[:1]
		}
		for _, flipped := range ways {
			v := variant{part: i, flipped: flipped}
			e := turned(part.Element, flipped)
			m := optics.Stack{{Element: e}}.Matrix()
			v.glass = glassOf(e.Flip())
			v.a, v.b, v.c, v.d = m.A, m.BMM, m.CPerMM, m.D
			var ok bool
			if v.back, ok = backwards(e); !ok {
				continue
			}
			open := e
			open.DiameterMM, open.SemiAperture1MM, open.SemiAperture2MM = 0, 0, 0
			if v.open, ok = backwards(open); !ok {
				continue
			}
			for _, w := range part.Waves {
				back, fine := backwards(turned(w, flipped))
				ok = ok && fine
				v.waves = append(v.waves, back)
			}
			if !ok {
				continue
			}
			if h := rim(e); !e.IsThin() && !math.IsInf(h, 1) {
				v.rimMM = max(0, -sagitta(e.Radius1MM, h))
			}
			s.ofPart[i] = append(s.ofPart[i], len(s.variants))
			s.variants = append(s.variants, v)
		}
	}
}

func glassOf(e optics.Element) glass {
	g := glass{n: e.N, thickness: e.ThicknessMM, c1: curvature(e.Radius1MM), c2: curvature(e.Radius2MM), semi1: semi(e.SemiAperture1MM, e), semi2: semi(e.SemiAperture2MM, e)}
	if e.IsThin() {
		g = glass{power: 1 / e.FocalMM, semi1: min(g.semi1, g.semi2)}
	}
	return g
}

// semi is a clear semi-aperture, as optics has it where none is stated.
func semi(stated float64, e optics.Element) float64 {
	switch {
	case stated > 0:
		return stated
	case e.DiameterMM > 0:
		return e.DiameterMM / 2
	}
	return math.Inf(1)
}

func curvature(radiusMM float64) float64 {
	if radiusMM == 0 {
		return 0
	}
	return 1 / radiusMM
}

func turned(e optics.Element, flipped bool) optics.Element {
	if flipped {
		return e.Flip()
	}
	return e
}

// backwards makes an element ready for light from the camera. False when it
// cannot be built, so that no stack has it.
func backwards(e optics.Element) (*optics.System, bool) {
	stack := optics.Stack{{Element: e.Flip()}}
	if stack.CheckFit() != nil {
		return nil, false
	}
	system, err := stack.Compile()
	return system, err == nil
}

// rim is how far from the axis an element reaches, as optics has it.
func rim(e optics.Element) float64 {
	if e.DiameterMM > 0 {
		return e.DiameterMM / 2
	}
	if e.SemiAperture1MM > 0 && e.SemiAperture2MM > 0 {
		return max(e.SemiAperture1MM, e.SemiAperture2MM)
	}
	return math.Inf(1)
}

func sagitta(radiusMM, h float64) float64 {
	c := curvature(radiusMM)
	return c * h * h / (1 + math.Sqrt(max(0, 1-c*c*h*h)))
}

// fitParts finds the first gap at which each pair, and each last lens, can be built.
func (s *space) fitParts() {
	n := len(s.variants)
	s.firstGap, s.firstLast = make([][]int, n), make([]int, n)
	element := func(v int) optics.Element { return turned(s.Parts[s.variants[v].part].Element, s.variants[v].flipped) }
	for v := range n {
		s.firstGap[v] = make([]int, n)
		for next := range n {
			s.firstGap[v][next] = firstFit(s.GapsMM, func(gap float64) bool {
				return optics.Stack{{Element: element(v), GapAfterMM: gap}, {Element: element(next)}}.CheckFit() == nil
			})
		}
		s.firstLast[v] = firstFit(s.LastGapsMM, func(gap float64) bool {
			return optics.Attachment{Stack: optics.Stack{{Element: element(v)}}, Camera: s.Camera, StandoffMM: gap, WavelengthUM: s.WavelengthUM}.CheckFit() == nil
		})
	}
}

// firstFit is the first gap that fits, or their number.
func firstFit(gaps []float64, fits func(float64) bool) int {
	for i, g := range gaps {
		if fits(g) {
			return i
		}
	}
	return len(gaps)
}

// attachment is a candidate as optics sees it.
func (s *space) attachment(seats []Seat) optics.Attachment {
	return optics.Attachment{Stack: s.stack(seats, func(p Part) optics.Element { return p.Element }), Camera: s.Camera,
		StandoffMM: seats[len(seats)-1].GapAfterMM, WavelengthUM: s.WavelengthUM}
}

func (s *space) stack(seats []Seat, of func(Part) optics.Element) optics.Stack {
	stack := make(optics.Stack, len(seats))
	for i, seat := range seats {
		e := turned(of(s.Parts[seat.Part]), seat.Flipped)
		stack[i] = optics.Mounted{Element: e, GapAfterMM: seat.GapAfterMM}
	}
	return stack
}

func (s *space) seats(c *candidate) []Seat {
	seats := make([]Seat, c.n)
	for i := range seats {
		v := &s.variants[c.variant[i]]
		seats[i] = Seat{v.part, v.flipped, s.gap(c, i)}
	}
	return seats
}

// gap is the one after the lens at a place from the specimen.
func (s *space) gap(c *candidate, place int) float64 {
	if place == int(c.n)-1 {
		return s.LastGapsMM[c.gap[place]]
	}
	return s.GapsMM[c.gap[place]]
}
