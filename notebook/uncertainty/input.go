// Package uncertainty propagates what is known about the inputs of a
// measurement to its result: to first order with a budget (JCGM 100:2008, the
// GUM) and by Monte Carlo (JCGM 101:2008).
//
// Values are in whatever unit the model takes them; an input's uncertainty is in
// the unit of its value. All uncertainties are standard uncertainties unless a
// name says expanded or half-width.
package uncertainty

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Distribution is what is known about where an input lies.
type Distribution int

// The distributions. The half-width a of the bounded ones gives the standard
// uncertainty a/sqrt(3), a/sqrt(6) and a/sqrt(2) (JCGM 100:2008, 4.3.7, 4.3.9,
// H.1.3.4).
const (
	Normal      Distribution = iota
	Rectangular              // anywhere between two limits
	Triangular               // between two limits, most likely in the middle
	Arcsine                  // cycling between two limits
	Exact                    // known without uncertainty
)

// String returns the distribution's name as in JSON.
func (d Distribution) String() string {
	names := [...]string{"normal", "rectangular", "triangular", "arcsine", "exact"}
	if d < 0 || int(d) >= len(names) {
		return "unknown"
	}
	return names[d]
}

// MarshalText writes the name.
func (d Distribution) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// halfWidths is the half-width of a distribution in standard uncertainties, 0
// for one without limits.
func (d Distribution) halfWidths() float64 {
	switch d {
	case Rectangular:
		return math.Sqrt(3)
	case Triangular:
		return math.Sqrt(6)
	case Arcsine:
		return math.Sqrt2
	}
	return 0
}

// Evaluation is how an uncertainty was come by (JCGM 100:2008, 4.2 and 4.3).
type Evaluation string

// The two ways.
const (
	TypeA Evaluation = "A" // from the spread of repeated readings
	TypeB Evaluation = "B" // from anything else
)

// Input is an input quantity of a model.
type Input struct {
	Name         string
	Unit         string // as printed, for sentences; may be empty
	Value        float64
	U            float64 // standard uncertainty, in the unit of Value
	Distribution Distribution

	// DegreesOfFreedom of U. 0 or +Inf: U is taken as known without doubt. A
	// finite number makes a normal input a scaled and shifted t-distribution in
	// Monte Carlo trials (JCGM 101:2008, 6.4.9), and the limits of a bounded one
	// uncertain by 1/sqrt(2 dof) of the half-width (6.4.3, with JCGM 100:2008, G.3).
	DegreesOfFreedom float64

	Type   Evaluation
	Reason string // where the figure comes from, for the budget
}

// FromEstimate makes a normal input of a parsed quantity. An estimate whose
// uncertainty was not evaluated becomes exact, and its Reason says so.
func FromEstimate(name string, e quantity.Estimate) Input {
	in := Input{Name: name, Value: e.Value, Type: TypeB, Reason: "as stated"}
	u, evaluated := e.StandardU()
	if !evaluated {
		in.Distribution, in.Reason = Exact, "uncertainty not evaluated: taken as exact"
	}
	in.U = u
	return in
}

// FromReadings makes a type A input of repeated readings: their mean, s/sqrt(n)
// and n-1 degrees of freedom (JCGM 100:2008, 4.2). Fault Invalid for fewer than
// two readings, or one that is not finite.
func FromReadings(name string, readings []float64) (Input, error) {
	if len(readings) < 2 {
		return Input{}, fault.Invalidf("%s has %d readings, and a spread needs at least two", name, len(readings)).WithHint("give more readings, or one value with a stated uncertainty")
	}
	for i, r := range readings {
		if math.IsNaN(r) || math.IsInf(r, 0) {
			return Input{}, fault.Invalidf("reading %d of %s is %g", i+1, name, r).WithHint("leave readings out that are not finite numbers")
		}
	}
	mean, sd := stat.MeanStdDev(readings, nil)
	n := float64(len(readings))
	return Input{Name: name, Value: mean, U: sd / math.Sqrt(n), DegreesOfFreedom: n - 1, Type: TypeA, Reason: fmt.Sprintf("mean of %d readings", len(readings))}, nil
}

// ReadingsCorrelation returns the correlation coefficient of two quantities
// read together (JCGM 100:2008, 5.2.3), for Correlation.R. Fault Invalid unless
// both have the same number of readings, two or more, and both vary.
func ReadingsCorrelation(a, b []float64) (float64, error) {
	if len(a) != len(b) || len(a) < 2 {
		return 0, fault.Invalidf("%d and %d readings have no correlation", len(a), len(b)).WithHint("give readings that were taken together, in the same order, at least two")
	}
	r := stat.Correlation(a, b, nil)
	if math.IsNaN(r) {
		return 0, fault.Invalidf("readings that do not vary, or are not finite, have no correlation").WithHint("leave the correlation out")
	}
	return math.Max(-1, math.Min(1, r)), nil
}

// Between makes an input of a half-width: Value ± halfWidth with a Rectangular,
// Triangular or Arcsine distribution. Fault Invalid for another distribution or
// a half-width that is not finite and above zero.
func Between(name string, value, halfWidth float64, d Distribution) (Input, error) {
	w := d.halfWidths()
	if w == 0 {
		return Input{}, fault.Invalidf("%s: a %v distribution has no half-width", name, d).WithHint("choose rectangular, triangular or arcsine, or state a standard uncertainty")
	}
	if !(halfWidth > 0) || math.IsInf(halfWidth, 0) {
		return Input{}, fault.Invalidf("the half-width of %s is %g, not above zero", name, halfWidth).WithHint("state the distance from the middle to either limit")
	}
	return Input{Name: name, Value: value, U: halfWidth / w, Distribution: d, Type: TypeB, Reason: fmt.Sprintf("%v, half-width %.6g", d, halfWidth)}, nil
}

// dof returns the degrees of freedom with +Inf for none stated.
func (in Input) dof() float64 {
	if in.DegreesOfFreedom == 0 {
		return math.Inf(1)
	}
	return in.DegreesOfFreedom
}

// u returns the standard uncertainty, 0 for an exact input.
func (in Input) u() float64 {
	if in.Distribution == Exact {
		return 0
	}
	return in.U
}

func (in Input) validate() error {
	switch {
	case math.IsNaN(in.Value) || math.IsInf(in.Value, 0):
		return fault.Invalidf("%s is %g, not a finite number", in.Name, in.Value).WithHint("state a value for %s", in.Name)
	case !(in.U >= 0) || math.IsInf(in.U, 0):
		return fault.Invalidf("the uncertainty of %s is %g, not a finite number of zero or more", in.Name, in.U).WithHint("state a standard uncertainty for %s", in.Name)
	case in.Distribution < Normal || in.Distribution > Exact:
		return fault.Invalidf("%s has an unknown distribution", in.Name).WithHint("choose normal, rectangular, triangular, arcsine or exact")
	case in.DegreesOfFreedom < 0 || math.IsNaN(in.DegreesOfFreedom):
		return fault.Invalidf("%s has %g degrees of freedom", in.Name, in.DegreesOfFreedom).WithHint("state a number above zero, or none")
	}
	return nil
}

// Correlation is the correlation coefficient of two inputs, called by name.
type Correlation struct {
	A, B string
	R    float64 // -1 to 1
}

// problem is a model with inputs that were checked.
type problem struct {
	f      Model
	inputs []Input
	r      [][]float64 // correlation matrix, nil when nothing is correlated
}

// Model is the measurand as a function of its inputs. It must not change or
// keep x, and for Monte Carlo it is called by many goroutines at once. An error
// says that there is no result at x.
type Model func(x []float64) (float64, error)

func newProblem(f Model, inputs []Input, correlations []Correlation) (*problem, error) {
	if len(inputs) == 0 {
		return nil, fault.Invalidf("a budget without inputs").WithHint("state at least one input")
	}
	at := make(map[string]int, len(inputs))
	for i, in := range inputs {
		if err := in.validate(); err != nil {
			return nil, err
		}
		if _, twice := at[in.Name]; twice && len(correlations) > 0 {
			return nil, fault.Invalidf("two inputs are called %q", in.Name).WithHint("give each input its own name")
		}
		at[in.Name] = i
	}
	p := &problem{f: f, inputs: inputs}
	if len(correlations) == 0 {
		return p, nil
	}
	p.r = make([][]float64, len(inputs))
	for i := range p.r {
		p.r[i] = make([]float64, len(inputs))
		p.r[i][i] = 1
	}
	for _, c := range correlations {
		i, okA := at[c.A]
		j, okB := at[c.B]
		if !okA || !okB || i == j {
			return nil, fault.Invalidf("no pair of inputs %q and %q to correlate", c.A, c.B).WithHint("name two different inputs as they are called in the budget")
		}
		if !(c.R >= -1 && c.R <= 1) {
			return nil, fault.Invalidf("the correlation of %s and %s is %g", c.A, c.B, c.R).WithHint("a correlation coefficient lies from -1 to 1")
		}
		p.r[i][j], p.r[j][i] = c.R, c.R
	}
	return p, p.checkCorrelations()
}

func (p *problem) values() []float64 {
	x := make([]float64, len(p.inputs))
	for i, in := range p.inputs {
		x[i] = in.Value
	}
	return x
}

// correlated returns the coefficient between inputs i and j.
func (p *problem) correlated(i, j int) float64 {
	if i == j {
		return 1
	}
	if p.r == nil {
		return 0
	}
	return p.r[i][j]
}
