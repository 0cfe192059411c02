package sharpness

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// Element is one size of a target of three bars, and the part of the frame that
// holds its bars and the gaps between them.
type Element struct {
	Label  string
	SizeUM quantity.Estimate // width of one bar
	Part   frame.Rect
}

// BarsOptions say how bars are read.
type BarsOptions struct {
	Elements []Element
	Contrast float64            // that a resolved element keeps; 0: DefaultContrast
	PixelUM  *quantity.Estimate // what a pixel sees of the object; nil: the bars' period is found from the part's size
	Light    *frame.Rect        // large even areas of what bars and gaps are made of; nil: none
	Dark     *frame.Rect
}

// Bars is what a target shows.
type Bars struct {
	Formula  string // that the contrast is computed by
	Contrast float64
	Elements []BarContrast // from the widest bars to the narrowest
	// Resolved is the smallest element that keeps the contrast while all wider ones
	// do; nil where the widest does not. Next is the one after it, nil at the end.
	Resolved, Next *BarContrast
	Warnings       []string
}

// BarContrast is the contrast of one element.
type BarContrast struct {
	Element
	PeriodPx float64           // of bar and gap
	Along    string            // what the bars run along: "columns" or "rows"
	Bars     float64           // mean value in the middle of the three bars
	Gaps     float64           // and of the two gaps
	Contrast quantity.Estimate // standard uncertainty from the scatter along the bars
}

// The formulas of contrast.
const (
	Michelson  = "(bars - gaps) / (bars + gaps), of values that count from zero"
	Modulation = "(bars - gaps) / (light area - dark area)"
)

// MeasureBars measures the contrast of each element. The part of an element is
// averaged along its bars, and the values in the middles of the bars and gaps are
// read from a curve fitted about each, at places that follow from the phase of the
// pattern: noise has no part in choosing what counts as
// bright or dark, so that bars that are not resolved come out near zero.
//
// With light and dark areas the contrast is the modulation against them, which is
// what a prediction of resolution is about. Without, it is that of Michelson, which
// means something for values that count from zero only: for a frame in °C or K,
// fault Usage. Fault Invalid when a part lies outside the frame, is too small for
// its bars, or holds missing or saturated pixels.
func MeasureBars(f frame.Frame, o BarsOptions) (Bars, error) {
	if o.Contrast == 0 {
		o.Contrast = DefaultContrast
	}
	b := Bars{Formula: Michelson, Contrast: o.Contrast}
	if err := checkBars(f, o); err != nil {
		return b, err
	}
	var reference quantity.Estimate
	if o.Light != nil {
		b.Formula = Modulation
		var err error
		if reference, err = levelStep(f, *o.Light, *o.Dark); err != nil {
			return b, err
		}
	}
	for _, e := range o.Elements {
		c, err := barContrast(f, e, o.PixelUM)
		if err != nil {
			return b, err
		}
		c.relate(o.Light != nil, reference)
		b.Elements = append(b.Elements, c)
	}
	slices.SortStableFunc(b.Elements, func(a, c BarContrast) int {
		switch {
		case a.SizeUM.Value > c.SizeUM.Value:
			return -1
		case a.SizeUM.Value < c.SizeUM.Value:
			return 1
		}
		return 0
	})
	b.judge()
	return b, nil
}

func checkBars(f frame.Frame, o BarsOptions) error {
	switch {
	case len(o.Elements) == 0:
		return fault.Usagef("no element of the target is named").WithHint(`give --elements "G3E1@40,30,28,20; G3E2@80,30,25,18", size@column,row,width,height of each`)
	case !(o.Contrast > 0 && o.Contrast < 1):
		return fault.Invalidf("the contrast %g is not between 0 and 1", o.Contrast).WithHint("type the contrast that a bar must keep, for example 0.2")
	case (o.Light == nil) != (o.Dark == nil):
		return fault.Usagef("one of two areas is named").WithHint("give both --light and --dark, each as column,row,width,height")
	case o.Light == nil && (f.Unit == frame.DegC || f.Unit == frame.Kelvin):
		return fault.Usagef("a contrast of temperatures needs something to compare it with: no bar or gap is at zero").
			WithHint("give --light and --dark, two large even areas of what bars and gaps are made of, each as column,row,width,height")
	}
	return nil
}

// whole cuts a part out of a frame and refuses what cannot be averaged.
func whole(f frame.Frame, r frame.Rect, what string) (frame.Frame, error) {
	p, err := f.Crop(r)
	if err != nil {
		return p, err
	}
	if p.MissingCount > 0 || p.SaturatedCount > 0 {
		return p, fault.Invalidf("the part of %s has %d missing and %d saturated pixels", what, p.MissingCount, p.SaturatedCount).WithHint("give a part without them, or replace them first with --bad 6")
	}
	return p, nil
}

// levelStep is how much a light area lies above a dark one.
func levelStep(f frame.Frame, light, dark frame.Rect) (quantity.Estimate, error) {
	l, err := whole(f, light, "the light area")
	if err != nil {
		return quantity.Estimate{}, err
	}
	d, err := whole(f, dark, "the dark area")
	if err != nil {
		return quantity.Estimate{}, err
	}
	a, b := l.Stats(), d.Stats()
	u := math.Hypot(a.StdDev/math.Sqrt(float64(len(l.Pixels))), b.StdDev/math.Sqrt(float64(len(d.Pixels))))
	if math.Abs(a.Mean-b.Mean) <= 3*u || a.Mean == b.Mean {
		return quantity.Estimate{}, fault.Invalidf("the light and the dark area do not differ").WithHint("name areas of the two materials of the target")
	}
	return quantity.With(a.Mean-b.Mean, u), nil
}

// barContrast reads bars and gaps of one element; Contrast holds their difference.
func barContrast(f frame.Frame, e Element, pixelUM *quantity.Estimate) (BarContrast, error) {
	p, err := whole(f, e.Part, e.name())
	if err != nil {
		return BarContrast{}, err
	}
	upright := field{w: p.Width, h: p.Height, v: p.Pixels}
	g, pattern := upright, upright.pattern(e, pixelUM)
	turned := upright.turn()
	if other := turned.pattern(e, pixelUM); other.found && (!pattern.found || other.power > pattern.power) {
		g, pattern = turned, other
	}
	c := BarContrast{Element: e, Along: g.axis(), PeriodPx: pattern.period}
	if !pattern.found {
		return c, fault.Invalidf("%s cannot hold three bars in %d x %d pixels", e.name(), p.Width, p.Height).
			WithHint("give the part that holds its three bars and the gaps between them, five bar widths or a little more, and at least two pixels a period")
	}
	profile, u := g.averaged()
	bars, gaps := middles(profile, pattern.period, pattern.phase)
	if len(bars) < 2 || len(gaps) < 1 {
		return c, fault.Invalidf("%s does not hold three bars", e.name()).WithHint("give the part that holds its three bars and the gaps between them")
	}
	c.Bars, c.Gaps = meanValue(bars), meanValue(gaps)
	if math.IsNaN(c.Bars - c.Gaps) {
		return c, fault.Invalidf("%s has bars too narrow for the pixels", e.name()).WithHint("leave it out: an element needs more than two pixels a period")
	}
	// A value in the middle of the fitted curve scatters no more than one of the profile.
	c.Contrast = quantity.With(c.Bars-c.Gaps, u*math.Sqrt(1/float64(len(bars))+1/float64(len(gaps))))
	return c, nil
}

// barPattern is how three bars lie in a profile across them.
type barPattern struct {
	period float64
	phase  float64 // where the bar in the middle is
	power  float64 // sum of squares that the period explains, a pixel
	found  bool
}

// pattern finds the bars of an element that run along the field's columns, if the
// part can hold them.
func (g field) pattern(e Element, pixelUM *quantity.Estimate) barPattern {
	low, high := float64(g.w)/4, float64(g.w)/1.8
	if pixelUM != nil {
		period := 2 * e.SizeUM.Value / pixelUM.Value
		low, high = period*0.93, period*1.07
	}
	if high < 2 || float64(g.w) < 2.2*low {
		return barPattern{}
	}
	profile, _ := g.averaged()
	return bestPeriod(profile, low, high)
}

func (e Element) name() string {
	if e.Label != "" {
		return e.Label
	}
	return "the element of " + e.SizeUM.Format(quantity.Micrometre)
}

// relate turns the difference of bars and gaps into a contrast, positive where
// the bars are on the side of the light area.
func (c *BarContrast) relate(modulation bool, reference quantity.Estimate) {
	d := c.Contrast.Value
	u, _ := c.Contrast.StandardU()
	if !modulation {
		sum := c.Bars + c.Gaps
		c.Contrast = quantity.With(math.Abs(d/sum), u/math.Abs(sum))
		return
	}
	ru, _ := reference.StandardU()
	value := math.Abs(d / reference.Value)
	c.Contrast = quantity.With(value, math.Hypot(u/reference.Value, value*ru/reference.Value))
}

// judge finds the smallest element resolved, and says what is odd.
func (b *Bars) judge() {
	for i := range b.Elements {
		if b.Elements[i].Contrast.Value < b.Contrast {
			b.Next = &b.Elements[i]
			break
		}
		b.Resolved = &b.Elements[i]
	}
	if b.Next == nil {
		b.Warnings = append(b.Warnings, "the narrowest element named is resolved: the limit may lie below it")
		return
	}
	for _, e := range b.Elements {
		if e.SizeUM.Value < b.Next.SizeUM.Value && e.Contrast.Value >= b.Contrast {
			b.Warnings = append(b.Warnings, fmt.Sprintf("%s shows contrast although a wider element does not: bars narrower than a pixel fold into false ones", e.name()))
		}
	}
}

// averaged is the mean of all rows and the standard error of a value of it, from
// how the rows scatter.
func (g field) averaged() (profile []float64, u float64) {
	profile = make([]float64, g.w)
	for y := range g.h {
		for x := range g.w {
			profile[x] += g.v[y*g.w+x] / float64(g.h)
		}
	}
	ss := 0.0
	for y := range g.h {
		for x := range g.w {
			d := g.v[y*g.w+x] - profile[x]
			ss += d * d
		}
	}
	if g.h < 2 {
		return profile, math.NaN()
	}
	return profile, math.Sqrt(ss / float64((g.h-1)*g.w) / float64(g.h))
}

// bestPeriod finds the period, between two limits, of the cosine over a straight
// line that leaves least of a profile, and where a maximum or minimum of it lies
// next to the middle: of three bars and two gaps a bar is in the middle.
func bestPeriod(profile []float64, low, high float64) barPattern {
	const steps = 60
	best := barPattern{power: math.Inf(-1)}
	middle := float64(len(profile)-1) / 2
	for i := range steps + 1 {
		p := low + (high-low)*float64(i)/steps
		if p < 2 {
			continue
		}
		a, b, power := harmonic(profile, p)
		if power /= float64(len(profile)); power > best.power {
			phase := math.Atan2(b, a) / (2 * math.Pi) * p // of the maximum, from the middle
			best = barPattern{p, middle + math.Mod(phase+1.25*p, p/2) - p/4, power, true}
		}
	}
	return best
}

// harmonic fits a cosine and a sine of a period beside a straight line and returns
// them with the sum of squares they explain. Positions count from the middle.
func harmonic(profile []float64, period float64) (a, b, power float64) {
	n := float64(len(profile))
	middle := (n - 1) / 2
	var level, tilt, xx float64
	for i, v := range profile {
		x := float64(i) - middle
		level += v / n
		tilt += v * x
		xx += x * x
	}
	tilt /= xx
	var cc, ss, cs, cv, sv, c1, s1, cx, sx float64
	for i := range profile {
		x := float64(i) - middle
		s, c := math.Sincos(2 * math.Pi * x / period)
		c1, s1, cx, sx = c1+c, s1+s, cx+c*x, sx+s*x
	}
	for i, v := range profile { // all taken free of level and tilt
		x := float64(i) - middle
		s, c := math.Sincos(2 * math.Pi * x / period)
		c, s, v = c-c1/n-cx/xx*x, s-s1/n-sx/xx*x, v-level-tilt*x
		cc, ss, cs, cv, sv = cc+c*c, ss+s*s, cs+c*s, cv+c*v, sv+s*v
	}
	det := cc*ss - cs*cs
	if det < 1e-9*cc*ss || det == 0 {
		return 0, 0, math.Inf(-1)
	}
	a, b = (cv*ss-sv*cs)/det, (sv*cc-cv*cs)/det
	return a, b, a*cv + b*sv
}

// middles returns the values in the middles of three bars and the two gaps
// between them, as far as they lie in the profile. phase is the middle bar's.
func middles(profile []float64, period, phase float64) (bars, gaps []float64) {
	for k := -2; k <= 2; k++ {
		v, ok := valueAt(profile, phase+float64(k)*period/2, period)
		switch {
		case !ok:
		case k%2 == 0:
			bars = append(bars, v)
		default:
			gaps = append(gaps, v)
		}
	}
	return bars, gaps
}

// valueAt is the value at a place of what is fitted to the profile about it: a
// parabola over a third of a period; below six pixels a period, where pixels carry
// no harmonics of the pattern, a cosine and a sine of it over one period; below
// three, where they no longer tell these apart, the line between two pixels, which
// understates the contrast rather than guess it.
func valueAt(profile []float64, x, period float64) (float64, bool) {
	reach := max(period/6, 1.5)
	if period < 6 {
		reach = max(period/2, 1.5)
	}
	end := len(profile) - 1
	if x < -0.5 || x > float64(end)+0.5 || end < 2 {
		return 0, false
	}
	if period < 3 {
		i := min(max(0, int(math.Floor(x))), end-1)
		t := max(0, min(1, x-float64(i)))
		return profile[i] + t*(profile[i+1]-profile[i]), true
	}
	first, last := max(0, int(math.Ceil(x-reach))), min(end, int(math.Floor(x+reach)))
	first, last = min(first, end-2), max(last, 2) // three points at least
	if period < 6 {
		return cosineAt(profile[first:last+1], x-float64(first), period), true
	}
	var m moments
	for i := first; i <= last; i++ {
		m.add((float64(i)-x)/reach, profile[i])
	}
	return m.parabola()[0], true
}

// cosineAt fits a constant, a cosine and a sine and returns their value at x.
func cosineAt(v []float64, x, period float64) float64 {
	a, y := mat.NewDense(len(v), 3, nil), mat.NewVecDense(len(v), slices.Clone(v))
	for i := range v {
		s, c := math.Sincos(2 * math.Pi * (float64(i) - x) / period)
		a.SetRow(i, []float64{1, c, s})
	}
	var p mat.VecDense
	if err := p.SolveVec(a, y); err != nil {
		return math.NaN()
	}
	return p.AtVec(0) + p.AtVec(1)
}

func meanValue(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
