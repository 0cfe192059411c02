package optics

import "math"

// airyZero is the first zero of J1 divided by pi: the radius of the Airy disc in
// units of wavelength times f-number, or angle in units of wavelength over
// diameter. Abramowitz and Stegun, table 9.5: 3.8317059702.
const airyZero = 3.8317059702075125 / math.Pi

// RayleighUM is the distance of two points that a circular aperture just
// resolves, 0.61 wavelength/NA, at the side where the numerical aperture is
// measured. +Inf for an aperture of zero.
func RayleighUM(wavelengthUM, na float64) float64 { return 0.61 * wavelengthUM / na }

// RayleighAngleRad is the angle of two points that a circular aperture just
// resolves, 1.22 wavelength/diameter.
func RayleighAngleRad(wavelengthUM, diameterMM float64) float64 {
	return airyZero * wavelengthUM / (diameterMM * 1000)
}

// AiryRadiusUM is the radius of the first dark ring in the image of a point,
// 1.22 wavelength times working f-number.
func AiryRadiusUM(wavelengthUM, fNumber float64) float64 { return airyZero * wavelengthUM * fNumber }

// DepthOfField is the range of specimen distances that counts as sharp.
type DepthOfField struct {
	DiffractionUM float64 `json:"diffraction_um"` // wavelength/NA²
	DetectorUM    float64 `json:"detector_um"`    // e/(|M| NA), e the distance that the array can tell apart: one pixel
	TotalUM       float64 `json:"total_um"`
}

// DepthOfFieldUM returns the depth of field in air,
//
//	wavelength/NA² + e/(|M| NA)
//
// with e the pixel pitch (Nikon MicroscopyU, "Depth of Field and Depth of
// Focus"). It is the whole range: half of it lies on either side of focus.
func DepthOfFieldUM(wavelengthUM, na, magnification, pitchUM float64) DepthOfField {
	d := DepthOfField{DiffractionUM: wavelengthUM / (na * na), DetectorUM: pitchUM / (math.Abs(magnification) * na)}
	d.TotalUM = d.DiffractionUM + d.DetectorUM
	return d
}

// DiffractionMTF is the modulation an ideal circular aperture carries in
// incoherent light at a share v of its cut-off frequency, 2 NA/wavelength or
// 1/(wavelength N):
//
//	(2/pi) [acos v - v sqrt(1 - v²)]
//
// 0 beyond 1. J. W. Goodman, Introduction to Fourier Optics, ch. 6.
func DiffractionMTF(v float64) float64 {
	v = math.Abs(v)
	if v >= 1 {
		return 0
	}
	return 2 / math.Pi * (math.Acos(v) - v*math.Sqrt(1-v*v))
}

// DetectorMTF is |sin(pi a f)/(pi a f)|, the modulation left by a pixel that
// averages over a width; frequency and width in matching units.
func DetectorMTF(frequency, width float64) float64 {
	x := math.Pi * frequency * width
	if math.Abs(x) < 1e-8 {
		return 1
	}
	return math.Abs(math.Sin(x) / x)
}

// Curve is a modulation over equally spaced frequencies, from 0.
type Curve struct {
	StepLPPerMM float64
	Modulation  []float64 // at 0, StepLPPerMM, 2 StepLPPerMM, ...
}

// At interpolates the curve, 0 beyond its end.
func (c Curve) At(lpPerMM float64) float64 {
	at := math.Abs(lpPerMM) / c.StepLPPerMM
	i := int(at)
	if i+1 >= len(c.Modulation) {
		return 0
	}
	return c.Modulation[i] + (at-float64(i))*(c.Modulation[i+1]-c.Modulation[i])
}

// FirstBelow returns the lowest frequency at which the curve falls to a
// contrast, and whether it does before its end; its end otherwise.
func (c Curve) FirstBelow(contrast float64) (lpPerMM float64, found bool) {
	return c.firstBelow(contrast, func(i int) float64 { return c.Modulation[i] })
}

func (c Curve) firstBelow(contrast float64, value func(i int) float64) (lpPerMM float64, found bool) {
	previous := value(0)
	for i := 1; i < len(c.Modulation); i++ {
		v := value(i)
		if v <= contrast {
			return c.StepLPPerMM * (float64(i) - (contrast-v)/(previous-v)), true
		}
		previous = v
	}
	return c.StepLPPerMM * float64(len(c.Modulation)-1), false
}

// SquareWave is the contrast of bars and gaps of equal width at a frequency: the
// modulation in the middle of a bar of an endless grating, by the grating's
// Fourier series,
//
//	(4/pi) [M(f) - M(3f)/3 + M(5f)/5 - ...]
//
// J. W. Coltman, J. Opt. Soc. Am. 44, 468 (1954).
func (c Curve) SquareWave(lpPerMM float64) float64 {
	sum, sign := 0.0, 1.0
	for k := 1.0; k*lpPerMM <= c.StepLPPerMM*float64(len(c.Modulation)) && k < 4000; k += 2 {
		sum += sign * c.At(k*lpPerMM) / k
		sign = -sign
	}
	return min(1, 4/math.Pi*sum)
}

// FirstSquareBelow is FirstBelow for the contrast of bars.
func (c Curve) FirstSquareBelow(contrast float64) (lpPerMM float64, found bool) {
	return c.firstBelow(contrast, func(i int) float64 {
		if i == 0 {
			return 1
		}
		return c.SquareWave(float64(i) * c.StepLPPerMM)
	})
}

// EdgeWidthUM is the distance over which the picture of a sharp edge rises from
// a low to a high share, such as 0.1 and 0.9, taking the blur as even on both
// sides: the edge is
//
//	E(x) = 1/2 + (1/pi) integral of M(f) sin(2 pi f x)/f df
//
// +Inf when the curve has no width, or its frequencies are too far apart for an
// edge this wide.
func (c Curve) EdgeWidthUM(low, high float64) float64 {
	half, _ := c.FirstBelow(0.5)
	if !(half > 0) || !(low < high) {
		return math.Inf(1)
	}
	// E(x) - 1/2 is odd, so both ends are found on one side.
	return (c.edgeAt(0.5-low, half) + c.edgeAt(high-0.5, half)) * 1000
}

// edgeAt is where the edge has risen by a share above its middle, in mm.
func (c Curve) edgeAt(rise, half float64) float64 {
	if rise < 0 {
		return -c.edgeAt(-rise, half)
	}
	// Outwards until it has passed the rise, not beyond half the distance at which
	// the sum over frequencies repeats itself, then by halves.
	inner, outer := 0.0, 0.05/half
	for c.edge(outer) < rise {
		if inner, outer = outer, 1.5*outer; outer*c.StepLPPerMM > 0.5 {
			return math.Inf(1)
		}
	}
	for range 40 {
		if mid := (inner + outer) / 2; c.edge(mid) >= rise {
			outer = mid
		} else {
			inner = mid
		}
	}
	return outer
}

// edge is E(x) - 1/2 by Simpson's rule, trapezia on a last odd interval.
func (c Curve) edge(xMM float64) float64 {
	h, n := c.StepLPPerMM, len(c.Modulation)-1
	at := func(i int) float64 {
		if i == 0 {
			return 2 * math.Pi * xMM * c.Modulation[0]
		}
		f := float64(i) * h
		return c.Modulation[i] * math.Sin(2*math.Pi*f*xMM) / f
	}
	sum, even := 0.0, n-n%2
	for i := 0; i < even; i += 2 {
		sum += h / 3 * (at(i) + 4*at(i+1) + at(i+2))
	}
	if even < n {
		sum += h / 2 * (at(n-1) + at(n))
	}
	return sum / math.Pi
}
