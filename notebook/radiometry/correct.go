package radiometry

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// PixelUnit is what the pixels of a frame are.
type PixelUnit int

// The units of pixels. Radiances are in W m⁻² sr⁻¹ over the band.
const (
	PixelK PixelUnit = iota
	PixelDegC
	PixelRadiance
)

// String returns the unit's symbol.
func (u PixelUnit) String() string {
	switch u {
	case PixelDegC:
		return "degC"
	case PixelRadiance:
		return "radiance"
	}
	return "K"
}

// zeroK is what is added to a pixel to get K.
func (u PixelUnit) zeroK() float64 {
	if u == PixelDegC {
		return quantity.CelsiusZeroK
	}
	return 0
}

// Tally counts the pixels of a frame by what became of them, by Reason.
type Tally [reasons]int

// Unsolved returns how many pixels have no temperature.
func (t Tally) Unsolved() int {
	var n int
	for r, count := range t {
		if Reason(r) != Solved {
			n += count
		}
	}
	return n
}

// Map returns the reasons that occurred with their counts, for JSON.
func (t Tally) Map() map[string]int {
	m := make(map[string]int)
	for r, count := range t {
		if count > 0 {
			m[Reason(r).String()] = count
		}
	}
	return m
}

// Correction says how a Corrector works.
type Correction struct {
	In  PixelUnit // of the frames to be corrected
	Out PixelUnit // of the object temperatures, PixelK or PixelDegC

	// Apparent and object temperatures expected, in K. Pixels outside are
	// solved as exactly, a few µs each. Both 0: 223.15 K to 623.15 K.
	LowK, HighK float64
}

// Range of temperatures where none is stated: -50 °C to 350 °C.
const (
	defaultLowK  = 223.15
	defaultHighK = 623.15
)

// ToleranceK bounds the difference between a corrected pixel and the exact
// inverse of the measurement equation.
const ToleranceK = 1e-4

// Corrector inverts an equation pixel by pixel from tables. It does not
// allocate for a frame, is not changed by its methods, and may be used by many
// goroutines.
type Corrector struct {
	equation *Equation
	how      Correction
	readings cubic // radiance over the reading, in the unit of the frame
	inverse  cubic // temperature, in the unit asked for, over the radiance or a root of it
	roots    int   // how many square roots are taken of the radiance first
	perTau   float64
	constant float64 // of what leaves the object less what it reflects at emissivity 0
}

// NewCorrector tabulates the equation. The emissivity of its scene serves
// Uniform; Map takes one for each pixel. Fault Invalid for a range that is not
// within MinK to MaxK or so wide that ToleranceK cannot be held.
func NewCorrector(e *Equation, c Correction) (*Corrector, error) {
	if c.LowK == 0 && c.HighK == 0 {
		c.LowK, c.HighK = defaultLowK, defaultHighK
	}
	if !(c.LowK >= MinK && c.LowK < c.HighK && c.HighK <= MaxK) {
		return nil, fault.Invalidf("%g K to %g K is no range of temperatures between %g K and %g K", c.LowK, c.HighK, MinK, MaxK).WithHint("give the lowest temperature first")
	}
	if c.Out == PixelRadiance {
		return nil, fault.Invalidf("a corrected frame of radiances").WithHint("ask for object temperatures in K or degC")
	}
	out := &Corrector{equation: e, how: c, perTau: 1 / e.transmission}
	out.constant = -e.offsetWM2SR/e.transmission - e.reflectsWM2SR
	t, err := e.band.Table(max(0.99*c.LowK, MinK), min(1.01*c.HighK, MaxK))
	if err != nil {
		return nil, err
	}
	if out.tabulateReadings() && out.tabulateInverse(t) {
		return out, nil
	}
	return nil, fault.Invalidf("%g K to %g K in the band %v is too wide a range to tabulate", c.LowK, c.HighK, e.band).WithHint("give the range of temperatures of the frames, in K")
}

// tabulateReadings doubles the number of pieces until the radiances are good to
// 1e-8 K, measured in the middle of each piece, where a cubic through both ends
// is furthest off. A low emissivity and an object colder than what it reflects
// can magnify an error of the reading a thousand times.
func (c *Corrector) tabulateReadings() bool {
	b, zero := c.equation.band, c.how.In.zeroK()
	if c.how.In == PixelRadiance {
		return true
	}
	for n := 256; n <= 1<<16; n *= 2 {
		c.readings = newCubic(c.how.LowK-zero, c.how.HighK-zero, n, func(v float64) (value, slope float64) {
			f, _ := b.At(v + zero) // within the range that was checked
			return f.RadianceWM2SR, f.DerivativeWM2SRK
		})
		worst := c.readings.worst(func(v, l float64) float64 {
			f, _ := b.At(v + zero)
			return (l - f.RadianceWM2SR) / f.DerivativeWM2SRK
		})
		if worst < 1e-8 {
			return true
		}
	}
	return false
}

// tabulateInverse does the same for the temperatures. The radiance itself is the
// fastest abscissa and serves all but wide ranges at short wavelengths, where a
// root spreads the points better.
func (c *Corrector) tabulateInverse(t *Table) bool {
	b, zero := c.equation.band, c.how.Out.zeroK()
	for c.roots = range 3 {
		power := float64(int(1) << c.roots)
		start, end := math.Pow(b.Radiance(c.how.LowK), 1/power), math.Pow(b.Radiance(c.how.HighK), 1/power)
		for n := 1024; n <= 1<<13; n *= 2 {
			c.inverse = newCubic(start, end, n, func(s float64) (value, slope float64) {
				k := t.kelvin(power * math.Log(s))
				return k - zero, power * k / (s * b.Exponent(k))
			})
			worst := c.inverse.worst(func(s, v float64) float64 { return v + zero - t.kelvin(power*math.Log(s)) })
			if worst < ToleranceK/4 {
				return true
			}
		}
	}
	return false
}

// Map corrects src with an emissivity for each pixel, which is NaN where there
// is none to be trusted, into dst (which may be src). Pixels without a solution
// become NaN and are counted. Fault Invalid when the lengths differ.
func (c *Corrector) Map(dst, src, emissivity []float64) (Tally, error) {
	if len(src) != len(emissivity) {
		return Tally{}, fault.Invalidf("a frame of %d pixels and an emissivity map of %d", len(src), len(emissivity)).WithHint("use a map made from frames of the same size")
	}
	if len(dst) != len(src) {
		return Tally{}, fault.Invalidf("a frame of %d pixels and room for %d", len(src), len(dst)).WithHint("give a result as long as the frame")
	}
	var tally Tally
	if c.how.In == PixelRadiance {
		c.mapRadiances(dst, src, emissivity, &tally)
	} else {
		c.mapReadings(dst, src, emissivity, &tally)
	}
	tally[Solved] = len(src) - tally.Unsolved()
	return tally, nil
}

// mapRadiances is the inner loop. With leaves the radiance towards the camera
// and r that of the surroundings, leaves = eps B + (1-eps) r, so that
// B = (leaves-r)/eps + r; the table's start and step are folded into the
// constants. The comparisons are false for NaN.
func (c *Corrector) mapRadiances(dst, src, emissivity []float64, tally *Tally) {
	dst, emissivity = dst[:len(src)], emissivity[:len(src)]
	pieces, k := c.inverse.pieces, c.folded()
	for i, l := range src {
		eps := emissivity[i]
		u := (l*k.gain+k.offset)/eps + k.shift
		if k.roots > 0 {
			u = k.root(u)
		}
		j := int(u)
		if !(eps > 0 && eps <= 1 && u >= 0) || uint(j) >= uint(len(pieces)) {
			dst[i] = c.exact(l, eps, tally)
			continue
		}
		t, p := u-float64(j), &pieces[j]
		dst[i] = p[0] + t*(p[1]+t*(p[2]+t*p[3]))
	}
}

// block is how many readings are turned into radiances before they are
// corrected: two short loops are faster than a long one.
const block = 512

// mapReadings is mapRadiances with the readings turned into radiances first.
func (c *Corrector) mapReadings(dst, src, emissivity []float64, tally *Tally) {
	var radiances [block]float64
	for len(src) > 0 {
		n := min(block, len(src))
		c.toRadiances(radiances[:n], src[:n])
		c.mapRadiances(dst[:n], radiances[:n], emissivity[:n], tally)
		dst, src, emissivity = dst[n:], src[n:], emissivity[n:]
	}
}

func (c *Corrector) toRadiances(dst, src []float64) {
	dst = dst[:len(src)]
	pieces, start, perStep := c.readings.pieces, c.readings.start, c.readings.perStep
	for i, reading := range src {
		v := (reading - start) * perStep
		j := int(v)
		if !(v >= 0) || uint(j) >= uint(len(pieces)) {
			dst[i] = c.radiance(reading)
			continue
		}
		t, p := v-float64(j), &pieces[j]
		dst[i] = p[0] + t*(p[1]+t*(p[2]+t*p[3]))
	}
}

// constants leads from a radiance l to a place in the inverse table:
// (l gain + offset)/eps + shift, and root of it where roots are taken.
type constants struct {
	gain, offset, shift float64
	roots               int
	start, perStep      float64
}

func (c *Corrector) folded() constants {
	k := constants{c.perTau, c.constant, c.equation.reflectsWM2SR, c.roots, c.inverse.start, c.inverse.perStep}
	if k.roots == 0 {
		k.gain, k.offset, k.shift = k.gain*k.perStep, k.offset*k.perStep, (k.shift-k.start)*k.perStep
	}
	return k
}

func (k *constants) root(own float64) float64 {
	if own = math.Sqrt(own); k.roots > 1 {
		own = math.Sqrt(own)
	}
	return (own - k.start) * k.perStep
}

// radiance turns a temperature as read into radiance without the tables; NaN
// when it is none.
func (c *Corrector) radiance(reading float64) float64 {
	return c.equation.band.Radiance(reading + c.how.In.zeroK())
}

// exact solves one pixel without the tables and counts it where it has no
// temperature.
func (c *Corrector) exact(l, eps float64, tally *Tally) float64 {
	k, reason := c.equation.solve(l, eps)
	if reason != Solved {
		tally[reason]++
		return math.NaN()
	}
	return k - c.how.Out.zeroK()
}

// Uniform is Map with the emissivity of the scene for every pixel.
func (c *Corrector) Uniform(dst, src []float64) (Tally, error) {
	if len(dst) != len(src) {
		return Tally{}, fault.Invalidf("a frame of %d pixels and room for %d", len(src), len(dst)).WithHint("give a result as long as the frame")
	}
	var same [block]float64
	for i := range same {
		same[i] = c.equation.scene.Emissivity
	}
	var total Tally
	for len(src) > 0 {
		n := min(block, len(src))
		t, err := c.Map(dst[:n], src[:n], same[:n])
		if err != nil {
			return Tally{}, err
		}
		for r, count := range t {
			total[r] += count
		}
		dst, src = dst[n:], src[n:]
	}
	return total, nil
}

// Counts says what 16-bit counts mean: reading = Scale count + Offset, in the
// unit of the corrector's frames.
type Counts struct{ Scale, Offset float64 }

// Lookup corrects 16-bit counts at the emissivity of the scene, one table entry
// for each count.
type Lookup struct {
	values  []float32 // rounded to 3e-5 K at 500
	reasons []Reason
}

// Lookup tabulates all 65,536 counts. Fault Invalid for a scale or offset that
// is not finite, or a scale of 0.
func (c *Corrector) Lookup(m Counts) (*Lookup, error) {
	if m.Scale == 0 || math.IsNaN(m.Scale+m.Offset) || math.IsInf(m.Scale+m.Offset, 0) {
		return nil, fault.Invalidf("counts with a scale of %g and an offset of %g", m.Scale, m.Offset).WithHint("state what one count and count 0 stand for")
	}
	const counts = 1 << 16
	l := &Lookup{make([]float32, counts), make([]Reason, counts)}
	src, dst := []float64{0}, []float64{0}
	for i := range counts {
		src[0] = m.Scale*float64(i) + m.Offset
		t, err := c.Uniform(dst, src)
		if err != nil {
			return nil, err
		}
		l.values[i] = float32(dst[0])
		for r, count := range t {
			if count > 0 {
				l.reasons[i] = Reason(r)
			}
		}
	}
	return l, nil
}

// Correct writes the temperature of each count, NaN where there is none, and
// counts the reasons. Fault Invalid when the lengths differ.
func (l *Lookup) Correct(dst []float32, src []uint16) (Tally, error) {
	if len(dst) != len(src) {
		return Tally{}, fault.Invalidf("a frame of %d pixels and room for %d", len(src), len(dst)).WithHint("give a result as long as the frame")
	}
	dst = dst[:len(src)]
	values := (*[1 << 16]float32)(l.values) // its length lets a uint16 index go unchecked
	var tally Tally
	for i, count := range src {
		v := values[count]
		dst[i] = v
		if v != v {
			tally[l.reasons[count]]++
		}
	}
	tally[Solved] = len(src) - tally.Unsolved()
	return tally, nil
}
