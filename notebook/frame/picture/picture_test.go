package picture

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

func rgb(r, g, b uint8) color.RGBA { return color.RGBA{R: r, G: g, B: b, A: 255} }

// TestRamps compares with the published tables: the first, the middle (index
// 128) and the last colour of viridis (0.267004, 0.004874, 0.329415; 0.127568,
// 0.566949, 0.550556; 0.993248, 0.906157, 0.143936) and of inferno (0.001462,
// 0.000466, 0.013866; 0.735683, 0.215906, 0.330245; 0.988362, 0.998364,
// 0.644924), https://bids.github.io/colormap, as matplotlib 3.6.3 ships them.
func TestRamps(t *testing.T) {
	t.Parallel()
	tests := map[Ramp][3]color.RGBA{
		Viridis: {rgb(68, 1, 84), rgb(33, 145, 140), rgb(253, 231, 37)},
		Inferno: {rgb(0, 0, 4), rgb(188, 55, 84), rgb(252, 255, 164)},
		Grey:    {rgb(0, 0, 0), rgb(128, 128, 128), rgb(255, 255, 255)},
	}
	for r, want := range tests {
		c := r.colours()
		if got := [3]color.RGBA{c[0], c[128], c[255]}; got != want {
			t.Errorf("%v: %v, want %v", r, got, want)
		}
		if back, err := ParseRamp(r.String()); err != nil || back != r {
			t.Errorf("ParseRamp(%q) = %v, %v", r, back, err)
		}
		// Luminance (Rec. 709, of sRGB) rises from low to high, up to the rounding
		// of a channel to 8 bits, which is worth 1/255 times a slope of up to 2.
		last := -1.0
		for i, v := range c {
			l := 0.2126*linear(v.R) + 0.7152*linear(v.G) + 0.0722*linear(v.B)
			if l < last-0.72*2/255 {
				t.Errorf("%v: colour %d is darker than the one below it", r, i)
			}
			last = l
			if v == Missing() {
				t.Errorf("%v: colour %d is that of missing pixels", r, i)
			}
		}
	}
	if _, err := ParseRamp("rainbow"); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
		t.Errorf("ParseRamp(rainbow): %v", err)
	}
}

func linear(v uint8) float64 {
	c := float64(v) / 255
	if c <= 0.04045 {
		return c / 12.92
	}
	return math.Pow((c+0.055)/1.055, 2.4)
}

func TestTicks(t *testing.T) {
	t.Parallel()
	tests := []struct {
		low, high float64
		most      int
		want      []float64
	}{
		{21.69, 24.86, 12, []float64{22, 22.5, 23, 23.5, 24, 24.5}},
		{0, 10, 11, []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}},
		{0, 10, 10, []float64{0, 2, 4, 6, 8, 10}},
		{-0.3, 0.3, 7, []float64{-0.3, -0.2, -0.1, 0, 0.1, 0.2, 0.3}},
		{-1.1, 0.9, 4, []float64{-1, -0.5, 0, 0.5}},
		{13800, 14600, 5, []float64{13800, 14000, 14200, 14400, 14600}},
		{1e-7, 3e-7, 3, []float64{1e-7, 2e-7, 3e-7}},
		{5, 5, 5, nil}, {6, 5, 5, nil}, {0, math.Inf(1), 5, nil}, {math.NaN(), 1, 5, nil}, {0, 1, 1, nil}, {1e15, 1e15 + 0.125, 5, nil},
	}
	for _, tt := range tests {
		if got := Ticks(tt.low, tt.high, tt.most); !slices.Equal(got, tt.want) {
			t.Errorf("Ticks(%v, %v, %d) = %v, want %v", tt.low, tt.high, tt.most, got, tt.want)
		}
	}
}

func TestScaleBarLengths(t *testing.T) {
	t.Parallel()
	for most, want := range map[float64]float64{136: 100, 100: 100, 99: 50, 0.3: 0.2, 5500: 5000, 2: 2} {
		if got := barLength(most); got != want {
			t.Errorf("barLength(%v) = %v, want %v", most, got, want)
		}
	}
	for um, want := range map[float64]string{100: "100 µm", 2000: "2 mm", 0.5: "500 nm", 37.3: "37.3 µm"} {
		if got := lengthLabel(um); got != want {
			t.Errorf("lengthLabel(%v) = %q, want %q", um, got, want)
		}
	}
}

func ramp4() frame.Frame {
	return frame.Frame{Width: 2, Height: 2, Pixels: []float64{0, 1, math.NaN(), 0.5}, Unit: frame.DegC, MissingCount: 1}
}

// at finds the frame in the picture by its black line and returns the colour in
// the middle of a pixel.
func at(t *testing.T, s *sheet, x, y int) color.RGBA {
	t.Helper()
	return s.img.RGBAAt(s.area.Min.X+x*s.scale+s.scale/2, s.area.Min.Y+y*s.scale+s.scale/2)
}

func drawn(t *testing.T, f frame.Frame, o Options) *sheet {
	t.Helper()
	img, err := Render(f, o)
	if err != nil {
		t.Fatal(err)
	}
	s := &sheet{f: f, o: o, stats: f.Stats(), table: o.Ramp.colours(), img: img.(*image.RGBA)}
	if s.span, err = rangeOf(s.stats, o.Range); err != nil {
		t.Fatal(err)
	}
	if err := s.faces(); err != nil {
		t.Fatal(err)
	}
	s.layOut()
	s.img = img.(*image.RGBA)
	return s
}

func TestRenderColours(t *testing.T) {
	t.Parallel()
	s := drawn(t, ramp4(), Options{Title: "four", ObjectPixelUM: 10})
	want := []color.RGBA{rgb(68, 1, 84), rgb(253, 231, 37), Missing(), rgb(33, 145, 140)}
	for i, w := range want {
		if got := at(t, s, i%2, i/2); got != w {
			t.Errorf("pixel %d is %v, want %v", i, got, w)
		}
	}
	if s.scale != 360 || s.area.Dx() != 720 || s.area.Dy() != 720 {
		t.Errorf("factor %d, area %v; want 360 and 720 x 720", s.scale, s.area)
	}
	x := s.bar.Min.X + barWidth/2
	if top, low := s.img.RGBAAt(x, s.bar.Min.Y), s.img.RGBAAt(x, s.bar.Max.Y-1); top != want[1] || low != want[0] {
		t.Errorf("the colour bar goes from %v to %v", low, top)
	}
	s = drawn(t, ramp4(), Options{Range: &[2]float64{0.4, 0.6}, Ramp: Grey})
	for i, w := range []color.RGBA{rgb(0, 0, 0), rgb(255, 255, 255), Missing(), rgb(128, 128, 128)} {
		if got := at(t, s, i%2, i/2); got != w {
			t.Errorf("with a narrow range pixel %d is %v, want %v", i, got, w)
		}
	}
	flat := frame.Frame{Width: 1, Height: 1, Pixels: []float64{7}}
	if s := drawn(t, flat, Options{}); at(t, s, 0, 0) != rgb(33, 145, 140) {
		t.Errorf("a frame of one value is %v, want the middle colour", at(t, s, 0, 0))
	}
}

func TestRenderSizes(t *testing.T) {
	t.Parallel()
	tests := []struct{ width, height, side, factor int }{
		{256, 192, 0, 3}, {640, 480, 0, 1}, {1280, 1024, 0, 1}, {160, 120, 320, 2}, {11, 11, 0, 65}, {4, 4, 1 << 20, 1024}, {1, 100, 0, 7},
	}
	for _, tt := range tests {
		f := frame.Frame{Width: tt.width, Height: tt.height, Pixels: make([]float64, tt.width*tt.height)}
		s := drawn(t, f, Options{LongSide: tt.side})
		if s.scale != tt.factor || !s.area.In(s.img.Bounds()) || !s.bar.In(s.img.Bounds()) {
			t.Errorf("%d x %d: factor %d, area %v, bar %v in %v; want factor %d", tt.width, tt.height, s.scale, s.area, s.bar, s.img.Bounds(), tt.factor)
		}
	}
}

func TestFooter(t *testing.T) {
	t.Parallel()
	f := ramp4()
	f.SaturatedCount = 1
	s := drawn(t, f, Options{Range: &[2]float64{0.25, 2}, ObjectPixelUM: 12.34567})
	var lines []string
	for _, l := range s.footer() {
		lines = append(lines, l.text)
	}
	want := []string{
		"lowest 0.00, mean 0.50, highest 1.00 °C at column 1, row 0",
		"2 x 2 pixels of 12.35 µm on the object",
		"1 missing pixel",
		"1 saturated pixel: highest and mean are lower limits",
		"1 below and 0 above the colour bar, drawn in its end colours",
	}
	if !slices.Equal(lines, want) {
		t.Errorf("footer\n%s\nwant\n%s", strings.Join(lines, "\n"), strings.Join(want, "\n"))
	}
}

func TestRenderRefuses(t *testing.T) {
	t.Parallel()
	missing := frame.Frame{Width: 1, Height: 1, Pixels: []float64{math.NaN()}}
	tests := []struct {
		f frame.Frame
		o Options
	}{
		{missing, Options{}},
		{ramp4(), Options{Range: &[2]float64{1, 1}}},
		{ramp4(), Options{Range: &[2]float64{0, math.Inf(1)}}},
		{ramp4(), Options{ObjectPixelUM: -1}},
		{ramp4(), Options{ObjectPixelUM: math.NaN()}},
	}
	for _, tt := range tests {
		if _, err := Render(tt.f, tt.o); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("Render(%v, %+v): %v, want fault Invalid with a hint", tt.f, tt.o, err)
		}
	}
}

func TestEncodeIsPNG(t *testing.T) {
	t.Parallel()
	var a, b bytes.Buffer
	for _, w := range []*bytes.Buffer{&a, &b} {
		if err := Encode(w, ramp4(), Options{Title: "a\ttitle\nof " + strings.Repeat("many words ", 50)}); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same frame gives other bytes")
	}
	if _, err := png.Decode(&a); err != nil {
		t.Error(err)
	}
}

func TestCells(t *testing.T) {
	t.Parallel()
	lines, err := Cells(ramp4(), CellOptions{Columns: 2, Rows: 2})
	if err != nil || len(lines) != 2 {
		t.Fatalf("Cells = %q, %v", lines, err)
	}
	want := "\x1b[38;2;68;1;84;48;2;255;0;255m▀\x1b[38;2;253;231;37;48;2;33;145;140m▀\x1b[0m"
	if lines[0] != want {
		t.Errorf("Cells = %q, want %q", lines[0], want)
	}
	// Two columns share a cell: the higher is shown; a missing pixel gives way.
	wide := frame.Frame{Width: 4, Height: 1, Pixels: []float64{0, 1, math.NaN(), 0}}
	lines, err = Cells(wide, CellOptions{Columns: 2, Rows: 2, Ramp: Grey})
	if err != nil || lines[0] != "\x1b[38;2;255;255;255m▀\x1b[38;2;0;0;0m▀\x1b[0m" {
		t.Errorf("Cells = %q, %v", lines[0], err)
	}
	big := frame.Frame{Width: 256, Height: 192, Pixels: make([]float64, 256*192), Unit: frame.Kelvin}
	for i := range big.Pixels {
		big.Pixels[i] = float64(i)
	}
	for _, o := range []CellOptions{{Columns: 80, Rows: 24}, {Columns: 200, Rows: 24, Depth: Colours256}, {Columns: 10, Rows: 50}, {Columns: 2, Rows: 2}} {
		lines, err := Cells(big, o)
		if err != nil || len(lines) > o.Rows {
			t.Errorf("%+v: %d lines, %v", o, len(lines), err)
		}
		for _, l := range lines {
			if n := visible(l); n > o.Columns || n == 0 {
				t.Errorf("%+v: a line of %d columns", o, n)
			}
		}
	}
	for _, o := range []CellOptions{{}, {Columns: 1, Rows: 9}, {Columns: 9, Rows: 1}} {
		if _, err := Cells(big, o); fault.KindOf(err) != fault.Invalid {
			t.Errorf("Cells(%+v): %v, want fault Invalid", o, err)
		}
	}
}

// visible counts what a line shows without its escape sequences.
func visible(line string) int {
	return len([]rune(regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(line, "")))
}

// TestNearest256 uses colours of the xterm table itself and one beside it.
func TestNearest256(t *testing.T) {
	t.Parallel()
	for c, want := range map[color.RGBA]int{
		rgb(0, 0, 0): 16, rgb(255, 255, 255): 231, rgb(95, 135, 175): 67, rgb(255, 0, 255): 201,
		rgb(8, 8, 8): 232, rgb(238, 238, 238): 255, rgb(128, 128, 128): 244, rgb(250, 3, 1): 196,
	} {
		if got := nearest256(c); got != want {
			t.Errorf("nearest256(%v) = %d, want %d", c, got, want)
		}
	}
}

func BenchmarkEncode256x192(b *testing.B) {
	f := frame.Frame{Width: 256, Height: 192, Pixels: make([]float64, 256*192)}
	for i := range f.Pixels {
		f.Pixels[i] = math.Sin(float64(i) / 100)
	}
	for b.Loop() {
		if err := Encode(&bytes.Buffer{}, f, Options{Title: "frame"}); err != nil {
			b.Fatal(err)
		}
	}
}
