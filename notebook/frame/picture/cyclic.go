package picture

import (
	"image/color"
	"math"
)

// The circle of colours that Cyclic goes around in CIELAB (CIE 15): all of one
// lightness L*, and of a chroma that sRGB holds at every hue there.
const (
	cyclicLightness = 70.0
	cyclicChroma    = 38.0
)

// cyclic returns the colours of the circle, equal steps of hue from the green end
// of a* on, so that the last is as near to the first as any two neighbours.
func cyclic() *colours {
	var c colours
	for i := range c {
		sin, cos := math.Sincos(2*math.Pi*(float64(i)+0.5)/float64(len(c)) - math.Pi)
		c[i] = fromLab(cyclicLightness, cyclicChroma*cos, cyclicChroma*sin)
	}
	return &c
}

// fromLab returns the sRGB colour (IEC 61966-2-1) of CIELAB values under its white
// D65; what sRGB does not hold is cut off.
func fromLab(l, a, b float64) color.RGBA {
	cube := func(t float64) float64 {
		if t > 6.0/29 {
			return t * t * t
		}
		return 3 * 36.0 / 841 * (t - 4.0/29)
	}
	y := (l + 16) / 116
	x, z := 0.95047*cube(y+a/500), 1.08883*cube(y-b/200)
	y = cube(y)
	channel := func(v float64) uint8 {
		if v = max(0, min(1, v)); v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		return uint8(math.Round(255 * v))
	}
	return color.RGBA{
		R: channel(3.2406*x - 1.5372*y - 0.4986*z),
		G: channel(-0.9689*x + 1.8758*y + 0.0415*z),
		B: channel(0.0557*x - 0.2040*y + 1.0570*z),
		A: 255,
	}
}
