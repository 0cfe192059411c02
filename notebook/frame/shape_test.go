package frame

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"dieglow/catalog/fault"
)

func TestOrient(t *testing.T) {
	t.Parallel()
	f := Frame{Width: 3, Height: 2, Pixels: []float64{1, 2, 3, 4, 5, 6}}
	tests := map[Orientation][]float64{
		AsStored: {1, 2, 3, 4, 5, 6}, Rotate90: {4, 1, 5, 2, 6, 3}, Rotate180: {6, 5, 4, 3, 2, 1}, Rotate270: {3, 6, 2, 5, 1, 4},
		MirrorLeftRight: {3, 2, 1, 6, 5, 4}, MirrorTopBottom: {4, 5, 6, 1, 2, 3},
	}
	for o, want := range tests {
		g := f.Orient(o)
		if !slices.Equal(g.Pixels, want) || g.Width*g.Height != 6 || (g.Width == 2) != (o == Rotate90 || o == Rotate270) {
			t.Errorf("Orient(%v) = %d x %d %v, want %v", o, g.Width, g.Height, g.Pixels, want)
		}
		if back, err := ParseOrientation(o.String()); err != nil || back != o {
			t.Errorf("ParseOrientation(%q) = %v, %v", o, back, err)
		}
	}
	if got := f.Orient(Rotate90).Orient(Rotate270); !slices.Equal(got.Pixels, f.Pixels) {
		t.Errorf("turned forth and back: %v", got.Pixels)
	}
	if _, err := ParseOrientation("sideways"); fault.KindOf(err) != fault.Invalid {
		t.Errorf("ParseOrientation(sideways): %v", err)
	}
}

func TestCrop(t *testing.T) {
	t.Parallel()
	level := 9.0
	f := Frame{Width: 3, Height: 3, Pixels: []float64{1, 2, 3, 4, math.NaN(), 6, 7, 8, 9}, Saturation: &level, SaturatedCount: 1, MissingCount: 1}
	g, err := f.Crop(Rect{X: 1, Y: 1, Width: 2, Height: 2})
	if err != nil || !slices.EqualFunc(g.Pixels, []float64{math.NaN(), 6, 8, 9}, same) || g.MissingCount != 1 || g.SaturatedCount != 1 {
		t.Errorf("Crop = %+v, %v", g, err)
	}
	for _, r := range []Rect{{0, 0, 0, 1}, {-1, 0, 1, 1}, {2, 2, 2, 1}, {0, 0, 1, 4}, {math.MaxInt, 0, 2, 1}, {1, 0, math.MaxInt, 1}} {
		if _, err := f.Crop(r); fault.KindOf(err) != fault.Invalid {
			t.Errorf("Crop(%v): %v, want fault Invalid", r, err)
		}
	}
}

func TestSubtract(t *testing.T) {
	t.Parallel()
	f := Frame{Width: 2, Height: 2, Pixels: []float64{10, 11, 12, math.NaN()}}
	g, err := f.Subtract(Frame{Width: 2, Height: 2, Pixels: []float64{1, 2, 3, 2}})
	if err != nil || !slices.EqualFunc(g.Pixels, []float64{11, 11, 11, math.NaN()}, same) || g.MissingCount != 1 {
		t.Errorf("Subtract = %+v, %v", g, err)
	}
	for _, ref := range []Frame{{Width: 1, Height: 1, Pixels: []float64{1}}, {Width: 2, Height: 2, Pixels: []float64{1, 2, 3, 2}, Unit: Kelvin}} {
		if _, err := f.Subtract(ref); fault.KindOf(err) != fault.Conflict {
			t.Errorf("Subtract(%v): %v, want fault Conflict", ref, err)
		}
	}
}

func TestBin(t *testing.T) {
	t.Parallel()
	level := 8.0
	f := Frame{Width: 5, Height: 2, Pixels: []float64{1, 2, 3, 4, 9, 5, 6, 7, math.NaN(), 9}, Saturation: &level}
	g, err := f.Bin(2)
	if err != nil || g.Width != 2 || g.Height != 1 || !slices.EqualFunc(g.Pixels, []float64{3.5, math.NaN()}, same) || g.MissingCount != 1 || g.SaturatedCount != 0 {
		t.Errorf("Bin = %+v, %v", g, err)
	}
	for _, n := range []int{0, -1, 3} {
		if _, err := f.Bin(n); fault.KindOf(err) != fault.Invalid {
			t.Errorf("Bin(%d): %v, want fault Invalid", n, err)
		}
	}
}

// TestBinNoise holds the stated effect on uncorrelated noise: 1/n.
func TestBinNoise(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(9, 10))
	f := Frame{Width: 400, Height: 400, Pixels: make([]float64, 160_000)}
	for i := range f.Pixels {
		f.Pixels[i] = 300 + rng.NormFloat64()
	}
	g, err := f.Bin(4)
	if err != nil {
		t.Fatal(err)
	}
	// 10,000 bins give the standard deviation to 0.7 %: four of those.
	if sd := g.Stats().StdDev; math.Abs(sd*4-1) > 0.028 {
		t.Errorf("the standard deviation of 4 x 4 bins is %v, want 0.25", sd)
	}
}

func TestBadPixels(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 12))
	f := Frame{Width: 40, Height: 30, Pixels: make([]float64, 1200)}
	for i := range f.Pixels {
		f.Pixels[i] = 20 + 0.1*float64(i%40) + 0.05*rng.NormFloat64()
	}
	f.Pixels[0], f.Pixels[5*40+7], f.Pixels[29*40+39] = 30, 10, 25
	f.Pixels[8*40+8] = math.NaN()
	bad, err := f.FindBad(0)
	if err != nil || len(bad) != 3 || bad[0].X != 0 || bad[1].X != 7 || bad[1].Y != 5 || bad[2].X != 39 || bad[1].Value != 10 || bad[1].Sigmas < 50 {
		t.Fatalf("FindBad = %+v, %v; want the three", bad, err)
	}
	g, done, err := f.Replace(append(bad, f.Missing()...))
	if err != nil || len(done) != 4 || g.MissingCount != 0 || math.Abs(g.Pixels[5*40+7]-20.7) > 0.2 || done[1].Old != 10 || done[1].New != g.Pixels[5*40+7] {
		t.Errorf("Replace = %+v, %v", done, err)
	}
	if f.Pixels[0] != 30 {
		t.Error("Replace changed the frame it was given")
	}
	// By hand: the neighbours of the middle are 1 to 8, their median 4.5.
	small := Frame{Width: 3, Height: 3, Pixels: []float64{1, 2, 3, 4, 99, 5, 6, 7, 8}}
	if g, _, err := small.Replace([]BadPixel{{X: 1, Y: 1}}); err != nil || g.Pixels[4] != 4.5 {
		t.Errorf("Replace of the middle = %v, %v, want 4.5", g.Pixels[4], err)
	}
	lone := Frame{Width: 2, Height: 1, Pixels: []float64{1, 2}}
	if g, done, err := lone.Replace([]BadPixel{{X: 0}, {X: 1}}); err != nil || g.MissingCount != 2 || !math.IsNaN(done[0].New) {
		t.Errorf("Replace without good neighbours = %v, %v, %v", g, done, err)
	}
	if _, _, err := lone.Replace([]BadPixel{{X: 2}}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("Replace outside: %v", err)
	}
	// More than half of the differences are 0: the mean absolute deviation serves.
	flat := Frame{Width: 20, Height: 20, Pixels: make([]float64, 400)}
	flat.Pixels[210] = 5
	if bad, err := flat.FindBad(6); err != nil || len(bad) != 1 || bad[0].X != 10 || bad[0].Y != 10 {
		t.Errorf("FindBad in a flat frame = %+v, %v", bad, err)
	}
	for _, k := range []float64{-1, math.NaN(), math.Inf(1)} {
		if _, err := flat.FindBad(k); fault.KindOf(err) != fault.Invalid {
			t.Errorf("FindBad(%v): %v", k, err)
		}
	}
}
