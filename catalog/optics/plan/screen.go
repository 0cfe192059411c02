package plan

import (
	"context"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// candidate is a stack on its way through the search.
type candidate struct {
	n            int8
	gap          [MostLenses]int8 // after each lens, an index
	variant      [MostLenses]int16
	ideal        bool
	upperBound   bool
	meets        bool // the wishes, by what is known of it so far
	barUM        float64
	pixelUM      float64
	fieldMM      float64
	clearanceMM  float64
	transmission float64
	cost         float64
}

// Buckets sort the stacks of a set by pixel and working distance, on a grid that
// depends on neither wishes nor parts, so that a search with fewer wishes meets
// the same stacks again.
const (
	pixelBins, distanceBins = 128, 64
	// alike is the share by which a bar must be smaller to be worth a trace.
	alike = 0.03
)

// bucket holds the sharpest of the stacks that are alike.
type bucket struct {
	set  int64 // it belongs to; a bucket of an earlier set is empty
	best candidate
}

// screener works through sets of lenses, one after another.
type screener struct {
	*space
	wishes    Wishes
	radii     [2]float64
	lowP      float64 // of the row's first entry: pixels no larger than wished
	highP     float64 // the field no smaller than wished
	leastMM   float64 // working distance
	counts    Counts
	set       int64
	now       candidate       // with what the set has in common
	parts     []int           // of the set, each once
	left      []int           // how many of each are not placed yet
	chosen    [MostLenses]int // variants, camera side first
	gapIndex  [MostLenses]int // towards the camera
	beams     [MostLenses]beam
	marginals [MostLenses]marginal
	traced    int // levels whose beams are traced
	summed    int // levels whose marginal rays are
	depth     int
	buckets   []bucket
	touched   []int32
	alike     []candidate // room for harvest
	out       []candidate // of a unit
	few       []candidate // every survivor of a unit, until there are too many
	passed    int64       // survivors of this screener
	others    *atomic.Int64
	before    int64 // survivors of all screeners, of late
}

func (s *space) newScreener(w Wishes) *screener {
	c := &screener{space: s, wishes: w, others: new(atomic.Int64), highP: math.Inf(1), buckets: make([]bucket, 2*pixelBins*distanceBins)}
	c.radii = nodes()
	if w.ResolveUM > 0 {
		c.lowP = s.pitchUM / (w.ResolveUM * (1 + Margin)) / s.scale
	}
	if w.FieldMM > 0 {
		c.highP = s.shortMM / (w.FieldMM * (1 - Margin)) / s.scale
	}
	c.leastMM = w.ClearanceMM * (1 - Margin)
	return c
}

// unit is a share of the work: the sets that begin with two parts, or a single one.
type unit struct{ first, second int }

func (s *space) units() []unit {
	var all []unit
	for i := range s.Parts {
		all = append(all, unit{i, -1})
		if s.MaxLenses > 1 {
			for j := i; j < len(s.Parts); j++ {
				all = append(all, unit{i, j})
			}
		}
	}
	return all
}

// screen runs stages 1 and 2 and returns the candidates in a fixed order.
func (s *space) screen(ctx context.Context, w Wishes, r *Result, progress func(Progress)) []candidate {
	units := s.units()
	found, few := make([][]candidate, len(units)), make([][]candidate, len(units))
	var next, done, passed atomic.Int64
	var wait sync.WaitGroup
	var lock sync.Mutex
	for range s.Workers {
		wait.Go(func() {
			c := s.newScreener(w)
			c.others = &passed
			for ctx.Err() == nil {
				k := next.Add(1) - 1
				if k >= int64(len(units)) {
					break
				}
				c.out, c.few = nil, nil
				c.unit(ctx, units[k])
				found[k], few[k] = c.out, c.few
				lock.Lock()
				progress(Progress{"screening", done.Add(1), int64(len(units))})
				lock.Unlock()
			}
			lock.Lock()
			r.Counts.Sets, r.Counts.Screened, r.Counts.Traced = r.Counts.Sets+c.counts.Sets, r.Counts.Screened+c.counts.Screened, r.Counts.Traced+c.counts.Traced
			lock.Unlock()
		})
	}
	wait.Wait()
	r.Complete = r.Complete && ctx.Err() == nil
	if passed.Load() <= mostRefined {
		return slices.Concat(few...)
	}
	return slices.Concat(found...)
}

func (c *screener) unit(ctx context.Context, u unit) {
	set := []int{u.first}
	if u.second >= 0 {
		set = append(set, u.second)
	}
	if !c.allowed(set) {
		return
	}
	c.screenSet(set)
	if u.second >= 0 {
		c.grow(ctx, set)
	}
}

// grow screens every set that begins like this one.
func (c *screener) grow(ctx context.Context, set []int) {
	if len(set) == c.MaxLenses {
		return
	}
	for part := set[len(set)-1]; part < len(c.Parts) && ctx.Err() == nil; part++ {
		longer := append(slices.Clone(set), part)
		if c.allowed(longer) {
			c.screenSet(longer)
			c.grow(ctx, longer)
		}
	}
}

// allowed reports whether counts and budget admit a set. Both only tighten as a
// set grows.
func (c *screener) allowed(set []int) bool {
	cost, run := 0.0, 0
	for i, part := range set {
		cost += c.Parts[part].Cost
		if run++; i > 0 && set[i-1] != part {
			run = 1
		}
		if most := c.Parts[part].Count; most > 0 && run > most {
			return false
		}
	}
	return c.wishes.Budget == 0 || cost <= c.wishes.Budget
}

// screenSet goes through every order, orientation and choice of gaps of a set.
func (c *screener) screenSet(set []int) {
	c.set++
	c.counts.Sets++
	c.depth, c.traced, c.summed = len(set), 0, 0
	c.now = candidate{n: int8(len(set))}
	c.parts, c.left, c.touched = c.parts[:0], c.left[:0], c.touched[:0]
	for i, part := range set {
		if i == 0 || set[i-1] != part {
			c.parts, c.left = append(c.parts, part), append(c.left, 0)
		}
		c.left[len(c.left)-1]++
		c.now.cost += c.Parts[part].Cost
		c.now.ideal = c.now.ideal || c.Parts[part].Element.IsThin()
		c.now.upperBound = c.now.upperBound || c.Parts[part].UpperBound
	}
	c.now.transmission = c.lets(set)
	if c.infinite {
		c.place(0, 0, 1)
	} else {
		for g, gap := range c.LastGapsMM {
			c.gapIndex[0] = g
			c.place(0, 1, gap-c.Camera.FocusMM)
		}
	}
	c.harvest()
}

// lets is the share of light that a set of lenses lets through, over the band.
func (s *space) lets(set []int) float64 {
	sum, total := 0.0, 0.0
	for k, weight := range s.LightWeights {
		t := 1.0
		for _, part := range set {
			t *= s.Parts[part].Transmission[k]
		}
		sum, total = sum+weight*t, total+weight
	}
	return sum / total
}

// place puts every lens that is left at a place, 0 before the camera, and goes on
// towards the specimen. (p, q) is the row that the lenses placed so far make of
// (0, 1), or of (1, d-U) for a camera d behind them focused at U; with a lens or
// a gap more it is multiplied by that one's matrix from the right. For the whole
// stack
//
//	working distance = -q/p,  |magnification| = scale |p|
//
// which is optics.Attachment.Figures.
func (c *screener) place(level int, p, q float64) {
	last := level == c.depth-1
	for i, part := range c.parts {
		if c.left[i] == 0 {
			continue
		}
		c.left[i]--
		for _, index := range c.ofPart[part] {
			c.chosen[level] = index
			v := &c.variants[index]
			switch {
			case level == 0:
				c.placeFirst(v, index, last, p, q)
			case last:
				c.placeLast(v, c.firstGap[index][c.chosen[level-1]], p, q)
			default:
				for g := c.firstGap[index][c.chosen[level-1]]; g < len(c.GapsMM); g++ {
					c.gapIndex[level] = g
					c.moved(level)
					at := q + c.GapsMM[g]*p
					c.place(level+1, p*v.a+at*v.c, p*v.b+at*v.d)
				}
			}
		}
		c.left[i]++
	}
}

// placeFirst puts the lens before the camera. With the camera at infinity its
// distance changes nothing on the axis, and the nearest one that fits cuts the
// field least, so that one alone is looked at.
func (c *screener) placeFirst(v *variant, index int, last bool, p, q float64) {
	if c.infinite {
		c.gapIndex[0] = c.firstLast[index]
		if c.gapIndex[0] == len(c.LastGapsMM) {
			return
		}
	} else if c.gapIndex[0] < c.firstLast[index] {
		return
	}
	c.moved(0)
	p, q = p*v.a+q*v.c, p*v.b+q*v.d
	if !last {
		c.place(1, p, q)
		return
	}
	c.counts.Screened++
	if size, distance := math.Abs(p), -q/p; size >= c.lowP && size <= c.highP && distance > 0 && distance >= c.leastMM {
		c.survive(0, p, q)
	}
}

// placeLast puts the lens before the specimen: the loop that nearly all stacks
// pass through. Both entries of the row are linear in the gap.
func (c *screener) placeLast(v *variant, first int, p, q float64) {
	p0, p1, q0, q1 := p*v.a+q*v.c, p*v.c, p*v.b+q*v.d, p*v.d
	low, high, least := c.lowP, c.highP, c.leastMM
	c.counts.Screened += int64(len(c.GapsMM) - first)
	for g := first; g < len(c.GapsMM); g++ {
		gap := c.GapsMM[g]
		row := p0 + gap*p1
		size := math.Abs(row)
		if !(size >= low && size <= high) {
			continue
		}
		if distance := -(q0 + gap*q1) / row; distance > 0 && distance >= least {
			c.gapIndex[c.depth-1] = g
			c.moved(c.depth - 1)
			c.survive(c.depth-1, row, -distance*row)
		}
	}
}
