package radiometry

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"dieglow/catalog/fault"
)

// Wavelengths a band may span, in µm.
const (
	bandFloorUM   = 0.1
	bandCeilingUM = 1000
)

// Band is the part of the spectrum a camera responds to. Its radiance is the
// response-weighted integral of Planck's law,
//
//	L(T) = ∫ R(λ) L_λ(λ, T) dλ,
//
// where the relative response R is scaled so that its largest value is 1; a band
// given by its two ends has R = 1 between them. A response and any multiple of
// it are therefore the same band.
//
// The integrals are good to 1e-12 relative, from 1 K to MaxK. A Band is not
// changed by its methods and may be used by many goroutines.
type Band struct {
	lowUM, highUM float64
	segments      []segment // from the longest wavelengths to the shortest
	centroidUM    float64   // of the response, for a first guess of an inverse
	widthUM       float64   // the integral of the response
	coarse        rule
	fine          rule
	fromTable     bool
}

// segment is a stretch of wavelengths over which R = a + b λ.
type segment struct{ lowUM, highUM, a, bPerUM float64 }

// rule is a Gauss-Legendre rule on -1 to 1.
type rule struct{ x, w []float64 }

func newRule(n int) rule {
	r := rule{make([]float64, n), make([]float64, n)}
	quad.Legendre{}.FixedLocations(r.x, r.w, -1, 1)
	return r
}

// NewBand returns the band between two wavelengths. Fault Invalid unless
// 0.1 µm <= lowUM < highUM <= 1000 µm.
func NewBand(lowUM, highUM float64) (*Band, error) {
	if !(lowUM >= bandFloorUM && lowUM < highUM && highUM <= bandCeilingUM) {
		return nil, fault.Invalidf("%g µm to %g µm is no band of wavelengths between %g µm and %g µm", lowUM, highUM, bandFloorUM, float64(bandCeilingUM)).
			WithHint("type the shorter wavelength first, for example 8um..14um")
	}
	return newBand([]segment{{lowUM, highUM, 1, 0}}, false), nil
}

func newBand(s []segment, fromTable bool) *Band {
	b := &Band{segments: s, coarse: newRule(6), fine: newRule(12), fromTable: fromTable, highUM: s[0].highUM, lowUM: s[len(s)-1].lowUM}
	var moment float64
	for _, s := range s {
		mid, w := (s.lowUM+s.highUM)/2, s.highUM-s.lowUM
		r := s.a + s.bPerUM*mid
		b.widthUM += r * w
		moment += r*w*mid + s.bPerUM*w*w*w/12
	}
	b.centroidUM = moment / b.widthUM
	return b
}

// LowUM returns the shortest wavelength the band responds to, in µm.
func (b *Band) LowUM() float64 { return b.lowUM }

// HighUM returns the longest wavelength the band responds to, in µm.
func (b *Band) HighUM() float64 { return b.highUM }

// FromResponse reports whether the band was given as a table of responses.
func (b *Band) FromResponse() bool { return b.fromTable }

// String names the band for a person.
func (b *Band) String() string {
	if b.fromTable {
		return fmt.Sprintf("response from %g µm to %g µm", b.lowUM, b.highUM)
	}
	return fmt.Sprintf("%g µm to %g µm", b.lowUM, b.highUM)
}

// Integration in x = c2/(wavelength T), where the integrands are analytic
// between poles at ±2πi.
const (
	fineStep   = 4.0 // longest stretch of x for the 12-point rule: error below 1e-18
	coarseStep = 1.0 // the same for the 6-point rule
	reach      = 60  // e⁻⁶⁰: what lies further on is nothing
)

// sums integrates at tempK > 0. With x0 the least x of the band,
//
//	L = scale T⁴ e^-x0 s0,  dL/dT = scale T³ e^-x0 s1,
//
// so that the exponent s1/s0 and ln L are to be had where L itself underflows.
func (b *Band) sums(tempK float64) (s0, s1, x0 float64) {
	c := SecondRadiationUMK / tempK
	x0 = c / b.highUM
	floor := math.Exp(-x0)
	for _, s := range b.segments {
		from := c / s.highUM
		width := math.Min(from*(s.highUM-s.lowUM)/s.lowUM, x0+reach-from) // not a difference of near values
		if width <= 0 {
			break
		}
		r, panels := b.coarse, 1.0
		if width > coarseStep {
			r, panels = b.fine, math.Ceil(width/fineStep)
		}
		half := width / (2 * panels)
		slope := s.bPerUM * c
		for p := 0.0; p < panels; p++ {
			mid := from + (2*p+1)*half
			for i, t := range r.x {
				x := mid + half*t
				e := math.Exp(x0 - x)
				d := 1 - e*floor // 1 - e^-x
				if x < 0.1 {
					d = -math.Expm1(-x)
				}
				v := r.w[i] * half * e * x * x / d * (s.a*x + slope)
				s0 += v
				s1 += v * x / d
			}
		}
	}
	return s0, s1, x0
}

// scaled returns scale tPower e^-x0 s, where tPower is a power of T, without
// underflow on the way.
func scaled(s, tPower, x0 float64) float64 {
	if x0 < 600 {
		return radianceScaleWM2SRK4 * tPower * math.Exp(-x0) * s
	}
	return math.Exp(math.Log(radianceScaleWM2SRK4*tPower) + math.Log(s) - x0)
}

// Radiance returns the radiance of a blackbody in the band, in W m⁻² sr⁻¹. It
// is 0 at 0 K (and where it underflows, below about 1.4 K in 8 µm to 14 µm) and
// NaN outside 0 K to MaxK.
func (b *Band) Radiance(tempK float64) float64 {
	if !temperatureOK(tempK) {
		return math.NaN()
	}
	if tempK < MinK/1000 {
		return 0
	}
	s0, _, x0 := b.sums(tempK)
	return scaled(s0, tempK*tempK*tempK*tempK, x0)
}

// Derivative returns dL/dT in W m⁻² sr⁻¹ K⁻¹, with the domain of Radiance.
func (b *Band) Derivative(tempK float64) float64 {
	if !temperatureOK(tempK) {
		return math.NaN()
	}
	if tempK < MinK/1000 {
		return 0
	}
	_, s1, x0 := b.sums(tempK)
	return scaled(s1, tempK*tempK*tempK, x0)
}

// Exponent returns n = d ln L/d ln T: near tempK the radiance goes as Tⁿ. NaN
// outside MinK to MaxK.
func (b *Band) Exponent(tempK float64) float64 {
	if !(tempK >= MinK && tempK <= MaxK) {
		return math.NaN()
	}
	s0, s1, _ := b.sums(tempK)
	return s1 / s0
}

// Figures is what a blackbody gives in a band at one temperature.
type Figures struct {
	RadianceWM2SR    float64 `json:"radiance_w_m2_sr"`
	DerivativeWM2SRK float64 `json:"derivative_w_m2_sr_k"`
	Exponent         float64 `json:"exponent"`
}

// At returns the radiance, its derivative and the exponent. Fault Invalid
// outside MinK to MaxK.
func (b *Band) At(tempK float64) (Figures, error) {
	if !(tempK >= MinK && tempK <= MaxK) {
		return Figures{}, fault.Invalidf("%g K lies outside %g K to %g K", tempK, MinK, MaxK).WithHint("type a temperature, for example 300K or 27C")
	}
	s0, s1, x0 := b.sums(tempK)
	return Figures{scaled(s0, tempK*tempK*tempK*tempK, x0), scaled(s1, tempK*tempK*tempK, x0), s1 / s0}, nil
}

// Temperature returns the temperature in K at which a blackbody has this
// radiance in the band, to 1e-12 relative. Fault Invalid when there is none: a
// radiance that is not a finite number above zero, or one of a blackbody below
// MinK or above MaxK.
func (b *Band) Temperature(radianceWM2SR float64) (float64, error) {
	if !(radianceWM2SR > 0) || math.IsInf(radianceWM2SR, 0) {
		return math.NaN(), fault.Invalidf("a radiance of %g W m⁻² sr⁻¹ belongs to no temperature", radianceWM2SR).WithHint("give a radiance above zero")
	}
	k := b.invert(math.Log(radianceWM2SR))
	if !(k >= MinK && k <= MaxK) {
		return math.NaN(), fault.Invalidf("a radiance of %g W m⁻² sr⁻¹ in the band %v belongs to no temperature between %g K and %g K", radianceWM2SR, b, MinK, MaxK).
			WithHint("check the unit of the radiance, W m⁻² sr⁻¹ over the whole band, and the band")
	}
	return k, nil
}

// invert solves ln L(T) = logL by Newton's method in 1/T, in which ln L is
// convex and nearly straight, so that every step but the first stays on one
// side. Returns a temperature outside MinK to MaxK when the solution is there.
func (b *Band) invert(logL float64) float64 {
	const hottest, coldest = 1 / (2 * MaxK), 2 / MinK
	v := 1 / b.guessK(logL)
	for range 100 {
		v = math.Min(math.Max(v, hottest), coldest)
		s0, s1, x0 := b.sums(1 / v)
		miss := math.Log(radianceScaleWM2SRK4*s0) - 4*math.Log(v) - x0 - logL
		next := v + miss*v*s0/s1 // d ln L/dv = -n/v
		if !(next > v/4) {
			next = v / 4
		}
		if math.Abs(next-v) <= 4e-15*v || (next < hottest && v == hottest) || (next > coldest && v == coldest) {
			return 1 / next
		}
		v = next
	}
	return 1 / v
}

// guessK inverts Planck's law at the band's centroid.
func (b *Band) guessK(logL float64) float64 {
	q := math.Log(FirstRadiationWUM4*b.widthUM) - 5*math.Log(b.centroidUM) - logL
	if q < 30 {
		q = math.Log1p(math.Exp(q))
	}
	return SecondRadiationUMK / (b.centroidUM * q)
}
