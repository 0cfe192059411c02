package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
)

// checkCorrelations refuses coefficients that no three quantities can have
// together: a matrix with an eigenvalue below zero.
func (p *problem) checkCorrelations() error {
	n := len(p.inputs)
	m := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			m.SetSym(i, j, p.r[i][j])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, false) || e.Values(nil)[0] < -1e-9*float64(n) {
		return fault.Invalidf("the correlations contradict each other: no quantities have all of them together").WithHint("check the coefficients, or leave some out")
	}
	return nil
}

// lower returns the lower triangle L with L Lᵀ = R by Cholesky's method; a row
// that depends on those before it gets a zero on the diagonal, so that
// coefficients of ±1 are allowed.
func (p *problem) lower() [][]float64 {
	if p.r == nil {
		return nil
	}
	n := len(p.inputs)
	l := make([][]float64, n)
	for i := range n {
		l[i] = make([]float64, i+1)
		for j := 0; j <= i; j++ {
			v := p.r[i][j]
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			switch {
			case i == j:
				l[i][i] = math.Sqrt(math.Max(v, 0))
				if v < 1e-10 {
					l[i][i] = 0
				}
			case l[j][j] > 0:
				l[i][j] = v / l[j][j]
			}
		}
	}
	return l
}

// groups numbers the inputs so that those correlated with each other, directly
// or through others, have the same number.
func (p *problem) groups() []int {
	g := make([]int, len(p.inputs))
	for i := range g {
		g[i] = i
	}
	for i := range g {
		for j := range i {
			if p.correlated(i, j) != 0 && g[i] != g[j] {
				from, to := g[i], g[j]
				for k := range g {
					if g[k] == from {
						g[k] = to
					}
				}
			}
		}
	}
	return g
}
