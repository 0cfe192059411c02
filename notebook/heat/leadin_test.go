package heat_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/heat"
)

// switched is a series of readings a second of a part at 25 °C that is switched on at
// a moment.
func switched(n int, onS, noiseK float64, seed uint64, terms ...float64) heat.Series {
	r := rand.New(rand.NewPCG(seed, 11))
	s := heat.Series{Unit: "degC"}
	for i := range n {
		t, v := float64(i), 25.0
		for k := 0; k+1 < len(terms) && t > onS; k += 2 {
			v -= terms[k] * math.Expm1(-(t-onS)/terms[k+1])
		}
		s.TimeS, s.Temp = append(s.TimeS, t), append(s.Temp, v+noiseK*r.NormFloat64())
	}
	return s
}

func TestWarmUpAfterALeadIn(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		onS    float64
		noiseK float64
		terms  []float64
		chosen string
	}{
		{"2 s", 2.4, .1, []float64{55, 40}, heat.OneExponential},
		{"5 s", 5.5, .1, []float64{55, 40}, heat.OneExponential},
		{"20 s", 20, .1, []float64{55, 40}, heat.OneExponential},
		{"50 s", 50, .1, []float64{55, 40}, heat.OneExponential},
		{"50.3 s, hardly any noise", 50.3, .001, []float64{55, 40}, heat.OneExponential},
		{"100 s, noisy", 100, .5, []float64{55, 40}, heat.OneExponential},
		{"50 s, cooling", 50, .1, []float64{-15, 40}, heat.OneExponential},
		{"30 s, two time constants", 30, .1, []float64{40, 60, 15, 8}, heat.TwoExponentials},
	} {
		for seed := range uint64(3) {
			w := warmUp(t, switched(300, tt.onS, tt.noiseK, seed, tt.terms...), heat.WarmUpOptions{})
			before := int(math.Floor(tt.onS)) + 1
			want := 25.0
			for k := 0; k < len(tt.terms); k += 2 {
				want += tt.terms[k]
			}
			if w.StartFrom != heat.StartFound || math.Abs(w.StartS-tt.onS) > 1.3 || w.Before < before-1 || w.Before > before+1 || w.Readings != 300-w.Before || !strings.Contains(strings.Join(w.Notes, "; "), "flat lead-in at 2") {
				t.Errorf("%s, seed %d: begins at %g s (%s), %d before, %d fitted, notes %s", tt.name, seed, w.StartS, w.StartFrom, w.Before, w.Readings, w.Notes)
			}
			if w.Chosen != tt.chosen || w.U == nil || math.Abs(w.FinalValue-want) > 4*(*w.U)+1e-9 || math.Abs(w.FinalValue-want) > .01*want {
				t.Errorf("%s, seed %d: %s, final %g ± %v, want %g; %+v", tt.name, seed, w.Chosen, w.FinalValue, w.U, want, w.Models)
			}
		}
	}
	// No lead-in is found where there is none: from the switch on, in a lag, in noise.
	for seed := range uint64(6) {
		for name, s := range map[string]heat.Series{
			"one": series(300, 1, 80, .1, seed, 55, 40), "two": series(300, 1, 80, .1, seed, 40, 60, 15, 8), "a lag": series(300, 1, 80, .1, seed, 75, 60, -20, 16), "a slow one": series(300, 1, 80, .1, seed, 55, 400),
		} {
			if w := warmUp(t, s, heat.WarmUpOptions{}); w.StartFrom != heat.StartFirst || w.Before != 0 || w.StartS != 0 || w.Readings != 300 {
				t.Errorf("%s, seed %d: begins at %g s (%s), notes %s", name, seed, w.StartS, w.StartFrom, w.Notes)
			}
		}
	}
	from := 60.0
	w := warmUp(t, switched(300, 50, .1, 1, 55, 40), heat.WarmUpOptions{FromS: &from})
	if w.StartFrom != heat.StartStated || w.StartS != 60 || w.Before != 60 || math.Abs(w.Models[0].Parameters["a_k"]-55*math.Exp(-.25)) > .2 {
		t.Errorf("stated: %+v", w)
	}
	for _, late := range []float64{296, 1e9, math.NaN()} {
		if _, err := switched(300, 50, .1, 1, 55, 40).WarmUp(heat.WarmUpOptions{WithinK: 1, FromS: &late}); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("from %g s: error %v", late, err)
		}
	}
}

func TestGoingUpAndDownIsNoWarmUp(t *testing.T) {
	t.Parallel()
	for _, periodS := range []float64{20, 60, 100, 150, 300, 600} {
		s := series(300, 1, 50, .1, 3)
		for i, x := range s.TimeS {
			s.Temp[i] += 5 * math.Sin(2*math.Pi*x/periodS)
		}
		w, err := s.WarmUp(heat.WarmUpOptions{WithinK: 1})
		if err != nil && (!strings.Contains(err.Error(), "not a warm-up: the temperature goes up and down over ") || fault.HintOf(err) == "") || err == nil && (periodS < 200 || w.Models[0].Adequate || w.AtEquilibrium) {
			t.Errorf("a sine of %g s: error %v, %+v", periodS, err, w)
		}
	}
}

func TestOutlyingReadings(t *testing.T) {
	t.Parallel()
	for _, at := range []int{0, 1, 2, 20, 150, 298, 299} {
		s := series(300, 1, 80, .09, 4, 50, 60, 3, 8)
		clean := warmUp(t, s, heat.WarmUpOptions{})
		s.Temp[at] += 100
		w := warmUp(t, s, heat.WarmUpOptions{})
		if len(w.Outlying) != 1 || w.Outlying[0].TimeS != float64(at) || !w.OutlyingLeftOut || w.Readings != 299 || !strings.Contains(strings.Join(w.Notes, "; "), "1 reading stands out") && !strings.Contains(strings.Join(w.Notes, "; "), "one reading stands out") {
			t.Errorf("at %d: %+v, notes %s", at, w.Outlying, w.Notes)
			continue
		}
		near(t, "noise", w.NoiseK, .09, .12)
		if w.Chosen != heat.TwoExponentials || w.Models[0].Adequate || math.Abs(w.FinalValue-clean.FinalValue) > *w.U {
			t.Errorf("at %d: %s chosen, %g", at, w.Chosen, w.FinalValue)
		}
		w = warmUp(t, s, heat.WarmUpOptions{KeepAll: true})
		near(t, "noise with all kept", w.NoiseK, .09, .15)
		if w.Models[0].Adequate || w.Readings != 300 || len(w.Outlying) != 1 || w.OutlyingLeftOut || !strings.Contains(strings.Join(w.Notes, "; "), "kept, as asked") {
			t.Errorf("at %d, all kept: %+v", at, w)
		}
	}
	two := series(300, 1, 80, .09, 5, 50, 60)
	two.Temp[100] += 5
	two.Temp[101] += 5
	if w := warmUp(t, two, heat.WarmUpOptions{}); len(w.Outlying) != 2 || w.Chosen != heat.OneExponential {
		t.Errorf("two beside each other: %+v", w.Outlying)
	}
	many := series(100, 1, 80, .09, 5, 50, 60)
	for i := 3; i < 100; i += 9 {
		many.Temp[i] += 5
	}
	if w := warmUp(t, many, heat.WarmUpOptions{}); len(w.Outlying) != 0 || w.Readings != 100 || !strings.Contains(strings.Join(w.Notes, "; "), "no accident") {
		t.Errorf("many: %+v", w)
	}
	for seed := range uint64(50) { // and none where there is none
		s := series(300, 1, 80, .09, seed, 40, 60, 15, 3)
		rounded := series(300, 1, 80, .09, seed, 50, 60)
		for i, v := range rounded.Temp {
			rounded.Temp[i] = math.Round(v/.3) * .3
		}
		for name, s := range map[string]heat.Series{"plain": s, "in steps": rounded, "coarse": series(20, 40, 80, .001, seed, 50, 30), "overshoot": series(300, 1, 80, 0, seed, 50, 5, -20, 60)} {
			if w := warmUp(t, s, heat.WarmUpOptions{}); len(w.Outlying) != 0 {
				t.Errorf("%s, seed %d: %+v", name, seed, w.Outlying)
			}
		}
	}
}

func TestUndeterminedModelsAreNotChosen(t *testing.T) {
	t.Parallel()
	seen := 0
	for seed := range uint64(30) {
		for name, s := range map[string]heat.Series{
			"0.6 of a time constant": series(60, 1, 80, .05, seed, 55, 100),
			"one to its end":         series(300, 1, 80, .1, seed, 55, 60),
			"one, few readings":      series(12, 20, 80, .1, seed, 55, 60),
		} {
			w := warmUp(t, s, heat.WarmUpOptions{})
			rise := w.Models[0].Fit.At(s.TimeS[len(s.TimeS)-1]) - w.Models[0].Fit.At(s.TimeS[0])
			for _, m := range w.Models {
				wild := false
				for _, p := range []string{"t_inf", "a_k", "a1_k", "a2_k"} {
					if u, ok := m.StandardErrors[p]; ok && (u == nil || *u > 1.01*rise) {
						wild = true
					}
				}
				if !wild {
					continue
				}
				seen++
				if m.Determined || m.Adequate || m.Name == w.Chosen || !strings.HasPrefix(m.Why, "not determined: ") {
					t.Errorf("%s, seed %d: chosen %s, %+v", name, seed, w.Chosen, m)
				}
			}
			if w.Chosen != heat.OneExponential {
				t.Errorf("%s, seed %d: %s", name, seed, w.Chosen)
			}
		}
	}
	if seen < 20 {
		t.Errorf("only %d models were wild: the test shows nothing", seen)
	}
}
