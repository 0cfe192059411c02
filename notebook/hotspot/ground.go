package hotspot

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// Background is what the rises that count for detection are over.
type Background struct {
	Method string  `json:"method"`
	Level  float64 `json:"level"`  // its mean: with a reference, by how much the frame as a whole stands above it
	SpanPx int     `json:"window"` // side of the windows in pixels, 0 for one level
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
}

// ground is a frame with its background taken off. For cold spots rises are
// turned over, so that all that follows looks for heights.
type ground struct {
	frame         frame.Frame
	width, height int
	sign          float64
	rise          []float64 // over the reference or the background, turned over for cold spots
	local         []float64 // over the background
	saturated     []bool
	cut           int     // pixels among them that only a plateau tells of
	owner         []int32 // of pixels in a spot or basin; nobody for the others
	noise         Noise
	background    Background
}

const nobody = -1

// clipSD is how many robust standard deviations a pixel may lie off the
// background and still count for it.
const clipSD = 3

func newGround(f frame.Frame, o Options) (*ground, error) {
	g := &ground{frame: f, width: f.Width, height: f.Height, sign: 1, saturated: make([]bool, len(f.Pixels))}
	if o.Cold {
		g.sign = -1
	}
	limit := math.Inf(1)
	if f.Saturation != nil {
		limit = *f.Saturation
	}
	g.owner = make([]int32, len(f.Pixels))
	for i, v := range f.Pixels {
		g.saturated[i], g.owner[i] = v >= limit, nobody
	}
	for _, i := range g.cutOff() {
		if !g.saturated[i] {
			g.saturated[i] = true
			g.cut++
		}
	}
	d, err := difference(f, o.Reference)
	if err != nil {
		return nil, err
	}
	if countFinite(d) == 0 {
		return nil, fault.Invalidf("every pixel is missing").WithHint("export the frame again: it holds no measurement")
	}
	for i := range d {
		d[i] *= g.sign
	}
	g.noise = measureNoise(d, g.width, g.height)
	around := g.surrounding(d)
	level := g.base(d, o, around)
	g.widen(d, around)
	g.local = make([]float64, len(d))
	for i := range d {
		g.local[i] = d[i] - level[i]
	}
	g.rise = g.local
	if o.Reference != nil {
		g.rise = d
	}
	return g, nil
}

// Difference returns the frame less its reference, pixel by pixel, NaN where
// either is missing. Fault Conflict when sizes or units differ.
func Difference(f, reference frame.Frame) (frame.Frame, error) {
	d, err := difference(f, &reference)
	if err != nil {
		return frame.Frame{}, err
	}
	out := f
	out.Pixels, out.MissingCount, out.Saturation = d, len(d)-countFinite(d), nil
	return out, nil
}

func difference(f frame.Frame, reference *frame.Frame) ([]float64, error) {
	d := make([]float64, len(f.Pixels))
	if reference == nil {
		copy(d, f.Pixels)
		return d, nil
	}
	if f.Width != reference.Width || f.Height != reference.Height {
		return nil, fault.Conflictf("the reference has %d x %d pixels, and the frame has %d x %d", reference.Width, reference.Height, f.Width, f.Height).
			WithHint("take the reference with the same camera at the same size, cut alike")
	}
	if f.Unit != reference.Unit {
		return nil, fault.Conflictf("the reference is in %s, and the frame in %s", reference.Unit, f.Unit).WithHint("export both in one unit, and state it with --unit")
	}
	limit := math.Inf(1)
	if reference.Saturation != nil {
		limit = *reference.Saturation
	}
	for i, v := range reference.Pixels {
		if v >= limit {
			v = math.NaN() // how far it lies beyond is not known
		}
		d[i] = f.Pixels[i] - v
	}
	return d, nil
}

func countFinite(v []float64) int {
	n := 0
	for _, x := range v {
		if x == x {
			n++
		}
	}
	return n
}

// base returns the background of every pixel and describes it.
func (g *ground) base(d []float64, o Options, around surround) []float64 {
	out := make([]float64, len(d))
	switch window := o.WindowPx; {
	case window > 0:
		window = min(window, g.width, g.height)
		kept := make([]bool, len(d))
		for i, v := range d {
			kept[i] = v == v
		}
		g.windows(d, out, mesh{window: window, kept: kept})
		g.background = Background{Method: fmt.Sprintf("local, the median of all pixels in windows of %d x %d, interpolated between them", window, window), SpanPx: window}
	case o.Reference != nil:
		level, _ := g.plane(d, false)
		for i := range out {
			out[i] = level[0]
		}
		g.background = Background{Method: "one level, that of the differences to the reference which stand out least"}
	default:
		out, window = around.level, around.window
		g.background = Background{Method: fmt.Sprintf("local, the median of the pixels that do not stand out in windows of %d x %d pixels, interpolated between them", window, window), SpanPx: window}
	}
	b := &g.background
	b.Low, b.High = math.Inf(1), math.Inf(-1)
	for _, v := range out {
		b.Level += g.sign * v / float64(len(out))
		b.Low, b.High = min(b.Low, g.sign*v), max(b.High, g.sign*v)
	}
	return out
}

// planeSample is about how many pixels the plane is looked for on: its level is
// then sure to a fiftieth of the noise, and the final fit takes all.
const planeSample = 4096

// plane fits a level, or a plane, to the pixels that do not stand out, and says
// which those are: within clipSD standard deviations of the most crowded level,
// the middle of the quarter of the pixels that lies closest together, where the
// standard deviation is that of the pixels below it, which no spot has a part in.
// So a spot may cover most of the frame. For a plane, a few rounds of clipping on
// both sides find the slope to begin with.
func (g *ground) plane(d []float64, tilted bool) (plane [3]float64, kept []bool) {
	const rounds, first = 30, 4
	step := max(1, len(d)/planeSample)
	if step > 1 && g.width%step == 0 {
		step++ // not the same columns in every row
	}
	kept = make([]bool, len(d))
	work := make([]float64, 0, len(d)/step+1)
	var c clip
	for round := range rounds {
		work = work[:0]
		for i := 0; i < len(d); i += step {
			if r := d[i] - g.at(plane, i); r == r {
				work = append(work, r)
			}
		}
		if tilted && round < first {
			level := middle(work)
			for i := range work {
				work[i] = math.Abs(work[i] - level)
			}
			c = clip{plane, level, clipSD * max(madToSD*middle(work), g.noise.SD), step}
		} else {
			level, sd := crowded(work)
			c = clip{plane, level, clipSD * max(sd, g.noise.SD), step}
		}
		if !g.keep(d, kept, c) && round >= first {
			break
		}
		plane = g.fitPlane(d, kept, tilted, step)
	}
	c.step = 1
	g.keep(d, kept, c)
	return g.fitPlane(d, kept, tilted, 1), kept
}

// crowded returns the middle of the shortest stretch that holds a quarter of the
// values, which it sorts, and the standard deviation of those below it.
func crowded(v []float64) (level, sd float64) {
	if len(v) == 0 {
		return 0, 0
	}
	slices.Sort(v)
	n := max(1, len(v)/4)
	best := 0
	for i := 0; i+n <= len(v); i++ {
		if v[i+n-1]-v[i] < v[best+n-1]-v[best] {
			best = i
		}
	}
	level = (v[best] + v[best+n-1]) / 2
	below, _ := slices.BinarySearch(v, level)
	if below > 0 {
		sd = madToSD * (level - v[below/2])
	}
	return level, sd
}

// clip is how far pixels may lie off a level over a plane, every so many pixels.
type clip struct {
	plane [3]float64
	level float64
	limit float64
	step  int
}

// keep marks the pixels within the limit and reports whether that changed any.
func (g *ground) keep(d []float64, kept []bool, c clip) (changed bool) {
	for i := 0; i < len(d); i += c.step {
		keep := math.Abs(d[i]-g.at(c.plane, i)-c.level) <= c.limit
		changed = changed || keep != kept[i]
		kept[i] = keep
	}
	return changed
}

// at is the plane at a pixel, with places measured from the middle of the frame.
func (g *ground) at(plane [3]float64, i int) float64 {
	return plane[0] + plane[1]*(float64(i%g.width)-float64(g.width-1)/2) + plane[2]*(float64(i/g.width)-float64(g.height-1)/2)
}

func (g *ground) fitPlane(d []float64, kept []bool, tilted bool, step int) [3]float64 {
	var m [3][3]float64
	var r [3]float64
	for i := 0; i < len(d); i += step {
		if !kept[i] {
			continue
		}
		v := d[i]
		if !tilted {
			m[0][0]++
			r[0] += v
			continue
		}
		h := [3]float64{1, float64(i%g.width) - float64(g.width-1)/2, float64(i/g.width) - float64(g.height-1)/2}
		for a := range h {
			r[a] += h[a] * v
			for b := range h {
				m[a][b] += h[a] * h[b]
			}
		}
	}
	if m[0][0] == 0 {
		return [3]float64{}
	}
	level := [3]float64{r[0] / m[0][0], 0, 0}
	if !tilted {
		return level
	}
	var chol mat.Cholesky
	s := mat.NewSymDense(3, []float64{m[0][0], m[0][1], m[0][2], 0, m[1][1], m[1][2], 0, 0, m[2][2]})
	var x mat.VecDense
	if !chol.Factorize(s) || chol.Cond() > 1e12 || chol.SolveVecTo(&x, mat.NewVecDense(3, r[:])) != nil {
		return level // a frame of one row, or too few pixels kept for a slope
	}
	return [3]float64{x.AtVec(0), x.AtVec(1), x.AtVec(2)}
}

// spread leaves out the neighbours of pixels that stand out, two pixels around:
// the foot of a spot does not stand out itself.
func (g *ground) spread(kept []bool) {
	const reach = 2
	for range reach {
		var out []int
		for i, keep := range kept {
			if keep || math.IsNaN(g.frame.Pixels[i]) {
				continue
			}
			g.around(i, func(j int) {
				if kept[j] {
					out = append(out, j)
				}
			})
		}
		for _, j := range out {
			kept[j] = false
		}
	}
}

// around calls with each of the up to eight neighbours of a pixel.
func (g *ground) around(i int, call func(int)) {
	x, y := i%g.width, i/g.width
	for v := max(0, y-1); v <= min(g.height-1, y+1); v++ {
		for u := max(0, x-1); u <= min(g.width-1, x+1); u++ {
			if u != x || v != y {
				call(v*g.width + u)
			}
		}
	}
}
