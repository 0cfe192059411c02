package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// Frame is an invented frame, as a file of comma-separated degrees Celsius.
type Frame struct {
	Name string
	CSV  []byte
}

// Frames makes the scenario's frames from closed forms with noise of a fixed seed.
func Frames() []Frame {
	spot := func(x0, y0, width, peak float64) func(x, y float64) float64 {
		return func(x, y float64) float64 {
			return peak * math.Exp(-((x-x0)*(x-x0)+(y-y0)*(y-y0))/(2*width*width))
		}
	}
	die := func(power float64) func(x, y float64) float64 {
		left, right, whole := spot(26, 30, 5, 31*power), spot(54, 30, 5, 2.5*power), spot(40, 30, 22, 24*power)
		return func(x, y float64) float64 { return 22.9 + left(x, y) + right(x, y) + whole(x, y) }
	}
	board := func(x, y float64) float64 {
		return 22 + spot(22, 22, 6, 27.6)(x, y) + spot(58, 38, 7, 27.1)(x, y) + spot(40, 30, 30, 9)(x, y)
	}
	return []Frame{
		frame("wire-50-close.csv", 256, 192, 1, wire),
		frame("foil-wide.csv", 256, 192, 2, bars),
		frame("drv-1-reference.csv", 80, 60, 3, die(0)),
		frame("drv-1-half-watt.csv", 80, 60, 4, die(0.5)),
		frame("drv-1-one-watt.csv", 80, 60, 5, die(1)),
		frame("board-1.csv", 80, 60, 6, board),
	}
}

// wire is a cool wire, two pixels wide, before a warm background, blurred.
func wire(x, _ float64) float64 {
	const centre, half, sigma = 128.3, 1.0, 1.1
	cover := (math.Erf((x-centre+half)/(sigma*math.Sqrt2)) - math.Erf((x-centre-half)/(sigma*math.Sqrt2))) / 2
	return 45 - 20*cover
}

// bars are warm openings in a cool foil, a little over two pixels wide, blurred.
func bars(x, y float64) float64 {
	if y < 40 || y > 150 {
		return 24
	}
	return 30 + 6*0.5*math.Cos(2*math.Pi*x/4.5)
}

// noiseK is the standard deviation of a pixel's noise in the invented frames.
const noiseK = 0.02

func frame(name string, width, height int, seed uint64, temperature func(x, y float64) float64) Frame {
	noise := rand.New(rand.NewPCG(seed, 2026))
	var b strings.Builder
	for y := range height {
		for x := range width {
			if x > 0 {
				b.WriteByte(',')
			}
			fmt.Fprintf(&b, "%.2f", temperature(float64(x), float64(y))+noiseK*noise.NormFloat64())
		}
		b.WriteByte('\n')
	}
	return Frame{name, []byte(b.String())}
}
