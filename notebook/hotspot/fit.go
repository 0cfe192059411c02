package hotspot

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// fwhmPerSD is the full width at half maximum of a Gaussian, 2 sqrt(2 ln 2)
// standard deviations.
const fwhmPerSD = 2.3548200450309493

// gaussian is A exp(-(a u² + 2 b u v + c v²)/2) with u, v from its centre.
type gaussian struct{ height, x, y, a, b, c float64 }

const perGaussian = 6

func (q gaussian) at(x, y float64) (value, u, v float64) {
	u, v = x-q.x, y-q.y
	return q.height * math.Exp(-(q.a*u*u+2*q.b*u*v+q.c*v*v)/2), u, v
}

// proper reports whether the shape is an ellipse of sensible size.
func (q gaussian) proper() bool {
	det := q.a*q.c - q.b*q.b
	return q.a > 0 && q.c > 0 && det > 1e-14 && det < 1e4 && !math.IsInf(q.height, 0)
}

// Limits of the fit.
const (
	fitRounds     = 30
	fitNeighbours = 3    // spots fitted together with one
	fitReach      = 3    // standard deviations of the spot around its centre
	mostFitPixels = 2500 // above it, of blocks of pixels
	mostFitWork   = 5e8  // products, about half a second; then the spots left keep their centroids
)

// fitAll fits a Gaussian with an offset to every spot, together with the spots
// that overlap it. Where the fit does not hold, the centroid stays.
func (g *ground) fitAll(spots []Spot) {
	for k, s := range spots {
		for _, i := range s.pixels {
			g.owner[i] = int32(k)
		}
	}
	first := make([]gaussian, len(spots))
	for k, s := range spots {
		first[k] = g.firstGuess(s)
	}
	work := 0.0
	for k := range spots {
		if work > mostFitWork {
			return
		}
		group := overlapping(first, k)
		f := g.newFit(spots, first, group)
		if f == nil {
			continue
		}
		rests := f.solve()
		if work += f.work; !rests {
			continue
		}
		f.describe(&spots[k], g)
		f.share(spots, group, g)
	}
}

// firstGuess takes the size of the spot from the area above half its height.
func (g *ground) firstGuess(s Spot) gaussian {
	peak := g.local[s.PeakYPx*g.width+s.PeakXPx]
	half := 0.0
	var x, y float64
	for _, i := range s.pixels {
		if g.local[i] > peak/2 {
			half++
			x += float64(i % g.width)
			y += float64(i / g.width)
		}
	}
	sd := math.Max(0.5, math.Sqrt(4*half/math.Pi)/fwhmPerSD)
	return gaussian{height: peak, x: x / half, y: y / half, a: 1 / (sd * sd), c: 1 / (sd * sd)}
}

// overlapping returns a spot with the nearest of those whose places of fitting
// overlap its own.
func overlapping(all []gaussian, k int) []int {
	size := func(q gaussian) float64 { return fitReach / math.Sqrt(q.a) }
	apart := func(j int) float64 { return math.Hypot(all[j].x-all[k].x, all[j].y-all[k].y) }
	var near []int
	for j := range all {
		if j != k && apart(j) < size(all[k])+size(all[j]) {
			near = append(near, j)
		}
	}
	slices.SortStableFunc(near, func(i, j int) int {
		if apart(i) < apart(j) {
			return -1
		}
		return 1
	})
	return append([]int{k}, near[:min(len(near), fitNeighbours)]...)
}

// fit is a least-squares fit of a few Gaussians on one offset.
type fit struct {
	x, y, v []float64
	p       []float64 // six a Gaussian, then the offset, and its slopes where tilted
	n       int       // Gaussians
	tilted  bool
	block   int     // side of the blocks of pixels that x, y and v are the means of
	stiff   float64 // weight of a slope's square in the sum: see newFit
	normal  *mat.SymDense
	right   []float64
	sum     float64  // of squared residuals
	work    float64  // products so far
	start   gaussian // the first one as guessed; slopes turn about its centre
}

// offset is the place of the offset among the parameters.
func (f *fit) offset() int { return f.n * perGaussian }

// ground is what the Gaussians stand on at a pixel.
func (f *fit) ground(i int) float64 {
	v := f.p[f.offset():]
	if !f.tilted {
		return v[0]
	}
	return v[0] + v[1]*(f.x[i]-f.start.x) + v[2]*(f.y[i]-f.start.y)
}

// newFit gathers the pixels around the spots of a group, or for wide spots means
// of blocks of them: those of other spots, saturated and missing ones are left out.
// nil where too few are left.
func (g *ground) newFit(spots []Spot, first []gaussian, group []int) *fit {
	f := &fit{n: len(group), start: first[group[0]], tilted: g.background.SpanPx > 0}
	area := 0.0
	for _, k := range group {
		area += math.Pi * sq(first[k].reach())
	}
	f.block = max(1, int(math.Ceil(math.Sqrt(area/mostFitPixels))))
	taken := map[int]bool{}
	for _, k := range group {
		q := first[k]
		reach := q.reach()
		low, high := Point{q.x - reach, q.y - reach}, Point{q.x + reach + 1, q.y + reach + 1}
		for y := max(0, int(low.Y)/f.block); y <= min(g.height-1, int(high.Y))/f.block; y++ {
			for x := max(0, int(low.X)/f.block); x <= min(g.width-1, int(high.X))/f.block; x++ {
				bx, by, v := g.mean(x, y, f.block, group)
				if v != v || taken[y*g.width+x] || math.Hypot(bx-q.x, by-q.y) > reach+0.5 {
					continue
				}
				taken[y*g.width+x] = true
				f.x, f.y, f.v = append(f.x, bx), append(f.y, by), append(f.v, v)
			}
		}
		f.p = append(f.p, q.height, q.x, q.y, q.a, q.b, q.c)
		if spots[k].SaturatedPx > 0 { // the top is cut off: begin above it
			f.p[len(f.p)-perGaussian] *= 1.5
		}
	}
	f.p = append(f.p, 0)
	if f.tilted {
		// A local background may be off by a slope of half the noise of a pixel over
		// a window, which a level may not.
		f.stiff = 4 * sq(float64(g.background.SpanPx)/float64(f.block))
		f.p = append(f.p, 0, 0)
	}
	if len(f.v) < len(f.p)+2 {
		return nil
	}
	return f
}

// reach is how far around its centre a Gaussian is fitted.
func (q gaussian) reach() float64 { return math.Max(2, fitReach/math.Sqrt(q.a)) }

// mean returns the middle and the mean of a block of pixels, counted in blocks;
// NaN where one of them belongs to a spot outside the group, or is saturated,
// missing or not in the frame.
func (g *ground) mean(x, y, block int, group []int) (mx, my, v float64) {
	n := float64(block * block)
	for j := y * block; j < (y+1)*block; j++ {
		for i := x * block; i < (x+1)*block; i++ {
			if i >= g.width || j >= g.height {
				return 0, 0, math.NaN()
			}
			k := j*g.width + i
			if g.saturated[k] || g.owner[k] != nobody && !slices.Contains(group, int(g.owner[k])) {
				return 0, 0, math.NaN()
			}
			v += g.local[k] / n
		}
	}
	half := float64(block-1) / 2
	return float64(x*block) + half, float64(y*block) + half, v
}

func (f *fit) gaussian(k int) gaussian {
	p := f.p[k*perGaussian:]
	return gaussian{p[0], p[1], p[2], p[3], p[4], p[5]}
}

// residuals returns the sum of squared residuals under parameters, and fills in
// the normal equations when asked.
func (f *fit) residuals(equations bool) float64 {
	m := len(f.p)
	var normal, row []float64
	if equations {
		normal, row = make([]float64, m*m), make([]float64, m)
		f.right = make([]float64, m)
	}
	sum, first := 0.0, f.start
	if equations {
		f.work += float64(len(f.v)*m*m) / 2
	}
	f.work += float64(len(f.v) * m)
	for i, v := range f.v {
		model := f.ground(i)
		for k := range f.n {
			q := f.gaussian(k)
			e, dx, dy := q.at(f.x[i], f.y[i])
			model += e
			if equations {
				copy(row[k*perGaussian:], []float64{e / q.height, e * (q.a*dx + q.b*dy), e * (q.b*dx + q.c*dy), -e * dx * dx / 2, -e * dx * dy, -e * dy * dy / 2})
			}
		}
		r := v - model
		sum += r * r
		if !equations {
			continue
		}
		row[f.offset()] = 1
		if f.tilted {
			row[m-2], row[m-1] = f.x[i]-first.x, f.y[i]-first.y
		}
		for a, ra := range row {
			f.right[a] += ra * r
			line := normal[a*m:]
			for b := a; b < m; b++ {
				line[b] += ra * row[b]
			}
		}
	}
	for a := f.offset() + 1; a < m; a++ { // slopes
		sum += f.stiff * sq(f.p[a])
		if equations {
			normal[a*m+a] += f.stiff
			f.right[a] -= f.stiff * f.p[a]
		}
	}
	if equations {
		f.normal = mat.NewSymDense(m, normal)
	}
	return sum
}

// solve runs the damped iteration (D. W. Marquardt, J. SIAM 11, 431 (1963)) and
// reports whether it came to rest on proper ellipses.
func (f *fit) solve() bool {
	damping := 1e-3
	f.sum = f.residuals(true)
	m := len(f.p)
	for range fitRounds {
		damped := mat.NewSymDense(m, nil)
		damped.CopySym(f.normal)
		for a := range m {
			damped.SetSym(a, a, f.normal.At(a, a)*(1+damping))
		}
		var chol mat.Cholesky
		var step mat.VecDense
		if !chol.Factorize(damped) || chol.SolveVecTo(&step, mat.NewVecDense(m, f.right)) != nil {
			return false
		}
		before := slices.Clone(f.p)
		for a := range m {
			f.p[a] += step.AtVec(a)
		}
		sum := math.Inf(1)
		if f.proper() {
			sum = f.residuals(false)
		}
		if !(sum <= f.sum) {
			f.p = before
			if damping *= 10; damping > 1e10 {
				return f.rests()
			}
			continue
		}
		gain := f.sum - sum
		f.sum, damping = f.residuals(true), math.Max(damping/10, 1e-12)
		if gain <= 1e-7*f.sum {
			return f.rests()
		}
	}
	return false
}

func (f *fit) proper() bool {
	for k := range f.n {
		if !f.gaussian(k).proper() {
			return false
		}
	}
	return true
}

// rests reports whether the equations have one solution here.
func (f *fit) rests() bool {
	var chol mat.Cholesky
	return f.proper() && chol.Factorize(f.normal)
}

// describe writes what the fit says of its first Gaussian into the spot, where
// it is believable: centre in or beside the spot, a height above the noise, and a
// size that the pixels show.
//
// For a lone round spot of height A the standard uncertainty of the centre comes
// to sqrt(2/pi) sd/A pixels, the least that any estimate has (Cramer-Rao bound of
// a Gaussian in white noise; the background-limited term of R. E. Thompson et al.,
// Biophys. J. 82, 2775 (2002), eq. 17, is the same), both from memory. Shared
// noise widens it by the root of the pixels that share, and a shape that is no
// Gaussian by the root of the reduced sum of squares.
func (f *fit) describe(s *Spot, g *ground) {
	q := f.gaussian(0)
	var chol mat.Cholesky
	var c mat.SymDense
	if !chol.Factorize(f.normal) || chol.InverseTo(&c) != nil {
		return
	}
	off := f.offset()
	scale := f.scale(g)
	det := q.a*q.c - q.b*q.b
	e := Ellipse{FWHMPx: fwhmPerSD * math.Pow(det, -0.25)}
	var u2 float64
	slope := [...]float64{q.c, -2 * q.b, q.a} // of det by a, b, c
	for i := range slope {
		for j := range slope {
			u2 += slope[i] * slope[j] * c.At(3+i, 3+j)
		}
	}
	e.UFWHMPx = e.FWHMPx / 4 / det * math.Sqrt(math.Max(0, u2)*scale)
	mean, half := (q.a+q.c)/2, math.Hypot((q.a-q.c)/2, q.b)
	e.MajorPx, e.MinorPx = fwhmPerSD/math.Sqrt(mean-half), fwhmPerSD/math.Sqrt(mean+half)
	e.AngleDeg = math.Atan2(-2*q.b, q.c-q.a) / 2 * 180 / math.Pi
	ux, uy := math.Sqrt(scale*c.At(1, 1)), math.Sqrt(scale*c.At(2, 2))
	uh := math.Sqrt(scale * (c.At(0, 0) + c.At(off, off) + 2*c.At(0, off)))
	size := math.Sqrt(float64(s.AreaPx))
	near := math.Hypot(q.x-s.XPx, q.y-s.YPx) <= 1+size
	if !near || !(q.height > g.noise.SD) || !(e.MinorPx > 0.7) || !(e.MajorPx < 6*(2+size)) || !(ux+uy < 2+size) {
		return
	}
	// Rises and heights share a zero: the background, or with a reference the
	// reference, which lies lower by the background's value at the spot.
	i := s.PeakYPx*g.width + s.PeakXPx
	rise := g.sign * (q.height + f.p[off] + g.rise[i] - g.local[i])
	s.XPx, s.YPx, s.UXPx, s.UYPx, s.From = q.x, q.y, ux, uy, FromFit
	s.Fit, s.FitRise, s.UFitRise = &e, &rise, &uh
}

// scale is the variance that stands for one in the covariance of the parameters.
func (f *fit) scale(g *ground) float64 {
	// A block of b x b pixels has the noise of one over b, and not less where
	// pixels share it; what they share is counted once.
	one := sq(g.noise.SD) / math.Max(1, sq(float64(f.block))/g.noise.CorrelatedPx)
	shared := math.Max(1, g.noise.CorrelatedPx/sq(float64(f.block)))
	reduced := f.sum / float64(len(f.v)-len(f.p)) / one
	return one * shared * math.Max(1, reduced)
}

// share notes how the centre of the first spot of a group goes with those of the
// others, for their distances.
func (f *fit) share(spots []Spot, group []int, g *ground) {
	var chol mat.Cholesky
	var c mat.SymDense
	s := &spots[group[0]]
	if s.From != FromFit || !chol.Factorize(f.normal) || chol.InverseTo(&c) != nil {
		return
	}
	s.with = map[int][4]float64{}
	for k, other := range group[1:] {
		at, scale := (k+1)*perGaussian, f.scale(g)
		s.with[other] = [4]float64{scale * c.At(1, at+1), scale * c.At(1, at+2), scale * c.At(2, at+1), scale * c.At(2, at+2)}
	}
}
