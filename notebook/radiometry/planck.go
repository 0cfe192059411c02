// Package radiometry turns what a thermal camera says into the temperature of
// the surface it looked at, and back: blackbody radiance in a band, the
// measurement equation with its inverse, emissivity maps and the alignment of
// the frames they are made from.
//
// Temperatures are in kelvin, wavelengths in µm, radiances in W m⁻² sr⁻¹ over
// the band. Frames are slices of pixels, row by row; NaN is a missing pixel.
//
// Functions of one number return NaN outside their domain; functions that take
// what a person typed return a fault of kind Invalid that names the input.
package radiometry

import (
	"math"

	"dieglow/catalog/fault"
)

// The constants that define the kelvin, the second, the metre and the kilogram,
// exact (BIPM SI brochure, 9th ed. (2019), 2.2; CODATA 2018).
const (
	planckJS        = 6.62607015e-34
	lightMPerS      = 299792458.0
	boltzmannJPerK  = 1.380649e-23
	umPerM          = 1e6
	firstRadianceSI = 2 * planckJS * lightMPerS * lightMPerS // c1L, W m² sr⁻¹
)

// What follows from them without further measurement.
const (
	// SecondRadiationUMK is c2 = hc/k in µm K, 14387.768 775 04.
	SecondRadiationUMK = planckJS * lightMPerS / boltzmannJPerK * umPerM

	// FirstRadiationWUM4 is c1L = 2hc² in W µm⁴ m⁻² sr⁻¹, 1.191 042 972e8.
	FirstRadiationWUM4 = firstRadianceSI * umPerM * umPerM * umPerM * umPerM

	// StefanBoltzmannWM2K4 is sigma = 2 pi⁵ k⁴/(15 h³ c²) in W m⁻² K⁻⁴, 5.670 374 419e-8.
	StefanBoltzmannWM2K4 = radianceScaleWM2SRK4 * math.Pi * math.Pi * math.Pi * math.Pi * math.Pi / 15

	// radianceScaleWM2SRK4 is 2k⁴/(h³c²): radiance is this times T⁴ times the
	// integral of x³/(eˣ-1) over x = c2/(wavelength T).
	radianceScaleWM2SRK4 = 2 * boltzmannJPerK / planckJS * boltzmannJPerK / planckJS * boltzmannJPerK / planckJS * boltzmannJPerK / lightMPerS / lightMPerS
)

// Temperatures the package works with. 0 K stands for something that does not
// radiate; between 0 K and MinK nothing is solved for.
const (
	MinK = 1.0
	MaxK = 10000.0
)

// SpectralRadiance returns the radiance of a blackbody per wavelength, in
// W m⁻² sr⁻¹ µm⁻¹ (Planck's law). It is 0 at 0 K and NaN for a wavelength that
// is not above zero or a temperature outside 0 K to MaxK.
func SpectralRadiance(wavelengthUM, tempK float64) float64 {
	if !(wavelengthUM > 0) || math.IsInf(wavelengthUM, 0) || !temperatureOK(tempK) {
		return math.NaN()
	}
	if tempK == 0 {
		return 0
	}
	x := SecondRadiationUMK / (wavelengthUM * tempK)
	l := FirstRadiationWUM4 / math.Pow(wavelengthUM, 5)
	if x > 700 { // the exponential would overflow
		return math.Exp(math.Log(l) - x)
	}
	return l / math.Expm1(x)
}

// FractionBelow returns the share of a blackbody's radiance that lies at
// wavelengths from 0 to the one whose product with the temperature is
// productUMK, in µm K: 0 at 0, 1 at +Inf, NaN below 0.
func FractionBelow(productUMK float64) float64 {
	switch {
	case !(productUMK >= 0):
		return math.NaN()
	case productUMK == 0:
		return 0
	case math.IsInf(productUMK, 1):
		return 1
	}
	const whole = math.Pi * math.Pi * math.Pi * math.Pi / 15
	x := SecondRadiationUMK / productUMK
	if x >= 1 {
		return tailIntegral(x) / whole
	}
	return 1 - headIntegral(x)/whole
}

// tailIntegral is the integral of t³/(eᵗ-1) from x to infinity, for x >= 1,
// by expanding the denominator in powers of e⁻ᵗ.
func tailIntegral(x float64) float64 {
	var sum float64
	for n := 1.0; ; n++ {
		term := math.Exp(-n*x) * (x*x*x/n + 3*x*x/(n*n) + 6*x/(n*n*n) + 6/(n*n*n*n))
		sum += term
		if term <= sum*1e-17 {
			return sum
		}
	}
}

// headIntegral is the integral of t³/(eᵗ-1) from 0 to x, for x < 1, by its
// power series (Bernoulli numbers).
func headIntegral(x float64) float64 {
	q := x * x
	return x * x * x * (1.0/3 - x/8 + q*(1.0/60-q*(1.0/5040-q*(1.0/272160-q*(1.0/13305600-q*(1.0/622702080-q*691/19615115520000))))))
}

func temperatureOK(tempK float64) bool { return tempK >= 0 && tempK <= MaxK }

// checkTemperature names the input whose temperature cannot be used.
func checkTemperature(what string, tempK float64) error {
	if temperatureOK(tempK) {
		return nil
	}
	return fault.Invalidf("%s is %g K, outside 0 K to %g K", what, tempK, MaxK).WithHint("type a temperature, for example 23C or 296.15K")
}
