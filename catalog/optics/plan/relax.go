package plan

import (
	"cmp"
	"context"
	"math"
	"slices"
)

// wish is one of the wishes as relaxing sees it.
type wish struct {
	name    string
	wished  float64
	drop    func(*Wishes)
	value   func(*candidate) float64
	reached func(*Option) float64
	smaller bool // the smaller the better
	step    float64
}

func (w Wishes) given() []wish {
	all := []wish{
		{"resolve", w.ResolveUM, func(w *Wishes) { w.ResolveUM = 0 }, func(c *candidate) float64 { return c.barUM }, func(o *Option) float64 { return o.SmallestBarUM }, true, 0},
		{"field", w.FieldMM, func(w *Wishes) { w.FieldMM = 0 }, func(c *candidate) float64 { return c.fieldMM }, func(o *Option) float64 { return o.FieldMM }, false, 0},
		{"clearance", w.ClearanceMM, func(w *Wishes) { w.ClearanceMM = 0 }, func(c *candidate) float64 { return c.clearanceMM }, func(o *Option) float64 { return o.ClearanceMM }, false, 0},
		{"budget", w.Budget, func(w *Wishes) { w.Budget = 0 }, func(c *candidate) float64 { return c.cost }, func(o *Option) float64 { return o.Cost }, true, 1},
	}
	return slices.DeleteFunc(all, func(k wish) bool { return k.wished == 0 })
}

// relax says for each wish how far it must be relaxed while the others hold, and
// where that does not help, what comes nearest.
func (s *space) relax(ctx context.Context, r *Result, progress func(Progress)) {
	for _, k := range s.Wishes.given() {
		w := s.Wishes
		k.drop(&w)
		found := Relaxed{Wish: k.name, Wished: k.wished}
		if o := s.best(ctx, w, r, progress, func(c *candidate) float64 {
			if v := k.value(c); k.smaller {
				return v
			} else {
				return -v
			}
		}); o != nil && !math.IsInf(k.reached(o), 0) {
			found.Reachable, found.Option, found.Value = true, *o, rounded(k.reached(o), k.smaller, k.step)
		}
		r.Relax = append(r.Relax, found)
		if ctx.Err() != nil {
			r.Complete = false
			return
		}
	}
	for _, x := range r.Relax {
		if x.Reachable {
			return
		}
	}
	r.Nearest = s.best(ctx, Wishes{}, r, progress, s.miss)
}

// miss is by what factor a candidate misses the wishes, all factors multiplied,
// as a logarithm.
func (s *space) miss(c *candidate) float64 {
	sum := 0.0
	for _, k := range s.Wishes.given() {
		ratio := k.value(c) / k.wished
		if !k.smaller {
			ratio = 1 / ratio
		}
		sum += math.Log(max(1, ratio))
	}
	return sum
}

// best is the stack that meets wishes and for which a figure is least.
func (s *space) best(ctx context.Context, w Wishes, r *Result, progress func(Progress), figure func(*candidate) float64) *Option {
	all := s.screen(ctx, w, r, progress)
	few := len(all) <= mostRefined
	if !few {
		all = s.thin(all)
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(figure(&a), figure(&b)) })
	batch, mostBatches := 500, 16
	if few {
		batch = mostRefined
	}
	var met []candidate
	for k := 0; k < len(all) && k < mostBatches*batch && len(met) == 0; k += batch {
		met = s.refine(all[k:min(k+batch, len(all))], w, &r.Counts, progress)
	}
	slices.SortStableFunc(met, func(a, b candidate) int { return cmp.Compare(figure(&a), figure(&b)) })
	for i := range met[:min(len(met), 20)] {
		r.Counts.Sharpened++
		if o := s.option(&met[i]); o != nil && o.meets(w) {
			return o
		}
	}
	return nil
}

// rounded moves a value to three digits, or to a multiple of step, on the side
// that is easier to meet.
func rounded(v float64, up bool, step float64) float64 {
	if step == 0 {
		step = math.Pow(10, math.Floor(math.Log10(v))-2)
	}
	n := v / step
	if up {
		n = math.Ceil(n - 1e-9)
	} else {
		n = math.Floor(n + 1e-9)
	}
	if inverse := math.Round(1 / step); step < 1 {
		return n / inverse // 0.1 and its powers are not exact, 10 and its powers are
	}
	return n * step
}
