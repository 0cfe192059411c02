package hotspot

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Pair is one point seen in both pictures, in pixels of each.
type Pair struct{ Frame, Micrograph Point }

// Registration lays a frame over a micrograph of the same object:
// X = A[0][0] x + A[0][1] y + A[0][2], and Y likewise.
type Registration struct {
	A           [2][3]float64 `json:"matrix"`
	Affine      bool          `json:"affine"`
	Mirrored    bool          `json:"mirrored"`
	Scale       float64       `json:"scale"`        // micrograph pixels a frame pixel; of an affine map the root of its determinant
	RotationDeg float64       `json:"rotation_deg"` // of the frame's x axis on the micrograph, from x towards y
	Pairs       int           `json:"pairs"`
	Residuals   []float64     `json:"residual_px"`  // of each pair, micrograph pixels
	RMSPx       *float64      `json:"rms_px"`       // root mean square of those; nil where the pairs are just enough
	PlacingPx   *float64      `json:"placing_u_px"` // standard uncertainty of one coordinate of a pair, from the residuals or as stated
	PlacingFrom string        `json:"placing_from"`
	MirrorRMSPx *float64      `json:"-"` // of the other handedness, for a similarity with three pairs or more

	normal *mat.SymDense // of an affine map: inverse of the normal matrix
	middle Point         // of the pairs in the frame
	spread float64       // sum of their squared distances from it
}

const pairsHint = `give two or more as "x,y=X,Y; x,y=X,Y", x,y in the frame and X,Y in the micrograph`

// ParsePairs reads "x,y=X,Y; x,y=X,Y". Fault Invalid for anything else, and below
// two pairs.
func ParsePairs(text string) ([]Pair, error) {
	var out []Pair
	for part := range strings.SplitSeq(text, ";") {
		if strings.TrimSpace(part) == "" {
			continue
		}
		left, right, ok := strings.Cut(part, "=")
		a, errA := parseNumbers(left, 2)
		b, errB := parseNumbers(right, 2)
		if !ok || errA != nil || errB != nil {
			return nil, fault.Invalidf("%q is not a pair of points", strings.TrimSpace(part)).WithHint(pairsHint)
		}
		out = append(out, Pair{Point{a[0], a[1]}, Point{b[0], b[1]}})
	}
	if len(out) == 1 {
		return nil, fault.Invalidf("one pair of points is too few").WithHint(pairsHint)
	}
	if len(out) == 0 || len(out) > 1000 {
		return nil, fault.Invalidf("%d pairs of points", len(out)).WithHint(pairsHint)
	}
	return out, nil
}

// Alignment says how a frame is laid over a micrograph.
type Alignment struct {
	Affine    bool     // scale, shear and rotation free; needs three pairs
	Mirror    bool     // the micrograph shows the object turned over
	PlacingPx *float64 // standard uncertainty of one coordinate of a pair on the micrograph, where it is known
}

// Register fits the map by least squares on the micrograph. With more pairs than
// it needs, the residuals tell how well they were placed.
//
// Fault Invalid when two points of a picture coincide, there are too few pairs,
// those of an affine map lie on one line, or the stated uncertainty is not above 0.
func Register(pairs []Pair, a Alignment) (Registration, error) {
	if err := checkPairs(pairs, a); err != nil {
		return Registration{}, err
	}
	r := similarity(pairs, a.Mirror)
	parameters := 4
	if a.Affine {
		var err error
		if r, err = affine(pairs); err != nil {
			return r, err
		}
		parameters = 6
	}
	r.Pairs = len(pairs)
	squares := r.residuals(pairs)
	if free := 2*len(pairs) - parameters; free > 0 {
		rms, u := math.Sqrt(squares/float64(len(pairs))), math.Sqrt(squares/float64(free))
		r.RMSPx, r.PlacingPx = &rms, &u
		r.PlacingFrom = fmt.Sprintf("the residuals, with %d degrees of freedom", free)
		if !a.Affine {
			other := similarity(pairs, !a.Mirror)
			m := math.Sqrt(other.residuals(pairs) / float64(len(pairs)))
			r.MirrorRMSPx = &m
		}
	}
	if a.PlacingPx != nil {
		r.PlacingPx, r.PlacingFrom = a.PlacingPx, "stated"
	}
	if r.PlacingPx == nil {
		r.PlacingFrom = fmt.Sprintf("not known: %d pairs fit exactly, whatever their errors", len(pairs))
	}
	return r, nil
}

func checkPairs(pairs []Pair, a Alignment) error {
	if len(pairs) < 2 || a.Affine && len(pairs) < 3 {
		return fault.Invalidf("%s too few", map[bool]string{true: "one pair is", false: fmt.Sprintf("%d pairs are", len(pairs))}[len(pairs) == 1]).WithHint("give two pairs, or three for an affine map")
	}
	if u := a.PlacingPx; u != nil && !(*u > 0 && *u < 1e6) {
		return fault.Invalidf("points placed to %g pixels", *u).WithHint("give a standard uncertainty above 0 in micrograph pixels")
	}
	for i, p := range pairs {
		for j, q := range pairs[:i] {
			for _, d := range [...]struct {
				at   string
				a, b Point
			}{{"the frame", p.Frame, q.Frame}, {"the micrograph", p.Micrograph, q.Micrograph}} {
				if gap := math.Hypot(d.a.X-d.b.X, d.a.Y-d.b.Y); gap < 1 {
					return fault.Invalidf("pairs %d and %d are %s pixels apart in %s", j+1, i+1, quantity.Fixed(gap, 2), d.at).WithHint("use points far apart, best across the whole field")
				}
			}
		}
	}
	return nil
}

// similarity fits Z = alpha z + beta in complex numbers, with z conjugated for a mirror.
func similarity(pairs []Pair, mirror bool) Registration {
	r := Registration{Mirrored: mirror}
	n := complex(float64(len(pairs)), 0)
	var meanF, meanM complex128
	z := func(p Pair) (f, m complex128) {
		f = complex(p.Frame.X, p.Frame.Y)
		if mirror {
			f = complex(p.Frame.X, -p.Frame.Y)
		}
		return f, complex(p.Micrograph.X, p.Micrograph.Y)
	}
	for _, p := range pairs {
		f, m := z(p)
		meanF, meanM = meanF+f/n, meanM+m/n
	}
	var cross complex128
	for _, p := range pairs {
		f, m := z(p)
		f, m = f-meanF, m-meanM
		cross += m * complex(real(f), -imag(f))
		r.spread += real(f)*real(f) + imag(f)*imag(f)
	}
	alpha := cross / complex(r.spread, 0)
	beta := meanM - alpha*meanF
	re, im, sign := real(alpha), imag(alpha), 1.0
	if mirror {
		sign = -1
	}
	r.A = [2][3]float64{{re, -sign * im, real(beta)}, {im, sign * re, imag(beta)}}
	r.middle = Point{real(meanF), sign * imag(meanF)}
	r.Scale, r.RotationDeg = math.Hypot(re, im), math.Atan2(im, re)*180/math.Pi
	return r
}

func affine(pairs []Pair) (Registration, error) {
	r := Registration{Affine: true}
	h := mat.NewDense(len(pairs), 3, nil)
	right := mat.NewDense(len(pairs), 2, nil)
	for i, p := range pairs {
		h.SetRow(i, []float64{p.Frame.X, p.Frame.Y, 1})
		right.SetRow(i, []float64{p.Micrograph.X, p.Micrograph.Y})
	}
	normal := mat.NewSymDense(3, nil)
	normal.SymOuterK(1, h.T())
	var chol mat.Cholesky
	var x mat.Dense
	onLine := fault.Invalidf("the points of the pairs lie on one line").WithHint("an affine map needs three that do not; leave --affine out for scale and rotation alone")
	if !chol.Factorize(normal) || chol.Cond() > 1e13 || x.Solve(h, right) != nil {
		return r, onLine
	}
	r.normal = mat.NewSymDense(3, nil)
	if err := chol.InverseTo(r.normal); err != nil {
		return r, onLine
	}
	for c := range 2 {
		for k := range 3 {
			r.A[c][k] = x.At(k, c)
		}
	}
	det := r.A[0][0]*r.A[1][1] - r.A[0][1]*r.A[1][0]
	if math.Abs(det) < 1e-12 {
		return r, onLine
	}
	r.Mirrored, r.Scale, r.RotationDeg = det < 0, math.Sqrt(math.Abs(det)), math.Atan2(r.A[1][0], r.A[0][0])*180/math.Pi
	return r, nil
}

// residuals notes how far each pair is missed and returns the sum of squares.
func (r *Registration) residuals(pairs []Pair) float64 {
	sum := 0.0
	for _, p := range pairs {
		m := r.Map(p.Frame)
		d := math.Hypot(m.X-p.Micrograph.X, m.Y-p.Micrograph.Y)
		r.Residuals = append(r.Residuals, d)
		sum += d * d
	}
	return sum
}

// Map returns where a place of the frame lies on the micrograph.
func (r Registration) Map(p Point) Point {
	return Point{r.A[0][0]*p.X + r.A[0][1]*p.Y + r.A[0][2], r.A[1][0]*p.X + r.A[1][1]*p.Y + r.A[1][2]}
}

// U returns the standard uncertainty of Map in micrograph pixels, of either
// coordinate, for a place known to u pixels of the frame: from the placing of the
// pairs, which counts the more the further the place lies from their middle, and
// the place itself. known is false where the placing is not, and then only the
// place itself is in it.
func (r Registration) U(p, u Point) (uX, uY float64, known bool) {
	uX = math.Hypot(r.A[0][0]*u.X, r.A[0][1]*u.Y)
	uY = math.Hypot(r.A[1][0]*u.X, r.A[1][1]*u.Y)
	if r.PlacingPx == nil {
		return uX, uY, false
	}
	var lever float64
	if r.Affine {
		h := mat.NewVecDense(3, []float64{p.X, p.Y, 1})
		lever = mat.Inner(h, r.normal, h)
	} else {
		lever = 1/float64(r.Pairs) + (sq(p.X-r.middle.X)+sq(p.Y-r.middle.Y))/r.spread
	}
	placed := *r.PlacingPx * math.Sqrt(lever)
	return math.Hypot(uX, placed), math.Hypot(uY, placed), true
}
