package chart

import (
	"bytes"
	"image/png"
	"math"
	"os"
	"slices"
	"testing"
)

func example() LineChart {
	var x, y, low, high, px, py []float64
	for i := range 101 {
		v := float64(i) / 100
		m := math.Exp(-4 * v * v)
		x, y, low, high = append(x, v), append(y, m), append(low, m-0.03), append(high, m+0.03)
		if i%10 == 0 {
			px, py = append(px, v), append(py, m+0.01)
		}
	}
	y[50] = math.NaN()
	return LineChart{
		Title: "Modulation of an edge", XLabel: "frequency / cycles per pixel", YLabel: "modulation",
		Series: []Series{{Name: "measured", X: x, Y: y, LowY: low, HighY: high}, {Name: "read", X: px, Y: py, Points: true, LowY: plus(py, -0.05), HighY: plus(py, 0.05)}},
		VLines: []Mark{{0.416, "50 % at 0.416"}, {0.5, "half the sampling frequency"}}, HLines: []Mark{{0.2, "0.2"}},
	}
}

func plus(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i := range v {
		out[i] = v[i] + by
	}
	return out
}

func TestTicks(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		low, high float64
		want      []string
	}{
		{0, 1, []string{"0.0", "0.2", "0.4", "0.6", "0.8", "1.0"}},
		{-15.4, 15.4, []string{"-15", "-10", "-5", "0", "5", "10", "15"}},
		{0.013, 0.021, []string{"0.013", "0.014", "0.015", "0.016", "0.017", "0.018", "0.019", "0.020", "0.021"}},
		{0, 5e9, []string{"0", "1e+09", "2e+09", "3e+09", "4e+09", "5e+09"}},
	} {
		var got []string
		for _, tick := range ticks(tt.low, tt.high) {
			got = append(got, tick.Label)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("ticks from %g to %g: %q, want %q", tt.low, tt.high, got, tt.want)
		}
	}
}

func TestLinesIsTheSamePictureEveryTime(t *testing.T) {
	t.Parallel()
	first, err := Lines(example())
	if err != nil {
		t.Fatal(err)
	}
	if path := os.Getenv("DIEGLOW_LOOK"); path != "" {
		if err := os.WriteFile(path, first, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	second, err := Lines(example())
	if err != nil || !bytes.Equal(first, second) {
		t.Errorf("the same chart has other bytes the second time (%v)", err)
	}
	img, err := png.Decode(bytes.NewReader(first))
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got.X != 1200 || got.Y != 800 {
		t.Errorf("the picture has %v pixels, want 1200 x 800", got)
	}
}

// A second panel makes the picture taller, leaves what is above it in its
// place, and its own lines are in it.
func TestLinesWithASecondPanel(t *testing.T) {
	t.Parallel()
	c := example()
	c.Below = &Panel{YLabel: "difference", Series: []Series{{}, {X: c.Series[1].X, Y: plus(c.Series[1].Y, -c.Series[1].Y[0]), Points: true}}, HLines: []Mark{{At: -1.5, Label: "low"}}}
	data, err := Lines(c)
	if err != nil {
		t.Fatal(err)
	}
	if path := os.Getenv("DIEGLOW_LOOK"); path != "" {
		if err := os.WriteFile(path+".two.png", data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if got := img.Bounds().Size(); got.X != 1200 || got.Y != 1200 {
		t.Errorf("the picture has %v pixels, want 1200 x 1200", got)
	}
	seen := map[bool]int{} // vermilion squares, by whether they lie in the lower third
	for y := range 1200 {
		for x := range 1200 {
			if r, g, b, _ := img.At(x, y).RGBA(); r>>8 == 0xd5 && g>>8 == 0x5e && b>>8 == 0 {
				seen[y >= 800]++
			}
		}
	}
	if seen[true] < 20 || seen[false] < 300 {
		t.Errorf("%d pixels of the second series above and %d below", seen[false], seen[true])
	}
	c.Below.Series = nil
	if _, err := Lines(c); err == nil {
		t.Error("an empty second panel is drawn")
	}
}

func TestLinesRefuses(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name  string
		chart LineChart
	}{
		{"nothing", LineChart{}},
		{"only missing values", LineChart{Series: []Series{{X: []float64{1, math.NaN()}, Y: []float64{math.Inf(1), 2}}}}},
		{"columns of two lengths", LineChart{Series: []Series{{X: []float64{1, 2}, Y: []float64{1}}}}},
		{"half a band", LineChart{Series: []Series{{X: []float64{1, 2}, Y: []float64{1, 2}, LowY: []float64{0, 1}}}}},
	} {
		if png, err := Lines(tt.chart); err == nil || png != nil {
			t.Errorf("%s: Lines = %d bytes, %v; want an error", tt.name, len(png), err)
		}
	}
}

func TestLinesDrawsOddData(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]LineChart{
		"one point":      {Series: []Series{{X: []float64{3}, Y: []float64{7}, Points: true}}},
		"a constant":     {Series: []Series{{X: []float64{1, 2}, Y: []float64{5, 5}}}},
		"all zero":       {Series: []Series{{X: []float64{0, 0}, Y: []float64{0, 0}}}},
		"a mark far off": {Series: []Series{{X: []float64{1, 2}, Y: []float64{5, 6}}}, VLines: []Mark{{math.NaN(), "x"}, {90, "y"}}},
		"nine series":    {Series: []Series{{X: []float64{1}, Y: []float64{1}}, {}, {}, {}, {}, {}, {}, {}, {Name: "ninth", X: []float64{1, 2}, Y: []float64{2, 3}}}},
	} {
		if _, err := Lines(c); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
