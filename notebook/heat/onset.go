package heat

import (
	"fmt"
	"math"
	"slices"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// The words of WarmUp.StartFrom.
const (
	StartFirst  = "the first reading"
	StartStated = "stated"
	StartFound  = "found"
)

// leadTimes is how many times the noise the warm-up, carried back to the first
// reading, must miss a flat lead-in by.
const leadTimes = 6

func leadRule() string {
	return fmt.Sprintf("a constant followed by exponentials fits better than exponentials from the first reading on, by Fisher's F at a level of 1e-4 over the number of readings, and the warm-up carried back would miss the first reading by more than %d times the noise", leadTimes)
}

// begin cuts off what lies before the warm-up: before a stated time, or the flat
// readings that a logger takes before the power comes on.
func (w *WarmUp) begin(s Series, o WarmUpOptions) (Series, error) {
	w.StartS, w.StartFrom, w.TimeZeroS = s.TimeS[0], StartFirst, s.zeroS()
	if o.FromS != nil {
		k, _ := slices.BinarySearch(s.TimeS, *o.FromS)
		if len(s.TimeS)-k < leastReadings {
			return s, fault.Invalidf("only %d readings from %s s on, and a warm-up needs %d", len(s.TimeS)-k, quantity.Fixed(*o.FromS, 6), leastReadings).
				WithHint("give --from as the moment that power came on, on the clock of the series, whose readings go from %s s to %s s", quantity.Fixed(s.TimeS[0], 6), quantity.Fixed(s.TimeS[len(s.TimeS)-1], 6))
		}
		w.StartS, w.StartFrom, w.Before = *o.FromS, StartStated, k
		if *o.FromS >= s.TimeS[0] {
			w.TimeZeroS = *o.FromS
		}
		return s.from(k), nil
	}
	lead, ok := s.leadIn()
	if !ok {
		return s, nil
	}
	w.StartS, w.StartFrom, w.Before, w.TimeZeroS = lead.startS, StartFound, lead.readings, lead.startS
	w.Notes = append(w.Notes, fmt.Sprintf("the first %d readings are a flat lead-in at %s; the warm-up begins at %s s and is fitted from there on (%s); --from states another beginning",
		lead.readings, inUnit(lead.level, s.Unit), quantity.Fixed(lead.startS, 5), leadRule()))
	return s.from(lead.readings), nil
}

// from returns the series from a place on.
func (s Series) from(k int) Series {
	s.TimeS, s.Temp = s.TimeS[k:], s.Temp[k:]
	if s.U != nil {
		s.U = s.U[k:]
	}
	return s
}

// to returns the series up to a place.
func (s Series) to(k int) Series {
	s.TimeS, s.Temp = s.TimeS[:k], s.Temp[:k]
	if s.U != nil {
		s.U = s.U[:k]
	}
	return s
}

// lead is a flat beginning.
type lead struct {
	readings int
	level    float64 // mean of them
	startS   float64 // where the warm-up, carried back, meets it

	rest   Exponential
	left   sumOfSquares
	errors []float64
}

// leadIn looks for a flat lead-in of two readings or more; the rule is leadRule's.
func (s Series) leadIn() (lead, bool) {
	if len(s.TimeS) < leastReadingsTwo {
		return lead{}, false
	}
	whole, ok := s.exponentials(2, s.TimeS[0])
	if !ok {
		return lead{}, false
	}
	rounding := math.Max(roundingNoise(s.Temp), 1e-9*s.scale())
	floor := rounding * rounding * float64(len(s.Temp))
	if s.U != nil {
		floor = float64(len(s.Temp)) * math.Pow(rounding/judgement{}.meanU(s), 2)
	}
	at, around := s.kink()
	best, ok := s.leadOf(at)
	if !ok || !best.betterThan(whole.squares(), floor) {
		return lead{}, false
	}
	best = s.longest(best, around, floor)
	flat, line := s.to(best.readings).polynomials()
	noise := math.Max(differenceNoise(s.TimeS[best.readings:], best.rest.Residuals), rounding)
	sloping := best.readings > 3 && better(flat, line, floor*float64(best.readings)/float64(len(s.TimeS)), lagCorrelation(best.errors[:best.readings])) ||
		s.climb(best.readings) > 3*noise*math.Sqrt(12/float64(best.readings))
	if sloping || best.scatter() > overEstimatedNoise*noise || !(math.Abs(best.rest.At(s.TimeS[0])-best.level) > leadTimes*noise) {
		return lead{}, false
	}
	best.startS = s.meets(best)
	return best, true
}

// climb is how far the straight line through the first k readings goes over them. Of
// k flat readings with noise its standard deviation is noise times sqrt(12/k).
func (s Series) climb(k int) float64 {
	part := s.to(k)
	meanT, meanY := 0.0, 0.0
	for i, t := range part.TimeS {
		meanT, meanY = meanT+t/float64(k), meanY+part.Temp[i]/float64(k)
	}
	along, across := 0.0, 0.0
	for i, t := range part.TimeS {
		along, across = along+(t-meanT)*(t-meanT), across+(t-meanT)*(part.Temp[i]-meanY)
	}
	return math.Abs(across/along) * (part.TimeS[k-1] - part.TimeS[0])
}

// longest looks at the lead-ins a few readings shorter and longer, and returns the
// longest that is as good as the best: a fast exponential can take a reading that
// still belongs to the lead-in, and the lead-in none that does not.
func (s Series) longest(best lead, around int, floor float64) lead {
	all := []lead{best}
	for k := max(2, best.readings-around); k <= best.readings+around; k++ {
		if l, ok := s.leadOf(k); ok {
			all = append(all, l)
			if l.left.sum < best.left.sum {
				best = l
			}
		}
	}
	const asGood = 6 // of minus twice the logarithm of the likelihood: one reading off by 2.5 times the noise
	n, least := float64(len(s.TimeS)), math.Max(best.left.sum, floor)
	for _, l := range all {
		if l.readings > best.readings && n*math.Log(math.Max(l.left.sum, floor)/least) < asGood {
			best = l
		}
	}
	return best
}

// scatter is the standard deviation of the lead-in.
func (l lead) scatter() float64 {
	sum := 0.0
	for _, e := range l.errors[:l.readings] {
		sum += e * e
	}
	return math.Sqrt(sum / float64(l.readings-1))
}

// leadOf fits a constant to the first k readings and exponentials to the others.
func (s Series) leadOf(k int) (lead, bool) {
	rest := s.from(max(0, min(k, len(s.TimeS))))
	if k < 2 || len(rest.TimeS) < leastReadings+1 {
		return lead{}, false
	}
	n := 2
	if len(rest.TimeS) < leastReadingsTwo {
		n = 1
	}
	e, ok := rest.exponentials(n, rest.TimeS[0])
	if !ok {
		return lead{}, false
	}
	l := lead{readings: k, rest: e}
	var weights float64
	f := newProjection(s.to(k), s.TimeS[0])
	for i, y := range f.y {
		weights += f.w[i] * f.w[i]
		l.level += f.w[i] * f.w[i] * y
	}
	l.level /= weights
	sum := e.sum
	for i, y := range f.y {
		l.errors = append(l.errors, y-l.level)
		sum += math.Pow(f.w[i]*(y-l.level), 2)
	}
	l.errors = append(l.errors, e.Residuals...)
	p := 1 + 2*n + 2 // level and moment too
	l.left = sumOfSquares{sum, p, len(s.TimeS) - p}
	return l, true
}

func (l lead) betterThan(whole sumOfSquares, floor float64) bool {
	n := float64(len(l.errors))
	whole.parameters = min(whole.parameters, l.left.parameters-1)
	return betterAt(significance/n, whole, l.left, floor, lagCorrelation(l.errors))
}

// meets returns when the fit passes through the level of the lead-in, between the
// last reading of it and the first of the warm-up; the former where it does not.
func (s Series) meets(l lead) float64 {
	low, high := s.TimeS[l.readings-1], s.TimeS[l.readings]
	early := low
	gap := func(t float64) float64 { return l.rest.At(t) - l.level }
	if (gap(low) < 0) == (gap(high) < 0) {
		return early
	}
	for range 60 {
		if middle := (low + high) / 2; (gap(middle) < 0) == (gap(early) < 0) {
			low = middle
		} else {
			high = middle
		}
	}
	return high
}

// kink returns how many readings lie before the most likely beginning, and how
// far about it to look closer: least squares of a constant that goes over into
// exponentials of time constants from a grid, by sums from the end that grow by one
// reading at a time.
func (s Series) kink() (readings, around int) {
	const most, taus = 2000, 12
	stride := (len(s.TimeS) + most - 1) / most
	var t, y []float64
	for i := 0; i < len(s.TimeS); i += stride {
		t, y = append(t, s.TimeS[i]), append(y, s.Temp[i]-s.Temp[0])
	}
	f := newProjection(s, s.TimeS[0])
	low, high := math.Log(math.Max(f.gapS, f.spanS/1e4)), math.Log(3*f.spanS)
	var rates [taus]float64
	for i := range rates {
		rates[i] = math.Exp(-(low + (high-low)*float64(i)/(taus-1)))
	}
	var c kinkSums
	for _, v := range y {
		c.all++
		c.y += v
		c.yy += v * v
	}
	best := math.Inf(1)
	for k := len(t) - 2; k >= 0; k-- {
		c.add(t[k+1]-t[k], y[k+1], rates[:])
		if left := c.least(); left < best {
			best, readings = left, k+1
		}
	}
	if stride > 1 { // the beginning lies within a stride: a few readings more are left out
		return (readings-1)*stride + stride + 1, 0
	}
	return readings, 3
}

// kinkSums are sums over the readings after a trial beginning.
type kinkSums struct {
	all, y, yy float64 // of all readings
	n, later   float64
	e, ey      [12]float64
	ee         [12][12]float64
	decay      [12]float64
}

// add moves the beginning back to the reading before: every decay since grows by
// the step.
func (c *kinkSums) add(stepS, y float64, rates []float64) {
	c.n++
	c.later += y
	for i, r := range rates {
		c.decay[i] = math.Exp(-stepS * r)
		c.e[i] = c.decay[i] * (1 + c.e[i])
		c.ey[i] = c.decay[i] * (y + c.ey[i])
		for j := range i + 1 {
			c.ee[i][j] = c.decay[i] * c.decay[j] * (1 + c.ee[i][j])
		}
	}
}

// least returns the least sum of squares of one and two time constants.
func (c *kinkSums) least() float64 {
	best := math.Inf(1)
	// The constant is eliminated first: products of deviations from the mean.
	along := func(i int) float64 { return c.later - c.ey[i] - (c.n-c.e[i])*c.y/c.all }
	cross := func(i, j int) float64 {
		return c.n - c.e[i] - c.e[j] + c.ee[i][j] - (c.n-c.e[i])*(c.n-c.e[j])/c.all
	}
	total := c.yy - c.y*c.y/c.all
	for i := range c.e {
		a, p := cross(i, i), along(i)
		if !(a > 0) {
			continue
		}
		best = math.Min(best, total-p*p/a)
		for j := range i {
			b, m, q := cross(j, j), cross(i, j), along(j)
			if d := a*b - m*m; d > 1e-9*a*b {
				best = math.Min(best, total-(p*p*b-2*p*q*m+q*q*a)/d)
			}
		}
	}
	return best
}
