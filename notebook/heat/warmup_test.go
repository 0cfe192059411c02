package heat_test

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/heat"
)

// series makes a warm-up of exponentials, amplitude and time constant in turn, with
// noise of a seed.
func series(n int, stepS, final, noiseK float64, seed uint64, terms ...float64) heat.Series {
	r := rand.New(rand.NewPCG(seed, 7))
	s := heat.Series{Unit: "degC"}
	for i := range n {
		t := float64(i) * stepS
		v := final
		for k := 0; k+1 < len(terms); k += 2 {
			v -= terms[k] * math.Exp(-t/terms[k+1])
		}
		s.TimeS, s.Temp = append(s.TimeS, t), append(s.Temp, v+noiseK*r.NormFloat64())
	}
	return s
}

func warmUp(t *testing.T, s heat.Series, o heat.WarmUpOptions) heat.WarmUp {
	t.Helper()
	if o.WithinK == 0 {
		o.WithinK = 1
	}
	return must[heat.WarmUp](t)(s.WarmUp(o))
}

func TestWarmUpOfClosedForms(t *testing.T) {
	t.Parallel()
	one := warmUp(t, series(200, 5, 80, 0, 1, 55, 120), heat.WarmUpOptions{})
	if one.Chosen != heat.OneExponential {
		t.Errorf("of an exact exponential %s is chosen", one.Chosen)
	}
	p := one.Models[0].Parameters
	near(t, "final", p["t_inf"], 80, 1e-9)
	near(t, "amplitude", p["a_k"], 55, 1e-9)
	near(t, "tau", p["tau_s"], 120, 1e-9)
	near(t, "time to within 1 K", *one.TimeToWithinS, 120*math.Log(55), 1e-9)

	two := warmUp(t, series(400, 2, 80, 0, 1, 40, 150, 15, 12), heat.WarmUpOptions{})
	if two.Chosen != heat.TwoExponentials || two.Models[0].Adequate || !two.Models[1].Adequate {
		t.Errorf("of two exact exponentials %s is chosen: %+v", two.Chosen, two.Models)
	}
	p = two.Models[1].Parameters
	for name, want := range map[string]float64{"t_inf": 80, "a1_k": 40, "a2_k": 15, "tau1_s": 150, "tau2_s": 12} {
		near(t, name, p[name], want, 1e-8)
	}

	// Equal time constants, a lag: T = 60 - 40 (1 + t/100) exp(-t/100).
	lag := heat.Series{Unit: "degC"}
	for i := range 500 {
		x := float64(i) * 2
		lag.TimeS, lag.Temp = append(lag.TimeS, x), append(lag.Temp, math.Round(1000*(60-40*(1+x/100)*math.Exp(-x/100)))/1000)
	}
	w := warmUp(t, lag, heat.WarmUpOptions{})
	if w.Models[0].Adequate || !w.Models[1].Adequate || w.U == nil || math.Abs(w.FinalValue-60) > .01 {
		t.Errorf("of equal time constants: final %g, u %v, %+v", w.FinalValue, w.U, w.Models)
	}

	// Cooling has a negative amplitude, and kelvins shift the final value alone.
	cooling := series(200, 5, 25, 0.01, 2, -55, 120)
	for i := range cooling.Temp {
		cooling.Temp[i] += 273.15
	}
	cooling.Unit = "K"
	w = warmUp(t, cooling, heat.WarmUpOptions{})
	near(t, "cooling amplitude", w.Models[0].Parameters["a_k"], -55, 1e-3)
	near(t, "cooled to", w.FinalValue, 298.15, 1e-4)
}

func TestWarmUpClock(t *testing.T) {
	t.Parallel()
	early := series(200, 5, 80, .02, 3, 55, 120)
	late := series(200, 5, 80, .02, 3, 55, 120)
	for i := range late.TimeS {
		late.TimeS[i] += 1.7e9 // seconds since 1970
	}
	a, b := warmUp(t, early, heat.WarmUpOptions{}), warmUp(t, late, heat.WarmUpOptions{})
	near(t, "tau by another clock", b.Models[0].Parameters["tau_s"], a.Models[0].Parameters["tau_s"], 1e-5)
	near(t, "time by another clock", *b.TimeToWithinS-1.7e9, *a.TimeToWithinS, 1e-5)
	if b.TimeZeroS != 1.7e9 {
		t.Errorf("amplitudes are said to be at %g s", b.TimeZeroS)
	}
	// A series that begins 60 s after power-up keeps the amplitude at 0.
	s := series(200, 5, 80, 0, 3, 55, 120)
	s.TimeS, s.Temp = s.TimeS[12:], s.Temp[12:]
	near(t, "amplitude at power-up", warmUp(t, s, heat.WarmUpOptions{}).Models[0].Parameters["a_k"], 55, 1e-9)
}

func TestAdequacyAgainstNoise(t *testing.T) {
	t.Parallel()
	const seeds = 40
	wrongOne, wrongTwo := 0, 0
	for seed := range uint64(seeds) {
		if w := warmUp(t, series(150, 8, 80, .1, seed, 50, 120), heat.WarmUpOptions{}); w.Chosen != heat.OneExponential {
			wrongOne++
		}
		// The second one leaves the first less than the noise: only structure tells.
		if w := warmUp(t, series(150, 8, 80, .1, seed, 50, 150, 1.5, 25), heat.WarmUpOptions{}); w.Models[0].Adequate {
			wrongTwo++
		}
	}
	if wrongOne > 1 || wrongTwo > seeds/5 {
		t.Errorf("of %d series each, %d of one exponential were not seen as such, and %d of two were", seeds, wrongOne, wrongTwo)
	}
	s := series(150, 8, 80, .1, 1, 50, 120)
	if w := warmUp(t, s, heat.WarmUpOptions{NoiseK: .01}); w.Models[0].Adequate || !strings.Contains(w.Models[0].Why, "times the noise") {
		t.Errorf("ten times the stated noise is adequate: %s", w.Models[0].Why)
	}
}

// The stated uncertainty of the final value holds it as often as it should.
func TestFinalValueCoverage(t *testing.T) {
	t.Parallel()
	const seeds = 100
	inside := 0
	for seed := range uint64(seeds) {
		w := warmUp(t, series(120, 5, 80, .2, seed, 50, 250), heat.WarmUpOptions{NoiseK: .2})
		if w.Chosen == heat.OneExponential && math.Abs(w.FinalValue-80) < 2*(*w.U) {
			inside++
		}
	}
	if inside < 88 {
		t.Errorf("two standard uncertainties hold the final value %d times in %d", inside, seeds)
	}
}

func TestWarmUpEquilibrium(t *testing.T) {
	t.Parallel()
	s := series(400, 3, 80, .02, 5, 50, 150)
	early, late := 300.0, 1100.0
	w := warmUp(t, s, heat.WarmUpOptions{AtS: &early})
	if w.AtEquilibrium {
		t.Error("two time constants count as equilibrium")
	}
	near(t, "gap at 300 s", w.GapK, 50*math.Exp(-2), 2e-3)
	if w = warmUp(t, s, heat.WarmUpOptions{AtS: &late}); !w.AtEquilibrium {
		t.Error("seven time constants do not count as equilibrium")
	}
	if w = warmUp(t, s, heat.WarmUpOptions{}); *w.RemainingS != 0 {
		t.Errorf("still %g s to wait", *w.RemainingS)
	}
	short := series(60, 3, 80, .02, 5, 50, 400)
	w = warmUp(t, short, heat.WarmUpOptions{})
	if w.AtEquilibrium || *w.RemainingS < 1000 || !strings.Contains(strings.Join(w.Notes, "; "), "no equilibrium in sight") {
		t.Errorf("a series of half a time constant: %+v", w)
	}
}

func TestWarmUpRefusals(t *testing.T) {
	t.Parallel()
	line := series(100, 1, 20, 0, 1)
	noisy := series(100, 1, 20, .05, 1)
	for i := range line.Temp {
		line.Temp[i] += .1 * line.TimeS[i]
		noisy.Temp[i] += .1 * noisy.TimeS[i]
	}
	back := series(100, 1, 20, .1, 1, 5, 20)
	back.TimeS[50] = back.TimeS[49]
	for _, tt := range []struct {
		name, says string
		s          heat.Series
	}{
		{"three points", "too short", series(3, 1, 80, 0, 1, 50, 1)},
		{"none", "too short", heat.Series{}},
		{"constant", "do not change", series(100, 1, 20, 0, 1)},
		{"constant but for noise", "do not change", series(100, 1, 20, .05, 1)},
		{"straight line", "no equilibrium in sight", line},
		{"straight line with noise", "no equilibrium in sight", noisy},
		{"time not rising", "does not rise", back},
		{"an exponential far from its end", "no equilibrium in sight", series(100, 1, 80, .05, 1, 50, 20000)},
	} {
		_, err := tt.s.WarmUp(heat.WarmUpOptions{WithinK: 1})
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.says) || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v, hint %q, want Invalid with %q", tt.name, err, fault.HintOf(err), tt.says)
		}
	}
	if _, err := line.WarmUp(heat.WarmUpOptions{}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("within 0 K: error %v", err)
	}
}

func TestReadSeries(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, text string
		columns    heat.Columns
		unit       string
		last       float64
		says       string // of the error; "" none
	}{
		{"plain", "0,20\n1,21\n2,22\n", heat.Columns{}, "degC", 22, ""},
		{"blanks", "# a remark\n0 20\n1  21\n\n2\t22\n", heat.Columns{}, "degC", 22, ""},
		{"tabs and a heading", "time_s\ttemp_k\n0\t293\n1\t294\n", heat.Columns{}, "K", 294, ""},
		{"semicolons", "t;T\n0;20\n1;21\n", heat.Columns{}, "degC", 21, ""},
		{"windows", "\ufefft,T\r\n0,20\r\n1,21\r\n", heat.Columns{}, "degC", 21, ""},
		{"a set value beside", "Time,Q1,T1\n0,50,20\n1,50,21\n", heat.Columns{}, "degC", 21, ""},
		{"by name", "t,a,b\n0,1,2\n1,3,4\n", heat.Columns{Temp: "B"}, "degC", 4, ""},
		{"by number", "0,1,2\n1,3,4\n", heat.Columns{Temp: "2"}, "degC", 3, ""},
		{"no such column", "t,a,b\n0,1,2\n", heat.Columns{Temp: "c"}, "", 0, "no column"},
		{"minutes", "time_min,T\n0,1\n", heat.Columns{}, "", 0, "read in s"},
		{"fahrenheit", "t,T_degF\n0,1\n1,2\n", heat.Columns{}, "", 0, "T_degF"},
		{"one column", "1\n2\n", heat.Columns{}, "", 0, "1 columns"},
		{"ragged", "0,1\n1,2,3\n", heat.Columns{}, "", 0, "unlike"},
		{"words", "0,1\n1,x\n", heat.Columns{}, "", 0, "not a number"},
		{"not finite", "0,1\n1,NaN\n", heat.Columns{}, "", 0, "not a number"},
		{"hexadecimal", "0,1\n1,0x10\n", heat.Columns{}, "", 0, "not a number"},
		{"decimal comma", "0;1,5\n1;2,5\n", heat.Columns{}, "", 0, "not a number"},
		{"empty", "", heat.Columns{}, "", 0, "no reading"},
		{"two headings", "t,T\na,b\n0,1\n", heat.Columns{}, "", 0, "not a number"},
		{"falling time", "1,1\n0,2\n", heat.Columns{}, "", 0, "does not rise"},
		{"zero uncertainty", "0,1,0\n1,2,0\n", heat.Columns{U: "3"}, "", 0, "not above zero"},
	} {
		s, err := heat.ReadSeries(strings.NewReader(tt.text), tt.columns, "")
		if tt.says != "" {
			if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.says) || fault.HintOf(err) == "" {
				t.Errorf("%s: error %v, want Invalid with %q and a hint", tt.name, err, tt.says)
			}
			continue
		}
		if err != nil || s.Unit != tt.unit || s.Temp[len(s.Temp)-1] != tt.last {
			t.Errorf("%s: %+v, error %v, want %g %s at the end", tt.name, s, err, tt.last, tt.unit)
		}
	}
}

func FuzzReadSeries(f *testing.F) {
	for _, s := range []string{"0,20\n1,21\n", "t\tT\n0\t1\n", "a,b\n", "# x\n1 2\n3 4", "0,1,2\n1,2,3\n", "\ufeff1;2", "1e308,1\n1e309,2\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := heat.ReadSeries(strings.NewReader(text), heat.Columns{}, "")
		if err != nil {
			if fault.HintOf(err) == "" {
				t.Errorf("%q: error %v has no hint", text, err)
			}
			return
		}
		if len(s.TimeS) == 0 || len(s.TimeS) != len(s.Temp) {
			t.Errorf("%q: %d times and %d temperatures", text, len(s.TimeS), len(s.Temp))
		}
		if w, err := s.WarmUp(heat.WarmUpOptions{WithinK: 1}); err == nil && (math.IsNaN(w.FinalValue) || len(w.Models) == 0) {
			t.Errorf("%q: %+v", text, w)
		}
	})
}

// Real data: what its keepers say of it must come out.
func TestWarmUpOfRealData(t *testing.T) {
	t.Parallel()
	shared := os.Getenv("DIEGLOW_SHARED")
	if shared == "" {
		t.Skip("DIEGLOW_SHARED does not name the folder with data/")
	}
	for _, path := range []string{"ir-heater/timeseries.csv", "transistor-warmup/step_50.csv"} {
		f, err := os.Open(filepath.Join(shared, "data", path))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		w := warmUp(t, must[heat.Series](t)(heat.ReadSeries(f, heat.Columns{}, "")), heat.WarmUpOptions{})
		if w.Models[0].Adequate || !w.Models[1].Adequate || w.Chosen != heat.TwoExponentials {
			t.Errorf("%s: %s chosen; one: %s; two: %s", path, w.Chosen, w.Models[0].Why, w.Models[1].Why)
		}
	}
}

func BenchmarkWarmUp(b *testing.B) {
	s := series(1000, 1, 80, .1, 1, 40, 200, 15, 20)
	for b.Loop() {
		if _, err := s.WarmUp(heat.WarmUpOptions{WithinK: 1}); err != nil {
			b.Fatal(err)
		}
	}
}
