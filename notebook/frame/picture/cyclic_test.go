package picture

import (
	"image/color"
	"math"
	"testing"

	"dieglow/notebook/frame"
)

// lab returns the CIELAB values of an sRGB colour, by the matrix of IEC 61966-2-1
// in its other direction and the white that it makes of (1, 1, 1).
func lab(c color.RGBA) (l, a, b float64) {
	red, green, blue := linear(c.R), linear(c.G), linear(c.B)
	root := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := root((0.4124*red + 0.3576*green + 0.1805*blue) / 0.9505)
	y := root(0.2126*red + 0.7152*green + 0.0722*blue)
	z := root((0.0193*red + 0.1192*green + 0.9505*blue) / 1.0890)
	return 116*y - 16, 500 * (x - y), 200 * (y - z)
}

// TestCyclic: the ramp is a circle. All colours have its lightness, neighbours,
// first and last among them, lie one step of the circle apart, and nothing is cut
// off by sRGB; each as far as channels of 8 bits allow.
func TestCyclic(t *testing.T) {
	t.Parallel()
	c := Cyclic.colours()
	for i, v := range c {
		next := c[(i+1)%len(c)]
		l, a, b := lab(v)
		m, d, e := lab(next)
		if math.Abs(l-cyclicLightness) > 0.4 || math.Abs(math.Hypot(a, b)-cyclicChroma) > 1 {
			t.Errorf("colour %d: lightness %.2f, chroma %.2f", i, l, math.Hypot(a, b))
		}
		if step := math.Sqrt((l-m)*(l-m) + (a-d)*(a-d) + (b-e)*(b-e)); step > 2*math.Pi*cyclicChroma/256+1 {
			t.Errorf("colour %d to the next: %.2f", i, step)
		}
		if v == Missing() || v == Hidden() {
			t.Errorf("colour %d is that of no value", i)
		}
	}
	sp := span{-180, 180}
	if a, b := c.at(sp, -179.9), c.at(sp, 179.9); gap(int(a.R), int(b.R))+gap(int(a.G), int(b.G))+gap(int(a.B), int(b.B)) > 6 {
		t.Errorf("-180 deg is %v and 180 deg %v", a, b)
	}
}

// TestHiddenPixels: what is hidden is neither called missing nor drawn as such.
func TestHiddenPixels(t *testing.T) {
	t.Parallel()
	f := frame.Frame{Width: 4, Height: 1, Pixels: []float64{1, 2, math.NaN(), math.NaN()}}
	for _, c := range []struct {
		o      Options
		says   string
		colour color.RGBA
	}{
		{Options{}, "2 missing pixels", Missing()},
		{Options{Hidden: "hidden, below 3 standard uncertainties"}, "2 pixels hidden, below 3 standard uncertainties", Hidden()},
		{Options{Hidden: "hidden", Missing: 1}, "1 pixel hidden, 1 missing pixel", Hidden()},
	} {
		s, err := drawnSheet(f, c.o)
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, l := range s.footer() {
			found = found || l.patch && l.text == c.says
		}
		if got := s.img.RGBAAt(s.area.Max.X-2, s.area.Min.Y+2); !found || got != c.colour {
			t.Errorf("%+v: %+v, drawn in %v", c.o, s.footer(), got)
		}
	}
}
