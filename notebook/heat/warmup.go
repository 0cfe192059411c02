package heat

import (
	"fmt"
	"math"
	"slices"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// The names of the models of a warm-up.
const (
	OneExponential  = "one exponential"
	TwoExponentials = "two exponentials"
)

// Readings that a warm-up needs at least, to be fitted at all and with two time constants.
const (
	leastReadings    = 6
	leastReadingsTwo = 10
)

// What a model may leave and still be adequate, as multiples of the noise. The
// estimate from neighbouring readings does not see noise that lasts over several
// of them, so more is allowed over it than over a stated noise.
const (
	overEstimatedNoise = 3
	overStatedNoise    = 1.5
)

// WarmUpOptions are what is asked about a warm-up.
type WarmUpOptions struct {
	WithinK float64  // of the final value counts as equilibrium
	NoiseK  float64  // standard deviation of a reading; 0: the uncertainties of the series, else estimated
	AtS     *float64 // when a capture was taken, on the clock of the series; nil: at its end
	FromS   *float64 // when power came on, on the same clock; nil: found where readings before it are flat, else the first reading
	KeepAll bool     // outlying readings too
}

// Model is one description of a warm-up.
type Model struct {
	Name           string              `json:"name"`
	Parameters     map[string]float64  `json:"parameters"`
	StandardErrors map[string]*float64 `json:"standard_errors"` // null: the readings do not tell the parameters apart
	ResidualSD     float64             `json:"residual_sd"`     // K
	OverNoise      float64             `json:"residual_over_noise"`
	Chi2           *float64            `json:"chi_square"` // null: no uncertainties are stated
	Freedom        int                 `json:"degrees_of_freedom"`
	Correlation    float64             `json:"lag_1_correlation"` // of neighbouring residuals
	Runs           int                 `json:"runs"`              // of residuals of one sign
	AICc           *float64            `json:"aicc"`              // null: too few readings for it
	Determined     bool                `json:"determined"`        // the readings tell its final value, and its terms where one does without them
	Adequate       bool                `json:"adequate"`
	Why            string              `json:"why"`

	Fit Exponential `json:"-"`
}

// WarmUp is what a series says of how a specimen warms up or cools down.
type WarmUp struct {
	Models []Model `json:"models"`
	Chosen string  `json:"chosen"` // name of the simplest adequate model, else of the better one

	Unit       string   `json:"unit"`        // of final_value and its kin: degC or K
	FinalValue float64  `json:"final_value"` // extrapolated to late times
	U          *float64 `json:"u"`           // standard, in K; null: not to be had from these readings

	WithinK       float64  `json:"within_k"`
	TimeToWithinS *float64 `json:"time_to_within_s"` // on the clock of the series, from when it stays within; null: not known
	RemainingS    *float64 `json:"remaining_s"`      // after the last reading
	AtS           float64  `json:"at_s"`             // the moment asked about, the last reading unless stated
	GapK          float64  `json:"gap_k"`            // final value less the temperature then
	AtEquilibrium bool     `json:"at_equilibrium"`   // the gap with twice its uncertainty lies within
	Readings      int      `json:"readings"`         // fitted

	StartS          float64   `json:"start_s"` // of the warm-up, on the clock of the series
	StartFrom       string    `json:"start_from"`
	Before          int       `json:"readings_before"` // the start, which are not fitted
	Outlying        []Reading `json:"outlying"`
	OutlyingLeftOut bool      `json:"outlying_left_out"`

	TimeZeroS float64  `json:"time_zero_s"` // amplitudes are those at this time
	NoiseK    float64  `json:"noise_k"`
	NoiseFrom string   `json:"noise_from"`
	Rule      string   `json:"rule"` // of adequacy
	Notes     []string `json:"notes"`
}

// WarmUp fits one and two exponentials and judges them.
//
// A model is adequate when what it leaves is at most 3 times the noise estimated
// from neighbouring readings (1.5 times a stated one, and more where few readings
// would leave more by chance), and no model with more time constants is better by
// Fisher's F at a level of 1e-4.
//
// Readings that stand out are named and left out, and a flat lead-in before the
// power came on too. A model whose final value is known no better than by the whole
// rise, or whose second time constant is neither needed nor told apart, is not
// determined, and never chosen.
//
// Fault Invalid for fewer than 6 readings, temperatures that do not change beyond
// their noise, ones that change in a straight line or are known too little, with
// no equilibrium in sight, and ones that go up and down; and as Validate.
func (s Series) WarmUp(o WarmUpOptions) (WarmUp, error) {
	if err := s.checkWarmUp(o); err != nil {
		return WarmUp{}, err
	}
	out := WarmUp{WithinK: o.WithinK, Unit: s.Unit, Notes: []string{}, Outlying: []Reading{}}
	if s.Note != "" {
		out.Notes = append(out.Notes, s.Note)
	}
	s = out.sortOut(s, o)
	s, err := out.begin(s, o)
	if err != nil {
		return out, err
	}
	if slices.Min(s.Temp) == slices.Max(s.Temp) {
		return out, s.constant()
	}
	out.Readings = len(s.TimeS)
	fits, err := out.fit(s)
	if err != nil {
		return out, err
	}
	j := s.judge(fits, o)
	out.NoiseK, out.NoiseFrom, out.Rule = j.noiseK, j.noiseFrom, j.rule()
	if err := s.settles(fits, j); err != nil {
		return out, err
	}
	for _, e := range fits {
		out.Models = append(out.Models, j.model(e, fits))
	}
	chosen, ok := choose(out.Models)
	if !ok {
		return out, s.noEquilibrium("what it settles at is not known better than by the whole rise")
	}
	out.Chosen = out.Models[chosen].Name
	out.conclude(s, out.Models[chosen], o)
	return out, nil
}

// fit fits what the readings are enough for.
func (w *WarmUp) fit(s Series) ([]Exponential, error) {
	var fits []Exponential
	for n := range 2 {
		if n == 1 && len(s.TimeS) < leastReadingsTwo {
			w.Notes = append(w.Notes, fmt.Sprintf("%d readings are too few for two exponentials, which need %d", len(s.TimeS), leastReadingsTwo))
			break
		}
		if e, ok := s.exponentials(n+1, w.TimeZeroS); ok {
			fits = append(fits, e)
		}
	}
	if len(fits) == 0 {
		return nil, fault.Invalidf("no exponential fits these temperatures").WithHint("check the columns: a time in s and a temperature")
	}
	return fits, nil
}

func (s Series) checkWarmUp(o WarmUpOptions) error {
	if err := s.Validate(); err != nil {
		return err
	}
	switch n := len(s.TimeS); {
	case n < leastReadings:
		return fault.Invalidf("a series of %d readings is too short for a warm-up", n).WithHint("record at least %d readings, better some hundred, from power-up until the temperature has almost settled", leastReadings)
	case !(o.WithinK > 0) || math.IsInf(o.WithinK, 0):
		return fault.Invalidf("within %g K of equilibrium is not above zero", o.WithinK).WithHint("give --within 1K")
	case !(o.NoiseK >= 0) || math.IsInf(o.NoiseK, 0):
		return fault.Invalidf("a noise of %g K is not above zero", o.NoiseK).WithHint("give --noise 50mK, or leave it out")
	case o.FromS != nil && (math.IsNaN(*o.FromS) || math.IsInf(*o.FromS, 0)):
		return fault.Invalidf("a beginning at %g s is not finite", *o.FromS).WithHint("give --from 50s")
	case slices.Min(s.Temp) == slices.Max(s.Temp):
		return s.constant()
	}
	return nil
}

func (s Series) constant() error {
	what := "the temperatures"
	if s.TempName != "" {
		what = "the temperatures in the column " + s.TempName
	}
	return fault.Invalidf("%s do not change beyond their noise: there is no warm-up to fit", what).
		WithHint("record from power-up on; or name the right column with --column")
}

// zeroS is the time that amplitudes are given for: 0 as the clock of the series
// has it, unless that lies more than the length of the series away.
func (s Series) zeroS() float64 {
	first := s.TimeS[0]
	if math.Abs(first) > s.TimeS[len(s.TimeS)-1]-first {
		return first
	}
	return 0
}

// settles refuses a series without a bend in it, and one that no exponential follows.
func (s Series) settles(fits []Exponential, j judgement) error {
	flat, line := s.polynomials()
	one, rich := fits[0], fits[len(fits)-1]
	e := one
	if better(one.squares(), rich.squares(), j.floor, j.correlation) && rich.TausS[0] < 0.99*slowestTau*s.spanS() {
		e = rich // the slowest of one alone says nothing where two are needed, as in an overshoot
	}
	bent := better(line, e.squares(), j.floor, j.correlation)
	beyond := func(q sumOfSquares) bool { // leaves more than a model may, in the weights of the fits
		return q.sum > math.Pow(j.allowed(rich.Freedom)*j.noiseK/j.unit(s), 2)*float64(q.freedom)+j.floor
	}
	if beyond(flat) && beyond(line) && beyond(rich.squares()) && (!bent || rich.sum > leastFollowed*flat.sum) {
		span := slices.Max(s.Temp) - slices.Min(s.Temp)
		return fault.Invalidf("not a warm-up: the temperature goes up and down over %s K, %s times its noise, and neither one nor two exponentials follow it", quantity.Fixed(span, 3), quantity.Fixed(span/j.noiseK, 3)).
			WithHint("record one step of power from switching on until it has settled; --from states when power came on")
	}
	if !bent && !beyond(flat) && !better(flat, line, j.floor, lagCorrelation(one.Residuals)) && !better(flat, one.squares(), j.floor, j.correlation) {
		return s.constant()
	}
	if !bent || e.TausS[0] > 0.99*slowestTau*s.spanS() {
		return s.noEquilibrium("the temperature changes in a straight line, and what it settles at cannot be told")
	}
	return nil
}

// leastFollowed is the share of the scatter about the mean that a model must not
// leave, to count as following the readings.
const leastFollowed = 0.5

func (s Series) noEquilibrium(why string) error {
	return fault.Invalidf("no equilibrium in sight: over %s s %s", quantity.Fixed(s.spanS(), 4), why).
		WithHint("record on until the curve has clearly bent, best for three of its time constants")
}

func (s Series) spanS() float64 { return s.TimeS[len(s.TimeS)-1] - s.TimeS[0] }

// polynomials returns what a constant and a straight line leave.
func (s Series) polynomials() (flat, line sumOfSquares) {
	f := newProjection(s, s.TimeS[0])
	var w, mt, my float64
	for i, t := range f.t {
		v := f.w[i] * f.w[i]
		w, mt, my = w+v, mt+v*t, my+v*f.y[i]
	}
	mt, my = mt/w, my/w
	var tt, ty, yy float64
	for i, t := range f.t {
		v := f.w[i] * f.w[i]
		tt, ty, yy = tt+v*(t-mt)*(t-mt), ty+v*(t-mt)*(f.y[i]-my), yy+v*(f.y[i]-my)*(f.y[i]-my)
	}
	left := 0.0 // summed over the residuals: the difference of the sums above would be rounding
	for i, t := range f.t {
		r := f.w[i] * (f.y[i] - my - ty/tt*(t-mt))
		left += r * r
	}
	n := len(f.t)
	return sumOfSquares{yy, 1, n - 1}, sumOfSquares{left, 2, n - 2}
}

func (e Exponential) squares() sumOfSquares {
	p := 1 + 2*len(e.TausS)
	return sumOfSquares{e.sum, p, e.Freedom}
}

// name returns the model's name.
func (e Exponential) name() string {
	if len(e.TausS) == 1 {
		return OneExponential
	}
	return TwoExponentials
}

// conclude says what the chosen model says.
func (w *WarmUp) conclude(s Series, m Model, o WarmUpOptions) {
	e, n := m.Fit, len(s.TimeS)
	first, last := s.TimeS[0], s.TimeS[n-1]
	w.FinalValue, w.AtS = e.Final, last
	if o.AtS != nil {
		w.AtS = *o.AtS
	}
	widened := inflation(m.Correlation, n)
	if u := e.U[0] * widened; !math.IsNaN(u) {
		w.U = &u
		if widened > 1 {
			w.Notes = append(w.Notes, fmt.Sprintf("neighbouring residuals err alike (correlation %s): the uncertainty of the final value is widened by %s", quantity.Fixed(m.Correlation, 2), quantity.Fixed(widened, 3)))
		}
	}
	w.GapK = e.gap(w.AtS)
	if t, ok := e.settledS(o.WithinK, first); ok {
		remaining := math.Max(0, t-last)
		w.TimeToWithinS, w.RemainingS = &t, &remaining
	}
	w.AtEquilibrium = w.U != nil && math.Abs(w.GapK)+2*(*w.U) <= o.WithinK && (w.TimeToWithinS == nil || w.AtS >= *w.TimeToWithinS)
	if !m.Adequate {
		w.Notes = append(w.Notes, "no model is adequate: the final value, its uncertainty and the times rest on the better one, and are a guess")
	}
	if w.AtS < first || w.AtS > last {
		w.Notes = append(w.Notes, "the moment asked about lies outside the series")
	}
	endGap := e.gap(last)
	rise := math.Abs(e.At(last) - e.At(first))
	if w.U == nil || *w.U > math.Max(o.WithinK, math.Abs(endGap)/2) || math.Abs(endGap) > rise {
		w.Notes = append(w.Notes, "no equilibrium in sight: the final value is far beyond the last reading, and a longer series may move it by more than its uncertainty")
	} else if math.Abs(endGap) > o.WithinK {
		w.Notes = append(w.Notes, fmt.Sprintf("the final value lies %s K beyond the last reading: it holds if the model goes on to hold", quantity.Fixed(math.Abs(endGap), 3)))
	}
}

// settledS returns the time in s from which on the fit stays within x K of its
// final value, not before first. false where it is never beyond float64's reach.
func (e Exponential) settledS(withinK, firstS float64) (float64, bool) {
	slowest := e.TausS[0]
	total := 0.0
	for i, a := range e.Amplitudes {
		total += math.Abs(a) * math.Exp(-(firstS-e.zeroS)/e.TausS[i])
	}
	if total <= withinK {
		return firstS, true
	}
	// Beyond this the sum of magnitudes is within; the true curve may be earlier.
	high := firstS + slowest*math.Log(total/withinK)
	if math.IsNaN(high) || math.IsInf(high, 0) {
		return 0, false
	}
	// Going back in steps far shorter than the fastest change that matters, the
	// first step outside brackets the crossing.
	const steps = 20000
	outside := firstS
	for k := range steps + 1 {
		t := high - (high-firstS)*float64(k)/steps
		if math.Abs(e.gap(t)) > withinK {
			outside = t
			break
		}
		high = t
		if k == steps {
			return firstS, true
		}
	}
	for range 200 {
		middle := (outside + high) / 2
		if math.Abs(e.gap(middle)) > withinK {
			outside = middle
		} else {
			high = middle
		}
	}
	return high, true
}
