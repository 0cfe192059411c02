package hotspot

import (
	"fmt"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Corrected is an estimate of what a spot would rise by without the blur of the
// optics and the camera.
type Corrected struct {
	Factor   float64 `json:"factor"` // of the fitted rise
	UFactor  float64 `json:"u_factor"`
	Rise     float64 `json:"rise"`
	URise    float64 `json:"u_rise"` // of the measured size, the blur and the rise; not of the shapes being others than Gaussian
	TrueFWHM float64 `json:"true_fwhm_px"`
}

// CorrectBlur estimates the rise of a spot without a blur of the stated full
// width at half maximum, in pixels. Spot and blur are taken for Gaussians, whose
// squared widths add: along each axis of the measured ellipse the height is lower
// by w/true with true² = w² - blur², so that a round spot is lower by
// (true² + blur²)/true², w² over true².
//
// Fault Invalid when the blur is not above 0, the spot has no fitted size, or it
// is not larger than the blur along both axes: then no size of the spot explains
// what is seen.
func CorrectBlur(s Spot, blurPx quantity.Estimate) (Corrected, error) {
	b := blurPx.Value
	if !(b > 0) || math.IsInf(b, 0) {
		return Corrected{}, fault.Invalidf("a blur of %g pixels", b).WithHint("give its full width at half maximum, above 0, for example 2.5px or 40um")
	}
	if s.Fit == nil {
		return Corrected{}, fault.Invalidf("no Gaussian fits the spot, so its size is not known").WithHint("leave the blur out, or give a frame in which the spot stands alone")
	}
	major, minor := s.Fit.MajorPx, s.Fit.MinorPx
	if minor <= b {
		return Corrected{}, fault.Invalidf("the spot measures %s x %s pixels, which is not larger than a blur of %s", quantity.Fixed(major, 3), quantity.Fixed(minor, 3), quantity.Fixed(b, 3)).
			WithHint("the spot is too small for this blur to tell its height: magnify more, or give the blur as measured on an edge")
	}
	ratio := func(w float64) float64 { return w / math.Sqrt(w*w-b*b) }
	c := Corrected{Factor: ratio(major) * ratio(minor)}
	c.TrueFWHM = s.Fit.FWHMPx / math.Sqrt(c.Factor)
	// Of both axes together with the relative uncertainty of their mean size, and
	// of the blur: d ln ratio / d ln w = -b²/(w² - b²), and the opposite for b.
	steep := b*b/(major*major-b*b) + b*b/(minor*minor-b*b)
	u, _ := blurPx.StandardU()
	c.UFactor = c.Factor * steep * quantity.RootSumSquare(s.Fit.UFWHMPx/s.Fit.FWHMPx, u/b)
	c.Rise = *s.FitRise * c.Factor
	c.URise = math.Abs(c.Rise) * quantity.RootSumSquare(c.UFactor/c.Factor, *s.UFitRise / *s.FitRise)
	return c, nil
}

// Caveat says what a correction rests on; it goes wherever one is shown.
func (c Corrected) Caveat() string {
	return fmt.Sprintf("an estimate: the fitted rise times %s, for a Gaussian spot under a Gaussian blur", quantity.Fixed(c.Factor, 4))
}
