package heat_test

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"testing"

	"dieglow/notebook/heat"
)

const python = "/usr/bin/python3"

// needScipy skips where the independent reference is not wanted or not there.
func needScipy(t *testing.T) {
	t.Helper()
	wanted := os.Getenv("DIEGLOW_OUTSIDE") == "1"
	if missing := exec.Command(python, "-c", "import scipy").Run(); missing != nil {
		if wanted {
			t.Fatalf("DIEGLOW_OUTSIDE=1, and scipy is not here: %v", missing)
		}
		t.Skipf("scipy is not here (%v); install python3-scipy", missing)
	}
	if !wanted {
		t.Skip("DIEGLOW_OUTSIDE is not 1: not compared with scipy")
	}
}

// ask hands questions to testdata/fits.py.
func ask[Q, A any](t *testing.T, questions []Q) []A {
	t.Helper()
	needScipy(t)
	var in, said bytes.Buffer
	for _, q := range questions {
		line, err := json.Marshal(q)
		if err != nil {
			t.Fatal(err)
		}
		in.Write(append(line, '\n'))
	}
	cmd := exec.Command(python, "testdata/fits.py")
	cmd.Stdin, cmd.Stderr = &in, &said
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %s", err, said.String())
	}
	var answers []A
	for d := json.NewDecoder(bytes.NewReader(out)); d.More(); {
		var a A
		if err := d.Decode(&a); err != nil {
			t.Fatal(err)
		}
		answers = append(answers, a)
	}
	if len(answers) != len(questions) {
		t.Fatalf("%d answers to %d questions", len(answers), len(questions))
	}
	return answers
}

type fitQuestion struct {
	What  string    `json:"what"`
	T     []float64 `json:"t"`
	Y     []float64 `json:"y"`
	U     []float64 `json:"u,omitempty"`
	Start []float64 `json:"start"`
}

type fitAnswer struct {
	P  []float64 `json:"p"`
	U  []float64 `json:"u"`
	SD float64   `json:"sd"`
}

func TestFitsAgainstScipy(t *testing.T) {
	t.Parallel()
	weighted := series(300, 3, 80, .3, 9, 50, 150)
	for i := range weighted.Temp {
		weighted.U = append(weighted.U, .2+.2*math.Abs(math.Sin(float64(i))))
	}
	cases := []struct {
		s     heat.Series
		start []float64
	}{
		{series(300, 3, 80, .3, 8, 50, 150), []float64{80, 50, 150}},
		{weighted, []float64{80, 50, 150}},
		{series(400, 3, 80, .05, 10, 40, 250, 15, 20), []float64{80, 40, 15, 250, 20}},
		{series(400, 3, 60, .05, 11, 60, 120, -20, 30), []float64{60, 60, -20, 120, 30}},
	}
	var questions []fitQuestion
	for _, c := range cases {
		questions = append(questions, fitQuestion{"fit", c.s.TimeS, c.s.Temp, c.s.U, c.start})
	}
	for i, want := range ask[fitQuestion, fitAnswer](t, questions) {
		w := warmUp(t, cases[i].s, heat.WarmUpOptions{})
		m := w.Models[(len(want.P)-1)/2-1]
		names := []string{"t_inf", "a_k", "tau_s"}
		if len(want.P) == 5 {
			names = []string{"t_inf", "a1_k", "a2_k", "tau1_s", "tau2_s"}
		}
		for k, name := range names {
			if got := m.Parameters[name]; math.Abs(got-want.P[k]) > 1e-4*want.U[k] {
				t.Errorf("case %d: %s = %.12g, scipy has %.12g with a standard error of %g", i, name, got, want.P[k], want.U[k])
			}
			near(t, "standard error of "+name, *m.StandardErrors[name], want.U[k], 1e-4)
		}
		near(t, "residual sd", m.ResidualSD, want.SD, 1e-9)
	}
}

type plateQuestion struct {
	What string  `json:"what"`
	K    float64 `json:"k"`
	TMM  float64 `json:"t_mm"`
	H    float64 `json:"h"`
	P    float64 `json:"p"`
	RMM  float64 `json:"r_mm"`
	AMM  float64 `json:"a_mm"`
}

func TestPlateAgainstScipy(t *testing.T) {
	t.Parallel()
	var questions []plateQuestion
	for _, a := range []float64{.05, 1, 20} {
		for _, r := range []float64{0, .04, .9, 5, 40} {
			questions = append(questions, plateQuestion{"plate", 148, .5, 5000, 2, r, a})
		}
	}
	type answer struct {
		Rise float64 `json:"rise"`
	}
	for i, want := range ask[plateQuestion, answer](t, questions) {
		q := questions[i]
		got := must[float64](t)(heat.Plate{ConductivityWK: q.K, ThicknessMM: q.TMM, FilmWM2K: q.H}.RiseK(q.P, q.AMM, q.RMM))
		near(t, "rise", got, want.Rise, 1e-9)
	}
}
