// Package powermap turns the temperature rise of a plate into the power that is
// dissipated on it, per area, by inverting the conduction of heat in the domain of
// spatial frequencies.
//
// The plate is heated on the face that is seen, and gives its heat to a film on
// the other face, and to one on the seen face where it has one. Its four sides are
// the edges of the frame and insulated: map and power continue beyond them as in
// a mirror, which makes the cosine transform (DCT-II) the one that fits. A frame
// that shows a part of a larger plate comes out wrong near its edges, by what
// flows across them.
package powermap

import (
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Plate is what conducts. Uncertainties are standard ones; where an estimate has
// none, it is not evaluated.
type Plate struct {
	PixelUM         quantity.Estimate // what one pixel sees of the plate
	ThicknessMM     quantity.Estimate
	ConductivityWMK quantity.Estimate // W/(m K)
	FilmWM2K        quantity.Estimate // W/(m² K), on the face away from the camera
	TopFilmWM2K     quantity.Estimate // W/(m² K), on the face that is seen; often 0
	BlurUM          quantity.Estimate // full width at half maximum of the setup's blur, a Gaussian; 0 for none
	Thin            bool              // no difference between the faces
}

// validate checks the plate. Fault Invalid otherwise.
func (p Plate) validate() error {
	for _, v := range []struct {
		what, flag string
		value      float64
		zero       bool
	}{
		{"an object pixel of %g µm", "--pixel 25um", p.PixelUM.Value, false}, {"a thickness of %g mm", "--thickness 0.5mm", p.ThicknessMM.Value, false},
		{"a conductivity of %g W/(m K)", "--conductivity 148", p.ConductivityWMK.Value, false}, {"a film coefficient of %g W/(m² K)", "--film 5000", p.FilmWM2K.Value, true},
		{"a film coefficient of %g W/(m² K) on the seen face", "--film-top 10", p.TopFilmWM2K.Value, true}, {"a blur of %g µm", "--blur-fwhm 60um", p.BlurUM.Value, true},
	} {
		if !(v.value >= 0) || v.value == 0 && !v.zero || math.IsInf(v.value, 0) {
			return fault.Invalidf(v.what, v.value).WithHint("give a value above 0, for example %s", v.flag)
		}
	}
	if p.FilmWM2K.Value+p.TopFilmWM2K.Value == 0 {
		return fault.Invalidf("without a film the plate keeps all heat, and its mean power does not follow from a steady temperature").
			WithHint("state how the heat leaves it: --film 5000 for a cooled back, 5 to 15 for still air")
	}
	return nil
}

// Transfer returns the rise of the seen face, in K, for power of 1 W/m² that
// changes over it like a cosine of kappaPerM radians a metre, before any blur:
//
//	1/G = h1 + 1/G2,  G2 = (1 + (h t/k) s) / (k t kappa² s + h),  s = tanh(kappa t)/(kappa t)
//
// with the film h1 of the seen face and h of the other. It is the solution of the
// second derivative of T over the depth = kappa² T, with power less film loss
// entering at one face and the film loss leaving at the other. G2 is the usual
// (1/(k kappa))(k kappa + h tanh)/(k kappa tanh + h), written so that kappa = 0
// gives 1/h + t/k. A thin plate has 1/(k t kappa² + h + h1).
func (p Plate) Transfer(kappaPerM float64) float64 {
	k, h, top := p.ConductivityWMK.Value, p.FilmWM2K.Value, p.TopFilmWM2K.Value
	t := p.ThicknessMM.Value * 1e-3
	x := kappaPerM * t
	if p.Thin {
		return 1 / (k*x*x/t + h + top)
	}
	s := 1 - x*x/3
	if x > 1e-4 {
		s = math.Tanh(x) / x
	}
	return 1 / (top + (k*x*x/t*s+h)/(1+h*t/k*s))
}

// seen returns Transfer for every coefficient of the cosine transform of a map,
// row by row, with the blur.
func (p Plate) seen(width, height int) []float64 {
	sigma := p.BlurUM.Value * 1e-6 / math.Sqrt(8*math.Ln2)
	out := make([]float64, 0, width*height)
	for y := range height {
		for x := range width {
			kappa := p.kappaPerM(x, y, width, height)
			g := p.Transfer(kappa)
			if sigma > 0 {
				g *= math.Exp(-kappa * kappa * sigma * sigma / 2)
			}
			out = append(out, g)
		}
	}
	return out
}

// kappaPerM is the spatial frequency of a coefficient, in radians a metre.
func (p Plate) kappaPerM(x, y, width, height int) float64 {
	kx, ky := float64(x)/float64(width), float64(y)/float64(height)
	return math.Pi * math.Sqrt(kx*kx+ky*ky) / (p.PixelUM.Value * 1e-6)
}

// pixelAreaM2 is the area of the plate that a pixel sees.
func (p Plate) pixelAreaM2() float64 {
	m := p.PixelUM.Value * 1e-6
	return m * m
}

// Rise returns the rise of the seen face, blurred, for a map of power in W/m²:
// what Invert inverts. Faults as from Invert.
func (p Plate) Rise(power []float64, width, height int) ([]float64, error) {
	if err := p.validate(); err != nil {
		return nil, err
	}
	if err := whole(power, width, height); err != nil {
		return nil, err
	}
	t := newTransform(width, height)
	c := t.forward(power)
	for i, g := range p.seen(width, height) {
		c[i] *= g
	}
	return t.back(c), nil
}
