package heat

import (
	"fmt"
	"math"

	"dieglow/catalog/quantity"

	"gonum.org/v1/gonum/stat/distuv"
)

// judgement is what models are judged against.
type judgement struct {
	noiseK      float64
	noiseFrom   string
	stated      bool
	floor       float64 // sum of squares that is rounding, weighted as the fits are
	correlation float64 // of neighbouring residuals of the richest model
}

// judge settles the noise: stated, of the uncertainties, or estimated from what
// neighbouring readings differ by once the richest model is taken off.
func (s Series) judge(fits []Exponential, o WarmUpOptions) judgement {
	rich := fits[len(fits)-1]
	j := judgement{correlation: lagCorrelation(rich.Residuals)}
	rounding := math.Max(roundingNoise(s.Temp), 1e-9*s.scale())
	j.floor = rounding * rounding * float64(len(s.Temp))
	switch {
	case o.NoiseK > 0:
		j.noiseK, j.noiseFrom, j.stated = o.NoiseK, "stated", true
	case s.U != nil:
		sum := 0.0
		for _, u := range s.U {
			sum += u * u
		}
		j.noiseK, j.noiseFrom, j.stated = math.Sqrt(sum/float64(len(s.U))), "the stated uncertainties, root mean square", true
	default:
		j.noiseK, j.noiseFrom = differenceNoise(s.TimeS, rich.Residuals), "estimated from how neighbouring readings differ"
		if rounding > j.noiseK {
			j.noiseK, j.noiseFrom = rounding, "the steps that the readings are rounded to, over the root of 12"
		}
	}
	if s.U != nil {
		j.floor = float64(len(s.Temp)) * math.Pow(rounding/j.meanU(s), 2)
	}
	return j
}

func (j judgement) meanU(s Series) float64 {
	sum := 0.0
	for _, u := range s.U {
		sum += u
	}
	return sum / float64(len(s.U))
}

// unit is the noise that the sums of squares are in units of: 1 K, or the stated
// uncertainties.
func (j judgement) unit(s Series) float64 {
	if s.U == nil {
		return 1
	}
	return j.meanU(s)
}

// scale is the greatest magnitude of the temperatures, for rounding.
func (s Series) scale() float64 {
	out := 0.0
	for _, v := range s.Temp {
		out = math.Max(out, math.Abs(v))
	}
	return out
}

// allowed is how many times the noise a model with these degrees of freedom may leave.
func (j judgement) allowed(freedom int) float64 {
	if !j.stated {
		return overEstimatedNoise
	}
	nu := float64(freedom)
	return math.Max(overStatedNoise, math.Sqrt(distuv.ChiSquared{K: nu}.Quantile(1-significance)/nu))
}

func (j judgement) rule() string {
	how := fmt.Sprintf("it leaves at most %d times the noise estimated from neighbouring readings", overEstimatedNoise)
	if j.stated {
		how = fmt.Sprintf("it leaves at most %g times the stated noise, or what chance leaves of so few readings", overStatedNoise)
	}
	return "a model is adequate when " + how + ", and none with more time constants is better by Fisher's F at a level of 1e-4"
}

// model lays a fit out and judges it.
func (j judgement) model(e Exponential, fits []Exponential) Model {
	m := Model{
		Name: e.name(), Parameters: map[string]float64{}, StandardErrors: map[string]*float64{}, Fit: e, Freedom: e.Freedom,
		ResidualSD: e.ResidualSD, OverNoise: e.ResidualSD / j.noiseK, Correlation: lagCorrelation(e.Residuals), Runs: runs(e.Residuals),
	}
	for i, name := range e.parameterNames() {
		m.Parameters[name] = e.parameters()[i]
		m.StandardErrors[name] = nil
		if u := e.U[i]; !math.IsNaN(u) && !math.IsInf(u, 0) {
			m.StandardErrors[name] = &u
		}
	}
	if !math.IsNaN(e.Chi2) {
		m.Chi2 = &e.Chi2
	}
	if v := e.squares().aicc(j.floor * 1e-12); !math.IsInf(v, 0) && !math.IsNaN(v) {
		m.AICc = &v
	}
	verb := map[bool]string{true: "leaves", false: "leave"}[len(e.TausS) == 1]
	leaves := fmt.Sprintf("%s %s %s times the noise", e.name(), verb, quantity.Fixed(m.OverNoise, 3))
	rich := fits[len(fits)-1]
	needed := len(fits) == 1 || better(fits[0].squares(), e.squares(), j.floor, j.correlation)
	why, how := e.undetermined(needed)
	m.Determined = why == ""
	switch {
	case why != "":
		m.Why = "not determined: " + why + "; " + leaves
	case m.OverNoise > j.allowed(e.Freedom):
		m.Why = leaves
	case rich.Freedom < e.Freedom && better(e.squares(), rich.squares(), j.floor, j.correlation):
		m.Why = fmt.Sprintf("%s %s %s times what %s leave, which is no chance", e.name(), verb, quantity.Fixed(e.ResidualSD/rich.ResidualSD, 3), rich.name())
	default:
		m.Adequate, m.Why = true, leaves+how
	}
	return m
}

// undetermined says why the readings do not determine a model: "" where they do.
// how is what is to be said of one all the same. Two time constants that are not
// told apart are the limit of a lag, and stand where one does not do.
func (e Exponential) undetermined(needed bool) (why, how string) {
	rise := e.highest - e.lowest
	n := len(e.TausS)
	if u := e.U[0]; !(u <= rise) {
		return fmt.Sprintf("the standard error of what it settles at, %s K, is larger than the rise of %s K", orNone(u), quantity.Fixed(rise, 3)), ""
	}
	if n == 1 {
		return "", ""
	}
	apart := ""
	switch u := math.Hypot(e.U[3], e.U[4]); {
	case !(2*u < math.Abs(e.TausS[0]-e.TausS[1])):
		apart = "the two time constants are not told apart"
	case !(math.Max(e.U[1], e.U[2]) <= rise):
		apart = fmt.Sprintf("the standard error of an amplitude, %s K, is larger than the rise of %s K", orNone(math.Max(e.U[1], e.U[2])), quantity.Fixed(rise, 3))
	}
	if apart == "" || needed {
		if apart != "" {
			how = "; " + apart + ", but one does not do, and what it settles at is determined"
		}
		return "", how
	}
	return apart, ""
}

func orNone(u float64) string {
	if math.IsNaN(u) || math.IsInf(u, 0) {
		return "which is not to be had"
	}
	return quantity.Fixed(u, 3)
}

// choose returns the simplest adequate model, else the better determined one by
// Akaike's criterion; false where none is determined.
func choose(models []Model) (int, bool) {
	best := -1
	for i, m := range models {
		switch {
		case m.Adequate:
			return i, true
		case !m.Determined:
		case best < 0 || m.AICc != nil && (models[best].AICc == nil || *m.AICc < *models[best].AICc) || m.AICc == nil && models[best].AICc == nil:
			best = i
		}
	}
	return max(best, 0), best >= 0
}

// parameterNames are the keys of the parameters, with their units; t_inf is in
// the unit of the series.
func (e Exponential) parameterNames() []string {
	if len(e.TausS) == 1 {
		return []string{"t_inf", "a_k", "tau_s"}
	}
	return []string{"t_inf", "a1_k", "a2_k", "tau1_s", "tau2_s"}
}

func (e Exponential) parameters() []float64 {
	out := append([]float64{e.Final}, e.Amplitudes...)
	return append(out, e.TausS...)
}

// runs counts the stretches of residuals of one sign.
func runs(r []float64) int {
	n := 0
	for i, v := range r {
		if i == 0 || (v < 0) != (r[i-1] < 0) {
			n++
		}
	}
	return n
}
