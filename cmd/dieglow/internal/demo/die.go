package demo

import (
	"math"
)

// The invented die: a plate of silicon, seen from the side where it is heated and
// cooled by a film on the other. It fills the frame of setup close.
const (
	dieColumns, dieRows = 256, 192
	pixelUM             = 25.6 // what a pixel really sees, not what optics predicts
	thicknessMM         = 0.3
	conductivityWMK     = 148  // of silicon at room temperature, usual value
	filmWM2K            = 1500 // of the attach and the heat sink, invented
	blurPx              = 0.9  // standard deviation of the setup's blur
	ambientC            = 23.0
)

// heater is a rectangle that dissipates a share of the die's power; its sides are
// shares of the die's.
type heater struct{ x0, x1, y0, y1, share float64 }

// heaters are the two output transistors; nearly all goes into the left one.
func heaters() []heater {
	return []heater{{0.26, 0.35, 0.42, 0.60, 0.88}, {0.65, 0.74, 0.42, 0.60, 0.12}}
}

// wrongHeaters put all power into the right one, as the wrong model has it.
func wrongHeaters() []heater { return []heater{{0.65, 0.74, 0.42, 0.60, 1}} }

// terms is how many cosines each way the map is made of.
const terms = 96

// rise returns the temperature rise over the die in kelvin, row by row, at the
// middles of columns x rows, for a power in watt. It is the cosine series of a
// plate with insulated sides:
//
//	(k d²/dz² - k kappa²) T = 0, heated at the top, film below:
//	T/q = (1 + (h t/k) s)/(k t kappa² s + h),  s = tanh(kappa t)/(kappa t)
//
// blur is the standard deviation of a Gaussian blur, as a share of the die's width
// over columns.
func rise(columns, rows int, powerW, blur float64, sources []heater) []float64 {
	width, height := dieColumns*pixelUM*1e-6, dieRows*pixelUM*1e-6
	t := thicknessMM * 1e-3
	across := make([][terms]float64, columns) // cos(m pi x/width)
	for x := range across {
		for m := range across[x] {
			across[x][m] = math.Cos(math.Pi * float64(m) * (float64(x) + 0.5) / float64(columns))
		}
	}
	var amplitude [terms][terms]float64
	for n := range terms {
		for m := range terms {
			kx, ky := math.Pi*float64(m)/width, math.Pi*float64(n)/height
			kappa := math.Hypot(kx, ky)
			s := 1.0
			if kappa > 0 {
				s = math.Tanh(kappa*t) / (kappa * t)
			}
			gain := (1 + filmWM2K*t/conductivityWMK*s) / (conductivityWMK*t*kappa*kappa*s + filmWM2K)
			sigma := blur * width / float64(dieColumns)
			gain *= math.Exp(-kappa * kappa * sigma * sigma / 2)
			for _, h := range sources {
				amplitude[n][m] += gain * h.share * powerW / (width * height) * mean(h.x0, h.x1, m) * mean(h.y0, h.y1, n)
			}
		}
	}
	out := make([]float64, 0, columns*rows)
	for y := range rows {
		var line [terms]float64
		for n := range terms {
			c := math.Cos(math.Pi * float64(n) * (float64(y) + 0.5) / float64(rows))
			for m := range terms {
				line[m] += amplitude[n][m] * c
			}
		}
		for x := range columns {
			sum := 0.0
			for m, a := range line {
				sum += a * across[x][m]
			}
			out = append(out, sum)
		}
	}
	return out
}

// mean is the coefficient of cos(n pi u) of a box of unit integral from u0 to u1.
func mean(u0, u1 float64, n int) float64 {
	if n == 0 {
		return 1
	}
	k := math.Pi * float64(n)
	return 2 * (math.Sin(k*u1) - math.Sin(k*u0)) / (k * (u1 - u0))
}

// camera turns true temperatures into what the camera reports through the stack:
// its light is that of a grey surface, of what it reflects, and of the lenses.
type camera struct{ radiance []float64 }

// The conditions of every capture of the die, as the scenario states them.
const (
	emissivity    = 0.93
	transmission  = 0.804 // of three lenses of 0.93
	reflectedC    = 23.2
	opticsC       = 23.1
	lowestC       = 10.0
	stepC         = 0.05
	tableLength   = 4000
	bandLowUM     = 8.0
	bandHighUM    = 14.0
	secondPlanckK = 14387.77 // c2 in µm K (CODATA 2018, rounded)
)

// newCamera tabulates the radiance in the band over temperature.
func newCamera() camera {
	c := camera{radiance: make([]float64, tableLength)}
	for i := range c.radiance {
		k := lowestC + stepC*float64(i) + 273.15
		const waves = 60
		for w := range waves {
			um := bandLowUM + (bandHighUM-bandLowUM)*(float64(w)+0.5)/waves
			c.radiance[i] += math.Pow(um, -5) / math.Expm1(secondPlanckK/(um*k))
		}
	}
	return c
}

func (c camera) of(degC float64) float64 {
	at := (degC - lowestC) / stepC
	i := min(max(int(at), 0), tableLength-2)
	return c.radiance[i] + (at-float64(i))*(c.radiance[i+1]-c.radiance[i])
}

// reports is the apparent temperature of a surface at degC.
func (c camera) reports(degC float64) float64 {
	seen := transmission*(emissivity*c.of(degC)+(1-emissivity)*c.of(reflectedC)) + (1-transmission)*c.of(opticsC)
	low, high := 0, tableLength-1
	for high-low > 1 {
		if mid := (low + high) / 2; c.radiance[mid] <= seen {
			low = mid
		} else {
			high = mid
		}
	}
	return lowestC + stepC*(float64(low)+(seen-c.radiance[low])/(c.radiance[high]-c.radiance[low]))
}

// dieFrame is the camera's frame of the die at a power.
func dieFrame(name string, seed uint64, powerW float64) Frame {
	temperatures := rise(dieColumns, dieRows, powerW, blurPx, heaters())
	c := newCamera()
	return frame(name, dieColumns, dieRows, seed, func(x, y float64) float64 {
		return c.reports(ambientC + temperatures[int(y)*dieColumns+int(x)])
	})
}

// modelFrame is a simulated map of true temperatures on a grid of its own, without
// noise and blur.
func modelFrame(name string, powerW float64, sources []heater) Frame {
	const columns, rows = dieColumns / 2, dieRows / 2
	temperatures := rise(columns, rows, powerW, 0, sources)
	return quiet(name, columns, rows, func(x, y float64) float64 { return ambientC + temperatures[int(y)*columns+int(x)] })
}
