package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"dieglow/catalog/fault"
)

// DefaultLevel is the coverage probability used where none is stated.
const DefaultLevel = 0.95

// CoverageFactor returns k, so that k standard uncertainties to either side hold
// the level (0 to 1): the quantile of Student's t-distribution, of the normal one
// for infinitely many degrees of freedom. Degrees of freedom that are not whole
// are cut down to the next whole number (JCGM 100:2008, G.4.1). NaN unless
// 0 < level < 1 and there is at least one degree of freedom.
func CoverageFactor(level, degreesOfFreedom float64) float64 {
	if !(level > 0 && level < 1) || !(degreesOfFreedom >= 1) {
		return math.NaN()
	}
	p := (1 + level) / 2
	if degreesOfFreedom > 1e6 {
		return distuv.UnitNormal.Quantile(p)
	}
	// A number just below a whole one is that whole number, rounded on the way.
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Floor(degreesOfFreedom + 1e-9)}.Quantile(p)
}

// Interval is a range that holds the result with a probability of Level.
type Interval struct {
	Level     float64
	Low, High float64
}

// Expanded returns the coverage factor, the expanded uncertainty k U, and
// Value ± k U. Below one effective degree of freedom one is used. Fault Invalid
// unless 0 < level < 1.
func (r FirstOrder) Expanded(level float64) (k, expandedU float64, in Interval, err error) {
	if err := checkLevel(level); err != nil {
		return 0, 0, Interval{}, err
	}
	k = CoverageFactor(level, math.Max(r.DegreesOfFreedom, 1))
	expandedU = k * r.U
	return k, expandedU, Interval{level, r.Value - expandedU, r.Value + expandedU}, nil
}

func checkLevel(level float64) error {
	if level > 0 && level < 1 {
		return nil
	}
	return fault.Invalidf("a coverage probability of %g", level).WithHint("state a probability between 0 and 1, for example 0.95")
}
