package uncertainty

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"dieglow/catalog/fault"
)

// Row is one line of a budget.
type Row struct {
	Input
	Sensitivity  float64 // change of the result for one unit of the input
	Contribution float64 // |Sensitivity| U, in the unit of the result
	Share        float64 // of the variance; with correlations the shares need not add up to 1
}

// FirstOrder is a result of the law of propagation of uncertainty
// (JCGM 100:2008, 5.1 and 5.2).
type FirstOrder struct {
	Value float64
	U     float64 // combined standard uncertainty

	// DegreesOfFreedom is the effective number by the Welch-Satterthwaite
	// formula (JCGM 100:2008, G.4.1), +Inf where all inputs have that. The
	// formula is for independent inputs: inputs correlated with each other enter
	// as one contribution with the least of their degrees of freedom, which is
	// exact for quantities read together and cautious otherwise.
	DegreesOfFreedom float64

	Budget []Row // largest contribution first

	// SecondOrderU is the standard uncertainty with the second-order terms
	// (JCGM 100:2008, 5.1.2, note) for independent inputs, and MeanShift how far
	// the mean lies from Value, half the sum of second derivatives times u². Both
	// NaN where the model has no result within one standard uncertainty.
	SecondOrderU float64
	MeanShift    float64
}

// Propagate evaluates the model at the inputs' values with its sensitivities by
// central differences of sixth order that reach 3/4 of a standard uncertainty to
// either side; where the model has no result on one side, by differences on the
// other. Fault Invalid when an input or correlation is not possible, or the model
// has no result at the values.
func Propagate(f Model, inputs []Input, correlations []Correlation) (FirstOrder, error) {
	p, err := newProblem(f, inputs, correlations)
	if err != nil {
		return FirstOrder{}, err
	}
	first, _, err := p.firstOrder()
	return first, err
}

// firstOrder also returns the sensitivities in the order of the inputs.
func (p *problem) firstOrder() (FirstOrder, []float64, error) {
	x := p.values()
	y, err := p.f(x)
	if err != nil {
		return FirstOrder{}, nil, err
	}
	if math.IsNaN(y) || math.IsInf(y, 0) {
		return FirstOrder{}, nil, fault.Invalidf("the model gives %g at the values of its inputs", y).WithHint("check the inputs")
	}
	out := FirstOrder{Value: y}
	c := make([]float64, len(x))
	for i, in := range p.inputs {
		if c[i], err = p.sensitivity(x, i, y); err != nil {
			if in.u() > 0 {
				return FirstOrder{}, nil, err
			}
			c[i] = math.NaN() // on the edge of its domain, and exact: it contributes nothing
		}
		out.Budget = append(out.Budget, Row{Input: in, Sensitivity: c[i], Contribution: contribution(c[i], in.u())})
	}
	variance := p.variance(c)
	out.U = math.Sqrt(variance)
	out.DegreesOfFreedom = p.effectiveDOF(c, variance)
	for i := range out.Budget {
		if variance > 0 {
			out.Budget[i].Share = out.Budget[i].Contribution * out.Budget[i].Contribution / variance
		}
	}
	slices.SortStableFunc(out.Budget, func(a, b Row) int { return cmp.Compare(b.Contribution, a.Contribution) })
	out.SecondOrderU, out.MeanShift = p.secondOrder(x, c, y, variance)
	return out, c, nil
}

func contribution(c, u float64) float64 {
	if u == 0 {
		return 0
	}
	return math.Abs(c) * u
}

// step returns the length in which the model is varied along input i: its
// standard uncertainty, or for an exact one a thousandth of its value.
func (p *problem) step(i int) float64 {
	in := p.inputs[i]
	switch {
	case in.u() > 0:
		return in.u()
	case in.Value != 0:
		return 1e-3 * math.Abs(in.Value)
	}
	return 1e-3
}

// sensitivity is the derivative of the model along input i. The points lie a
// quarter of the step apart: far enough for the model's rounding not to show,
// and near enough for the sixth-order formula to leave nothing of its curvature.
func (p *problem) sensitivity(x []float64, i int, y float64) (float64, error) {
	h := p.step(i) / 4
	up, errUp := p.along(x, i, h, 3)
	down, errDown := p.along(x, i, -h, 3)
	switch {
	case errUp == nil && errDown == nil:
		return (45*(up[0]-down[0]) - 9*(up[1]-down[1]) + (up[2] - down[2])) / (60 * h), nil
	case errUp == nil:
		return (-11*y + 18*up[0] - 9*up[1] + 2*up[2]) / (6 * h), nil
	case errDown == nil:
		return -(-11*y + 18*down[0] - 9*down[1] + 2*down[2]) / (6 * h), nil
	}
	return math.NaN(), fault.Invalidf("the model has no result within one standard uncertainty of %s to either side", p.inputs[i].Name).
		Because(errUp).WithHint("check the value and the uncertainty of %s", p.inputs[i].Name)
}

// along evaluates the model at x + h, x + 2h ... in input i.
func (p *problem) along(x []float64, i int, h float64, n int) ([]float64, error) {
	at := slices.Clone(x)
	out := make([]float64, n)
	for k := range out {
		at[i] = x[i] + float64(k+1)*h
		var err error
		if out[k], err = p.eval(at); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (p *problem) eval(x []float64) (float64, error) {
	y, err := p.f(x)
	if err == nil && (math.IsNaN(y) || math.IsInf(y, 0)) {
		err = fmt.Errorf("the model gives %g", y)
	}
	return y, err
}

// variance sums c_i c_j u_i u_j r_ij.
func (p *problem) variance(c []float64) float64 {
	var sum float64
	for i, in := range p.inputs {
		if in.u() == 0 {
			continue
		}
		for j := range i + 1 {
			term := p.covariance(c, i, j)
			if i != j {
				term *= 2
			}
			sum += term
		}
	}
	return math.Max(sum, 0)
}

func (p *problem) covariance(c []float64, i, j int) float64 {
	ui, uj, r := p.inputs[i].u(), p.inputs[j].u(), p.correlated(i, j)
	if ui == 0 || uj == 0 || r == 0 {
		return 0
	}
	return c[i] * c[j] * ui * uj * r
}

// effectiveDOF is the Welch-Satterthwaite formula over groups of inputs that
// are correlated with each other.
func (p *problem) effectiveDOF(c []float64, variance float64) float64 {
	group := p.groups()
	var sum float64
	for g := range p.inputs {
		part, dof := 0.0, math.Inf(1)
		for i, in := range p.inputs {
			if group[i] != g || in.u() == 0 {
				continue
			}
			dof = math.Min(dof, in.dof())
			for j := range p.inputs {
				if group[j] == g {
					part += p.covariance(c, i, j)
				}
			}
		}
		sum += part * part / dof
	}
	if sum == 0 {
		return math.Inf(1)
	}
	return variance * variance / sum
}

// secondOrder adds the terms [f_ij²/2 + f_i f_ijj] u_i² u_j² of the note to
// JCGM 100:2008, 5.1.2, with derivatives from differences one standard
// uncertainty wide.
func (p *problem) secondOrder(x, c []float64, y, variance float64) (u, shift float64) {
	n := len(x)
	up, down := make([]float64, n), make([]float64, n)
	var extra float64
	for i, in := range p.inputs {
		if in.u() == 0 {
			continue
		}
		var ok bool
		if up[i], down[i], ok = p.pair(x, i); !ok {
			return math.NaN(), math.NaN()
		}
		curve := up[i] - 2*y + down[i] // f_ii u_i²
		shift += curve / 2
		extra += curve * curve / 2
		far, err := p.along(x, i, 2*in.u(), 1)
		near, errNear := p.along(x, i, -2*in.u(), 1)
		if err != nil || errNear != nil {
			return math.NaN(), math.NaN()
		}
		third := (far[0]-near[0])/2 - (up[i] - down[i]) // f_iii u_i³
		extra += c[i] * in.u() * third
	}
	for i := range p.inputs {
		for j := range p.inputs {
			if i == j || p.inputs[i].u() == 0 || p.inputs[j].u() == 0 {
				continue
			}
			fij, fijj, ok := p.mixed(x, up[i]-down[i], i, j)
			if !ok {
				return math.NaN(), math.NaN()
			}
			extra += fij*fij/2 + c[i]*p.inputs[i].u()*fijj
		}
	}
	return math.Sqrt(math.Max(variance+extra, 0)), shift
}

// pair evaluates one standard uncertainty to either side in input i.
func (p *problem) pair(x []float64, i int) (up, down float64, ok bool) {
	a, err := p.along(x, i, p.inputs[i].u(), 1)
	b, errDown := p.along(x, i, -p.inputs[i].u(), 1)
	if err != nil || errDown != nil {
		return 0, 0, false
	}
	return a[0], b[0], true
}

// mixed returns f_ij u_i u_j and f_ijj u_i u_j² for i and j apart; across is the
// difference of the model over one standard uncertainty to either side in i.
func (p *problem) mixed(x []float64, across float64, i, j int) (fij, fijj float64, ok bool) {
	at := slices.Clone(x)
	var corner [2][2]float64
	for a, si := range []float64{1, -1} {
		for b, sj := range []float64{1, -1} {
			at[i], at[j] = x[i]+si*p.inputs[i].u(), x[j]+sj*p.inputs[j].u()
			var err error
			if corner[a][b], err = p.eval(at); err != nil {
				return 0, 0, false
			}
		}
	}
	fij = (corner[0][0] - corner[0][1] - corner[1][0] + corner[1][1]) / 4
	fijj = (corner[0][0]+corner[0][1]-corner[1][0]-corner[1][1])/2 - across
	return fij, fijj, true
}
