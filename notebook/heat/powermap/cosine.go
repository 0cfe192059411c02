package powermap

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// transform is the orthonormal cosine transform (DCT-II) of a map. White noise
// keeps its standard deviation in every coefficient.
type transform struct {
	width, height int
	rows, columns *fourier.QuarterWaveFFT
}

func newTransform(width, height int) transform {
	return transform{width, height, fourier.NewQuarterWaveFFT(width), fourier.NewQuarterWaveFFT(height)}
}

// forward returns the coefficients of a map; the first is its sum over the root
// of its number of pixels.
func (t transform) forward(values []float64) []float64 {
	c := append([]float64(nil), values...)
	t.lines(c, t.analyse)
	return c
}

// back returns the map of coefficients.
func (t transform) back(c []float64) []float64 {
	values := append([]float64(nil), c...)
	t.lines(values, t.compose)
	return values
}

// lines applies a transform of one line to all rows and all columns.
func (t transform) lines(c []float64, one func(fft *fourier.QuarterWaveFFT, line []float64)) {
	for y := range t.height {
		one(t.rows, c[y*t.width:(y+1)*t.width])
	}
	line := make([]float64, t.height)
	for x := range t.width {
		for y := range line {
			line[y] = c[y*t.width+x]
		}
		one(t.columns, line)
		for y, v := range line {
			c[y*t.width+x] = v
		}
	}
}

// analyse is DCT-II, which the library calls a sequence: sum of 4 x cos.
func (t transform) analyse(fft *fourier.QuarterWaveFFT, line []float64) {
	fft.CosSequence(line, line)
	n := float64(len(line))
	first, others := 1/(4*math.Sqrt(n)), math.Sqrt2/(4*math.Sqrt(n))
	line[0] *= first
	for i := range line[1:] {
		line[1+i] *= others
	}
}

// compose is its inverse, DCT-III.
func (t transform) compose(fft *fourier.QuarterWaveFFT, line []float64) {
	n := float64(len(line))
	first, others := 1/math.Sqrt(n), 1/math.Sqrt(2*n)
	line[0] *= first
	for i := range line[1:] {
		line[1+i] *= others
	}
	fft.CosCoefficients(line, line)
}
