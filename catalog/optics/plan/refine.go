package plan

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"dieglow/catalog/optics"
)

// Of the candidates at most so many are worked out over the band.
const (
	mostRefined    = 4000
	mostWhenEarly  = 200 // after an interruption, so that the answer comes soon
	rings          = 12  // as optics.Prediction has
	barSteps       = 32
	fieldHalvings  = 24
	marginHalvings = 16
)

// search runs stages 1 to 3 and returns the stacks that meet the wishes and that
// no other beats, best first. Where none meets them the ones that came near are
// all worked out before it gives up.
func (s *space) search(ctx context.Context, w Wishes, r *Result, progress func(Progress)) []candidate {
	all := s.screen(ctx, w, r, progress)
	// A few are all worked out; of many, those that seem to be beaten are not.
	front := all
	if len(all) > mostRefined {
		front = s.reduced(all)
	}
	most := mostRefined
	if !r.Complete {
		most = mostWhenEarly
	}
	worked := s.spread(front, most)
	met := s.refine(worked, w, &r.Counts, progress)
	if len(met) == 0 && r.Complete && len(all) > mostRefined {
		worked = s.spread(s.thin(all), 3*mostRefined)
		met = s.refine(worked, w, &r.Counts, progress)
	}
	if met = undominated(met); len(met) > s.Keep {
		met = s.thin(met)
	}
	slices.SortFunc(met, func(a, b candidate) int { return s.compare(&a, &b) })
	r.Counts.Front += int64(len(met))
	onFront := map[candidate]bool{}
	for _, c := range met {
		onFront[c] = true
	}
	for _, c := range worked {
		if c.fieldMM > 0 {
			r.Points = append(r.Points, Point{c.barUM, c.fieldMM, c.meets, onFront[c]})
		}
	}
	return met
}

// spread takes at most n candidates: round by round the next best in each figure.
func (s *space) spread(all []candidate, n int) []candidate {
	if len(all) <= n {
		return all
	}
	var orders [5][]int
	for figure := range orders {
		order := make([]int, len(all))
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(all[b].worth()[figure], all[a].worth()[figure]) })
		orders[figure] = order
	}
	taken := make([]bool, len(all))
	var chosen []candidate
	for k := 0; len(chosen) < n; k++ {
		for _, order := range orders {
			if i := order[k]; !taken[i] && len(chosen) < n {
				taken[i] = true
				chosen = append(chosen, all[i])
			}
		}
	}
	return chosen
}

// refine works candidates out over the band and returns those that meet the
// wishes then, in their order.
func (s *space) refine(all []candidate, w Wishes, counts *Counts, progress func(Progress)) []candidate {
	fine := make([]bool, len(all))
	s.each("tracing the band", len(all), progress, func(i int) { fine[i] = s.refineOne(&all[i]) })
	counts.Refined += int64(len(all))
	var met []candidate
	for i := range all {
		if !fine[i] {
			all[i].fieldMM = 0 // nothing comes through
		}
		all[i].meets = fine[i] && s.meets(&all[i], w)
		if all[i].meets {
			met = append(met, all[i])
		}
	}
	return met
}

// each calls work for 0 to n-1 on all workers.
func (s *space) each(stage string, n int, progress func(Progress), work func(int)) {
	var next, done atomic.Int64
	var wait sync.WaitGroup
	var lock sync.Mutex
	for range min(s.Workers, n) {
		wait.Go(func() {
			for {
				k := next.Add(1) - 1
				if k >= int64(n) {
					return
				}
				work(int(k))
				lock.Lock()
				progress(Progress{stage, done.Add(1), int64(n)})
				lock.Unlock()
			}
		})
	}
	wait.Wait()
}

func (s *space) meets(c *candidate, w Wishes) bool {
	return (w.ResolveUM == 0 || c.barUM <= w.ResolveUM) && (w.FieldMM == 0 || c.fieldMM >= w.FieldMM) &&
		c.clearanceMM >= w.ClearanceMM && (w.Budget == 0 || c.cost <= w.Budget)
}

// ring is a ring of rays of one wavelength where it meets the specimen's side.
type ring struct {
	y, slope, weight float64
	wave             int
}

// refineOne works out bar, field and clearance by exact rays over the band. What
// optics.Prediction does with a full bundle is done for the middle of the field
// alone, where the picture is round: a ring of radius r has the transform J0(2 pi f r).
func (s *space) refineOne(c *candidate) bool {
	var list []ring
	weights := make([]float64, len(s.Waves))
	for k, w := range s.Waves {
		for i := range rings {
			height := math.Sqrt((float64(i)+0.5)/rings) * s.pupilMM
			if r, ok := s.axial(c, k, height); ok {
				list = append(list, ring{r.Y - r.Z*r.M/r.N, r.M / r.N, w.Weight, k})
				weights[k] += w.Weight
			}
		}
	}
	var yt, tt float64
	for _, r := range list {
		yt, tt = yt+r.weight*r.y*r.slope, tt+r.weight*r.slope*r.slope
	}
	na := s.aperture(c)
	if !(tt > 0) || !(na > 0) {
		return false
	}
	distance := -yt / tt
	magnification := s.magnification(c, distance)
	if !(distance > 0) || !(magnification > 0) {
		return false
	}
	c.clearanceMM = distance - s.variants[c.variant[0]].rimMM
	c.pixelUM = s.pitchUM / magnification
	c.fieldMM = s.field(c, distance)
	for i := range list {
		list[i].y = math.Abs(list[i].y + distance*list[i].slope)
	}
	c.barUM = s.bar(list, na, c.pixelUM)
	return c.clearanceMM > 0
}

// axial traces a ray from the pupil through the stack at one wavelength, -1 for
// the main one.
func (s *space) axial(c *candidate, wave int, heightMM float64) (optics.Ray, bool) {
	return s.ray(c, wave, 0, heightMM)
}

// ray traces a ray that leaves the pupil at a height for the image of a point
// of the array. Wave -1 is the main wavelength, -2 the same without clear
// apertures.
func (s *space) ray(c *candidate, wave int, arrayMM, heightMM float64) (optics.Ray, bool) {
	last := int(c.n) - 1
	r := optics.RayAt(0, heightMM, -s.gap(c, last), 0, -arrayMM/s.arrayMM-heightMM/s.Camera.FocusMM)
	for place := last; place >= 0; place-- {
		v := &s.variants[c.variant[place]]
		system := v.back
		switch {
		case wave >= 0:
			system = v.waves[wave]
		case wave == -2:
			system = v.open
		}
		var outcome optics.Outcome
		if r, outcome = system.Trace(r); outcome.Fate != optics.Passed {
			return r, false
		}
		if place > 0 {
			r.Z -= s.gap(c, place-1)
		}
	}
	return r, true
}

// aperture is the numerical aperture of the steepest axial ray that passes.
func (s *space) aperture(c *candidate) float64 {
	if r, ok := s.axial(c, -1, s.pupilMM); ok {
		return math.Abs(r.M)
	}
	low, high, na := 0.0, 1.0, 0.0
	for range marginHalvings {
		mid := (low + high) / 2
		if r, ok := s.axial(c, -1, mid*s.pupilMM); ok {
			low, na = mid, math.Abs(r.M)
		} else {
			high = mid
		}
	}
	return na
}

// magnification is that of a chief ray near the axis, 0 where there is none.
func (s *space) magnification(c *candidate, distance float64) float64 {
	small := s.arrayMM * 1e-5
	r, ok := s.ray(c, -2, small, 0)
	if !ok {
		return 0
	}
	_, y := r.At(distance)
	return math.Abs(small / y)
}

// field is the side of the largest square about the axis whose sides' middles the
// camera sees, as far as the chief ray passes the clear apertures: there about
// half of the beam is cut.
func (s *space) field(c *candidate, distance float64) float64 {
	at := func(share float64) (float64, bool) {
		r, ok := s.ray(c, -1, share*s.shortMM/2, 0)
		_, y := r.At(distance)
		return 2 * math.Abs(y), ok
	}
	if side, ok := at(1); ok {
		return side
	}
	low, high, widest := 0.0, 1.0, 0.0
	for range fieldHalvings {
		mid := (low + high) / 2
		if side, ok := at(mid); ok {
			low, widest = mid, side
		} else {
			high = mid
		}
	}
	return widest
}

// bar is the narrowest bar that keeps the contrast and fills a pixel.
func (s *space) bar(list []ring, na, pixelUM float64) float64 {
	contrast := func(f float64) float64 { // f in 1/mm
		sum, total := 0.0, 0.0
		for _, r := range list {
			cutoff := 2 * na / (s.Waves[r.wave].WavelengthUM / 1000)
			sum += r.weight * optics.DiffractionMTF(f/cutoff) * math.J0(2*math.Pi*f*r.y)
			total += r.weight
		}
		return math.Abs(sum) / total * optics.DetectorMTF(f, pixelUM/1000)
	}
	nyquist := 500 / pixelUM
	above := 0.0
	for i := 1; i <= barSteps; i++ {
		f := nyquist * float64(i) / barSteps
		if contrast(f) > s.Contrast {
			above = f
			continue
		}
		for range 20 {
			if mid := (above + f) / 2; contrast(mid) > s.Contrast {
				above = mid
			} else {
				f = mid
			}
		}
		return 500 / max(above, 1e-9)
	}
	return pixelUM
}
