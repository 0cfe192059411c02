package heat

import (
	"math"

	"dieglow/catalog/fault"
)

// Plate is an infinite plate, thin beside the length over which the temperature
// falls, that loses heat through a film: one side cooled with the coefficient h, or
// both with their coefficients added.
type Plate struct {
	ConductivityWK float64 // W/(m K)
	ThicknessMM    float64
	FilmWM2K       float64 // W/(m² K)
}

// LengthMM returns sqrt(k t/h), over which the rise spreads. Fault Invalid unless
// everything is finite and above zero.
func (p Plate) LengthMM() (float64, error) {
	switch {
	case !positive(p.ConductivityWK):
		return 0, fault.Invalidf("a conductivity of %g W/(m K) is not above zero", p.ConductivityWK).WithHint("give --conductivity 148, in W/(m K)")
	case !positive(p.ThicknessMM):
		return 0, fault.Invalidf("a thickness of %g mm is not above zero", p.ThicknessMM).WithHint("give --thickness 0.5mm")
	case !positive(p.FilmWM2K):
		return 0, fault.Invalidf("a film coefficient of %g W/(m² K) is not above zero: the plate would never settle", p.FilmWM2K).WithHint("give --film 20, in W/(m² K); still air takes about 10, a wet or bonded back thousands")
	}
	return math.Sqrt(p.ConductivityWK*p.ThicknessMM*1e-3/p.FilmWM2K) * 1e3, nil
}

// RiseK returns the rise above the surroundings at a distance from the centre of a
// disk that gives off a power evenly. With x = r/L and b = a/L the rise is
// (q/h)(1 - b K1(b) I0(x)) inside and (q/h) b I1(b) K0(x) outside, q = P/(pi a²); of
// a point, P/(2 pi k t) K0(x), which is infinite at the point (the fin equation of
// a disk: Carslaw and Jaeger, from memory). Fault Invalid for a negative radius or
// distance, and as LengthMM.
func (p Plate) RiseK(powerW, radiusMM, atMM float64) (float64, error) {
	length, err := p.LengthMM()
	if err != nil {
		return 0, err
	}
	if !(radiusMM >= 0) || !(atMM >= 0) || math.IsInf(radiusMM+atMM, 0) || math.IsNaN(powerW) || math.IsInf(powerW, 0) {
		return 0, fault.Invalidf("a source of radius %g mm seen at %g mm from its centre, with %g W", radiusMM, atMM, powerW).WithHint("give lengths of 0 or more, and a finite power")
	}
	x, b := atMM/length, radiusMM/length
	perPoint := powerW / (2 * math.Pi * p.ConductivityWK * p.ThicknessMM * 1e-3)
	const small, large = 1e-4, 300 // below small the difference from 1 is rounding; above large I0 overflows
	switch {
	case b > large:
		return 0, fault.Invalidf("a source of radius %g mm, %g times the length that heat spreads over", radiusMM, b).WithHint("so wide a source is as warm as its power over its area and the film coefficient")
	case radiusMM == 0:
		return perPoint * besselK(0, x), nil
	case atMM > radiusMM && b < small:
		return perPoint * besselK(0, x), nil
	case atMM > radiusMM: // q/h = P/(pi a² h) = 2 perPoint/b²
		return perPoint * 2 / b * besselI(1, b) * besselK(0, x), nil
	case b < small: // the logarithm that K1 begins with
		s := atMM / radiusMM
		return perPoint * (math.Log(2/b) - eulerGamma + (1-s*s)/2), nil
	}
	return perPoint * 2 / (b * b) * (1 - b*besselK(1, b)*besselI(0, x)), nil
}

// eulerGamma is Euler's constant (NIST DLMF 5.2.3).
const eulerGamma = 0.57721566490153286

// besselK returns the modified Bessel function of the second kind of order n, by
// the trapezoidal rule on its integral of exp(-x cosh t) cosh(n t), which falls so
// fast at both ends that the rule converges exponentially (NIST DLMF 10.32.9).
func besselK(n int, x float64) float64 {
	if x == 0 {
		return math.Inf(1)
	}
	const step = 1.0 / 16
	sum := math.Exp(-x) / 2
	for i := 1; ; i++ {
		t := float64(i) * step
		v := math.Exp(-x*math.Cosh(t)) * math.Cosh(float64(n)*t)
		sum += v
		if v < 1e-17*sum || v == 0 {
			return sum * step
		}
	}
}

// besselI returns the modified Bessel function of the first kind of order n by its
// power series (NIST DLMF 10.25.2), whose terms are all positive.
func besselI(n int, x float64) float64 {
	term := 1.0
	for i := 1; i <= n; i++ {
		term *= x / 2 / float64(i)
	}
	sum := term
	for k := 1; term > 1e-17*sum; k++ {
		term *= x * x / 4 / float64(k) / float64(k+n)
		sum += term
	}
	return sum
}
