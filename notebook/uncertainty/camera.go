package uncertainty

import (
	"fmt"
	"math"
	"sync"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Camera states what is known about a camera's reading of one spot. A figure
// that is 0 is left out of the budget.
type Camera struct {
	ReadingK float64 // the apparent temperature the figures are for

	// Accuracy class, as "± 2 K or 2 % of reading, whichever is greater". The
	// share is of the reading in °C, as makers state it (common practice, no
	// source). Taken as the limits of a rectangular distribution, unless
	// AccuracyK2 says that it is an expanded uncertainty with k = 2.
	AccuracyK     float64
	AccuracyShare float64
	AccuracyK2    bool

	NETDK      float64 // of one pixel in one frame
	Frames     int     // averaged; 0 counts as 1
	Pixels     int     // averaged; 0 counts as 1
	NETDFloorK float64 // what averaging does not go below, as measured; 0: not known

	NonUniformityK float64 // standard deviation over the pixels of a uniform scene, fixed from frame to frame

	DriftKPerMin          float64 // greatest drift of the reading between reference frames
	MinutesSinceReference float64

	Target SpotSize // size of source and focus
}

// Inputs returns the contributions, each an amount that adds to the apparent
// temperature in K and says in Reason how it came about. Values are 0 except
// that of the size of source and focus, which correct a reading that is off.
// Fault Invalid when a figure is negative, not finite, or lacks its partner.
func (c Camera) Inputs() ([]Input, error) {
	if err := c.validate(); err != nil {
		return nil, err
	}
	var out []Input
	if a := math.Max(c.AccuracyK, c.AccuracyShare*math.Abs(c.ReadingK-quantity.CelsiusZeroK)); a > 0 {
		out = append(out, c.accuracy(a))
	}
	if c.NETDK > 0 {
		out = append(out, c.noise())
	}
	if c.NonUniformityK > 0 {
		out = append(out, additive("non-uniformity", c.NonUniformityK, Normal, "standard deviation over a uniform scene; averaging frames does not lower it"))
	}
	if a := c.DriftKPerMin * c.MinutesSinceReference; a > 0 {
		out = append(out, additive("drift", a/math.Sqrt(3), Rectangular,
			fmt.Sprintf("at most %.3g K a minute, %.3g minutes since the last reference frame: limits of ± %.3g K", c.DriftKPerMin, c.MinutesSinceReference, a)))
	}
	spot, err := c.Target.inputs()
	return append(out, spot...), err
}

func additive(name string, u float64, d Distribution, reason string) Input {
	return Input{Name: name, Unit: "K", U: u, Distribution: d, Type: TypeB, Reason: reason}
}

func (c Camera) validate() error {
	for _, f := range []struct {
		name  string
		value float64
	}{
		{"accuracy", c.AccuracyK}, {"accuracy as a share of the reading", c.AccuracyShare}, {"NETD", c.NETDK}, {"floor of the NETD", c.NETDFloorK},
		{"non-uniformity", c.NonUniformityK}, {"drift", c.DriftKPerMin}, {"time since the last reference frame", c.MinutesSinceReference},
		{"number of frames", float64(c.Frames)}, {"number of pixels", float64(c.Pixels)},
	} {
		if !(f.value >= 0) || math.IsInf(f.value, 0) {
			return fault.Invalidf("the camera's %s is %g", f.name, f.value).WithHint("state a finite number of zero or more, or leave it out")
		}
	}
	if c.AccuracyShare > 0 && !(c.ReadingK > 0) {
		return fault.Invalidf("an accuracy of %g %% of the reading, and no reading", 100*c.AccuracyShare).WithHint("state the apparent temperature it is for")
	}
	return nil
}

func (c Camera) accuracy(a float64) Input {
	if c.AccuracyK2 {
		return additive("accuracy class", a/2, Normal, fmt.Sprintf("± %.3g K stated as an expanded uncertainty with k = 2", a))
	}
	return additive("accuracy class", a/math.Sqrt(3), Rectangular, fmt.Sprintf("± %.3g K stated without a distribution: taken as limits", a))
}

func (c Camera) noise() Input {
	n := math.Max(float64(c.Frames), 1) * math.Max(float64(c.Pixels), 1)
	u := math.Max(c.NETDK/math.Sqrt(n), c.NETDFloorK)
	reason := fmt.Sprintf("NETD %.3g K over the root of %g readings", c.NETDK, n)
	switch {
	case n == 1:
		reason = "NETD of one reading"
	case u == c.NETDFloorK:
		reason += fmt.Sprintf(", not below the measured floor of %.3g K", u)
	default:
		reason += "; holds for uncorrelated noise only, down to a floor that was not measured"
	}
	return additive("noise", u, Normal, reason)
}

// SpotSize is what blurs a small target into its surroundings. Leave TargetUM
// at 0 for a target that fills many blur widths.
type SpotSize struct {
	TargetUM  float64 // width of the target on the object
	BlurUM    float64 // full width at half maximum of the blur on the object, in focus
	DefocusUM float64 // the blur that defocus adds, likewise; 0 in focus
	Square    bool    // a square target rather than a round one
	ContrastK float64 // apparent temperature of the target less that of what surrounds it
}

// Retained returns the share of a small target's contrast that is left at its
// centre after a Gaussian blur: 1 - 2^-(D/w)² for a disk of diameter D and a blur
// of full width at half maximum w, erf² for a square. A camera whose blur has
// wide skirts keeps less. It is 1 without blur.
func Retained(targetUM, blurUM float64, square bool) float64 {
	if !(blurUM > 0) {
		return 1
	}
	q := targetUM / blurUM
	if square {
		e := math.Erf(q * math.Sqrt(math.Ln2)) // half the width over sqrt(2) sigma, with w = sigma sqrt(8 ln 2)
		return e * e
	}
	return 1 - math.Exp2(-q*q)
}

// inputs corrects for what the blur takes from the contrast, and takes the
// correction as uncertain by all of itself: the shape of the blur is assumed.
func (s SpotSize) inputs() ([]Input, error) {
	if s == (SpotSize{}) {
		return nil, nil
	}
	if !(s.TargetUM > 0) || !(s.BlurUM >= 0) || !(s.DefocusUM >= 0) || math.IsInf(s.TargetUM+s.BlurUM+s.DefocusUM, 0) || math.IsNaN(s.ContrastK) || math.IsInf(s.ContrastK, 0) {
		return nil, fault.Invalidf("a target of %g µm under a blur of %g µm and a defocus of %g µm, with a contrast of %g K", s.TargetUM, s.BlurUM, s.DefocusUM, s.ContrastK).
			WithHint("state the width of the target and of the blur on the object, and the contrast in K")
	}
	sharp := Retained(s.TargetUM, s.BlurUM, s.Square)
	soft := Retained(s.TargetUM, math.Hypot(s.BlurUM, s.DefocusUM), s.Square)
	if soft < 0.1 {
		return nil, fault.Invalidf("a target of %g µm keeps %.2g %% of its contrast under the blur", s.TargetUM, 100*soft).
			WithHint("no correction can be trusted: use more magnification, better focus or a larger target")
	}
	full := s.ContrastK / soft // the contrast that is read is what is left of it
	var out []Input
	for _, part := range []struct {
		name  string
		value float64
		why   string
	}{
		{"size of source", full * (1 - sharp), fmt.Sprintf("a target of %.3g µm under a blur of %.3g µm keeps %.3g %% of its contrast", s.TargetUM, s.BlurUM, 100*sharp)},
		{"focus", full * (sharp - soft), fmt.Sprintf("a defocus of %.3g µm leaves %.3g %% of the contrast", s.DefocusUM, 100*soft)},
	} {
		if part.value == 0 {
			continue
		}
		in := additive(part.name, math.Abs(part.value)/math.Sqrt(3), Rectangular, part.why+"; corrected, and the correction taken as uncertain by itself")
		in.Value = part.value
		out = append(out, in)
	}
	return out, nil
}

// AddTo returns a model that hands the first n of its inputs to f, with all
// further ones added to input at: how contributions to a reading join the model
// of the object. at lies below n.
func AddTo(f Model, at, n int) Model {
	pool := &sync.Pool{New: func() any { return new(make([]float64, n)) }} // a trial must not allocate
	return func(x []float64) (float64, error) {
		y := pool.Get().(*[]float64)
		defer pool.Put(y)
		copy(*y, x[:n])
		for _, v := range x[n:] {
			(*y)[at] += v
		}
		return f(*y)
	}
}
