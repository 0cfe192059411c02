package heat

import (
	"math"

	"dieglow/catalog/fault"
)

// Stage is one step of a Foster network, a thermal resistance beside a capacity.
type Stage struct {
	RKPerW float64 `json:"r_k_per_w"`
	TauS   float64 `json:"tau_s"`
}

// Foster is a chain of such steps: it describes the response at the one point it
// was fitted to, and its nodes are no places in the part.
type Foster []Stage

// Validate checks the stages. Fault Invalid unless there is one and all are finite
// and above zero.
func (f Foster) Validate() error {
	if len(f) == 0 {
		return fault.Invalidf("a network without a stage").WithHint("give --r 1.2,3.4 --tau 10ms,1s")
	}
	for i, s := range f {
		if !positive(s.RKPerW) || !positive(s.TauS) {
			return fault.Invalidf("stage %d has %g K/W and %g s; both are to be above zero", i+1, s.RKPerW, s.TauS).WithHint("give --r 1.2,3.4 --tau 10ms,1s")
		}
	}
	return nil
}

// ResistanceKPerW is the rise per watt after a long time.
func (f Foster) ResistanceKPerW() float64 {
	sum := 0.0
	for _, s := range f {
		sum += s.RKPerW
	}
	return sum
}

// StepKPerW returns the transient impedance, the sum of R (1 - exp(-t/tau)): the
// rise per watt at a time in s after a constant power was switched on. 0 before.
func (f Foster) StepKPerW(tS float64) float64 {
	sum := 0.0
	for _, s := range f {
		if tS > 0 {
			sum -= s.RKPerW * math.Expm1(-tS/s.TauS)
		}
	}
	return sum
}

// StepK returns the rise at a time after a constant power was switched on.
func (f Foster) StepK(powerW, tS float64) float64 { return powerW * f.StepKPerW(tS) }

// Train is a train of rectangular pulses that begins at t = 0.
type Train struct {
	PulseS  float64
	PeriodS float64
	PowerW  float64 // during a pulse
	Pulses  int     // 0: without end, seen once every pulse gives the same rise
}

// Duty is the share of the time that the power is on.
func (t Train) Duty() float64 { return t.PulseS / t.PeriodS }

// Validate checks the train. Fault Invalid unless the pulse is above zero and no
// longer than the period, and the power is above zero.
func (t Train) Validate() error {
	switch {
	case !positive(t.PulseS):
		return fault.Invalidf("a pulse of %g s is not above zero", t.PulseS).WithHint("give --pulse 10ms")
	case !positive(t.PeriodS) || t.PeriodS < t.PulseS:
		return fault.Invalidf("a period of %g s is shorter than the pulse of %g s", t.PeriodS, t.PulseS).WithHint("give --period 100ms, not shorter than the pulse")
	case !positive(t.PowerW):
		return fault.Invalidf("a power of %g W is not above zero", t.PowerW).WithHint("give --power 5W, the power during a pulse")
	case t.Pulses < 0:
		return fault.Invalidf("%d pulses are not possible", t.Pulses).WithHint("give --pulses 100, or leave it out for a train without end")
	}
	return nil
}

// PeakK returns the rise at the end of the last pulse: for each stage
// P R (1 - exp(-tp/tau)) (1 - exp(-n T/tau))/(1 - exp(-T/tau)), the geometric sum of
// the pulses so far; exact, for the network is linear.
func (f Foster) PeakK(t Train) float64 {
	sum := 0.0
	for _, s := range f {
		sum += s.RKPerW * math.Expm1(-t.PulseS/s.TauS) / math.Expm1(-t.PeriodS/s.TauS) * t.grown(s.TauS)
	}
	return t.PowerW * sum
}

// ValleyK returns the rise just before the pulse that follows the last.
func (f Foster) ValleyK(t Train) float64 {
	sum := 0.0
	for _, s := range f {
		sum += s.RKPerW * math.Expm1(-t.PulseS/s.TauS) / math.Expm1(-t.PeriodS/s.TauS) * t.grown(s.TauS) * math.Exp(-(t.PeriodS-t.PulseS)/s.TauS)
	}
	return t.PowerW * sum
}

// grown is how far the geometric sum has come after the train's pulses.
func (t Train) grown(tauS float64) float64 {
	if t.Pulses == 0 {
		return 1
	}
	return -math.Expm1(-float64(t.Pulses) * t.PeriodS / tauS)
}

// MeanK returns the mean rise once every pulse gives the same: P times the duty
// factor times the resistance.
func (f Foster) MeanK(t Train) float64 { return t.PowerW * t.Duty() * f.ResistanceKPerW() }

// AtK returns the rise at a time after the first pulse of the train began, from
// cold: the steps on and off so far superposed, in closed form for each stage.
func (f Foster) AtK(t Train, tS float64) float64 {
	if !(tS > 0) {
		return 0
	}
	begun := math.Floor(tS/t.PeriodS) + 1 // pulses that have begun
	if t.Pulses > 0 {
		begun = math.Min(begun, float64(t.Pulses))
	}
	since := tS - (begun-1)*t.PeriodS // the beginning of the last of them
	sum := 0.0
	for _, s := range f {
		// What the pulses before the last have left at the beginning of the last.
		left := math.Expm1(-t.PulseS/s.TauS) / math.Expm1(-t.PeriodS/s.TauS) * -math.Expm1(-(begun-1)*t.PeriodS/s.TauS) * math.Exp(-(t.PeriodS-t.PulseS)/s.TauS)
		rise := left * math.Exp(-since/s.TauS)
		on := math.Min(since, t.PulseS)
		rise += -math.Expm1(-on/s.TauS) * math.Exp(-(since-on)/s.TauS)
		sum += s.RKPerW * rise
	}
	return t.PowerW * sum
}

// ZthPoint is a point of the transient impedance.
type ZthPoint struct {
	TimeS     float64 `json:"time_s"`
	ZKPerW    float64 `json:"zth_k_per_w"`
	PulsedKPW float64 `json:"peak_k_per_w"` // of a train without end with this pulse and the stated duty factor
}

// Zth tabulates the transient impedance from a hundredth of the fastest time
// constant to ten of the slowest, three points a decade at 1, 2 and 5, and beside it
// the peak of a train of pulses of that length with a duty factor.
func (f Foster) Zth(duty float64) []ZthPoint {
	fast, slow := math.Inf(1), 0.0
	for _, s := range f {
		fast, slow = math.Min(fast, s.TauS), math.Max(slow, s.TauS)
	}
	var out []ZthPoint
	for decade := math.Floor(math.Log10(fast / 100)); ; decade++ {
		for _, m := range []float64{1, 2, 5} {
			t := m * math.Pow(10, decade)
			if t > 10*slow {
				return out
			}
			out = append(out, ZthPoint{t, f.StepKPerW(t), f.PeakK(Train{PulseS: t, PeriodS: t / duty, PowerW: 1})})
		}
	}
}
