package heat_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/heat"
)

// powered is a reading at a power, with an own uncertainty and contributions that
// all readings share.
func powered(w, riseK, ownU float64, shared map[string]float64) heat.Powered {
	return heat.Powered{Label: "capture", PowerW: quantity.Exactly(w), TempK: quantity.Exactly(300 + riseK), AmbientK: quantity.Exactly(300), OwnUK: ownU, SharedK: shared}
}

func TestResistanceSharesWhatIsShared(t *testing.T) {
	t.Parallel()
	var scale, offset, alone []heat.Powered
	for _, w := range []float64{0, .5, 1, 1.5} {
		rise := 60 * w
		scale = append(scale, powered(w, rise, .01, map[string]float64{"emissivity": -.03 * rise}))
		offset = append(offset, powered(w, rise, .01, map[string]float64{"accuracy class": 1.2}))
		alone = append(alone, powered(w, rise, .5, nil))
	}
	r := must[heat.Resistance](t)(heat.NewResistance(scale))
	near(t, "slope", r.RiseKPerW.Value, 60, 1e-12)
	near(t, "a shared scale is a relative uncertainty of the slope", *r.SharedU, .03*60, 1e-12)
	r = must[heat.Resistance](t)(heat.NewResistance(offset))
	if *r.SharedU > 1e-12 {
		t.Errorf("a shared offset moves the slope by %g K/W", *r.SharedU)
	}
	near(t, "and the intercept by itself", *r.InterceptK.U, math.Hypot(1.2, .01*math.Sqrt(.7)), 1e-3)
	if _, u := r.Rise(2); math.Abs(u-1.2) > 1e-3 {
		t.Errorf("and a rise foreseen by %g K", u)
	}
	// By hand: u(B) = u / sqrt(sum (x - mean)²), the sum 1.25 W².
	r = must[heat.Resistance](t)(heat.NewResistance(alone))
	near(t, "own uncertainty of the slope", *r.RiseKPerW.U, .5/math.Sqrt(1.25), 1e-12)
	if r.Linear != "yes" || math.Abs(r.CurvatureKPerW2.Value) > 1e-9 {
		t.Errorf("a straight line is said to be straight: %s, curvature %g", r.Linear, r.CurvatureKPerW2.Value)
	}
}

func TestResistanceSeesCurvatureAndDrift(t *testing.T) {
	t.Parallel()
	var bent []heat.Powered
	for i, w := range []float64{.5, 1, 1.5, 2} {
		p := powered(w, 50*w+4*w*w, .05, nil)
		p.AmbientK.Value += .4 * float64(i)
		p.TempK.Value += .4 * float64(i)
		bent = append(bent, p)
	}
	r := must[heat.Resistance](t)(heat.NewResistance(bent))
	near(t, "curvature", r.CurvatureKPerW2.Value, 4, 1e-9)
	near(t, "drift", r.AmbientDriftK, 1.2, 1e-9)
	notes := strings.Join(r.Notes, "; ")
	if r.Linear != "no" || !strings.Contains(notes, "the rise per watt rises with power") || !strings.Contains(notes, "ambient differs by 1.2 K") {
		t.Errorf("linear %s, notes %s", r.Linear, notes)
	}
	for _, words := range []string{"characterisation parameter", "JESD51-2"} {
		if !strings.Contains(r.WhatItIs, words) {
			t.Errorf("what it is does not say %q", words)
		}
	}
	one := []heat.Powered{powered(1, 60, .1, nil), powered(1, 61, .1, nil)}
	if _, err := heat.NewResistance(one); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
		t.Errorf("one power: error %v", err)
	}
	negative := []heat.Powered{powered(-1, 60, .1, nil), powered(1, 61, .1, nil)}
	if _, err := heat.NewResistance(negative); fault.KindOf(err) != fault.Invalid {
		t.Errorf("negative power: error %v", err)
	}
}

func value(v float64) *float64 { return &v }

// bench is a question about a part of 150 °C and 2 W at 27 °C.
func bench(toW float64, points ...heat.Powered) heat.Question {
	ambient := quantity.With(300, .3)
	return heat.Question{ToW: toW, Points: points, AmbientK: &ambient, LimitW: value(2), LimitK: value(423.15), HiddenShare: .1, HiddenRule: "a tenth"}
}

func TestHeadroomVerdicts(t *testing.T) {
	t.Parallel()
	two := []heat.Powered{powered(0, 0, .1, nil), powered(.5, 30, .1, nil), powered(1, 60, .1, nil)}
	apparent := powered(1, 60, 0, nil)
	apparent.Apparent = true
	bare := bench(1, powered(.5, 30, .1, nil), powered(1, 60, .1, nil))
	bare.LimitK, bare.LimitW = nil, nil
	nothing := bench(1)
	nothing.LimitK, nothing.LimitW, nothing.AmbientK = nil, nil, nil
	for _, tt := range []struct {
		name    string
		q       heat.Question
		verdict string
		advised float64
		says    string
	}{
		{"a step well below the limit", bench(1.2, two...), heat.Go, 1.68, "stays below the limit"},
		{"too near the limit", bench(1.9, two...), heat.SmallStep, 1.68, "more than the 1.68 W advised"},
		{"above the power limit", bench(2.5, two...), heat.Stop, 1.68, "above the power limit of 2 W"},
		{"nothing so far", bench(1), heat.SmallStep, .2, "more than the 0.2 W advised"},
		{"nothing so far, a small step", bench(.1), heat.SmallStep, .2, "cannot be known"},
		{"one capture", bench(.8, powered(.5, 30, .1, nil)), heat.SmallStep, .625, "more than the 0.625 W advised"},
		{"one hot capture", bench(1.9, powered(.5, 40, .1, nil)), heat.Stop, .625, "straight proportion"},
		{"one very hot capture", bench(.6, powered(.5, 80, .1, nil)), heat.Stop, .384, "no step above the 0.5 W of before"},
		{"apparent only", bench(1.2, powered(.5, 30, 0, nil), apparent), heat.SmallStep, 1.25, "cannot be known"},
		{"no limits", bare, heat.SmallStep, 1.25, "no more than the step advised"},
		{"no limits, no captures", nothing, heat.SmallStep, .1, "advised"},
		{"nothing left", bench(1.2, powered(.5, 55, .1, nil), powered(1, 110, .1, nil)), heat.Stop, 1, "reaches the limit"},
	} {
		h, err := tt.q.Headroom()
		if err != nil {
			t.Errorf("%s: error %v", tt.name, err)
			continue
		}
		if h.Verdict != tt.verdict || math.Abs(h.AdvisedW-tt.advised) > .011*tt.advised || !strings.Contains(strings.Join(h.Reasons, "; "), tt.says) || h.AdvisedRule == "" {
			t.Errorf("%s: %s, %g W advised (%s), because %q; want %s, %g W, %q", tt.name, h.Verdict, h.AdvisedW, h.AdvisedRule, h.Reasons, tt.verdict, tt.advised, tt.says)
		}
		if h.Verdict == heat.SmallStep && h.PredictedC == nil && len(h.CannotKnow) == 0 {
			t.Errorf("%s: it does not say what it cannot know", tt.name)
		}
	}
}

// By hand: 300 K + 60 K/W x 1.5 W = 390 K; with a tenth of the rise hidden, all silicon
// through 366 K at 1 W gives 300 (1 - 1.5 (1 - (366/300)^-0.3))^(-1/0.3); u as the line's
// and the ambient's.
func TestHeadroomPrediction(t *testing.T) {
	t.Parallel()
	h, err := bench(1.5, powered(0, 0, .1, nil), powered(.5, 30, .1, nil), powered(1, 60, .1, nil)).Headroom()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "predicted", *h.PredictedC, 390-273.15, 1e-12)
	lineU := math.Sqrt(.1*.1/3 + .1*.1/.5) // at 1 W from the mean, sum of squares 0.5 W²
	near(t, "u", *h.UK, math.Hypot(.3, lineU), 1e-9)
	near(t, "high", *h.HighC, 300*math.Pow(1-1.5*(1-math.Pow(1.22, -.3)), -1/.3)-273.15+2*math.Hypot(.3, lineU), 1e-9)
}

// Far beyond the captures no figure is given, and the verdict and the advice stand.
func TestHeadroomFarBeyondTheCaptures(t *testing.T) {
	t.Parallel()
	points := []heat.Powered{powered(0, 0, .1, nil), powered(.5, 14, .1, nil), powered(1, 28, .1, nil)}
	for _, tt := range []struct {
		toW, limitW, limitK float64
		withheld            bool
		verdict, says       string
	}{
		{1.5, 200, 423.15, false, heat.Go, "stays below"},
		{2.9, 200, 423.15, false, heat.SmallStep, "advised for the next step"},
		{3.1, 200, 423.15, true, heat.SmallStep, "advised for the next step"},
		{100, 200, 423.15, true, heat.Stop, "100 W is too far beyond the 1 W measured to be foreseen, and carried on in a straight line it reaches the limit of 150 °C"},
		{100, 2, 423.15, true, heat.Stop, "above the power limit of 2 W"},
	} {
		q := bench(tt.toW, points...)
		q.LimitW, q.LimitK = &tt.limitW, &tt.limitK
		h, err := q.Headroom()
		if err != nil {
			t.Fatal(err)
		}
		cannot := strings.Join(h.CannotKnow, "; ")
		if (h.PredictedC == nil) != tt.withheld || (h.HighC == nil) != tt.withheld || (h.UK == nil) != tt.withheld || tt.withheld && len(h.Allowances) > 0 || strings.Contains(cannot, "too far beyond the 1 W measured to be foreseen") != tt.withheld {
			t.Errorf("%g W: predicted %v, high %v, u %v, allowances %v, cannot know %s", tt.toW, h.PredictedC, h.HighC, h.UK, h.Allowances, cannot)
		}
		if h.Verdict != tt.verdict || h.AdvisedW != 2 || !strings.Contains(strings.Join(h.Reasons, "; "), tt.says) {
			t.Errorf("%g W: %s, %g W advised, because %q; want %s, %q", tt.toW, h.Verdict, h.AdvisedW, h.Reasons, tt.verdict, tt.says)
		}
	}
	// All of the rise across silicon, the allowance outgrows the rise.
	hot := bench(2, powered(0, 0, .1, nil), powered(.5, 150, .1, nil), powered(1, 300, .1, nil))
	if h, err := hot.Headroom(); err != nil || h.PredictedC != nil || h.Verdict != heat.Stop {
		t.Errorf("an allowance above the rise: %+v, error %v", h, err)
	}
}

func TestHeadroomRefusals(t *testing.T) {
	t.Parallel()
	derated := bench(1)
	derated.LimitW, derated.Derating = nil, &heat.Derating{FromK: 298, PerWK: .01}
	flat := bench(1)
	flat.Derating = &heat.Derating{FromK: 298}
	hidden := bench(1)
	hidden.HiddenShare = -1
	for name, q := range map[string]heat.Question{"0 W": bench(0), "negative": bench(-1), "infinite": bench(math.Inf(1)), "derating without a limit": derated, "derating of 0": flat, "hidden below 0": hidden} {
		if _, err := q.Headroom(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v", name, err)
		}
	}
	q := bench(1.9)
	q.Derating = &heat.Derating{FromK: 290, PerWK: .05}
	if h, err := q.Headroom(); err != nil || h.Verdict != heat.Stop || math.Abs(*h.LimitW-1.5) > 1e-12 {
		t.Errorf("derated to 1.5 W: %+v, error %v", h, err)
	}
}

// A part that is brought up by the advice alone never passes its limit, even where
// all of its resistance is silicon, whose conductivity falls as T to the 1.3
// (Kirchhoff's transformation gives its temperature), and the camera misses a tenth.
func TestAdviceCooksNoPart(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	const ambientK = 300.0
	for range 200 {
		perW, limitK, limitW := 10+90*r.Float64(), 380+100*r.Float64(), 1+4*r.Float64()
		tempK := func(w float64) float64 { return ambientK / math.Pow(math.Max(1e-9, 1-.3*perW*w/ambientK), 1/.3) }
		ambient := quantity.With(ambientK, .2)
		q := heat.Question{AmbientK: &ambient, LimitW: &limitW, LimitK: &limitK, HiddenShare: .1, HiddenRule: "a tenth"}
		reached := 0.0
		for range 12 {
			q.ToW = limitW
			h, err := q.Headroom()
			if err != nil {
				t.Fatal(err)
			}
			w := h.AdvisedW
			if w <= reached*1.001 {
				break
			}
			if true0 := tempK(w); true0 > limitK {
				t.Fatalf("a part of %g K/W and a limit of %g K is cooked: %g K at %g W (%s), after %d captures up to %g W: %+v", perW, limitK, true0, w, h.AdvisedRule, len(q.Points), reached, h)
			}
			reached = w
			seen := (tempK(w) - ambientK) / 1.1
			q.Points = append(q.Points, powered(w, seen+.1*r.NormFloat64(), .1, nil))
		}
		if perW*limitW < .5*(limitK-ambientK) && reached < .9*limitW {
			t.Errorf("a cool part of %g K/W is held back at %g W of %g W", perW, reached, limitW)
		}
	}
}
