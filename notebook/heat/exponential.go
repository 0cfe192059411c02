package heat

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Exponential is a fit of T(t) = Final - sum of Amplitude exp(-t/Tau), the
// response of a linear thermal network to a step of power at t = 0. Variable
// projection: the search is over the time constants alone, and for each trial
// of them final value and amplitudes follow by linear least squares (G. Golub and
// V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, with Kaufman's derivative).
type Exponential struct {
	Final      float64   // in the unit of the series
	Amplitudes []float64 // in K, of each time constant
	TausS      []float64 // slowest first

	// Standard uncertainties in the order Final, Amplitudes, TausS: from the
	// stated ones, else from the scatter of the residuals. NaN where the data do
	// not tell the parameters apart.
	U []float64

	Residuals  []float64
	ResidualSD float64 // with the degrees of freedom: sqrt(sum r²/(n-p)); weighted readings too
	Chi2       float64 // of the stated uncertainties; NaN without them
	Freedom    int     // n - p

	lowest, highest float64 // of the fit at the readings
	zeroS           float64 // amplitudes are those at this time
	sum             float64 // of squared weighted residuals
}

// At returns the fitted temperature at a time in s.
func (e Exponential) At(tS float64) float64 { return e.Final - e.gap(tS) }

// gap is how far the temperature at a time lies below the final value.
func (e Exponential) gap(tS float64) float64 {
	sum := 0.0
	for i, tau := range e.TausS {
		sum += e.Amplitudes[i] * math.Exp(-(tS-e.zeroS)/tau)
	}
	return sum
}

// exponentials fits n of them, 1 or 2. false where there are too few readings or
// no finite fit.
func (s Series) exponentials(n int, zeroS float64) (Exponential, bool) {
	p := 1 + 2*n
	if len(s.TimeS) <= p {
		return Exponential{}, false
	}
	f := newProjection(s, zeroS)
	best, found := Exponential{}, false
	for _, start := range f.starts(n) {
		taus := f.refine(start)
		if e := f.solve(taus); e.valid && (!found || e.sum < best.sum) {
			best, found = f.result(taus, e), true
		}
	}
	if !found {
		return Exponential{}, false
	}
	f.uncertainties(&best)
	return best, true
}

func (f projection) result(taus []float64, s solution) Exponential {
	e := Exponential{Final: s.coefficients[0], zeroS: f.zeroS, sum: s.sum, Freedom: len(f.t) - 1 - 2*len(taus), Chi2: math.NaN()}
	order := make([]int, len(taus))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(taus[b], taus[a]) })
	for _, i := range order {
		e.TausS = append(e.TausS, taus[i])
		e.Amplitudes = append(e.Amplitudes, -s.coefficients[i+1])
	}
	total := 0.0
	e.lowest, e.highest = math.Inf(1), math.Inf(-1)
	for i, r := range s.residuals {
		fitted := f.y[i] - r/f.w[i]
		e.lowest, e.highest = math.Min(e.lowest, fitted), math.Max(e.highest, fitted)
		e.Residuals = append(e.Residuals, r/f.w[i])
		total += e.Residuals[i] * e.Residuals[i]
	}
	e.ResidualSD = math.Sqrt(total / float64(e.Freedom))
	if f.weighted {
		e.Chi2 = s.sum
	}
	return e
}

// uncertainties fills in U from the inverse of the whole problem's normal matrix
// (JCGM 100:2008, H.3.3, for the line): its columns are orthogonalised first.
func (f projection) uncertainties(e *Exponential) {
	n, p := len(f.t), 1+2*len(e.TausS)
	jacobian := mat.NewDense(n, p, nil)
	scale := make([]float64, p)
	for i, t := range f.t {
		row := jacobian.RawRowView(i)
		row[0] = f.w[i]
		for k, tau := range e.TausS {
			d := f.w[i] * math.Exp(-t/tau)
			row[1+k] = -d
			row[1+len(e.TausS)+k] = -e.Amplitudes[k] * d * t / (tau * tau)
		}
		for k, v := range row {
			scale[k] = math.Hypot(scale[k], v)
		}
	}
	e.U = make([]float64, p)
	for k := range e.U {
		e.U[k] = math.NaN()
		if !(scale[k] > 0) {
			return
		}
	}
	jacobian.Apply(func(_, k int, v float64) float64 { return v / scale[k] }, jacobian)
	var qr mat.QR
	qr.Factorize(jacobian)
	if !(qr.Cond() < 1e13) {
		return
	}
	var r mat.Dense
	qr.RTo(&r)
	upper := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			upper.SetTri(i, j, r.At(i, j))
		}
	}
	var inverse mat.TriDense
	if inverse.InverseTri(upper) != nil {
		return
	}
	spread := 1.0
	if !f.weighted {
		spread = e.ResidualSD
	}
	for i := range p {
		sum := 0.0
		for j := i; j < p; j++ {
			sum = math.Hypot(sum, inverse.At(i, j))
		}
		e.U[i] = spread * sum / scale[i]
	}
}
