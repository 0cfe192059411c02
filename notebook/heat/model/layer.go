package model

import (
	"math"
)

// layer is the model, blurred, ready to be laid on the measured pixels.
type layer struct {
	width, height int // of the frame
	w, h          int // of the model
	values        []float64
	scale         float64 // measured pixels per model pixel
	sin, cos      float64
	turned        bool
}

func newLayer(j Job) *layer {
	l := &layer{width: j.Measured.Width, height: j.Measured.Height, w: j.Model.Width, h: j.Model.Height, scale: j.scale()}
	l.values = blurred(j.Model.Pixels, l.w, l.h, j.BlurUM/math.Sqrt(8*math.Ln2)/j.ModelPixelUM)
	l.sin, l.cos = math.Sincos(j.RotateDeg * math.Pi / 180)
	l.turned = math.Abs(l.sin) > 1e-12 || l.cos < 0
	return l
}

// blurred convolves with a Gaussian of standard deviation sigma pixels. The map
// goes on beyond its edges as in a mirror. Missing pixels stay so, and are left
// out around them.
func blurred(values []float64, w, h int, sigma float64) []float64 {
	if sigma < 0.1 { // less than a thousandth of it reaches a neighbour
		return values
	}
	reach := int(math.Ceil(4 * sigma))
	kernel := make([]float64, reach+1)
	for i := range kernel {
		// The share of a pixel, not the density at its middle: right for narrow ones too.
		a, b := (float64(i)-0.5)/(sigma*math.Sqrt2), (float64(i)+0.5)/(sigma*math.Sqrt2)
		kernel[i] = (math.Erf(b) - math.Erf(a)) / 2
	}
	rows := smeared(values, w, h, 1, w, kernel)
	return smeared(rows, h, w, w, 1, kernel)
}

// smeared applies a kernel along lines of n values that lie step apart, in m
// lines that lie line apart.
func smeared(values []float64, n, m, step, line int, kernel []float64) []float64 {
	out := make([]float64, len(values))
	for k := range m {
		for i := range n {
			at := k*line + i*step
			if math.IsNaN(values[at]) {
				out[at] = math.NaN()
				continue
			}
			sum, weight := 0.0, 0.0
			for d := -len(kernel) + 1; d < len(kernel); d++ {
				if v := values[k*line+mirror(i+d, n)*step]; !math.IsNaN(v) {
					sum += kernel[max(d, -d)] * v
					weight += kernel[max(d, -d)]
				}
			}
			out[at] = sum / weight
		}
	}
	return out
}

// mirror folds a place beyond the ends of n values back.
func mirror(i, n int) int {
	i %= 2 * n
	if i < 0 {
		i += 2 * n
	}
	if i >= n {
		return 2*n - 1 - i
	}
	return i
}

// at returns the model on the measured pixels with its corner at a place: the mean
// over each pixel, NaN where the model does not reach.
func (l *layer) at(corner Point) []float64 {
	if l.turned {
		return l.sampled(corner)
	}
	return l.averaged(corner)
}

// span are the weights of model pixels from on in one measured pixel.
type span struct {
	from    int
	weights []float64
}

// spans returns the shares of the model's pixels along one axis; empty where the
// model does not cover the pixel. A model pixel holds the mean over itself and
// changes evenly across itself, by half the difference of its neighbours: grids
// that fit into each other keep the means, and others a gradient.
func spans(n, models int, corner, scale float64) []span {
	out := make([]span, n)
	for i := range out {
		a, b := (float64(i)-corner)/scale, (float64(i+1)-corner)/scale
		if a < -1e-9 || b > float64(models)+1e-9 {
			continue
		}
		first, last := max(0, int(a+1e-9)), min(models-1, int(math.Ceil(b-1e-9))-1)
		from := max(0, first-1)
		s := span{from, make([]float64, min(models-1, last+1)-from+1)}
		for k := first; k <= last; k++ {
			low, high := math.Max(a, float64(k)), math.Min(b, float64(k+1))
			share := (high - low) / (b - a)
			left, right := max(0, k-1), min(models-1, k+1)
			s.weights[k-from] += share
			if left < right {
				slope := share * ((low+high)/2 - float64(k) - 0.5) / float64(right-left)
				s.weights[right-from] += slope
				s.weights[left-from] -= slope
			}
		}
		out[i] = s
	}
	return out
}

// averaged weights the model's pixels by the area they share with a measured one.
func (l *layer) averaged(corner Point) []float64 {
	columns, rows := spans(l.width, l.w, corner.X, l.scale), spans(l.height, l.h, corner.Y, l.scale)
	// Along x first, for the model's rows that are needed.
	lines := make([]float64, l.width*l.h)
	for y := range l.h {
		for x, s := range columns {
			sum := math.NaN()
			if len(s.weights) > 0 {
				sum = 0
			}
			for k, w := range s.weights {
				if w != 0 { // a missing neighbour that does not count does no harm
					sum += w * l.values[y*l.w+s.from+k]
				}
			}
			lines[y*l.width+x] = sum
		}
	}
	out := make([]float64, l.width*l.height)
	for y, s := range rows {
		for x := range l.width {
			sum := math.NaN()
			if len(s.weights) > 0 {
				sum = 0
			}
			for k, w := range s.weights {
				if w != 0 {
					sum += w * lines[(s.from+k)*l.width+x]
				}
			}
			out[y*l.width+x] = sum
		}
	}
	return out
}

// sampled averages points of each measured pixel, where the model is turned,
// interpolated between the middles of its pixels.
func (l *layer) sampled(corner Point) []float64 {
	n := min(16, max(3, int(math.Ceil(2/l.scale))))
	middle := Point{corner.X + float64(l.w)*l.scale/2, corner.Y + float64(l.h)*l.scale/2}
	out := make([]float64, l.width*l.height)
	for i := range out {
		sum := 0.0
		for k := range n * n {
			x := float64(i%l.width) + (float64(k%n)+0.5)/float64(n) - middle.X
			y := float64(i/l.width) + (float64(k/n)+0.5)/float64(n) - middle.Y
			// Turned back, since y runs down: clockwise is from x to y.
			u := (l.cos*x+l.sin*y)/l.scale + float64(l.w)/2
			v := (-l.sin*x+l.cos*y)/l.scale + float64(l.h)/2
			sum += l.between(u, v)
		}
		out[i] = sum / float64(n*n)
	}
	return out
}

// between interpolates the model at a place in its own pixels, from its corner.
func (l *layer) between(u, v float64) float64 {
	const edge = 1e-9
	if u < -edge || v < -edge || u > float64(l.w)+edge || v > float64(l.h)+edge {
		return math.NaN()
	}
	u, v = math.Min(math.Max(u-0.5, 0), float64(l.w-1)), math.Min(math.Max(v-0.5, 0), float64(l.h-1))
	x, y := min(int(u), max(0, l.w-2)), min(int(v), max(0, l.h-2))
	fu, fv := u-float64(x), v-float64(y)
	right, down := min(x+1, l.w-1), min(y+1, l.h-1)
	value := func(x, y int) float64 { return l.values[y*l.w+x] }
	return (value(x, y)*(1-fu)+value(right, y)*fu)*(1-fv) + (value(x, down)*(1-fu)+value(right, down)*fu)*fv
}
