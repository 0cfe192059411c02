package lockin

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// The fit's terms are 1, the trend's powers of time, and cosine and sine of the
// frequency and its harmonics. All pixels share the
// normal equations, so that only the sums of each pixel with each term are kept.
const (
	batch   = 8 // frames whose sums are made at a time
	trendAt = 1 // place of the trend among the terms

	// Harmonics, the fundamental among them, that are fitted along where the frame
	// rate allows, so that the shape of the oscillation counts neither as noise nor
	// as trend: a heater's power doubles the frequency of its current.
	sineHarmonics   = 3
	squareHarmonics = 5
)

// fitted are the sums of one part of the frame.
type fitted struct {
	job        job
	trend      int // powers of time kept: the trend is settled at the end
	harmonics  int
	pixel      int
	level      []float64
	sums       [][]float64 // by term
	squares    []float64
	normal     *mat.SymDense
	first      float64 // time of the first frame
	last       float64
	frames     int // used
	held       [batch][]float64
	terms      [batch][]float64
	waiting    int
	emptyFrame int
}

func (j job) newFitted(pixel, pixels int) *fitted {
	v := &fitted{job: j, trend: Quadratic.terms(), harmonics: sineHarmonics, pixel: pixel, squares: make([]float64, pixels)}
	if j.o.Trend != Fitting {
		v.trend = j.o.Trend.terms()
	}
	if j.o.Drive == Square {
		v.harmonics = squareHarmonics
	}
	n := trendAt + v.trend + 2*v.harmonics
	v.normal = mat.NewSymDense(n, nil)
	for range n {
		v.sums = append(v.sums, make([]float64, pixels))
	}
	for i := range batch {
		v.held[i], v.terms[i] = make([]float64, pixels), make([]float64, n)
	}
	return v
}

// add takes one frame. One that misses every pixel does not count.
func (v *fitted) add(s frame.Sums) {
	t := s.TimeS
	if v.job.o.RateHz > 0 {
		t = float64(s.First) / v.job.o.RateHz
	}
	if v.frames+v.emptyFrame == 0 {
		v.first = t
	}
	v.last = t
	if allMissing(s.Values) {
		v.emptyFrame++
		return
	}
	if v.level == nil {
		v.level = append([]float64(nil), s.Values...)
	}
	periods := (t - v.first) * v.job.o.FrequencyHz
	if v.job.o.RateHz > 0 {
		periods = float64(s.First) * (v.job.o.FrequencyHz / v.job.o.RateHz)
	}
	terms := v.terms[v.waiting]
	terms[0] = 1
	for k := range v.trend {
		terms[trendAt+k] = math.Pow(periods, float64(k+1))
	}
	_, turn := math.Modf(periods)
	for h := range v.harmonics {
		sin, cos := math.Sincos(2 * math.Pi * float64(h+1) * turn)
		terms[trendAt+v.trend+2*h], terms[trendAt+v.trend+2*h+1] = cos, -sin
	}
	for a, x := range terms {
		for b := range a + 1 {
			v.normal.SetSym(a, b, v.normal.At(a, b)+x*terms[b])
		}
	}
	held := v.held[v.waiting]
	for i, x := range s.Values {
		held[i] = x - v.level[i]
	}
	v.frames++
	if v.waiting++; v.waiting == batch {
		v.sum()
	}
}

func allMissing(values []float64) bool {
	for _, x := range values {
		if !math.IsNaN(x) {
			return false
		}
	}
	return true
}

// sum adds the frames that wait.
func (v *fitted) sum() {
	for i := v.waiting; i < batch; i++ {
		clear(v.held[i])
		clear(v.terms[i])
	}
	v.waiting = 0
	h := &v.held
	a, b, c, d, e, f, g, k := h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7]
	for t, sums := range v.sums {
		var w [batch]float64
		for i := range w {
			w[i] = v.terms[i][t]
		}
		for i := range sums {
			sums[i] += w[0]*a[i] + w[1]*b[i] + w[2]*c[i] + w[3]*d[i] + w[4]*e[i] + w[5]*f[i] + w[6]*g[i] + w[7]*k[i]
		}
	}
	for i := range v.squares {
		v.squares[i] += a[i]*a[i] + b[i]*b[i] + c[i]*c[i] + d[i]*d[i] + e[i]*e[i] + f[i]*f[i] + g[i]*g[i] + k[i]*k[i]
	}
}

// fit analyses a stack by least squares.
func (j job) fit(s *frame.Stack) (Result, error) {
	var parts []*fitted
	folded, err := s.Fold(frame.Folding{Length: 1, Cycles: 1}, func(pixel, pixels int) frame.Receive {
		v := j.newFitted(pixel, pixels)
		parts = append(parts, v)
		return v.add
	})
	if err != nil {
		return Result{}, err
	}
	r := j.result()
	r.Method, r.Frames, r.SaturatedPixels = LeastSquares, folded.Frames, folded.SaturatedPixels
	v := parts[0]
	r.FramesUsed, r.RateHz = v.frames, j.o.RateHz
	if r.RateHz == 0 && v.last > v.first {
		r.RateHz = float64(folded.Frames-1) / (v.last - v.first)
	}
	if r.FramesUsed < 2 {
		return Result{}, fault.Invalidf("%d frame is no series", r.FramesUsed).WithHint("give a stack of at least one period")
	}
	if err := j.check(r.RateHz, folded.Frames); err != nil {
		return Result{}, err
	}
	r.Trend = j.trend(float64(folded.Frames) * j.o.FrequencyHz / r.RateHz)
	e, err := v.equations(r.Trend, r.RateHz)
	if err != nil {
		return Result{}, err
	}
	r.Degrees = e.degrees
	if j.o.RateHz > 0 {
		r.places = cycleLength(j.o, folded.Frames)
	}
	for _, v := range parts {
		v.sum()
		for i := range v.squares {
			r.set(v.pixel+i, e.pixel(v, i))
		}
	}
	return r, r.finish(j.o)
}

// equations are the fit's normal equations, solved.
type equations struct {
	used    []int     // terms, the constant first
	weights []float64 // inverse matrix, by rows
	at      int       // row of the cosine; the sine follows
	unit    covariance
	degrees int
}

// equations picks the terms that are fitted and inverts.
func (v *fitted) equations(trend Trend, rateHz float64) (*equations, error) {
	e := &equations{used: []int{0}}
	for k := range trend.terms() {
		e.used = append(e.used, trendAt+k)
	}
	e.at = len(e.used)
	for h := range v.harmonics {
		// Harmonics near half the frame rate are not told from others.
		if h > 0 && (2.2*float64(h+1)*v.job.o.FrequencyHz > rateHz || v.frames < 4*(len(e.used)+2)) {
			break
		}
		e.used = append(e.used, trendAt+v.trend+2*h, trendAt+v.trend+2*h+1)
	}
	n := len(e.used)
	if e.degrees = v.frames - n; e.degrees < 1 {
		return nil, fault.Invalidf("%d frames are too few to tell noise from signal", v.frames).WithHint("take more frames, or leave the trend in with --trend none")
	}
	// Scaled to a diagonal of ones, which the powers of time are far from.
	m, scale := mat.NewSymDense(n, nil), make([]float64, n)
	for a, from := range e.used {
		scale[a] = 1 / math.Sqrt(v.normal.At(from, from))
	}
	for a := range n {
		for b := range a + 1 {
			m.SetSym(a, b, v.normal.At(e.used[a], e.used[b])*scale[a]*scale[b])
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(m) || chol.Cond() > 1e10 || chol.InverseTo(&inverse) != nil {
		return nil, fault.Invalidf("the times of the frames do not tell the oscillation from the trend").WithHint("take more periods, or frames spread over the period")
	}
	e.weights = make([]float64, n*n)
	for a := range n {
		for b := range n {
			e.weights[a*n+b] = inverse.At(a, b) * scale[a] * scale[b]
		}
	}
	c, s := e.at*n+e.at, (e.at+1)*n+e.at+1
	e.unit = covariance{ii: e.weights[c], qq: e.weights[s], iq: e.weights[c+1]}
	return e, nil
}

// pixel solves for one pixel of a part.
func (e *equations) pixel(v *fitted, i int) oscillation {
	n, left := len(e.used), v.squares[i]
	var o oscillation
	for a, term := range e.used {
		x := 0.0
		for b, other := range e.used {
			x += e.weights[a*n+b] * v.sums[other][i]
		}
		left -= x * v.sums[term][i]
		switch a {
		case e.at:
			o.inPhase = x
		case e.at + 1:
			o.quadrature = x
		}
	}
	o.mean = v.level[i] + v.sums[0][i]/float64(v.frames)
	variance := max(0, left) / float64(e.degrees)
	if math.IsNaN(left) {
		variance = left
	}
	o.noise, o.cov = math.Sqrt(variance), e.unit.times(variance)
	return o
}
