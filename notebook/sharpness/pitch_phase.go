package sharpness

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/mat"

	"dieglow/catalog/fault"
)

// patterns finds the strongest frequency nearer to the rows' direction and the
// strongest nearer to the columns'; one of them may be missing.
func (g field) patterns() ([2]*wave, error) {
	power, nx, ny := g.power()
	var best [2]float64
	var at [2]wave
	total, n := 0.0, 0.0
	for v := range ny {
		fy := float64(v) / float64(ny)
		if v > ny/2 {
			fy -= 1
		}
		for u := 0; u <= nx/2; u++ {
			fx := float64(u) / float64(nx)
			// Four periods at least, across the frame in the pattern's direction.
			if w := (wave{fx, fy}); w.length() > 0.4 || math.Abs(fx)*float64(g.w)+math.Abs(fy)*float64(g.h) < 4 {
				continue
			}
			p := power[v*(nx/2+1)+u]
			total += p
			n++
			i := 0
			if math.Abs(fy) > fx {
				i = 1
			}
			if p > best[i] {
				best[i], at[i] = p, wave{fx, fy}
			}
		}
	}
	var found [2]*wave
	strongest := max(best[0], best[1])
	for i := range at {
		// Noise exceeds its mean power by the logarithm of the number of frequencies.
		if best[i] > 40*(total-best[0]-best[1])/n+1e-30 && best[i] > 1e-3*strongest && best[i] > 0 {
			w := g.sharpen(at[i], 1/float64(max(nx, ny)))
			found[i] = &w
		}
	}
	if found[0] == nil && found[1] == nil {
		return found, fault.Invalidf("no pattern that repeats stands out: four periods at least, of 2.5 pixels or more, are needed").
			WithHint("look at the frame with dieglow frame show; give a part full of the pattern with --crop, or two points with --from, --until and --length")
	}
	return found, nil
}

// power is the windowed power spectrum over a grid of at least twice the frame.
func (g field) power() (p []float64, nx, ny int) {
	nx, ny = powerOf2(g.w), powerOf2(g.h)
	rows := fourier.NewFFT(nx)
	half := nx/2 + 1
	c := make([]complex128, half*ny)
	line, across := make([]float64, nx), make([]float64, g.w)
	for x := range across {
		across[x] = hann(x, g.w)
	}
	for y := range g.h {
		clear(line)
		for x := range g.w {
			line[x] = g.v[y*g.w+x] * across[x] * hann(y, g.h)
		}
		rows.Coefficients(c[y*half:(y+1)*half], line)
	}
	columns := fourier.NewCmplxFFT(ny)
	column := make([]complex128, ny)
	p = make([]float64, half*ny)
	for u := range half {
		for y := range ny {
			column[y] = c[y*half+u]
		}
		columns.Coefficients(column, column)
		for y, v := range column {
			p[y*half+u] = real(v)*real(v) + imag(v)*imag(v)
		}
	}
	return p, nx, ny
}

func powerOf2(n int) int {
	p := 1
	for p < n {
		p *= 2
	}
	return p
}

func hann(i, n int) float64 {
	s := math.Sin(math.Pi * (float64(i) + 0.5) / float64(n))
	return s * s
}

// sharpen climbs to the top of the spectrum near a frequency.
func (g field) sharpen(w wave, step float64) wave {
	all := block{0, 0, g.w, g.h}
	best := cmplx.Abs(g.at(w, all))
	for step > 2e-4 { // the phases say the rest
		moved := false
		for _, d := range []wave{{step, 0}, {-step, 0}, {0, step}, {0, -step}} {
			next := wave{w.x + d.x, w.y + d.y}
			if a := cmplx.Abs(g.at(next, all)); a > best {
				w, best, moved = next, a, true
			}
		}
		if !moved {
			step /= 2
		}
	}
	return w
}

// block is a part of a field.
type block struct{ x, y, w, h int }

// at is the Fourier coefficient of a windowed block, with the phase counted from
// the block's middle.
func (g field) at(f wave, b block) complex128 {
	across := make([]complex128, b.w)
	for x := range across {
		across[x] = cmplx.Rect(hann(x, b.w), -2*math.Pi*f.x*(float64(x)-float64(b.w-1)/2))
	}
	var sum complex128
	for y := range b.h {
		var re, im float64
		for x, v := range g.v[(b.y+y)*g.w+b.x:][:b.w] {
			re += v * real(across[x])
			im += v * imag(across[x])
		}
		sum += complex(re, im) * cmplx.Rect(hann(y, b.h), -2*math.Pi*f.y*(float64(y)-float64(b.h-1)/2))
	}
	return sum
}

// phaseFit is where the lines of a pattern lie: in periods, as a polynomial of the
// position from the middle of the frame in half widths.
type phaseFit struct {
	g        wave // in the middle of the frame
	u        wave // its standard errors
	p        []float64
	residual float64 // periods
}

// terms are the powers of x and y of the polynomial: constant, linear, quadratic, cubic.
func terms() [][2]int {
	return [][2]int{{0, 0}, {1, 0}, {0, 1}, {2, 0}, {1, 1}, {0, 2}, {3, 0}, {2, 1}, {1, 2}, {0, 3}}
}

// phases measures a pattern's phase in windows of four periods all over the field.
func (g field) phases(f wave) (*phaseFit, error) {
	side := max(8, int(math.Ceil(4/f.length())))
	bx, by := min(side, g.w), min(side, g.h)
	strideX, strideY := max(1, bx/2), max(1, by/2)
	type sample struct{ x, y, phase, weight float64 }
	nx, ny := (g.w-bx)/strideX+1, (g.h-by)/strideY+1
	grid := make([]sample, nx*ny)
	top := 0.0
	for j := range ny {
		for i := range nx {
			b := block{i * strideX, j * strideY, bx, by}
			c := g.at(f, b)
			x, y := float64(b.x)+float64(bx-1)/2-float64(g.w-1)/2, float64(b.y)+float64(by-1)/2-float64(g.h-1)/2
			// What the carrier itself would have there is taken off.
			rest := cmplx.Phase(c)/(2*math.Pi) - f.x*x - f.y*y
			grid[j*nx+i] = sample{x, y, rest - math.Round(rest), cmplx.Abs(c)}
			top = max(top, cmplx.Abs(c))
		}
	}
	// Unwrapped outward from the middle, along the middle row and then the columns.
	unwrap := func(from, to int) {
		d := grid[to].phase - grid[from].phase
		grid[to].phase -= math.Round(d)
	}
	cx, cy := nx/2, ny/2
	for i := cx + 1; i < nx; i++ {
		unwrap(cy*nx+i-1, cy*nx+i)
	}
	for i := cx - 1; i >= 0; i-- {
		unwrap(cy*nx+i+1, cy*nx+i)
	}
	for i := range nx {
		for j := cy + 1; j < ny; j++ {
			unwrap((j-1)*nx+i, j*nx+i)
		}
		for j := cy - 1; j >= 0; j-- {
			unwrap((j+1)*nx+i, j*nx+i)
		}
	}
	var x, y, phase []float64
	for _, s := range grid {
		if s.weight > top/4 {
			x, y, phase = append(x, s.x), append(y, s.y), append(phase, s.phase)
		}
	}
	return g.fitPhases(f, x, y, phase)
}

// fitPhases fits the polynomial, with as many terms as the windows carry.
func (g field) fitPhases(f wave, x, y, phase []float64) (*phaseFit, error) {
	use := terms()
	switch {
	case len(phase) < 6:
		return nil, fault.Invalidf("no pattern that repeats evenly fills the frame").WithHint("give a part full of the pattern with --crop column,row,width,height, with eight periods or more")
	case len(phase) < 20:
		use = use[:3]
	}
	halfW, halfH := float64(g.w)/2, float64(g.h)/2
	a := mat.NewDense(len(phase), len(use), nil)
	for i := range phase {
		for k, t := range use {
			a.Set(i, k, math.Pow(x[i]/halfW, float64(t[0]))*math.Pow(y[i]/halfH, float64(t[1])))
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	var p mat.VecDense
	if err := qr.SolveVecTo(&p, false, mat.NewVecDense(len(phase), phase)); err != nil {
		return nil, fault.Invalidf("the pattern fills too little of the frame").WithHint("give a part full of the pattern with --crop column,row,width,height")
	}
	fit := &phaseFit{p: make([]float64, len(terms()))}
	copy(fit.p, p.RawVector().Data)
	ss := 0.0
	for i := range phase {
		got := 0.0
		for k := range use {
			got += a.At(i, k) * p.AtVec(k)
		}
		ss += (phase[i] - got) * (phase[i] - got)
	}
	// Windows overlap by half each way; as they are tapered, about half of them count.
	fit.residual = math.Sqrt(ss / max(1, float64(len(phase)-len(use))))
	var normal, inverse mat.Dense
	normal.Mul(a.T(), a)
	if err := inverse.Inverse(&normal); err != nil {
		return nil, fault.Invalidf("the pattern fills too little of the frame").WithHint("give a part full of the pattern with --crop column,row,width,height")
	}
	fit.g = wave{f.x + fit.p[1]/halfW, f.y + fit.p[2]/halfH}
	fit.u = wave{math.Sqrt2 * fit.residual * math.Sqrt(inverse.At(1, 1)) / halfW, math.Sqrt2 * fit.residual * math.Sqrt(inverse.At(2, 2)) / halfH}
	return fit, nil
}

// bend is how far the terms of one degree move the pattern at a place in half
// widths, in periods.
func (p phaseFit) bend(x, y float64, degree int) float64 {
	sum := 0.0
	for k, t := range terms() {
		if t[0]+t[1] == degree {
			sum += p.p[k] * math.Pow(x, float64(t[0])) * math.Pow(y, float64(t[1]))
		}
	}
	return sum
}
