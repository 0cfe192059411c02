package plan

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

func TestImpossibleWishes(t *testing.T) {
	t.Parallel()
	for name, change := range map[string]func(*Problem){
		"no wish": func(p *Problem) { p.Wishes = Wishes{ClearanceMM: 8} }, "negative": func(p *Problem) { p.Wishes.ResolveUM = -1 },
		"not a number": func(p *Problem) { p.Wishes.FieldMM = math.NaN() }, "1 nm": func(p *Problem) { p.Wishes.ResolveUM = 0.001 },
		"1 km": func(p *Problem) { p.Wishes.ClearanceMM = 1e6 }, "more bars than pixels": func(p *Problem) { p.Wishes = Wishes{ResolveUM: 10, FieldMM: 3} },
		"no lenses": func(p *Problem) { p.Parts = nil }, "no gaps": func(p *Problem) { p.GapsMM = nil }, "falling gaps": func(p *Problem) { p.GapsMM = []float64{2, 1} },
		"negative gap": func(p *Problem) { p.LastGapsMM = []float64{-1} }, "too many lenses": func(p *Problem) { p.MaxLenses = 7 }, "no stack": func(p *Problem) { p.MaxLenses = 0 },
		"contrast": func(p *Problem) { p.Contrast = 1 }, "focus": func(p *Problem) { p.Camera.FocusMM = 3 }, "budget": func(p *Problem) { p.Wishes.Budget = -1 },
	} {
		p := small()
		change(&p)
		if _, err := Search(t.Context(), p, nil); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %v, want a fault with a hint", name, err)
		}
	}
}

// TestDominance checks the identities of an order: nothing beats itself into
// nothing, and what is left out is beaten by something that stays.
func TestDominance(t *testing.T) {
	t.Parallel()
	var all []candidate
	for i := range 400 {
		x := func(k int) float64 { return float64((i*k+k*k)%97 + 1) }
		all = append(all, candidate{n: int8(i % 4), barUM: x(7), fieldMM: x(11), clearanceMM: x(13), transmission: x(17) / 100, cost: x(19), ideal: i%3 == 0, meets: i%5 > 0})
	}
	front := undominated(slices.Clone(all))
	for i := range all {
		kept := slices.ContainsFunc(front, func(c candidate) bool { return reflect.DeepEqual(c, all[i]) })
		beaten := slices.ContainsFunc(front, func(c candidate) bool { return c.beats(&all[i]) })
		if !beaten {
			t.Errorf("%d is neither kept nor beaten", i)
		}
		if kept {
			for k := range all {
				if all[k].beats(&all[i]) && !all[i].beats(&all[k]) {
					t.Errorf("%d is kept, and %d beats it", i, k)
				}
			}
		}
	}
	for i := range all { // of one set: the same cost, transmission and kind
		all[i].transmission, all[i].cost, all[i].ideal = 0.5, 1, false
	}
	want := undominated(slices.Clone(all))
	if got := ofSet(slices.Clone(all)); !reflect.DeepEqual(got, want) {
		t.Errorf("the front of a set has %d entries, want %d", len(got), len(want))
	}
}

func TestRounded(t *testing.T) {
	t.Parallel()
	for _, k := range []struct {
		v    float64
		up   bool
		step float64
		want float64
	}{{61.24, true, 0, 61.3}, {61.24, false, 0, 61.2}, {2.4, false, 0, 2.4}, {0.12345, true, 0, 0.124}, {1234.5, true, 0, 1240}, {3899.5, true, 1, 3900}} {
		if got := rounded(k.v, k.up, k.step); got != k.want {
			t.Errorf("rounded(%v, %v, %v) = %v, want %v", k.v, k.up, k.step, got, k.want)
		}
	}
}

// TestScreeningDoesNotAllocate goes through a set of four lenses of which nothing
// survives.
func TestScreeningDoesNotAllocate(t *testing.T) {
	p, err := bench20().validate()
	if err != nil {
		t.Fatal(err)
	}
	s := newSpace(p)
	c := s.newScreener(Wishes{ResolveUM: 1e-3})
	set := []int{0, 3, 6, 9}
	c.screenSet(set)
	if n := testing.AllocsPerRun(3, func() { c.screenSet(set) }); n > 0 {
		t.Errorf("%g allocations a set", n)
	}
}

// TestMessagesNameWhatToType looks for the relaxed wishes in the hint.
func TestMessagesNameWhatToType(t *testing.T) {
	t.Parallel()
	p := small()
	p.Wishes = Wishes{ResolveUM: 10, FieldMM: 3} // 192 pixels of 10 µm are 1.92 mm; 3 mm need 15.625 µm
	_, err := Search(t.Context(), p, nil)
	if hint := fault.HintOf(err); !strings.Contains(hint, "--field 1.92mm") || !strings.Contains(hint, "--resolve 15.7um") {
		t.Errorf("hint %q", hint)
	}
}

// TestThirdOrder holds the sum of spherical aberration against exact rays through
// a slow lens, where higher orders vanish: a marginal ray at a small height misses
// the paraxial focus by S/(2u).
func TestThirdOrder(t *testing.T) {
	t.Parallel()
	for name, part := range map[string]Part{"plano": lens("", 4.0033, 0, 75, math.Inf(1), 2, 0, 0), "meniscus": lens("", 4.0033, 0, 50, 75, 3, 0, 0), "biconvex": lens("", 2.4, 0, 70, -40, 5, 0, 0)} {
		for _, flipped := range []bool{false, true} {
			e := turned(part.Element, flipped)
			g := glassOf(e)
			const h = 0.5
			m := g.through(marginal{y: h, cut: 1}, 0)
			rays, err := optics.Stack{{Element: e}}.ParallelRays([]float64{h, 1e-4})
			if err != nil {
				t.Fatal(err)
			}
			miss := (*rays[0].AxisCrossingMM - *rays[1].AxisCrossingMM) * *rays[0].SlopeOut
			if want := m.sum / (2 * m.u); math.Abs(math.Abs(miss)/math.Abs(want)-1) > 0.01 {
				t.Errorf("%s, flipped %v: the ray misses by %g mm, third order says %g mm", name, flipped, miss, want)
			}
		}
	}
}
