package heat

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// projection holds the readings with their weights.
type projection struct {
	t, y, w     []float64 // w: 1/u, or 1
	weighted    bool
	zeroS       float64
	spanS, gapS float64 // of the times; gapS is the shortest distance
}

func newProjection(s Series, zeroS float64) projection {
	f := projection{t: make([]float64, len(s.TimeS)), y: s.Temp, w: make([]float64, len(s.TimeS)), weighted: s.U != nil, zeroS: zeroS}
	f.gapS = math.Inf(1)
	for i, t := range s.TimeS {
		f.t[i], f.w[i] = t-zeroS, 1
		if s.U != nil {
			f.w[i] = 1 / s.U[i]
		}
		if i > 0 {
			f.gapS = math.Min(f.gapS, t-s.TimeS[i-1])
		}
	}
	f.spanS = s.TimeS[len(s.TimeS)-1] - s.TimeS[0]
	return f
}

// The time constants searched, as shares of the shortest distance between two
// readings and of the whole span: slower ones cannot be told from a straight line.
const (
	fastestTau = 0.3
	slowestTau = 30
)

// refinedStarts is how many points of the grid are followed to their minimum.
const refinedStarts = 3

// starts returns the best points of a logarithmic grid of time constants.
func (f projection) starts(n int) [][]float64 {
	const perDecade = 6
	low, high := math.Log(fastestTau*f.gapS), math.Log(slowestTau*f.spanS)
	steps := int(math.Ceil((high-low)/math.Ln10*perDecade)) + 1
	g := f.thinned()
	type point struct {
		taus []float64
		sum  float64
	}
	var all []point
	taus, columns := make([]float64, steps), make([][]float64, steps)
	try := func(which ...int) {
		p := point{}
		var chosen [][]float64
		for _, i := range which {
			p.taus, chosen = append(p.taus, taus[i]), append(chosen, columns[i])
		}
		if s := g.project(chosen); s.valid {
			p.sum = s.sum
			all = append(all, p)
		}
	}
	for i := range steps {
		taus[i] = math.Exp(low + (high-low)*float64(i)/float64(steps-1))
		columns[i] = g.decay(taus[i])
		if n == 1 {
			try(i)
			continue
		}
		for j := range i {
			try(i, j)
		}
	}
	slices.SortStableFunc(all, func(a, b point) int { return cmp.Compare(a.sum, b.sum) })
	var out [][]float64
	for _, p := range all[:min(len(all), refinedStarts)] {
		out = append(out, p.taus)
	}
	return out
}

// thinned returns at most gridReadings readings, evenly chosen, for the grid.
func (f projection) thinned() projection {
	const gridReadings = 200
	n := len(f.t)
	if n <= gridReadings {
		return f
	}
	g := f
	g.t, g.y, g.w = nil, nil, nil
	for k := range gridReadings {
		i := k * (n - 1) / (gridReadings - 1)
		g.t, g.y, g.w = append(g.t, f.t[i]), append(g.y, f.y[i]), append(g.w, f.w[i])
	}
	return g
}

// solution is the linear part at given time constants.
type solution struct {
	coefficients []float64 // Final, then minus the amplitudes
	basis        [][]float64
	residuals    []float64 // weighted
	sum          float64
	valid        bool
}

// decay is the weighted column of a time constant.
func (f projection) decay(tau float64) []float64 {
	c := make([]float64, len(f.t))
	for i, t := range f.t {
		c[i] = f.w[i] * math.Exp(-t/tau)
	}
	return c
}

// solve finds final value and amplitudes at given time constants.
func (f projection) solve(taus []float64) solution {
	var columns [][]float64
	for _, tau := range taus {
		columns = append(columns, f.decay(tau))
	}
	return f.project(columns)
}

// project solves for the coefficients of 1 and the columns by orthogonalising them
// (modified Gram-Schmidt, twice, which is as accurate as Householder's method).
func (f projection) project(decays [][]float64) solution {
	columns := [][]float64{slices.Clone(f.w)}
	for _, c := range decays {
		columns = append(columns, slices.Clone(c))
	}
	p := len(columns)
	r := mat.NewTriDense(p, mat.Upper, nil)
	s := solution{residuals: make([]float64, len(f.y))}
	for i, y := range f.y {
		s.residuals[i] = f.w[i] * y
	}
	for j, c := range columns {
		before := floats.Norm(c, 2)
		for range 2 {
			for k, q := range s.basis {
				d := floats.Dot(q, c)
				r.SetTri(k, j, r.At(k, j)+d)
				floats.AddScaled(c, -d, q)
			}
		}
		after := floats.Norm(c, 2)
		if !(after > 1e-11*before) {
			return s // the columns cannot be told apart
		}
		for i := range c {
			c[i] /= after
		}
		r.SetTri(j, j, after)
		s.basis = append(s.basis, c)
	}
	rhs := make([]float64, p)
	for range 2 {
		for k, q := range s.basis {
			d := floats.Dot(q, s.residuals)
			rhs[k] += d
			floats.AddScaled(s.residuals, -d, q)
		}
	}
	s.coefficients = make([]float64, p)
	for k := p - 1; k >= 0; k-- {
		v := rhs[k]
		for j := k + 1; j < p; j++ {
			v -= r.At(k, j) * s.coefficients[j]
		}
		s.coefficients[k] = v / r.At(k, k)
	}
	s.sum = floats.Dot(s.residuals, s.residuals)
	s.valid = !math.IsNaN(s.sum) && !math.IsInf(s.sum, 0)
	return s
}

// refine follows the logarithms of the time constants to the least sum of squares
// by Levenberg and Marquardt's method.
func (f projection) refine(taus []float64) []float64 {
	const rounds, smallest = 100, 1e-11
	now := f.solve(taus)
	damping := 1e-3
	for range rounds {
		gradient, curvature := f.slopes(taus, now)
		improved := false
		for range 8 {
			next := moved(taus, gradient, curvature, damping)
			if next = f.within(next); next == nil {
				break
			}
			if s := f.solve(next); s.valid && s.sum < now.sum {
				step := 0.0
				for i := range taus {
					step = math.Max(step, math.Abs(math.Log(next[i]/taus[i])))
				}
				taus, now, improved = next, s, step > smallest
				damping = math.Max(damping/10, 1e-12)
				break
			}
			damping *= 10
		}
		if !improved {
			break
		}
	}
	return taus
}

// closestTaus is the ratio that two time constants keep: nearer ones give the same
// curve to a part in a million, from amplitudes that grow without bound.
const closestTaus = 1.005

// within keeps the time constants inside what can be searched and apart; nil where
// one is no number.
func (f projection) within(taus []float64) []float64 {
	for i, tau := range taus {
		if math.IsNaN(tau) {
			return nil
		}
		taus[i] = min(max(tau, 0.1*fastestTau*f.gapS), slowestTau*f.spanS)
	}
	if len(taus) == 2 {
		if middle := math.Sqrt(taus[0] * taus[1]); math.Max(taus[0]/taus[1], taus[1]/taus[0]) < closestTaus {
			taus[0], taus[1] = middle*math.Sqrt(closestTaus), middle/math.Sqrt(closestTaus)
		}
	}
	return taus
}

// slopes returns gradient and Gauss-Newton curvature over the logarithms of the
// time constants, by Kaufman's simplification: the derivative of the model with
// what its linear part can take up removed.
func (f projection) slopes(taus []float64, s solution) (gradient []float64, curvature *mat.SymDense) {
	n := len(taus)
	columns := make([][]float64, n)
	for j, tau := range taus {
		c := make([]float64, len(f.t))
		for i, t := range f.t {
			c[i] = s.coefficients[j+1] * f.w[i] * math.Exp(-t/tau) * t / tau
		}
		for _, q := range s.basis {
			floats.AddScaled(c, -floats.Dot(q, c), q)
		}
		columns[j] = c
	}
	gradient, curvature = make([]float64, n), mat.NewSymDense(n, nil)
	for i := range n {
		gradient[i] = floats.Dot(columns[i], s.residuals)
		for j := i; j < n; j++ {
			curvature.SetSym(i, j, floats.Dot(columns[i], columns[j]))
		}
	}
	return gradient, curvature
}

// moved is a damped step; at most a factor of e in each time constant.
func moved(taus, gradient []float64, curvature *mat.SymDense, damping float64) []float64 {
	n := len(taus)
	a := mat.NewSymDense(n, nil)
	a.CopySym(curvature)
	for i := range n {
		a.SetSym(i, i, a.At(i, i)*(1+damping)+1e-300)
	}
	var chol mat.Cholesky
	step := mat.NewVecDense(n, nil)
	if !chol.Factorize(a) || chol.SolveVecTo(step, mat.NewVecDense(n, slices.Clone(gradient))) != nil {
		for i := range n {
			step.SetVec(i, gradient[i]/a.At(i, i))
		}
	}
	out := make([]float64, n)
	for i, tau := range taus {
		out[i] = tau * math.Exp(min(max(step.AtVec(i), -1), 1))
	}
	return out
}
