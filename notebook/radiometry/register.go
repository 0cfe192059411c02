package radiometry

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
)

// Shift is how a moving frame lies over a fixed one: what is at x, y in the
// fixed frame is at x+DXPx, y+DYPx in the moving one.
type Shift struct {
	DXPx float64 `json:"dx_px"`
	DYPx float64 `json:"dy_px"`

	// Standard uncertainties, from what differs between the aligned frames; too
	// small when the frames differ by more than noise.
	UXPx float64 `json:"u_dx_px"`
	UYPx float64 `json:"u_dy_px"`

	Correlation float64 `json:"correlation"` // of the aligned frames, -1 to 1
	Gain        float64 `json:"gain"`        // contrast of the moving frame over that of the fixed one
	Overlap     float64 `json:"overlap"`     // share of the pixels that were compared
	Reliable    bool    `json:"reliable"`
	Why         string  `json:"why,omitempty"` // why it is not reliable
}

// Limits of a shift that can be relied on.
const (
	minCorrelation = 0.5
	maxShiftUPx    = 0.1
	minSidePx      = 16
)

// Register finds the shift between two frames of one scene, whose contrast may
// differ by a factor and an offset, as it does between two temperatures. A first
// guess comes from phase correlation and, for smooth scenes, from coarser
// versions of the frames; it is refined by least squares on the gradients
// (B. D. Lucas, T. Kanade, Proc. IJCAI 1981, 674) with gain and offset fitted
// along. Both frames are smoothed alike first, by the binomial kernel 1 4 6 4 1.
//
// A result that is not reliable is returned with the reason in Why. Fault
// Invalid for frames of different size or below 16 pixels a side, and for a frame
// without contrast.
func Register(fixed, moving Picture) (Shift, error) {
	for _, p := range []Picture{fixed, moving} {
		if err := p.validate(); err != nil {
			return Shift{}, err
		}
	}
	if fixed.Width != moving.Width || fixed.Height != moving.Height {
		return Shift{}, fault.Invalidf("frames of %d x %d and %d x %d pixels", fixed.Width, fixed.Height, moving.Width, moving.Height).WithHint("use frames of one size, taken with one camera")
	}
	if min(fixed.Width, fixed.Height) < minSidePx {
		return Shift{}, fault.Invalidf("frames of %d x %d pixels are too small to align", fixed.Width, fixed.Height).WithHint("use frames of at least %d pixels a side", minSidePx)
	}
	if flat(fixed) || flat(moving) {
		return Shift{}, fault.Invalidf("a frame without contrast cannot be aligned").WithHint("use frames that show the structure of the object")
	}
	f, m := smooth(fixed), smooth(moving)
	best := refine(f, m, coarseShift(f, m, 3))
	dx, dy := phaseCorrelation(f, m)
	if other := refine(f, m, Shift{DXPx: dx, DYPx: dy}); math.Abs(other.Correlation) > math.Abs(best.Correlation)+1e-6 || best.Why != "" && other.Why == "" {
		best = other
	}
	best.judge()
	return best, nil
}

// flat reports whether no two pixels differ.
func flat(p Picture) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range p.Pixels {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			low, high = math.Min(low, v), math.Max(high, v)
		}
	}
	return !(high > low)
}

// judge fills in whether the shift can be relied on.
func (s *Shift) judge() {
	switch u := math.Max(s.UXPx, s.UYPx); {
	case s.Why != "":
	case math.Abs(s.Correlation) < minCorrelation:
		s.Why = fmt.Sprintf("the aligned frames correlate by %.2f only, below %.1f", s.Correlation, minCorrelation)
	case !(u <= maxShiftUPx):
		s.Why = fmt.Sprintf("the shift is uncertain by %.2g pixels: too little structure in one direction, or too much noise", u)
	}
	s.Reliable = s.Why == ""
}

// smooth applies 1 4 6 4 1 along rows and columns; the outer two pixels and
// those next to missing ones become missing.
func smooth(p Picture) Picture {
	mid, out := blank(p.Width, p.Height), blank(p.Width, p.Height)
	w := p.Width
	pass := func(dst, src []float64, step, i int) {
		dst[i] = (src[i-2*step] + 4*src[i-step] + 6*src[i] + 4*src[i+step] + src[i+2*step]) / 16
	}
	for y := range p.Height {
		for x := 2; x < w-2; x++ {
			pass(mid.Pixels, p.Pixels, 1, y*w+x)
		}
	}
	for y := 2; y < p.Height-2; y++ {
		for x := range w {
			pass(out.Pixels, mid.Pixels, w, y*w+x)
		}
	}
	for i, v := range out.Pixels {
		if math.IsInf(v, 0) {
			out.Pixels[i] = math.NaN()
		}
	}
	return out
}

// blank is a picture of missing pixels.
func blank(width, height int) Picture {
	p := Picture{width, height, make([]float64, width*height)}
	for i := range p.Pixels {
		p.Pixels[i] = math.NaN()
	}
	return p
}

// coarseShift finds a shift on frames of half the size, which see twice as far.
func coarseShift(f, m Picture, levels int) Shift {
	if levels == 0 || min(f.Width, f.Height) < 4*minSidePx {
		return Shift{}
	}
	hf, hm := halved(f), halved(m)
	s := refine(hf, hm, coarseShift(hf, hm, levels-1))
	if s.Why != "" {
		return Shift{}
	}
	return Shift{DXPx: 2 * s.DXPx, DYPx: 2 * s.DYPx}
}

func halved(p Picture) Picture {
	h := Picture{p.Width / 2, p.Height / 2, nil}
	for y := range h.Height {
		for x := range h.Width {
			i := 2*y*p.Width + 2*x
			h.Pixels = append(h.Pixels, (p.Pixels[i]+p.Pixels[i+1]+p.Pixels[i+p.Width]+p.Pixels[i+p.Width+1])/4)
		}
	}
	return smooth(h)
}

// smoothedNoise is how many standard deviations of noise before the smoothing
// one after it stands for, squared: 4 pi sigma² with sigma² = 1 px². Neighbours
// share their noise after it.
const smoothedNoise = 4 * math.Pi

// refine improves a shift until it moves no more. Why is set when it does not
// come to rest, or there is nothing to hold on to.
func refine(f, m Picture, s Shift) Shift {
	const rounds, rest = 50, 1e-5
	for range rounds {
		e := accumulate(f, m, s)
		if e.n < minSidePx*minSidePx/2 {
			return Shift{Why: "the frames do not overlap enough"}
		}
		var chol mat.Cholesky
		if !chol.Factorize(e.normal) || chol.Cond() > 1e12 {
			return Shift{DXPx: s.DXPx, DYPx: s.DYPx, UXPx: math.Inf(1), UYPx: math.Inf(1), Why: "the frames have no structure in one direction, or none at all"}
		}
		var step mat.VecDense
		if err := chol.SolveVecTo(&step, e.right); err != nil {
			return Shift{Why: "the frames have no structure in one direction, or none at all"}
		}
		dx, dy := math.Max(-1, math.Min(1, step.AtVec(0))), math.Max(-1, math.Min(1, step.AtVec(1)))
		s.DXPx, s.DYPx = s.DXPx+dx, s.DYPx+dy
		if math.Hypot(dx, dy) < rest {
			e.describe(&s, &chol, step.AtVec(2), float64(f.Width*f.Height))
			return s
		}
	}
	return Shift{DXPx: s.DXPx, DYPx: s.DYPx, UXPx: math.Inf(1), UYPx: math.Inf(1), Why: "the shift does not come to rest"}
}

// equations are the normal equations of one round, for the change of the shift,
// the gain and the offset, with both frames less their means.
type equations struct {
	normal       *mat.SymDense
	right        *mat.VecDense
	n            float64
	ff, mm, fm   float64 // sums of squares and products about the means
	fMean, mMean float64
}

func accumulate(f, m Picture, s Shift) equations {
	sample := newSampler(s.DXPx, s.DYPx)
	var n, sum [5]float64 // of gx, gy, f, 1, m
	var cross [5][5]float64
	e := equations{fMean: firstFinite(f), mMean: firstFinite(m)}
	for y := range f.Height {
		for x := range f.Width {
			fv := f.Pixels[y*f.Width+x]
			if math.IsNaN(fv) {
				continue
			}
			v, gx, gy := sample.at(m, x, y, true)
			if math.IsNaN(v) {
				continue
			}
			n = [5]float64{gx, gy, fv - e.fMean, 1, v - e.mMean}
			for i := range n {
				sum[i] += n[i]
				for j := range i + 1 {
					cross[i][j] += n[i] * n[j]
				}
			}
		}
	}
	e.n = cross[3][3]
	e.ff = cross[2][2] - sum[2]*sum[2]/e.n
	e.mm = cross[4][4] - sum[4]*sum[4]/e.n
	e.fm = cross[4][2] - sum[4]*sum[2]/e.n
	// m(x+d) + gx dx + gy dy = gain f + offset, in the least-squares sense.
	e.normal, e.right = mat.NewSymDense(4, nil), mat.NewVecDense(4, nil)
	sign := [4]float64{1, 1, -1, -1}
	for i := range 4 {
		for j := range i + 1 {
			e.normal.SetSym(i, j, sign[i]*sign[j]*cross[i][j])
		}
		e.right.SetVec(i, -sign[i]*cross[4][i])
	}
	return e
}

// firstFinite is a value near those of the picture, to keep sums of squares small.
func firstFinite(p Picture) float64 {
	for _, v := range p.Pixels {
		if !math.IsNaN(v) {
			return v
		}
	}
	return 0
}

// describe fills in what the fit says about the shift.
func (e *equations) describe(s *Shift, chol *mat.Cholesky, gain, pixels float64) {
	s.Gain, s.Overlap = gain, e.n/pixels
	if e.ff > 0 && e.mm > 0 {
		s.Correlation = e.fm / math.Sqrt(e.ff*e.mm)
	}
	residual := math.Max(e.mm*(1-s.Correlation*s.Correlation), 0) / e.n
	var inverse mat.SymDense
	if err := chol.InverseTo(&inverse); err != nil {
		s.UXPx, s.UYPx = math.Inf(1), math.Inf(1)
		return
	}
	s.UXPx = math.Sqrt(residual * smoothedNoise * inverse.At(0, 0))
	s.UYPx = math.Sqrt(residual * smoothedNoise * inverse.At(1, 1))
}
