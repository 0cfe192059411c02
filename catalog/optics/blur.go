package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// Blur is the spherical aberration of a thin lens of a given shape, to third
// order, for light from infinity.
type Blur struct {
	Index   float64 // above 1
	Shape   float64 // Coddington's shape factor q = (R2+R1)/(R2-R1): 1 plano-convex curved to infinity, 0 equi-convex, -1 plane to infinity
	FNumber float64 // focal length over beam diameter
}

// BlurFigures is the spherical aberration of a thin lens. The blur is the least
// circle that holds all rays, which lies three quarters of the way from the
// paraxial to the marginal focus; its angular diameter is K/N³ radians.
type BlurFigures struct {
	BlurCoefficient     float64 `json:"blur_coefficient"`      // K of the shape
	BlurAngleMRad       float64 `json:"blur_angle_mrad"`       // K/N³, times the focal length the diameter of the blur
	BestShape           float64 `json:"best_shape"`            // of least blur
	BestBlurCoefficient float64 `json:"best_blur_coefficient"` // K of the best shape
	BestBlurAngleMRad   float64 `json:"best_blur_angle_mrad"`
	ComaFreeShape       float64 `json:"coma_free_shape"`
	RadiusRatio         float64 `json:"radius1_over_focal"` // R1/f of the shape, R1 = 2 (n-1) f/(q+1); 0 stands for a plane
	TimesBest           float64 `json:"times_best"`         // blur over the best shape's
}

// Figures works the blur out. With k = (q+1)/2, the curvature of surface 1 as a
// share of the difference of the two,
//
//	K = [n² - (2n+1) k + (1+2/n) k²]/(32 (n-1)²)
//	q best = 2 (n²-1)/(n+2),  K best = n (4n-1)/(128 (n-1)² (n+2))
//	q free of coma = (2n+1)(n-1)/(n+1)
//
// (W. J. Smith, Modern Optical Engineering, thin-lens third-order contributions;
// F. A. Jenkins and H. E. White, Fundamentals of Optics, ch. 9.)
// Fault Invalid for an index, shape or f-number outside its domain.
func (b Blur) Figures() (BlurFigures, error) {
	switch n := b.Index; {
	case !(n > 1 && n <= 10):
		return BlurFigures{}, fault.Invalidf("the index %g is not above 1 and at most 10", n).WithHint("type the refractive index, for example 4.003 for germanium at 10 µm")
	case !(math.Abs(b.Shape) <= 1e6):
		return BlurFigures{}, fault.Invalidf("the shape factor %g is not possible", b.Shape).WithHint("type (R2+R1)/(R2-R1), for example 1 for a plano-convex lens with its curved side to infinity")
	case !(b.FNumber >= 0.1 && b.FNumber <= 1e4):
		return BlurFigures{}, fault.Invalidf("the f-number %g is not between 0.1 and 10000", b.FNumber).WithHint("type focal length over beam diameter, for example 1")
	}
	n, cube := b.Index, b.FNumber*b.FNumber*b.FNumber
	f := BlurFigures{BlurCoefficient: BlurCoefficient(n, b.Shape), BestShape: BestShape(n), ComaFreeShape: (2*n + 1) * (n - 1) / (n + 1)}
	f.BestBlurCoefficient = n * (4*n - 1) / (128 * (n - 1) * (n - 1) * (n + 2))
	f.BlurAngleMRad, f.BestBlurAngleMRad = 1000*f.BlurCoefficient/cube, 1000*f.BestBlurCoefficient/cube
	f.TimesBest = f.BlurCoefficient / f.BestBlurCoefficient
	if b.Shape != -1 {
		f.RadiusRatio = 2 * (n - 1) / (b.Shape + 1)
	}
	return f, nil
}

// BlurCoefficient returns K of Blur.Figures for an index and a shape factor.
func BlurCoefficient(index, shape float64) float64 {
	n, k := index, (shape+1)/2
	return (n*n - (2*n+1)*k + (1+2/n)*k*k) / (32 * (n - 1) * (n - 1))
}

// BestShape returns the shape factor of least spherical aberration for light
// from infinity.
func BestShape(index float64) float64 { return 2 * (index*index - 1) / (index + 2) }

// ShapeFactor returns Coddington's (R2+R1)/(R2-R1) of a lens; a radius of 0 or
// infinity is a plane. ±Inf for surfaces of equal curvature.
func ShapeFactor(radius1MM, radius2MM float64) float64 {
	c1, c2 := curvature(radius1MM), curvature(radius2MM)
	return (c1 + c2) / (c1 - c2)
}

// SphericalVergencePerMM is the longitudinal spherical aberration of a thin lens
// as a difference of vergences, 1/s'(h) - 1/s'(paraxial) in 1/mm, for a ray at
// height h and conjugates given by p = (s'-s)/(s'+s), -1 for an object at
// infinity and 0 for 1:1:
//
//	h²/(8 f³ n (n-1)) [(n+2)/(n-1) q² + 4 (n+1) p q + (3n+2)(n-1) p² + n³/(n-1)]
//
// F. A. Jenkins and H. E. White, Fundamentals of Optics, ch. 9; the formula is
// from memory and checked against exact rays.
func SphericalVergencePerMM(index, shape, position, focalMM, heightMM float64) float64 {
	n, q, p := index, shape, position
	sum := (n+2)/(n-1)*q*q + 4*(n+1)*p*q + (3*n+2)*(n-1)*p*p + n*n*n/(n-1)
	return heightMM * heightMM / (8 * focalMM * focalMM * focalMM * n * (n - 1)) * sum
}

// Explain returns how each figure comes about. Faults as Figures.
func (b Blur) Explain() ([]Explanation, error) {
	f, err := b.Figures()
	if err != nil {
		return nil, err
	}
	const source = "third-order thin-lens aberrations; W. J. Smith, Modern Optical Engineering"
	n, q := input("n", b.Index, ""), input("q", b.Shape, "")
	return []Explanation{
		{"blur coefficient", shown(f.BlurCoefficient, ""), "K = [n² - (2n+1) k + (1+2/n) k²]/(32 (n-1)²), k = (q+1)/2", []Input{n, q}, source},
		{"blur, angular diameter", shown(f.BlurAngleMRad, "mrad"), "K/N³", []Input{input("K", f.BlurCoefficient, ""), input("N, f-number", b.FNumber, "")}, source},
		{"best shape", shown(f.BestShape, ""), "q = 2 (n²-1)/(n+2)", []Input{n}, source},
		{"best blur coefficient", shown(f.BestBlurCoefficient, ""), "K = n (4n-1)/(128 (n-1)² (n+2))", []Input{n}, source},
		{"coma-free shape", shown(f.ComaFreeShape, ""), "q = (2n+1)(n-1)/(n+1)", []Input{n}, source},
	}, nil
}
