package heat

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/uncertainty"
)

// The verdicts on a power.
const (
	Go        = "go"
	SmallStep = "small step only"
	Stop      = "stop"
)

// The rules of the advice. They are this program's own, chosen to be cautious; no
// standard states them.
const (
	firstShare     = 0.1  // of the power limit, as a first step
	nextFactor     = 2    // of the highest power so far, where a temperature can be foreseen
	blindFactor    = 1.25 // of the same, where it cannot
	proportionHalf = 0.5  // of the rise allowed, where one powered capture is all there is
	farRise        = 3    // times the highest rise measured: no figure is given beyond
)

// siliconExponent is how the thermal conductivity of silicon falls with absolute
// temperature above room temperature, as T to the power of minus it (C. J.
// Glassbrenner and G. A. Slack, Phys. Rev. 134 (1964) A1058, about 1.3; from
// memory, not verified).
const siliconExponent = 1.3

// Derating lowers the power limit by an amount a kelvin above a temperature of the
// surroundings.
type Derating struct {
	FromK float64
	PerWK float64 // W/K
}

// At returns what is left of a power limit at a temperature, 0 at least. Fault
// Invalid unless the slope is finite and above zero.
func (d Derating) At(limitW, tempK float64) (float64, error) {
	if !positive(d.PerWK) {
		return 0, fault.Invalidf("a derating of %g W/K is not above zero", d.PerWK).WithHint("give --derate 10mW/K with --derate-from 25C")
	}
	return math.Max(0, limitW-d.PerWK*math.Max(0, tempK-d.FromK)), nil
}

// Question is what headroom is asked for.
type Question struct {
	ToW      float64
	Points   []Powered          // so far, unpowered ones too
	AmbientK *quantity.Estimate // to be expected; nil: not known

	LimitW   *float64 // power; nil: not on record
	LimitK   *float64 // hottest temperature; nil: not on record
	Derating *Derating

	HiddenShare float64 // of the rise that the camera may not see
	HiddenRule  string  // where the share is from
}

// Allowance is something added to the predicted temperature because it may be there.
type Allowance struct {
	What string  `json:"what"`
	K    float64 `json:"k"`
	Rule string  `json:"rule"`
}

// Headroom is the advice.
type Headroom struct {
	Verdict string  `json:"verdict"`
	ToW     float64 `json:"to_w"`

	PredictedC *float64    `json:"predicted_c"` // hottest temperature at that power; null: it cannot be known, or lies too far beyond the captures
	UK         *float64    `json:"u_k"`         // standard; null: not known
	HighC      *float64    `json:"high_c"`      // prediction, twice its uncertainty and the allowances
	Allowances []Allowance `json:"allowances"`
	AmbientC   *float64    `json:"ambient_c"`
	LimitC     *float64    `json:"limit_c"`
	LimitW     *float64    `json:"limit_w"` // derated where a derating was stated
	Points     int         `json:"powered_points"`
	HighestW   *float64    `json:"highest_power_w"` // so far
	RiseKPerW  *float64    `json:"rise_k_per_w"`
	RiseUKPerW *float64    `json:"rise_u_k_per_w"`

	AdvisedW    float64  `json:"advised_w"` // largest power for the next step
	AdvisedRule string   `json:"advised_rule"`
	Reasons     []string `json:"reasons"`
	CannotKnow  []string `json:"cannot_know"`
	Notes       []string `json:"notes"`
}

// outlook is what is worked out on the way.
type outlook struct {
	Question
	powered   []Powered
	topW      float64
	limitW    float64 // +Inf: none on record
	limitK    float64 // +Inf likewise
	fit       *Resistance
	apparent  bool
	foreseenK float64 // hottest temperature by the line, 0 where there is none
}

// Headroom judges a power before it is applied. The verdict is stop above a power
// limit, where the predicted temperature reaches the limit, or where no step up is
// left; go where the prediction with twice its uncertainty and all allowances stays
// below the limit and the power is at most twice the highest so far; else a small
// step only, to the advised power. Fault Invalid for a power that is not above
// zero, and as Derating.At.
func (q Question) Headroom() (Headroom, error) {
	if !positive(q.ToW) {
		return Headroom{}, fault.Invalidf("a power of %s W is not above zero", quantity.Fixed(q.ToW, 6)).WithHint("give the power of the next step, --to 0.5W")
	}
	if !(q.HiddenShare >= 0) || math.IsInf(q.HiddenShare, 0) {
		return Headroom{}, fault.Invalidf("a hidden share of %g is not possible", q.HiddenShare).WithHint("give --hidden 10%%")
	}
	o := outlook{Question: q, limitW: math.Inf(1), limitK: math.Inf(1)}
	h := Headroom{ToW: q.ToW, Allowances: []Allowance{}, Reasons: []string{}, CannotKnow: []string{}, Notes: []string{}}
	for _, p := range q.Points {
		if p.PowerW.Value > 0 {
			o.powered = append(o.powered, p)
			o.topW = math.Max(o.topW, p.PowerW.Value)
		}
		o.apparent = o.apparent || p.Apparent
	}
	h.Points = len(o.powered)
	if o.topW > 0 {
		h.HighestW = &o.topW
	}
	if err := o.limits(&h); err != nil {
		return h, err
	}
	o.predict(&h)
	o.advise(&h)
	o.verdict(&h)
	return h, nil
}

func (o *outlook) limits(h *Headroom) error {
	if o.AmbientK != nil {
		c := o.AmbientK.Value - quantity.CelsiusZeroK
		h.AmbientC = &c
	} else {
		h.CannotKnow = append(h.CannotKnow, "no ambient temperature is recorded or stated")
	}
	if o.LimitK != nil {
		o.limitK = *o.LimitK
		c := o.limitK - quantity.CelsiusZeroK
		h.LimitC = &c
	} else {
		h.CannotKnow = append(h.CannotKnow, "no temperature limit is on record: how hot the part may get")
	}
	if o.LimitW == nil {
		h.CannotKnow = append(h.CannotKnow, "no power limit is on record")
		if o.Derating != nil {
			return fault.Invalidf("a derating lowers a power limit, and none is on record").WithHint("amend the specimen with --max-power and --limit-source")
		}
		return nil
	}
	o.limitW = *o.LimitW
	if d := o.Derating; d != nil {
		if o.AmbientK == nil {
			return fault.Invalidf("a derating needs the ambient temperature").WithHint("give --ambient 23C")
		}
		left, err := d.At(o.limitW, o.AmbientK.Value)
		if err != nil {
			return err
		}
		h.Notes = append(h.Notes, fmt.Sprintf("the power limit of %s W is derated to %s W at %s", quantity.Fixed(o.limitW, 4), quantity.Fixed(left, 4), quantity.Shown(o.AmbientK.Value, 4, quantity.Kelvin)))
		o.limitW = left
	}
	h.LimitW = &o.limitW
	return nil
}

// predict foresees the temperature from two powered points or more.
func (o *outlook) predict(h *Headroom) {
	if len(o.powered) < 2 {
		h.CannotKnow = append(h.CannotKnow, fmt.Sprintf("%s on record: how the rise goes with power needs two", countOf(len(o.powered), "powered capture with a temperature", "powered captures with a temperature")))
	}
	if o.apparent {
		h.CannotKnow = append(h.CannotKnow, "temperatures are apparent, not corrected for emissivity and reflection: the part may be hotter than the camera says, by how much nobody worked out")
	}
	if len(o.powered) < 2 || o.AmbientK == nil {
		return
	}
	fit, err := NewResistance(o.Points)
	if err != nil {
		h.CannotKnow = append(h.CannotKnow, "all powered captures are at one power: how the rise goes with power needs two")
		return
	}
	o.fit = &fit
	h.RiseKPerW, h.RiseUKPerW = &fit.RiseKPerW.Value, fit.RiseKPerW.U
	if fit.RiseKPerW.Value <= 0 {
		h.CannotKnow = append(h.CannotKnow, "the temperature does not rise with power: the captures contradict each other, or the place is not the hot one")
		o.fit = nil
		return
	}
	k, u, high, allowances := o.temperature(o.ToW)
	o.foreseenK = k
	if o.tooFar(k, allowances) {
		h.CannotKnow = append(h.CannotKnow, o.farWords()+": the captures foresee no more than "+fmt.Sprint(farRise)+" times the rise measured, and allowances no larger than the rise")
		return
	}
	c, highC := k-quantity.CelsiusZeroK, high-quantity.CelsiusZeroK
	h.PredictedC, h.HighC, h.Allowances = &c, &highC, allowances
	if math.IsNaN(u) {
		h.CannotKnow = append(h.CannotKnow, "no uncertainty follows from these captures: the highest temperature stated leaves it out")
	} else {
		h.UK = &u
	}
}

// tooFar reports whether a prediction lies so far outside the measurements that its
// figures would say nothing.
func (o *outlook) tooFar(k float64, allowances []Allowance) bool {
	rise, highest, allowed := k-o.AmbientK.Value, 0.0, 0.0
	for _, p := range o.powered {
		highest = math.Max(highest, p.RiseK())
	}
	for _, a := range allowances {
		allowed += a.K
	}
	return o.ToW > o.topW && (rise > farRise*highest || allowed > math.Abs(rise))
}

func (o *outlook) farWords() string {
	return fmt.Sprintf("%s W is too far beyond the %s W measured to be foreseen", quantity.Fixed(o.ToW, 4), quantity.Fixed(o.topW, 4))
}

// temperature foresees the hottest temperature at a power, with its uncertainty
// (NaN where not known) and the highest that is to be reckoned with.
func (o *outlook) temperature(powerW float64) (k, u, high float64, allowances []Allowance) {
	rise, u := o.fit.Rise(powerW)
	ambientU, _ := o.AmbientK.StandardU()
	k, u = o.AmbientK.Value+rise, math.Hypot(u, ambientU)
	add := func(what string, amount float64, rule string) {
		if amount > 0 {
			allowances = append(allowances, Allowance{what, amount, rule})
		}
	}
	add("curvature as measured", o.fit.bent(powerW), "what the parabola through the points lies above the line")
	hidden := o.HiddenShare * math.Max(0, rise)
	add("what the camera does not see", hidden, o.HiddenRule)
	add("rise per watt growing with temperature", o.silicon(powerW)-k-hidden, "were all of the rise, the hidden part too, across silicon, whose conductivity falls as absolute temperature to the power 1.3 (Glassbrenner and Slack 1964, from memory), carried on from the highest power seen by Kirchhoff's transformation")
	high = k
	if !math.IsNaN(u) {
		high += 2 * u
	}
	for _, a := range allowances {
		high += a.K
	}
	return k, u, high, allowances
}

// silicon returns the temperature in K at a power if the whole rise were across
// silicon, fitted to the line at the highest power seen with the share that the
// camera does not see; 0 up to that power. With a
// conductivity as T^-n the temperature is T0 (1 - (n-1) R0 P/T0)^(-1/(n-1)), R0 being
// the resistance at no power (Kirchhoff's transformation, Carslaw and Jaeger, 2.16,
// from memory).
func (o *outlook) silicon(powerW float64) float64 {
	top, _ := o.fit.Rise(o.topW)
	top *= 1 + o.HiddenShare
	if powerW <= o.topW || top <= 0 {
		return 0
	}
	const n1 = siliconExponent - 1
	t0 := o.AmbientK.Value
	perW := (1 - math.Pow((t0+top)/t0, -n1)) / o.topW // (n-1) R0/T0
	const runaway = 0.05                              // of the conductivity integral left: far above any limit
	return t0 * math.Pow(math.Max(runaway, 1-perW*powerW), -1/n1)
}

// advise names the largest power of the next step and the rule.
func (o *outlook) advise(h *Headroom) {
	advised, rule := math.Inf(1), ""
	most := func(w float64, why string) {
		if w < advised {
			advised, rule = w, why
		}
	}
	most(o.limitW, "the power limit")
	switch {
	case len(o.powered) == 0:
		most(firstShare*o.limitW, "a first step: a tenth of the power limit")
		if o.LimitW == nil {
			most(firstShare*o.ToW, "a first step: a tenth of the power asked about, since no limit is on record")
		}
	case o.fit == nil || o.apparent || o.LimitK == nil:
		most(blindFactor*o.topW, "a quarter above the highest power so far, since the temperature cannot be foreseen or judged")
		o.proportion(most)
	default:
		most(nextFactor*o.topW, "twice the highest power so far")
	}
	if o.fit != nil && o.LimitK != nil {
		most(o.largest(nextFactor*o.topW), "the highest temperature to be reckoned with stays below the limit")
	}
	h.AdvisedW, h.AdvisedRule = roundedDown(advised), rule
}

// proportion caps the next step where one powered capture is all there is: by
// straight proportion it takes at most half of the rise allowed.
func (o *outlook) proportion(most func(float64, string)) {
	if o.fit != nil || o.LimitK == nil || o.AmbientK == nil {
		return
	}
	if perW := o.steepest(); perW > 0 {
		most(math.Max(0, proportionHalf*(o.limitK-o.AmbientK.Value)/perW), "half of the rise that the limit allows, by straight proportion from the steepest capture so far")
	}
}

// steepest is the largest rise per watt of a powered capture by itself.
func (o *outlook) steepest() float64 {
	out := 0.0
	for _, p := range o.powered {
		out = math.Max(out, p.RiseK()/p.PowerW.Value)
	}
	return out
}

// largest finds the highest power up to a ceiling at which the temperature to be
// reckoned with stays below the limit.
func (o *outlook) largest(ceilingW float64) float64 {
	fits := func(w float64) bool { _, _, high, _ := o.temperature(w); return high <= o.limitK }
	if fits(ceilingW) {
		return ceilingW
	}
	low, high := 0.0, ceilingW
	for range 100 {
		if middle := (low + high) / 2; fits(middle) {
			low = middle
		} else {
			high = middle
		}
	}
	return low
}

// roundedDown cuts a power to three digits, so that what is typed lies below it.
func roundedDown(w float64) float64 {
	if !(w > 0) {
		return 0
	}
	scale := math.Pow(10, 2-math.Floor(math.Log10(w)))
	return math.Floor(w*scale*(1+1e-12)) / scale
}

func (o *outlook) verdict(h *Headroom) {
	watt := func(w float64) string { return quantity.Fixed(w, 4) + " W" }
	reason := func(v, format string, args ...any) {
		h.Verdict = v
		h.Reasons = append(h.Reasons, fmt.Sprintf(format, args...))
	}
	if o.ToW > o.limitW {
		reason(Stop, "%s lies above the power limit of %s", watt(o.ToW), watt(o.limitW))
	}
	if h.PredictedC != nil && *h.PredictedC+quantity.CelsiusZeroK >= o.limitK {
		reason(Stop, "the predicted %s °C reaches the limit of %s °C", quantity.Fixed(*h.PredictedC, 4), quantity.Fixed(*h.LimitC, 4))
	}
	if h.PredictedC == nil && o.foreseenK >= o.limitK {
		reason(Stop, "%s, and carried on in a straight line it reaches the limit of %s °C", o.farWords(), quantity.Fixed(*h.LimitC, 4))
	}
	if one := o.steepest(); h.PredictedC == nil && o.foreseenK == 0 && o.LimitK != nil && o.AmbientK != nil && one > 0 && o.AmbientK.Value+one*o.ToW >= o.limitK {
		reason(Stop, "by straight proportion from one capture %s reaches the limit of %s °C", watt(o.ToW), quantity.Fixed(*h.LimitC, 4))
	}
	if h.Verdict == Stop {
		return
	}
	known := h.PredictedC != nil && !o.apparent && o.LimitK != nil && h.UK != nil
	within := o.ToW <= h.AdvisedW*(1+1e-9)
	switch {
	case known && within:
		reason(Go, "at %s the highest temperature to be reckoned with, %s °C, stays below the limit of %s °C", watt(o.ToW), quantity.Fixed(*h.HighC, 4), quantity.Fixed(*h.LimitC, 4))
	case within:
		reason(SmallStep, "%s is no more than the step advised, but where it leads cannot be known", watt(o.ToW))
	case o.topW > 0 && h.AdvisedW <= o.topW && o.ToW > o.topW:
		reason(Stop, "no step above the %s of before is left: %s", watt(o.topW), h.AdvisedRule)
	default:
		reason(SmallStep, "%s is more than the %s advised for the next step", watt(o.ToW), watt(h.AdvisedW))
	}
}

func countOf(n int, one, many string) string {
	switch n {
	case 0:
		return "no " + one
	case 1:
		return "one " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// edgeToWidth is the full width at half maximum of a Gaussian over the distance in
// which its edge goes from 10 % to 90 %: sqrt(2 ln 2) over the 90 % quantile of the
// normal distribution, 1.281552.
const edgeToWidth = 0.918738

// WidthOfEdge returns the full width at half maximum of a Gaussian blur from the
// distance in which it takes an edge from 10 % to 90 %, in the same unit.
func WidthOfEdge(edge float64) float64 { return edgeToWidth * edge }

// HiddenByBlur returns the share of the seen rise that a Gaussian blur hides of a
// round source, for Question.HiddenShare. Fault Invalid unless both are finite and
// the source is above zero, or where less than a twentieth of the rise is left.
func HiddenByBlur(sourceUM, blurUM float64) (float64, error) {
	if !positive(sourceUM) || !(blurUM >= 0) || math.IsInf(blurUM, 0) {
		return 0, fault.Invalidf("a source of %g µm under a blur of %g µm", sourceUM, blurUM).WithHint("give --spot 100um, the width of the hot spot")
	}
	left := uncertainty.Retained(sourceUM, blurUM, false)
	if left < 0.05 {
		return 0, fault.Invalidf("a hot spot of %g µm is lost in a blur of %g µm: %s %% of its rise is left", sourceUM, blurUM, quantity.Fixed(100*left, 2)).
			WithHint("image it with a sharper setup, or state another --spot")
	}
	return 1/left - 1, nil
}
