package radiometry

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// phaseCorrelation returns the whole-pixel shift of m against f by the phase of
// their cross spectrum (C. D. Kuglin, D. C. Hines, Proc. IEEE Conf. Cybernetics
// and Society 1975, 163), with high frequencies weighted down. Shifts beyond half
// the picture are taken for negative ones.
func phaseCorrelation(f, m Picture) (dx, dy float64) {
	w, h := f.Width, f.Height
	a, b := windowed(f), windowed(m)
	transform(a, w, h, false)
	transform(b, w, h, false)
	const band = 0.15 // cycles a pixel, of a Gaussian weight
	for y := range h {
		for x := range w {
			i := y*w + x
			fx, fy := frequency(x, w), frequency(y, h)
			c := b[i] * complex(real(a[i]), -imag(a[i]))
			size := math.Hypot(real(c), imag(c))
			if size == 0 {
				a[i] = 0
				continue
			}
			a[i] = c * complex(math.Exp(-(fx*fx+fy*fy)/(2*band*band))/size, 0)
		}
	}
	transform(a, w, h, true)
	best := 0
	for i := range a {
		if real(a[i]) > real(a[best]) {
			best = i
		}
	}
	return frequency(best%w, w) * float64(w), frequency(best/w, h) * float64(h)
}

// frequency is that of term i of n, from -1/2 to 1/2.
func frequency(i, n int) float64 {
	if 2*i > n {
		i -= n
	}
	return float64(i) / float64(n)
}

// windowed takes the mean off, sets missing pixels to it, and fades towards the
// edges (Hann).
func windowed(p Picture) []complex128 {
	var sum, n float64
	for _, v := range p.Pixels {
		if !math.IsNaN(v) {
			sum, n = sum+v, n+1
		}
	}
	mean := sum / math.Max(n, 1)
	out := make([]complex128, len(p.Pixels))
	for i, v := range p.Pixels {
		if math.IsNaN(v) {
			continue
		}
		x, y := float64(i%p.Width)+0.5, float64(i/p.Width)+0.5
		sx, sy := math.Sin(math.Pi*x/float64(p.Width)), math.Sin(math.Pi*y/float64(p.Height))
		out[i] = complex((v-mean)*sx*sx*sy*sy, 0)
	}
	return out
}

// transform is the two-dimensional Fourier transform in place, not scaled.
func transform(c []complex128, w, h int, inverse bool) {
	one := func(fft *fourier.CmplxFFT, line []complex128) {
		if inverse {
			fft.Sequence(line, line)
			return
		}
		fft.Coefficients(line, line)
	}
	rows := fourier.NewCmplxFFT(w)
	for y := range h {
		one(rows, c[y*w:(y+1)*w])
	}
	columns, line := fourier.NewCmplxFFT(h), make([]complex128, h)
	for x := range w {
		for y := range line {
			line[y] = c[y*w+x]
		}
		one(columns, line)
		for y := range line {
			c[y*w+x] = line[y]
		}
	}
}
