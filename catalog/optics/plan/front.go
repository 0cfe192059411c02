package plan

import (
	"cmp"
	"math"
	"slices"
)

// worth is the figures that are traded for one another, each the better the larger.
func (c *candidate) worth() [5]float64 {
	return [5]float64{-c.barUM, c.fieldMM, c.clearanceMM, c.transmission, -c.cost}
}

// beats reports whether c is nowhere worse than d. An ideal stack leaves aberrations
// out, so it does not beat a real one. Costs that are not known are alike.
func (c *candidate) beats(d *candidate) bool {
	return c.barUM <= d.barUM && c.fieldMM >= d.fieldMM && c.clearanceMM >= d.clearanceMM &&
		c.transmission >= d.transmission && c.cost <= d.cost && (!c.ideal || d.ideal) && (c.meets || !d.meets)
}

// better orders candidates figure by figure, so that none is beaten by a later one
// that is not its equal.
func better(a, b *candidate) int {
	no := func(v bool) int {
		if v {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(a.barUM, b.barUM), cmp.Compare(b.fieldMM, a.fieldMM), cmp.Compare(b.clearanceMM, a.clearanceMM), cmp.Compare(b.transmission, a.transmission),
		cmp.Compare(a.cost, b.cost), cmp.Compare(no(!a.ideal), no(!b.ideal)), cmp.Compare(no(a.meets), no(b.meets)))
}

// undominated keeps those that no other beats; of equal ones the first.
func undominated(all []candidate) []candidate {
	slices.SortStableFunc(all, func(a, b candidate) int { return better(&a, &b) })
	var front []candidate
	for i := range all {
		c := &all[i]
		// The latest entries are the nearest in bar, so the likeliest to beat it.
		beaten := false
		for k := len(front) - 1; k >= 0 && !beaten; k-- {
			beaten = front[k].beats(c)
		}
		if !beaten {
			front = append(front, *c)
		}
	}
	return front
}

// stairs are fields, rising, with the largest clearance of any field as wide or
// wider, falling.
type stairs []struct{ field, clearance float64 }

func (s stairs) from(field float64) int {
	k, _ := slices.BinarySearchFunc(s, field, func(e struct{ field, clearance float64 }, f float64) int { return cmp.Compare(e.field, f) })
	return k
}

// above reports whether a step is as wide and as far from the specimen.
func (s stairs) above(c *candidate) bool {
	k := s.from(c.fieldMM)
	return k < len(s) && s[k].clearance >= c.clearanceMM
}

// with adds a candidate that no step is above of.
func (s stairs) with(c *candidate) stairs {
	end := s.from(c.fieldMM)
	if end < len(s) && s[end].field == c.fieldMM {
		end++
	}
	start := end
	for start > 0 && s[start-1].clearance <= c.clearanceMM {
		start--
	}
	return slices.Replace(s, start, end, struct{ field, clearance float64 }{c.fieldMM, c.clearanceMM})
}

// ofSet is undominated for stacks of one set of lenses, which differ in bar, field
// and clearance alone.
func ofSet(all []candidate) []candidate {
	slices.SortStableFunc(all, func(a, b candidate) int { return better(&a, &b) })
	var meeting, any stairs
	var front []candidate
	for i := range all {
		c := &all[i]
		if meeting.above(c) || !c.meets && any.above(c) {
			continue
		}
		front = append(front, *c)
		if c.meets {
			meeting = meeting.with(c)
		}
		if !any.above(c) {
			any = any.with(c)
		}
	}
	return front
}

// mostOfSet is how many stacks of one set of lenses go on.
const mostOfSet = 32

// fewer keeps of a set's front, which is in the order of bars, the ends in every
// figure, of those that meet the wishes before the others, and some between them.
func fewer(front []candidate) []candidate {
	if len(front) <= mostOfSet {
		return front
	}
	var meeting, rest []candidate
	for _, c := range front {
		if c.meets {
			meeting = append(meeting, c)
		} else {
			rest = append(rest, c)
		}
	}
	share := mostOfSet
	if len(rest) > 0 && len(meeting) > 0 {
		share = max(mostOfSet*3/4, mostOfSet-len(rest))
	}
	meeting = ends(meeting, share)
	return append(meeting, ends(rest, mostOfSet-len(meeting))...)
}

// ends keeps at most n: the widest, the farthest, and others evenly over the bars.
func ends(list []candidate, n int) []candidate {
	if len(list) <= n {
		return list
	}
	taken := make([]bool, len(list))
	wide, far := 0, 0
	for i := range list {
		if list[i].fieldMM > list[wide].fieldMM {
			wide = i
		}
		if list[i].clearanceMM > list[far].clearanceMM {
			far = i
		}
	}
	taken[wide], taken[far] = true, true
	for k := range n - 2 {
		taken[k*len(list)/(n-2)] = true
	}
	var kept []candidate
	for i := range list {
		if taken[i] {
			kept = append(kept, list[i])
		}
	}
	return kept
}

// mostCompared is how many candidates are held against one another.
const mostCompared = 20000

// reduced keeps of many candidates those that differ and that no other beats.
func (s *space) reduced(all []candidate) []candidate {
	return s.thin(undominated(s.spread(s.thin(all), mostCompared)))
}

// compare orders candidates as Search says, by figures first and then by what
// they are made of, so that no two are alike.
func (s *space) compare(a, b *candidate) int {
	real := func(c *candidate) int {
		if c.ideal {
			return 1
		}
		return 0
	}
	return cmp.Or(
		cmp.Compare(percent(a.barUM), percent(b.barUM)), cmp.Compare(real(a), real(b)), cmp.Compare(a.cost, b.cost),
		cmp.Compare(a.n, b.n), cmp.Compare(b.clearanceMM, a.clearanceMM), cmp.Compare(a.barUM, b.barUM),
		slices.Compare(a.variant[:], b.variant[:]), slices.Compare(a.gap[:], b.gap[:]),
	)
}

// percent is a cell of 1 %.
func percent(v float64) int { return int(math.Floor(math.Log(v) / math.Log(1.01))) }

// thin keeps one stack of those that differ by little: cells of 3 % in bar and
// field, 5 % in clearance, 1 % in transmission, equal cost. The best by compare
// stays.
func (s *space) thin(all []candidate) []candidate {
	type cell struct {
		bar, field, clearance, transmission int
		cost                                float64
		ideal                               bool
	}
	step := func(v, ratio float64) int { return int(math.Floor(math.Log(v) / math.Log(ratio))) }
	at := map[cell]int{}
	var kept []candidate
	for i := range all {
		c := &all[i]
		key := cell{step(c.barUM, 1.03), step(c.fieldMM, 1.03), step(c.clearanceMM, 1.05), step(c.transmission, 1.01), c.cost, c.ideal}
		k, there := at[key]
		switch {
		case !there:
			at[key] = len(kept)
			kept = append(kept, *c)
		case s.compare(c, &kept[k]) < 0:
			kept[k] = *c
		}
	}
	slices.SortFunc(kept, func(a, b candidate) int { return s.compare(&a, &b) })
	return kept
}

// pick chooses n of a front in the order of compare: the best in each figure, so
// that its ends are shown, and the first of the rest.
func (s *space) pick(front []candidate, n int) []candidate {
	if len(front) <= n {
		return front
	}
	taken := map[int]bool{}
	for figure := range 5 {
		best := 0
		for i := range front {
			if front[i].worth()[figure] > front[best].worth()[figure] {
				best = i
			}
		}
		if len(taken) < n {
			taken[best] = true
		}
	}
	lenses := map[[MostLenses]int16]bool{} // another choice of lenses says more than another gap
	for i := range front {
		lenses[front[i].variant] = lenses[front[i].variant] || taken[i]
	}
	for _, any := range []bool{false, true} {
		for i := range front {
			if len(taken) < n && (any || !lenses[front[i].variant]) {
				taken[i], lenses[front[i].variant] = true, true
			}
		}
	}
	var chosen []candidate
	for i := range front {
		if taken[i] {
			chosen = append(chosen, front[i])
		}
	}
	return chosen
}
