package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
	"dieglow/notebook/heat/powermap"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %v, want %v within %g", what, got, want, tol)
	}
}

func of(v float64) *float64 { return &v }

// spot is a Gaussian on the object.
type spot struct{ xUM, yUM, sigmaUM, riseK float64 }

// scene draws spots above 25 °C on pixels of a size, as the mean over each.
func scene(width, height int, pixelUM, blurUM float64, spots ...spot) frame.Frame {
	f := frame.Frame{Width: width, Height: height, Unit: frame.DegC, Pixels: make([]float64, width*height)}
	blur := blurUM / 2.354820045030949
	for i := range f.Pixels {
		f.Pixels[i] = 25
		for _, s := range spots {
			// A Gaussian blurred by one is wider and lower; its mean over a pixel is a product of error functions.
			sigma := math.Hypot(s.sigmaUM, blur)
			share := func(at, middle float64) float64 {
				a, b := (at*pixelUM-middle)/sigma/math.Sqrt2, ((at+1)*pixelUM-middle)/sigma/math.Sqrt2
				return (math.Erf(b) - math.Erf(a)) / 2 * math.Sqrt(2*math.Pi) * sigma / pixelUM
			}
			f.Pixels[i] += s.riseK * math.Pow(s.sigmaUM/sigma, 2) * share(float64(i%width), s.xUM) * share(float64(i/width), s.yUM)
		}
	}
	return f
}

func noisy(f frame.Frame, sigma float64, seed uint64) frame.Frame {
	random := rand.New(rand.NewPCG(seed, 9))
	f.Pixels = slices.Clone(f.Pixels)
	for i := range f.Pixels {
		f.Pixels[i] += sigma * random.NormFloat64()
	}
	return f
}

// chip are three sources on a field of 3.2 x 2.4 mm.
func chip() []spot {
	return []spot{{900, 800, 150, 20}, {2200, 1500, 250, 12}, {1500, 1900, 100, 8}}
}

// right is a measured frame of chip at 25 µm a pixel, moved by 1.3, -0.6 pixels,
// and its model at 10 µm, of the same field.
func right(seed uint64) Job {
	moved := chip()
	for i := range moved {
		moved[i].xUM += 1.3 * 25
		moved[i].yUM -= 0.6 * 25
	}
	return Job{
		Measured: noisy(scene(128, 96, 25, 60, moved...), 0.05, seed), PixelUM: quantity.With(25, 0.05),
		Model: scene(320, 240, 10, 0, chip()...), ModelPixelUM: 10, BlurUM: 60,
		UMeasuredK: of(0.3), UModelK: of(0.4), Regions: []Region{{"left", frame.Rect{X: 26, Y: 22, Width: 20, Height: 20}}, {"right", frame.Rect{X: 78, Y: 50, Width: 20, Height: 20}}},
	}
}

func TestRightModelAgrees(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		c, err := Compare(right(seed))
		if err != nil {
			t.Fatal(err)
		}
		if !c.Judged || !c.Agree {
			t.Errorf("a right model disagrees: %q", c.Reasons)
		}
		near(t, "x of the place", c.Placed.At.X, 1.3, math.Max(3*c.Placed.U.X, 0.02))
		near(t, "y of the place", c.Placed.At.Y, -0.6, math.Max(3*c.Placed.U.Y, 0.02))
		near(t, "scale", c.Scale.Value, 1, 0.005)
		near(t, "bias", c.BiasK.Value, 0, 0.01)
		near(t, "noise from the frame", c.NoiseK, 0.05, 0.005)
		near(t, "rms", c.RMSK, 0.05, 0.01)
		if c.Correlation < 0.999 {
			t.Errorf("correlation %v", c.Correlation)
		}
	}
}

// TestWrongModelsDisagree: a source that lies elsewhere, 30 % more power in one or
// in all, and a model that as a whole lies elsewhere.
func TestWrongModelsDisagree(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		edit func([]spot)
		says string
	}{
		"one source moved by 8 pixels": {func(s []spot) { s[1].xUM += 200 }, "pixels differ"},
		"30 % more in one":             {func(s []spot) { s[0].riseK *= 1.3 }, "region left differs"},
		"30 % more in all": {func(s []spot) {
			for i := range s {
				s[i].riseK *= 1.3
			}
		}, "times the model's"},
		"all moved by 6 pixels": {func(s []spot) {
			for i := range s {
				s[i].xUM += 150
			}
		}, "from where it belongs"},
		"a source missing": {func(s []spot) { s[2].riseK = 0 }, "pixels differ"},
		"all 3 K warmer":   {func([]spot) {}, "the mean differs"},
	} {
		j := right(1)
		spots := chip()
		c.edit(spots)
		j.Model = scene(320, 240, 10, 0, spots...)
		if strings.Contains(name, "warmer") {
			for i := range j.Model.Pixels {
				j.Model.Pixels[i] += 3
			}
		}
		got, err := Compare(j)
		if err != nil {
			t.Fatal(err)
		}
		if got.Agree || !strings.Contains(strings.Join(got.Reasons, "; "), c.says) {
			t.Errorf("%s: agrees %v, %q, want %q", name, got.Agree, got.Reasons, c.says)
		}
	}
}

// TestThicknessOfThePlate measures a plate of 0.5 mm and compares it with models
// of 0.5 and 1 mm.
func TestThicknessOfThePlate(t *testing.T) {
	t.Parallel()
	plate := powermap.Plate{PixelUM: quantity.Exactly(250), ThicknessMM: quantity.Exactly(0.5), ConductivityWMK: quantity.Exactly(148), FilmWM2K: quantity.Exactly(5000)}
	power := make([]float64, 128*96)
	for y := 40; y < 52; y++ {
		for x := 50; x < 66; x++ {
			power[y*128+x] = 5e5
		}
	}
	sheet := func(thicknessMM float64) frame.Frame {
		p := plate
		p.ThicknessMM = quantity.Exactly(thicknessMM)
		rise, err := p.Rise(power, 128, 96)
		if err != nil {
			t.Fatal(err)
		}
		return frame.Frame{Width: 128, Height: 96, Unit: frame.Kelvin, Pixels: rise}
	}
	j := Job{Measured: noisy(sheet(0.5), 0.02, 4), PixelUM: quantity.Exactly(250), Model: sheet(0.5), ModelPixelUM: 250, UMeasuredK: of(0.3), UModelK: of(0.3)}
	if c, err := Compare(j); err != nil || !c.Agree {
		t.Errorf("the right thickness: %v, %q", err, c.Reasons)
	}
	j.Model = sheet(1)
	if c, err := Compare(j); err != nil || c.Agree {
		t.Errorf("twice the thickness agrees: %v, scale %v", err, c.Scale)
	}
}

// TestScale: the slope of a line that is known, with noise in one only.
func TestScale(t *testing.T) {
	t.Parallel()
	j := right(2)
	j.Place, j.Regions = &Point{1.3, -0.6}, nil
	for i, v := range j.Measured.Pixels {
		j.Measured.Pixels[i] = 25 + 1.1*(v-25) + 2
	}
	c, err := Compare(j)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", c.Scale.Value, 1.1, 0.002)
	near(t, "offset", c.OffsetK, 27-1.1*25, 0.05)
	near(t, "shared part of its uncertainty", c.Scale.U, math.Hypot(0.3, 0.4)/18.4, 0.004)
}

// TestAreaWeights: pixels that do not fit into each other keep the mean of a
// gradient, and a whole factor gives block means (closed forms).
func TestAreaWeights(t *testing.T) {
	t.Parallel()
	f := frame.Frame{Width: 30, Height: 20, Pixels: make([]float64, 600)}
	for i := range f.Pixels {
		f.Pixels[i] = 2*(float64(i%30)+0.5) + 3*(float64(i/30)+0.5)
	}
	for _, c := range []struct {
		pixel, turn float64
		corner      Point
	}{{25, 0, Point{0.3, 1.2}}, {23, 0, Point{}}, {10, 0, Point{1, 2}}, {7, 0, Point{1.5, -0.5}}, {25, 30, Point{1, 1}}, {25, 180, Point{0, 0}}} {
		j := Job{Measured: frame.Frame{Width: 20, Height: 16, Pixels: make([]float64, 320)}, PixelUM: quantity.Exactly(c.pixel), Model: f, ModelPixelUM: 10, RotateDeg: c.turn}
		l := newLayer(j)
		found := 0
		for i, v := range l.at(c.corner) {
			if math.IsNaN(v) {
				continue
			}
			found++
			sin, cos := math.Sincos(c.turn * math.Pi / 180)
			mid := Point{c.corner.X + 15*l.scale, c.corner.Y + 10*l.scale}
			x, y := float64(i%20)+0.5-mid.X, float64(i/20)+0.5-mid.Y
			u, w := (cos*x+sin*y)/l.scale+15, (-sin*x+cos*y)/l.scale+10
			if c.turn != 0 && (u < 2.5 || w < 2.5 || u > 27.5 || w > 17.5) {
				continue // interpolation is flat in the outer half pixel
			}
			near(t, "gradient", v, 2*u+3*w, 1e-9)
		}
		if found == 0 {
			t.Errorf("%v: nothing on the frame", c)
		}
	}
}

// TestBlur: a narrow Gaussian blurred by one has the sum of their variances.
func TestBlur(t *testing.T) {
	t.Parallel()
	want := scene(61, 61, 10, 80, spot{305, 305, 60, 10})
	sharp := scene(61, 61, 10, 0, spot{305, 305, 60, 10})
	got := blurred(sharp.Pixels, 61, 61, 80/2.354820045030949/10)
	for i, v := range got {
		// The kernel is averaged over pixels too, which widens by 1/12 of a square pixel.
		near(t, "blurred", v, want.Pixels[i], 0.04)
	}
}

func TestMedianNoise(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(5, 5))
	sum := 0.0
	const n = 40000
	for range n {
		var v [9]float64
		for i := range v {
			v[i] = random.NormFloat64()
		}
		slices.Sort(v[:])
		sum += v[4] * v[4]
	}
	near(t, "standard deviation of the median of nine", math.Sqrt(sum/n), medianNoise, 0.01)
}

// TestNotJudged: without an uncertainty nothing says what agreement would be.
func TestNotJudged(t *testing.T) {
	t.Parallel()
	j := right(1)
	j.UMeasuredK, j.UModelK = nil, nil
	c, err := Compare(j)
	if err != nil || c.Judged || c.Agree {
		t.Errorf("judged %v, agrees %v, %v", c.Judged, c.Agree, err)
	}
}

// TestSmallModel is found within a larger frame, with its place left free.
func TestSmallModel(t *testing.T) {
	t.Parallel()
	j := right(3)
	j.Regions = nil
	cut, err := j.Model.Crop(frame.Rect{X: 30, Y: 20, Width: 240, Height: 200})
	if err != nil {
		t.Fatal(err)
	}
	j.Model = cut
	c, err := Compare(j)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "x", c.Placed.At.X, 12+1.3, 0.05)
	near(t, "y", c.Placed.At.Y, 8-0.6, 0.05)
	if c.Placed.Tested || !c.Agree {
		t.Errorf("tested %v, agrees %v: %q", c.Placed.Tested, c.Agree, c.Reasons)
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		edit func(*Job)
		says string
	}{
		{"no overlap", func(j *Job) { j.Place = &Point{500, 0} }, "does not overlap"},
		{"no model pixel", func(j *Job) { j.ModelPixelUM = 0 }, "model pixel of 0"},
		{"all missing", func(j *Job) {
			for i := range j.Model.Pixels {
				j.Model.Pixels[i] = math.NaN()
			}
		}, "every pixel of the model is missing"},
		{"region outside", func(j *Job) { j.Regions[0].Rect.X = 120 }, "region left"},
		{"region beyond the model", func(j *Job) { j.Place = &Point{60, 0} }, "does not reach there"},
		{"negative uncertainty", func(j *Job) { j.UModelK = of(-1) }, "uncertainty of -1"},
	} {
		j := right(1)
		c.edit(&j)
		_, err := Compare(j)
		var f *fault.Error
		if !errors.As(err, &f) || !strings.Contains(err.Error(), c.says) || f.Hint == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func BenchmarkCompare(b *testing.B) {
	j := right(1)
	for b.Loop() {
		if _, err := Compare(j); err != nil {
			b.Fatal(err)
		}
	}
}

// TestTurnIsClockwise: what lies right of the middle lies below it after a quarter turn.
func TestTurnIsClockwise(t *testing.T) {
	t.Parallel()
	f := frame.Frame{Width: 9, Height: 9, Pixels: make([]float64, 81)}
	f.Pixels[4*9+7] = 1
	j := Job{Measured: frame.Frame{Width: 9, Height: 9, Pixels: make([]float64, 81)}, PixelUM: quantity.Exactly(10), Model: f, ModelPixelUM: 10, RotateDeg: 90}
	on := newLayer(j).at(Point{})
	best := 0
	for i, v := range on {
		if v > on[best] {
			best = i
		}
	}
	if best != 7*9+4 {
		t.Errorf("at column %d, row %d, want 4, 7", best%9, best/9)
	}
}
