package uncertainty_test

import (
	"context"
	"errors"
	"math"
	"runtime"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/uncertainty"
)

// refused reports an error that is not a fault of kind Invalid with a hint and a text.
func refused(t *testing.T, name string, err error, want string) {
	t.Helper()
	if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || !strings.Contains(err.Error(), want) {
		t.Errorf("%s: %v, want a fault with %q and a hint", name, err, want)
	}
}

func near(got, want, relTol float64) bool { return math.Abs(got-want) <= relTol*math.Abs(want) }

func TestInputs(t *testing.T) {
	t.Parallel()
	stated, exact := uncertainty.FromEstimate("t", quantity.With(300, 0.5)), uncertainty.FromEstimate("t", quantity.Exactly(300))
	if stated.U != 0.5 || stated.Distribution != uncertainty.Normal || exact.Distribution != uncertainty.Exact || !strings.Contains(exact.Reason, "not evaluated") {
		t.Errorf("of estimates: %+v, %+v", stated, exact)
	}
	// By hand: mean 2, s = sqrt(2.5), over sqrt(5).
	if a, err := uncertainty.FromReadings("a", []float64{0, 1, 2, 3, 4}); err != nil || a.Value != 2 || !near(a.U, math.Sqrt(0.5), 1e-15) || a.DegreesOfFreedom != 4 || a.Type != uncertainty.TypeA {
		t.Errorf("of readings: %+v, %v", a, err)
	}
	// JCGM 100:2008, 4.3.7, 4.3.9 and H.1.3.4.
	for d, divisor := range map[uncertainty.Distribution]float64{uncertainty.Rectangular: math.Sqrt(3), uncertainty.Triangular: math.Sqrt(6), uncertainty.Arcsine: math.Sqrt2} {
		if in, err := uncertainty.Between("b", 1, 2, d); err != nil || !near(in.U, 2/divisor, 1e-15) {
			t.Errorf("%v: %+v, %v", d, in, err)
		}
	}
	_, err := uncertainty.FromReadings("a", []float64{1})
	refused(t, "one reading", err, "at least two")
	_, err = uncertainty.FromReadings("a", []float64{1, math.Inf(1)})
	refused(t, "infinite reading", err, "reading 2")
	_, err = uncertainty.Between("b", 0, 1, uncertainty.Normal)
	refused(t, "normal half-width", err, "no half-width")
	_, err = uncertainty.Between("b", 0, -1, uncertainty.Arcsine)
	refused(t, "negative half-width", err, "not above zero")
	_, err = uncertainty.ReadingsCorrelation([]float64{1, 2}, []float64{1, 1})
	refused(t, "constant readings", err, "no correlation")
}

func sum(x []float64) (float64, error) {
	var s float64
	for _, v := range x {
		s += v
	}
	return s, nil
}

func TestWelchSatterthwaite(t *testing.T) {
	t.Parallel()
	// By the formula: u⁴/sum(u_i⁴/nu_i) with u = 1, 2, 3 and nu = 4, 9, inf.
	inputs := []uncertainty.Input{{Name: "a", U: 1, DegreesOfFreedom: 4}, {Name: "b", U: 2, DegreesOfFreedom: 9}, {Name: "c", U: 3, DegreesOfFreedom: math.Inf(1)}}
	r, err := uncertainty.Propagate(sum, inputs, nil)
	if want := 14.0 * 14 / (1.0/4 + 16.0/9); err != nil || !near(r.DegreesOfFreedom, want, 1e-12) || !near(r.U, math.Sqrt(14), 1e-12) {
		t.Errorf("%v, %v degrees of freedom, %v, want %v", r.U, r.DegreesOfFreedom, err, want)
	}
	// a and b as one contribution of variance 1+4+2·0.5·1·2 = 7 with 4 degrees of freedom.
	r, err = uncertainty.Propagate(sum, inputs, []uncertainty.Correlation{{A: "a", B: "b", R: 0.5}})
	if want := 16.0 * 16 / (49.0 / 4); err != nil || !near(r.DegreesOfFreedom, want, 1e-12) || !near(r.U, 4, 1e-12) {
		t.Errorf("correlated: %v, %v degrees of freedom, %v, want %v", r.U, r.DegreesOfFreedom, err, want)
	}
}

func TestSecondOrder(t *testing.T) {
	t.Parallel()
	// Exact moments of normal inputs: x² has mean shift u² and variance 4m²u² + 2u⁴;
	// xy has variance m²v² + n²u² + u²v²; x³ to fourth order in u 9m⁴u² + 36m²u⁴.
	square := func(x []float64) (float64, error) { return x[0] * x[0], nil }
	cube := func(x []float64) (float64, error) { return x[0] * x[0] * x[0], nil }
	product := func(x []float64) (float64, error) { return x[0] * x[1], nil }
	x, y := uncertainty.Input{Name: "x", Value: 3, U: 0.5}, uncertainty.Input{Name: "y", Value: 2, U: 0.7}
	for _, c := range []struct {
		name            string
		model           uncertainty.Model
		inputs          []uncertainty.Input
		variance, shift float64
	}{
		{"square", square, []uncertainty.Input{x}, 36*0.25 + 2*0.0625, 0.25}, {"cube", cube, []uncertainty.Input{x}, 9*81*0.25 + 36*9*0.0625, 3 * 3 * 0.25},
		{"product", product, []uncertainty.Input{x, y}, 9*0.49 + 4*0.25 + 0.25*0.49, 0},
	} {
		r, err := uncertainty.Propagate(c.model, c.inputs, nil)
		if err != nil || !near(r.SecondOrderU, math.Sqrt(c.variance), 1e-9) || math.Abs(r.MeanShift-c.shift) > 1e-9 {
			t.Errorf("%s: %v and %v, %v, want %v and %v", c.name, r.SecondOrderU, r.MeanShift, err, math.Sqrt(c.variance), c.shift)
		}
	}
}

func TestSensitivitiesOfKnownFunctions(t *testing.T) {
	t.Parallel()
	model := func(x []float64) (float64, error) { return math.Exp(x[0]) * math.Log(x[1]) / x[2], nil }
	r, err := uncertainty.Propagate(model, []uncertainty.Input{{Name: "a", Value: 0.3, U: 0.1}, {Name: "b", Value: 50, U: 2}, {Name: "c", Value: 4, U: 0.2}, {Name: "unused", Value: 7, Distribution: uncertainty.Exact}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	e, l := math.Exp(0.3), math.Log(50)
	want := map[string]float64{"a": e * l / 4, "b": e / 50 / 4, "c": -e * l / 16, "unused": 0}
	for _, row := range r.Budget {
		if math.Abs(row.Sensitivity-want[row.Name]) > 1e-7*math.Abs(want[row.Name]) {
			t.Errorf("sensitivity to %s = %v, want %v", row.Name, row.Sensitivity, want[row.Name])
		}
	}
}

func TestOnTheEdgeOfTheDomain(t *testing.T) {
	t.Parallel()
	// Defined up to 1 only, as for an emissivity of exactly 1.
	model := func(x []float64) (float64, error) {
		if x[0] > 1 {
			return 0, errors.New("above 1")
		}
		return x[0] * x[0], nil
	}
	r, err := uncertainty.Propagate(model, []uncertainty.Input{{Name: "x", Value: 1, U: 0.05}}, nil)
	if err != nil || !near(r.U, 0.1, 1e-9) || !math.IsNaN(r.SecondOrderU) {
		t.Errorf("u %v, second order %v, %v, want 0.1 and none", r.U, r.SecondOrderU, err)
	}
	out, err := uncertainty.Evaluate(t.Context(), model, []uncertainty.Input{{Name: "x", Value: 1, U: 0.05}}, nil, uncertainty.Options{})
	if err != nil || out.Method != uncertainty.ByFirstOrder || !strings.Contains(out.Why, "trials could not be used") {
		t.Errorf("half of the trials fail: %v, %s, %s", err, out.Method, out.Why)
	}
	_, err = uncertainty.RunMonteCarlo(t.Context(), model, []uncertainty.Input{{Name: "x", Value: 1, U: 0.05}}, nil, uncertainty.Trials{Count: 10000})
	refused(t, "half of the trials fail", err, "trials have no result")
	mc, err := uncertainty.RunMonteCarlo(t.Context(), model, []uncertainty.Input{{Name: "x", Value: 1, U: 0.05}}, nil, uncertainty.Trials{Count: 10000, MaxFailedShare: 0.6})
	if err != nil || mc.Failed < 4800 || mc.Failed > 5200 || mc.FirstFailure == nil {
		t.Errorf("accepted failures: %d of %d, %v, %v", mc.Failed, mc.Trials, mc.FirstFailure, err)
	}
	nowhere := func(x []float64) (float64, error) {
		if x[0] != 1 {
			return 0, errors.New("not 1")
		}
		return 1, nil
	}
	_, err = uncertainty.Propagate(nowhere, []uncertainty.Input{{Name: "x", Value: 1, U: 0.05}}, nil)
	refused(t, "no result to either side", err, "uncertainty of x")
	if r, err := uncertainty.Propagate(nowhere, []uncertainty.Input{{Name: "x", Value: 1}}, nil); err != nil || r.U != 0 || !math.IsNaN(r.Budget[0].Sensitivity) {
		t.Errorf("an exact input: %+v, %v", r, err)
	}
}

func TestFirstOrderWhereItWillDo(t *testing.T) {
	t.Parallel()
	inputs := []uncertainty.Input{{Name: "a", Value: 1, U: 0.3}, {Name: "b", Value: 2, U: 0.4}}
	r, err := uncertainty.Evaluate(t.Context(), sum, inputs, nil, uncertainty.Options{Unit: "K"})
	if err != nil || r.Method != uncertainty.ByFirstOrder || r.MonteCarlo != nil || !near(r.U, 0.5, 1e-12) || !near(r.Interval.High-r.Value, 1.959964*0.5, 1e-6) {
		t.Errorf("%+v, %v", r, err)
	}
	// Halving b: sqrt(0.09 + 0.04) = 0.36.
	if want := "A better b would help most: halving its uncertainty brings that of the result from 0.5 K to 0.36 K."; r.Advice != want {
		t.Errorf("advice %q, want %q", r.Advice, want)
	}
	// One rectangular input alone: first order gives ±1.96 u, the truth is ±0.95 sqrt(3) u.
	r, err = uncertainty.Evaluate(t.Context(), sum, []uncertainty.Input{between(t, "a", 0, 1, uncertainty.Rectangular, 0)}, nil, uncertainty.Options{})
	if err != nil || r.Method != uncertainty.ByMonteCarlo || !near(r.Interval.High-r.Interval.Low, 1.9, 5e-3) {
		t.Errorf("rectangular: %v, %s, %v", r.Interval, r.Why, err)
	}
	none, err := uncertainty.Evaluate(t.Context(), sum, []uncertainty.Input{{Name: "a", Value: 3}}, nil, uncertainty.Options{})
	if err != nil || none.U != 0 || none.Interval.Low != 3 || none.Method != uncertainty.ByFirstOrder {
		t.Errorf("no uncertainty: %+v, %v", none, err)
	}
}

func TestCorrelatedNormals(t *testing.T) {
	t.Parallel()
	inputs := []uncertainty.Input{{Name: "a", Value: 1, U: 3}, {Name: "b", Value: 2, U: 4}, {Name: "c", U: 1}}
	for _, r := range []float64{-1, -0.6, 0.3, 1} {
		mc, err := uncertainty.RunMonteCarlo(t.Context(), sum, inputs, []uncertainty.Correlation{{A: "a", B: "b", R: r}}, uncertainty.Trials{Count: 200_000, Seed: 5})
		if want := math.Sqrt(9 + 16 + 1 + 24*r); err != nil || !near(mc.SD, want, 0.01) || math.Abs(mc.Mean-3) > 0.06 {
			t.Errorf("r %v: mean %v, sd %v, %v, want 3 and %v", r, mc.Mean, mc.SD, err, want)
		}
	}
}

func TestDrawnDistributions(t *testing.T) {
	t.Parallel()
	// Standard deviation 1 each, and half the shortest 95 % interval. Triangular:
	// sqrt(6) (1 - sqrt(0.05)). Arcsine: all of it but the rest round one limit,
	// sqrt(2) (1 - cos(0.95 pi))/2. Student's t with 5 degrees of freedom:
	// sd sqrt(5/3), k 2.5706.
	for _, c := range []struct {
		name         string
		in           uncertainty.Input
		sd, shortest float64
	}{
		{"normal", uncertainty.Input{U: 1}, 1, 1.95996}, {"rectangular", between(t, "x", 0, math.Sqrt(3), uncertainty.Rectangular, 0), 1, 0.95 * math.Sqrt(3)},
		{"triangular", between(t, "x", 0, math.Sqrt(6), uncertainty.Triangular, 0), 1, math.Sqrt(6) * (1 - math.Sqrt(0.05))},
		{"arcsine", between(t, "x", 0, math.Sqrt2, uncertainty.Arcsine, 0), 1, math.Sqrt2 * (1 - math.Cos(0.95*math.Pi)) / 2},
		{"t", uncertainty.Input{U: 1, DegreesOfFreedom: 5}, math.Sqrt(5.0 / 3), 2.5706},
		// Limits uncertain by d = a/sqrt(2·2) = a/2: variance a²/3 + d²/9 (JCGM 101:2008, 6.4.3.4).
		{"rectangular, loose", between(t, "x", 0, 1, uncertainty.Rectangular, 2), math.Sqrt(1.0/3 + 0.25/9), math.NaN()},
	} {
		mc, err := uncertainty.RunMonteCarlo(t.Context(), sum, []uncertainty.Input{c.in}, nil, uncertainty.Trials{Count: 400_000, Seed: 11})
		if err != nil || !near(mc.SD, c.sd, 0.01) {
			t.Errorf("%s: sd %v, %v, want %v", c.name, mc.SD, err, c.sd)
		}
		if half := (mc.Shortest.High - mc.Shortest.Low) / 2; !math.IsNaN(c.shortest) && !near(half, c.shortest, 0.015) {
			t.Errorf("%s: shortest interval ± %v, want %v", c.name, half, c.shortest)
		}
	}
}

// Not parallel: it changes the number of processors.
func TestTrialsDoNotDependOnProcessors(t *testing.T) {
	model, inputs := thermal(t)
	inputs[1].Value, inputs[1].DegreesOfFreedom = 0.95, 6 // some trials fail
	run := func(procs int, seed uint64) uncertainty.MonteCarlo {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(procs))
		mc, err := uncertainty.RunMonteCarlo(t.Context(), model, inputs, nil, uncertainty.Trials{Count: 50_001, Seed: seed, MaxFailedShare: 0.2})
		if err != nil {
			t.Fatal(err)
		}
		if mc.FirstFailure == nil {
			t.Fatal("no trial failed")
		}
		failure := mc.FirstFailure.Error()
		mc.FirstFailure = nil
		if !strings.Contains(failure, "emissivity") {
			t.Errorf("first failure %q", failure)
		}
		return mc
	}
	one := run(1, 9)
	if three := run(3, 9); one != three {
		t.Errorf("one processor %+v, three %+v", one, three)
	}
	if other := run(1, 10); one == other {
		t.Error("another seed gives the same result")
	}
}

func TestRefusedProblems(t *testing.T) {
	t.Parallel()
	a, b, c := uncertainty.Input{Name: "a", U: 1}, uncertainty.Input{Name: "b", U: 1}, uncertainty.Input{Name: "c", U: 1}
	box := between(t, "box", 0, 1, uncertainty.Rectangular, 0)
	type in = []uncertainty.Input
	type corr = []uncertainty.Correlation
	for _, x := range []struct {
		name         string
		inputs       in
		correlations corr
		want         string
	}{
		{"nothing", nil, nil, "without inputs"}, {"NaN value", in{{Name: "a", Value: math.NaN()}}, nil, "a is NaN"}, {"negative u", in{{Name: "a", U: -1}}, nil, "uncertainty of a"},
		{"infinite u", in{{Name: "a", U: math.Inf(1)}}, nil, "uncertainty of a"}, {"dof", in{{Name: "a", DegreesOfFreedom: -3}}, nil, "degrees of freedom"}, {"distribution", in{{Name: "a", Distribution: 99}}, nil, "unknown distribution"},
		{"twice", in{a, a}, corr{{A: "a", B: "a", R: 0.1}}, "two inputs"}, {"unknown", in{a, b}, corr{{A: "a", B: "z", R: 0.1}}, "no pair"}, {"above 1", in{a, b}, corr{{A: "a", B: "b", R: 1.1}}, "is 1.1"},
		{"impossible", in{a, b, c}, corr{{A: "a", B: "b", R: 0.9}, {A: "b", B: "c", R: 0.9}, {A: "a", B: "c", R: -0.9}}, "contradict"},
	} {
		_, err := uncertainty.Propagate(sum, x.inputs, x.correlations)
		refused(t, x.name, err, x.want)
		_, err = uncertainty.RunMonteCarlo(t.Context(), sum, x.inputs, x.correlations, uncertainty.Trials{Count: 1000})
		refused(t, x.name+" by trials", err, x.want)
	}
	trials := func(in []uncertainty.Input, c []uncertainty.Correlation, o uncertainty.Trials) error {
		_, err := uncertainty.RunMonteCarlo(t.Context(), sum, in, c, o)
		return err
	}
	refused(t, "correlated box", trials(in{a, box}, corr{{A: "a", B: "box", R: 0.5}}, uncertainty.Trials{Count: 1000}), "correlated with")
	refused(t, "few", trials(in{a}, nil, uncertainty.Trials{Count: 10}), "10 Monte Carlo trials")
	refused(t, "many", trials(in{a}, nil, uncertainty.Trials{Count: math.MaxInt}), "Monte Carlo trials")
	refused(t, "level", trials(in{a}, nil, uncertainty.Trials{Count: 1000, Level: 1}), "coverage probability")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := uncertainty.RunMonteCarlo(ctx, sum, in{a}, nil, uncertainty.Trials{Count: 1000}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

func TestTolerance(t *testing.T) {
	t.Parallel()
	// JCGM 101:2008, 7.9.2: u = c · 10^l with two digits, half of 10^l.
	for _, c := range []struct{ u, want float64 }{{1.812, 0.05}, {0.0539, 0.0005}, {31.66, 0.5}, {0.0996, 0.005}, {0, 0}, {math.Inf(1), 0}} {
		if got := uncertainty.Tolerance(c.u); !near(got, c.want, 1e-12) {
			t.Errorf("Tolerance(%v) = %v, want %v", c.u, got, c.want)
		}
	}
}

func TestCameraContributions(t *testing.T) {
	t.Parallel()
	c := uncertainty.Camera{
		ReadingK: 423.15, AccuracyK: 2, AccuracyShare: 0.02, NETDK: 0.06, Frames: 16, Pixels: 9, NonUniformityK: 0.08, DriftKPerMin: 0.1, MinutesSinceReference: 3,
		Target: uncertainty.SpotSize{TargetUM: 60, BlurUM: 30, DefocusUM: 15, ContrastK: 20},
	}
	inputs, err := c.Inputs()
	if err != nil {
		t.Fatal(err)
	}
	// By hand: 2 % of 150 °C is 3 K; 60 mK over 12; 0.3 K; 1 - 2^-4 in focus, and
	// 1 - 2^-(3600/1125) with defocus, of a contrast read as 20 K.
	sharp, soft := 1-math.Pow(2, -4), 1-math.Pow(2, -3600.0/1125)
	want := map[string][2]float64{
		"accuracy class": {0, math.Sqrt(3)}, "noise": {0, 0.005}, "non-uniformity": {0, 0.08}, "drift": {0, 0.3 / math.Sqrt(3)},
		"size of source": {20 / soft * (1 - sharp), 20 / soft * (1 - sharp) / math.Sqrt(3)}, "focus": {20 / soft * (sharp - soft), 20 / soft * (sharp - soft) / math.Sqrt(3)},
	}
	if len(inputs) != len(want) {
		t.Errorf("%d contributions, want %d", len(inputs), len(want))
	}
	for _, in := range inputs {
		w := want[in.Name]
		if !near(in.Value, w[0], 1e-12) || !near(in.U, w[1], 1e-12) || in.Reason == "" || in.Unit != "K" {
			t.Errorf("%+v, want value %v, u %v and a reason", in, w[0], w[1])
		}
	}
	if got, err := (uncertainty.Camera{}).Inputs(); err != nil || len(got) != 0 {
		t.Errorf("nothing stated: %v, %v", got, err)
	}
	for name, bad := range map[string]uncertainty.Camera{
		"NETD": {NETDK: -1}, "no reading": {AccuracyShare: 0.02}, "10 µm": {Target: uncertainty.SpotSize{TargetUM: 10, BlurUM: 100, ContrastK: 5}}, "a target of 0": {Target: uncertainty.SpotSize{BlurUM: 3}},
	} {
		_, err := bad.Inputs()
		refused(t, name, err, name)
	}
}

func TestRetained(t *testing.T) {
	t.Parallel()
	// By definition half of a Gaussian blur's width at half maximum: a disk of one
	// such width keeps half. A square of side w: the normal distribution within
	// sqrt(2 ln 2) standard deviations, 0.761 (tables), squared.
	for _, c := range []struct {
		target, blur float64
		square       bool
		want         float64
	}{{30, 30, false, 0.5}, {30, 0, false, 1}, {60, 30, false, 0.9375}, {30, 30, true, 0.761 * 0.761}} {
		if got := uncertainty.Retained(c.target, c.blur, c.square); !near(got, c.want, 1e-3) {
			t.Errorf("Retained(%v, %v, %v) = %v, want %v", c.target, c.blur, c.square, got, c.want)
		}
	}
}

func TestContributionsJoinTheModel(t *testing.T) {
	t.Parallel()
	model, inputs := thermal(t)
	extra := []uncertainty.Input{{Name: "noise", U: 0.3}, {Name: "drift", Value: 0.4, U: 0.4}}
	joined := uncertainty.AddTo(model, 0, len(inputs))
	r, err := uncertainty.Propagate(joined, append(inputs, extra...), nil)
	if err != nil {
		t.Fatal(err)
	}
	inputs[0].Value, inputs[0].U = inputs[0].Value+0.4, math.Sqrt(0.25+0.09+0.16)
	want, err := uncertainty.Propagate(model, inputs, nil)
	if err != nil || !near(r.Value, want.Value, 1e-12) || !near(r.U, want.U, 1e-7) {
		t.Errorf("%v ± %v, want %v ± %v, %v", r.Value, r.U, want.Value, want.U, err)
	}
}
