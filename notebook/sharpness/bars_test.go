package sharpness

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/frame"
)

// threeBars is a target of three bars of width w about 0, blurred by a Gaussian.
func threeBars(w, sigma float64) func(float64) float64 {
	return func(d float64) float64 {
		sum := 0.0
		for k := -2; k <= 2; k += 2 {
			sum += wireOf(w, sigma)(d - float64(k)*w)
		}
		return sum
	}
}

// target draws three bars of width w about a column, five bar widths high.
func target(f frame.Frame, column, row, w, sigma, low, high float64) {
	profile := threeBars(w, sigma)
	for y := range f.Height {
		dy := float64(y) - row
		across := wireOf(5*w, sigma)(dy)
		for x := range f.Width {
			f.Pixels[y*f.Width+x] += (high - low) * profile(float64(x)-column) * across
		}
	}
}

func canvas(width, height int, level float64) frame.Frame {
	f := frame.Frame{Width: width, Height: height, Pixels: make([]float64, width*height)}
	return each(f, func(_, _ int, _ float64) float64 { return level })
}

func TestBars(t *testing.T) {
	t.Parallel()
	const sigma, low, high = 1.1, 100.0, 300.0
	f := canvas(200, 80, low)
	var o BarsOptions
	o.Light, o.Dark = &frame.Rect{X: 180, Y: 10, Width: 15, Height: 60}, &frame.Rect{X: 150, Y: 60, Width: 15, Height: 15}
	each(f, func(x, _ int, v float64) float64 {
		if x >= 170 {
			return high
		}
		return v
	})
	column := 25.3
	for _, w := range []float64{7, 4.4, 3.1, 2.2, 1.6} {
		target(f, column, 40, w, sigma, low, high)
		half := 2.5 * w
		part := frame.Rect{X: int(math.Ceil(column - half)), Y: int(math.Ceil(40 - 2*w)), Height: int(4 * w)}
		part.Width = int(math.Floor(column+half)) - part.X + 1
		o.Elements = append(o.Elements, Element{SizeUM: quantity.With(10*w, 0.1), Part: part})
		column += 5*w + 12
	}
	pixel := quantity.Exactly(10)
	for name, use := range map[string]*quantity.Estimate{"from the pixel": &pixel, "from the part": nil} {
		o.PixelUM = use
		b, err := MeasureBars(f, o)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range b.Elements {
			w := e.SizeUM.Value / 10
			p := threeBars(w, sigma)
			want := (p(0)+2*p(2*w))/3 - p(w) // in the closed form, at the middles
			t.Logf("%s: bars %.1f px: %.4f, closed form %.4f, period %.2f", name, w, e.Contrast.Value, want, e.PeriodPx)
			if math.Abs(e.Contrast.Value-want) > 0.03 {
				t.Errorf("%s: contrast of bars of %g px = %.4f, want %.4f", name, w, e.Contrast.Value, want)
			}
		}
		// At 1.6 px the closed form keeps less than 0.2, at 2.2 px more.
		if b.Resolved == nil || b.Resolved.SizeUM.Value != 22 || b.Next == nil || b.Next.SizeUM.Value != 16 {
			t.Errorf("%s: resolved %+v, next %+v; want 22 and 16 µm", name, b.Resolved, b.Next)
		}
	}
	// Michelson's contrast of the widest bars: (300-100)/(300+100) for what is fully resolved.
	o.Light, o.Dark, o.PixelUM = nil, nil, &pixel
	b, err := MeasureBars(f, o)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "contrast of wide bars", b.Elements[0].Contrast.Value, 0.5, 0.02)
	if b.Formula != Michelson {
		t.Errorf("formula %q", b.Formula)
	}
}

func TestBarsTurned(t *testing.T) {
	t.Parallel()
	f := canvas(60, 60, 10)
	target(f, 30, 30, 6, 1, 10, 20)
	o := BarsOptions{Elements: []Element{{Label: "G1E1", SizeUM: quantity.Exactly(60), Part: frame.Rect{X: 20, Y: 15, Width: 20, Height: 30}}}}
	g := f.Orient(frame.Rotate90)
	b, err := MeasureBars(g, o)
	if err != nil {
		t.Fatal(err)
	}
	if e := b.Elements[0]; e.Along != "rows" || math.Abs(e.PeriodPx-12) > 0.5 || math.Abs(e.Contrast.Value-10.0/30) > 0.01 {
		t.Errorf("turned bars: %+v", e)
	}
	if b.Next != nil || len(b.Warnings) != 1 {
		t.Errorf("no limit was found, and %q is said", b.Warnings)
	}
}

// TestBarsInNoise holds that bars that are not there have no contrast on average.
func TestBarsInNoise(t *testing.T) {
	t.Parallel()
	const runs = 200
	pixel := quantity.Exactly(10)
	sum, u := 0.0, 0.0
	for seed := range uint64(runs) {
		f := scene{width: 28, height: 16, profile: func(float64) float64 { return 0 }, low: 100, noise: 2, seed: seed}.frame()
		b, err := MeasureBars(f, BarsOptions{Elements: []Element{{SizeUM: quantity.Exactly(40), Part: frame.Rect{X: 2, Y: 2, Width: 22, Height: 12}}}, PixelUM: &pixel})
		if err != nil {
			t.Fatal(err)
		}
		sum += b.Elements[0].Contrast.Value * b.Elements[0].Contrast.Value / runs
		u += *b.Elements[0].Contrast.U / runs
	}
	// The phase is chosen from the noise itself, which doubles the mean square at most.
	if rms := math.Sqrt(sum); rms > 2.2*u {
		t.Errorf("noise shows a contrast of %.3g, stated uncertainty %.3g", rms, u)
	}
}

func TestBarsRefuse(t *testing.T) {
	t.Parallel()
	f := canvas(60, 60, 10)
	target(f, 30, 30, 6, 1, 10, 20)
	celsius := f
	celsius.Unit = frame.DegC
	part := frame.Rect{X: 15, Y: 20, Width: 30, Height: 20}
	one := func(r frame.Rect) []Element { return []Element{{Label: "G1E1", SizeUM: quantity.Exactly(60), Part: r}} }
	holed := each(canvas(60, 60, 10), func(x, y int, v float64) float64 {
		if x == 30 && y == 30 {
			return math.NaN()
		}
		return v + float64(x)
	})
	pixel := quantity.Exactly(60)
	for _, tt := range []struct {
		name string
		f    frame.Frame
		o    BarsOptions
		kind fault.Kind
		want string
	}{
		{"no element", f, BarsOptions{}, fault.Usage, "no element"},
		{"outside", f, BarsOptions{Elements: one(frame.Rect{X: 50, Y: 50, Width: 20, Height: 5})}, fault.Invalid, "outside"},
		{"temperatures", celsius, BarsOptions{Elements: one(part)}, fault.Usage, "temperatures"},
		{"one area", f, BarsOptions{Elements: one(part), Light: &part}, fault.Usage, "one of two"},
		{"equal areas", f, BarsOptions{Elements: one(part), Light: &part, Dark: &part}, fault.Invalid, "do not differ"},
		{"contrast 0 %", f, BarsOptions{Elements: one(part), Contrast: 1}, fault.Invalid, "between 0 and 1"},
		{"missing", holed, BarsOptions{Elements: one(part)}, fault.Invalid, "missing"},
		{"finer than two pixels", f, BarsOptions{Elements: []Element{{SizeUM: quantity.Exactly(40), Part: part}}, PixelUM: &pixel}, fault.Invalid, "cannot hold"},
	} {
		for i := range tt.f.Pixels {
			if math.IsNaN(tt.f.Pixels[i]) {
				tt.f.MissingCount = 1
			}
		}
		_, err := MeasureBars(tt.f, tt.o)
		if err == nil || fault.KindOf(err) != tt.kind || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v (%v), want %q", tt.name, err, fault.KindOf(err), tt.want)
		}
	}
}
