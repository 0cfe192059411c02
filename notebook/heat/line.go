package heat

import (
	"math"

	"dieglow/catalog/fault"
)

// Point is one point of a straight line with its standard uncertainties; 0 is an
// exact coordinate.
type Point struct{ X, Y, UX, UY float64 }

// Line is a straight line y = A + B x fitted to points.
type Line struct {
	A, B    float64
	UA, UB  float64 // standard uncertainties; NaN where two points without uncertainties do not tell them
	Cov     float64 // of A and B
	Chi2    float64 // of the stated uncertainties; NaN where there are none
	Freedom int     // points less two
	SD      float64 // of the residuals in y; NaN for two points

	// Of the estimate of B as a linear function of the y: B moves by the sum of
	// Gain times what each y moves by. For contributions that the points share.
	Gain  []float64
	gainA []float64
}

// FitLine fits a line by York's method for uncertainties in both coordinates
// (D. York et al., Am. J. Phys. 72 (2004) 367), which for exact x is weighted, and
// without any uncertainty ordinary least squares with the scatter of the points as
// the uncertainty of y (JCGM 100:2008, H.3). Fault Invalid for fewer than two
// points, all at one x, an uncertainty in x without one in y, or some points with
// and some without one.
func FitLine(points []Point) (Line, error) {
	weighted, err := checkPoints(points)
	if err != nil {
		return Line{}, err
	}
	w := make([]float64, len(points))
	for i := range w {
		w[i] = 1
	}
	l := Line{Freedom: len(points) - 2, Chi2: math.NaN(), SD: math.NaN()}
	l.ordinary(points, w)
	if weighted {
		l.york(points, w)
	}
	return l, l.spread(points, w, weighted)
}

func checkPoints(points []Point) (weighted bool, err error) {
	if len(points) < 2 {
		return false, fault.Invalidf("a line through %d points", len(points)).WithHint("give two points or more")
	}
	same := true
	for i, p := range points {
		for _, v := range []float64{p.X, p.Y, p.UX, p.UY} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return false, fault.Invalidf("point %d is not finite", i+1).WithHint("leave the point out")
			}
		}
		if p.UX < 0 || p.UY < 0 {
			return false, fault.Invalidf("point %d has an uncertainty below zero", i+1).WithHint("give uncertainties of 0 or more")
		}
		has := p.UY > 0
		if p.UX > 0 && !has {
			return false, fault.Invalidf("point %d has an uncertainty in x and none in y", i+1).WithHint("state one in y, or none at all")
		}
		if i > 0 && has != weighted {
			return false, fault.Invalidf("some points have an uncertainty and some have none").WithHint("state one for each point, or for none")
		}
		weighted = has
		same = same && p.X == points[0].X
	}
	if same {
		return false, fault.Invalidf("all points lie at x = %g", points[0].X).WithHint("give points at two values of x or more")
	}
	return weighted, nil
}

// ordinary fits with the weights w in y alone.
func (l *Line) ordinary(points []Point, w []float64) {
	xm, ym := means(points, w)
	var xx, xy float64
	for i, p := range points {
		xx += w[i] * (p.X - xm) * (p.X - xm)
		xy += w[i] * (p.X - xm) * (p.Y - ym)
	}
	l.B = xy / xx
	l.A = ym - l.B*xm
}

func means(points []Point, w []float64) (x, y float64) {
	sum := 0.0
	for i, p := range points {
		sum += w[i]
		x += w[i] * p.X
		y += w[i] * p.Y
	}
	return x / sum, y / sum
}

// york iterates the slope with weights that depend on it; w is left at the last.
func (l *Line) york(points []Point, w []float64) {
	for range 200 {
		for i, p := range points {
			w[i] = 1 / (p.UY*p.UY + l.B*l.B*p.UX*p.UX)
		}
		xm, ym := means(points, w)
		var top, bottom float64
		for i, p := range points {
			u, v := p.X-xm, p.Y-ym
			beta := w[i] * (u*p.UY*p.UY + l.B*v*p.UX*p.UX)
			top += w[i] * beta * v
			bottom += w[i] * beta * u
		}
		before := l.B
		l.B = top / bottom
		l.A = ym - l.B*xm
		if math.Abs(l.B-before) <= 1e-15*math.Abs(l.B) {
			return
		}
	}
}

// spread fills in uncertainties, chi-square and gains at the final weights.
func (l *Line) spread(points []Point, w []float64, weighted bool) error {
	xm, ym := means(points, w)
	var sum, xx, left, chi float64
	adjusted := make([]float64, len(points))
	for i, p := range points {
		adjusted[i] = p.X
		if weighted { // the point on the line that York's method moves to
			u, v := p.X-xm, p.Y-ym
			adjusted[i] = xm + w[i]*(u*p.UY*p.UY+l.B*v*p.UX*p.UX)
		}
		r := p.Y - l.A - l.B*p.X
		left += r * r
		chi += w[i] * r * r
		sum += w[i]
	}
	mid := 0.0
	for i, x := range adjusted {
		mid += w[i] / sum * x
	}
	for i, x := range adjusted {
		xx += w[i] * (x - mid) * (x - mid)
	}
	if !(xx > 0) {
		return fault.Invalidf("the points do not tell a slope").WithHint("give points further apart in x")
	}
	scale := 1.0
	if l.Freedom > 0 {
		l.SD = math.Sqrt(left / float64(l.Freedom))
	}
	if weighted {
		l.Chi2 = chi
	} else {
		scale = l.SD * l.SD
	}
	l.UB = math.Sqrt(scale / xx)
	l.UA = math.Sqrt(scale * (1/sum + mid*mid/xx))
	l.Cov = -scale * mid / xx
	for i, x := range adjusted {
		g := w[i] * (x - mid) / xx
		l.Gain = append(l.Gain, g)
		l.gainA = append(l.gainA, w[i]/sum-g*mid)
	}
	return nil
}

// At returns the line at x with its standard uncertainty there (JCGM 100:2008,
// H.3.4), NaN where the line has none.
func (l Line) At(x float64) (y, u float64) {
	variance := l.UA*l.UA + x*x*l.UB*l.UB + 2*x*l.Cov
	return l.A + l.B*x, math.Sqrt(math.Max(0, variance))
}

// gainAt is by how much the line at x moves for each y: At is linear in them.
func (l Line) gainAt(x float64, i int) float64 { return l.gainA[i] + x*l.Gain[i] }
