package uncertainty

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Method says which evaluation a result rests on.
type Method string

// The methods.
const (
	ByFirstOrder Method = "first order"
	ByMonteCarlo Method = "monte carlo"
)

// DefaultTrials is the number of trials Evaluate uses where none is stated.
const DefaultTrials = 200_000

// Options of Evaluate.
type Options struct {
	Trials     Trials // Count 0: DefaultTrials, and only where first order is in doubt
	Unit       string // of the result, for sentences
	MonteCarlo bool   // run the trials in any case
}

// Result is an evaluated measurand.
type Result struct {
	Value    float64 // by the method that was used
	U        float64 // standard uncertainty by that method
	Interval Interval
	Method   Method
	Why      string // why this method, a sentence

	FirstOrder FirstOrder
	MonteCarlo *MonteCarlo // nil when no trials were run

	Advice string // what would reduce the uncertainty most, a sentence
}

// Evaluate propagates to first order and decides whether that will do.
//
// First order is in doubt when the second-order terms move the mean or the
// standard uncertainty by more than half a unit of the second significant digit
// of U, when they cannot be evaluated, or when one input that is not normal
// outweighs all others together (with at least 0.7 of the variance). Trials are
// then run, and the ends of the two intervals are compared: where they differ by
// more than that half unit (JCGM 101:2008, clause 8, two significant digits),
// the result is that of the trials. The Monte Carlo interval is the shortest.
//
// Where trials were not asked for and more of them fail than are accepted, the
// first-order result stands and Why says so. Otherwise the faults are those of
// Propagate and RunMonteCarlo.
func Evaluate(ctx context.Context, f Model, inputs []Input, correlations []Correlation, o Options) (Result, error) {
	if o.Trials.Level == 0 {
		o.Trials.Level = DefaultLevel
	}
	if o.Trials.Count == 0 {
		o.Trials.Count = DefaultTrials
	}
	p, err := newProblem(f, inputs, correlations)
	if err != nil {
		return Result{}, err
	}
	first, c, err := p.firstOrder()
	if err != nil {
		return Result{}, err
	}
	_, _, in, err := first.Expanded(o.Trials.Level)
	if err != nil {
		return Result{}, err
	}
	out := Result{Value: first.Value, U: first.U, Interval: in, Method: ByFirstOrder, FirstOrder: first, Advice: p.advice(c, first.U, o.Unit)}
	doubt := first.doubt()
	if doubt == "" && !o.MonteCarlo {
		out.Why = "second-order terms do not show in two significant digits, and no single input that is not normal outweighs the rest"
		return out, nil
	}
	mc, err := RunMonteCarlo(ctx, f, inputs, correlations, o.Trials)
	if err != nil {
		if o.MonteCarlo || ctx.Err() != nil {
			return Result{}, err
		}
		out.Why = fmt.Sprintf("first order is in doubt (%s), but trials could not be used: %v", doubt, err)
		return out, nil
	}
	out.MonteCarlo = &mc
	out.decide(doubt)
	return out, nil
}

// decide compares the intervals of both methods.
func (r *Result) decide(doubt string) {
	delta := Tolerance(r.FirstOrder.U)
	low, high := r.Interval.Low-r.MonteCarlo.Shortest.Low, r.Interval.High-r.MonteCarlo.Shortest.High
	if math.Abs(low) <= delta && math.Abs(high) <= delta {
		r.Why = fmt.Sprintf("both ends of the interval agree with those of %d trials to %.2g, half a unit of the second digit of the uncertainty", r.MonteCarlo.Trials, delta)
		return
	}
	if doubt == "" {
		doubt = "the distribution of the result is not that of first order"
	}
	r.Method, r.Value, r.U, r.Interval = ByMonteCarlo, r.MonteCarlo.Mean, r.MonteCarlo.SD, r.MonteCarlo.Shortest
	r.Why = fmt.Sprintf("first order is not adequate: %s; its interval ends differ by %.2g and %.2g from those of %d trials, where %.2g is accepted", doubt, low, high, r.MonteCarlo.Trials, delta)
}

// Tolerance returns half a unit of the second significant digit of u, the
// numerical tolerance of JCGM 101:2008, 7.9.2.
func Tolerance(u float64) float64 {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0
	}
	digits := math.Floor(math.Log10(u)) - 1
	if math.Round(u/math.Pow(10, digits)) >= 100 { // 0.0996 prints as 0.10
		digits++
	}
	return math.Pow(10, digits) / 2
}

// doubt says why first order might not do, or nothing.
func (r FirstOrder) doubt() string {
	if r.U == 0 {
		return ""
	}
	delta := Tolerance(r.U)
	switch {
	case math.IsNaN(r.SecondOrderU):
		return "the model has no result within two standard uncertainties of its inputs"
	case math.Abs(r.MeanShift) > delta:
		return fmt.Sprintf("curvature of the model moves the mean by %.2g", r.MeanShift)
	case math.Abs(r.SecondOrderU-r.U) > delta:
		return fmt.Sprintf("second-order terms change the uncertainty from %.3g to %.3g", r.U, r.SecondOrderU)
	}
	if top := r.Budget[0]; top.Distribution != Normal && top.Share >= 0.7 {
		return fmt.Sprintf("%s, which is %v, outweighs the other inputs", top.Name, top.Distribution)
	}
	return ""
}

// advice names the input whose uncertainty, halved, lowers that of the result
// most; c are the sensitivities and u the result's uncertainty.
func (p *problem) advice(c []float64, u float64, unit string) string {
	if u == 0 {
		return "No input has an uncertainty that counts, so the result has none: state those of the inputs."
	}
	best, least := -1, u
	for i, in := range p.inputs {
		if in.u() == 0 {
			continue
		}
		halved := slices.Clone(c)
		halved[i] /= 2
		if v := math.Sqrt(p.variance(halved)); v < least {
			best, least = i, v
		}
	}
	if best < 0 {
		return "No single input would lower the uncertainty: the inputs' correlations balance each other."
	}
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("A better %s would help most: halving its uncertainty brings that of the result from %.2g%s to %.2g%s.", p.inputs[best].Name, u, unit, least, unit)
}
