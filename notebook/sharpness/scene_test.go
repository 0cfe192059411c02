package sharpness

import (
	"math"
	"math/rand/v2"

	"dieglow/notebook/frame"
)

// scene is a picture in closed form, with noise of a stated seed.
type scene struct {
	width, height int
	degrees       float64                           // of the edge or wire off the columns
	offset        float64                           // of it from the middle of the frame, px
	profile       func(d float64) float64           // by the distance across it, px
	pixel         func(x, y, slope float64) float64 // in place of profile: integrated over a pixel
	low, high     float64
	noise         float64
	seed          uint64
}

func (s scene) frame() frame.Frame {
	f := frame.Frame{Width: s.width, Height: s.height, Pixels: make([]float64, s.width*s.height)}
	r := rand.New(rand.NewPCG(s.seed, 1))
	sin, cos := math.Sincos(s.degrees * math.Pi / 180)
	for y := range s.height {
		for x := range s.width {
			u, v := float64(x)-float64(s.width-1)/2-s.offset, float64(y)-float64(s.height-1)/2
			var p float64
			if s.pixel != nil {
				p = s.pixel(u*cos-v*sin, cos, sin)
			} else {
				p = s.profile(u*cos - v*sin)
			}
			f.Pixels[y*s.width+x] = s.low + (s.high-s.low)*p + s.noise*r.NormFloat64()
		}
	}
	return f
}

func phi(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// gaussianEdge is a step blurred by a Gaussian of standard deviation sigma.
func gaussianEdge(sigma float64) func(float64) float64 {
	return func(d float64) float64 { return phi(d / sigma) }
}

// boxEdge is a step blurred by a box of width w.
func boxEdge(w float64) func(float64) float64 {
	return func(d float64) float64 { return max(0, min(1, d/w+0.5)) }
}

// gaussianEdgeOverPixel is gaussianEdge integrated over a square pixel: with G the
// second antiderivative of the normal distribution, the double difference of G
// over the pixel's corners. The edge's normal has the components nx and ny.
func gaussianEdgeOverPixel(sigma float64) func(d, nx, ny float64) float64 {
	second := func(d float64) float64 {
		return ((d*d+sigma*sigma)*phi(d/sigma) + d*sigma*math.Exp(-d*d/(2*sigma*sigma))/math.Sqrt(2*math.Pi)) / 2
	}
	return func(d, nx, ny float64) float64 {
		if math.Abs(ny) < 1e-9 {
			first := func(d float64) float64 {
				return d*phi(d/sigma) + sigma*math.Exp(-d*d/(2*sigma*sigma))/math.Sqrt(2*math.Pi)
			}
			return (first(d+nx/2) - first(d-nx/2)) / nx
		}
		a, b := nx/2, ny/2
		return (second(d+a+b) - second(d+a-b) - second(d-a+b) + second(d-a-b)) / (nx * ny)
	}
}

// diffractionEdge is the incoherent edge of an ideal circular aperture with cut-off
// frequency 1/(lambda N), from its modulation transfer function by quadrature:
// 1/2 + 1/pi integral of M(f) sin(2 pi f x)/f.
func diffractionEdge(lambdaN float64) func(float64) float64 {
	const steps, reach, count = 4000, 400.0, 80001
	table := make([]float64, count)
	for i := range table {
		x := (float64(i)/(count-1)*2 - 1) * reach // in lambda N
		if math.Abs(x) > 60 {
			// The quadrature's steps no longer follow the oscillation; the tail is
			// 1 - E = 2/(pi^2 ... x), from the slope of M at 0, -4/pi: see tail below.
			table[i] = diffractionTail(x)
			continue
		}
		sum := 0.0
		for k := range steps {
			v := (float64(k) + 0.5) / steps
			m := 2 / math.Pi * (math.Acos(v) - v*math.Sqrt(1-v*v))
			sum += m * math.Sin(2*math.Pi*v*x) / v / steps
		}
		table[i] = 0.5 + sum/math.Pi
	}
	return func(d float64) float64 {
		t := (d/lambdaN/reach + 1) / 2 * (count - 1)
		i := int(t)
		if i < 0 {
			return table[0]
		}
		if i >= count-1 {
			return table[count-1]
		}
		return table[i] + (t-float64(i))*(table[i+1]-table[i])
	}
}

// diffractionTail is the edge far out: a line spread a/(2 pi^2 x^2) belongs to a
// modulation that starts as 1 - a|f|, here a = 4/pi.
func diffractionTail(x float64) float64 {
	t := 4 / math.Pi / (2 * math.Pi * math.Pi * math.Abs(x))
	if x > 0 {
		return 1 - t
	}
	return t
}
