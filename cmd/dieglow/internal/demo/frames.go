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
	board := func(x, y float64) float64 {
		return 22 + spot(22, 22, 6, 27.6)(x, y) + spot(58, 38, 7, 27.1)(x, y) + spot(40, 30, 30, 9)(x, y)
	}
	return []Frame{
		frame("wire-50-close.csv", 256, 192, 1, wire),
		frame("foil-wide.csv", 256, 192, 2, bars),
		frame("edge-close.csv", 256, 192, 7, edge),
		frame("pitch-close.csv", 256, 192, 8, pitch),
		dieFrame("drv-1-reference.csv", 3, 0),
		dieFrame("drv-1-150-milliwatt.csv", 9, 0.15),
		dieFrame("drv-1-180-milliwatt.csv", 10, 0.18),
		dieFrame("drv-1-360-milliwatt.csv", 4, 0.36),
		dieFrame("drv-1-700-milliwatt.csv", 11, 0.7),
		dieFrame("drv-1-one-watt.csv", 5, 1),
		frame("board-1.csv", 80, 60, 6, board),
		modelFrame("model-left.csv", 1, heaters()),
		modelFrame("model-right.csv", 1, wrongHeaters()),
	}
}

// edge is the warm plate behind a sharp cool edge, tilted by 5 degrees, blurred.
func edge(x, y float64) float64 {
	const tilt = 5 * math.Pi / 180
	d := (x-127.5)*math.Cos(tilt) + (y-95.5)*math.Sin(tilt)
	return 25 + 20*0.5*math.Erfc(-d/(blurPx*math.Sqrt2))
}

// pitch is a grid of warm openings 400 µm apart, blurred.
func pitch(x, y float64) float64 {
	wave := func(px float64) float64 { return math.Cos(2 * math.Pi * (px + 0.5) * pixelUM / 400) }
	return 30 + 4*wave(x) + 4*wave(y)
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
	return quiet(name, width, height, func(x, y float64) float64 { return temperature(x, y) + noiseK*noise.NormFloat64() })
}

// quiet writes temperatures as text.
func quiet(name string, width, height int, temperature func(x, y float64) float64) Frame {
	var b strings.Builder
	for y := range height {
		for x := range width {
			if x > 0 {
				b.WriteByte(',')
			}
			fmt.Fprintf(&b, "%.3f", temperature(float64(x), float64(y)))
		}
		b.WriteByte('\n')
	}
	return Frame{name, []byte(b.String())}
}
