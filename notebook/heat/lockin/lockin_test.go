package lockin

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook/frame"
)

// scene makes the value of a pixel in a frame.
type scene func(pixel, number int, timeS float64) float64

const (
	width  = 48 // wide enough for two workers
	height = 44
)

// asFloats writes a stack as 64-bit floats.
func asFloats(t *testing.T, frames int, rateHz float64, s scene) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "stack.npy")
	w, err := frame.Create(path, frame.Output{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	for n := range frames {
		f := frame.Frame{Width: width, Height: height, Pixels: make([]float64, width*height)}
		for i := range f.Pixels {
			f.Pixels[i] = s(i, n, float64(n)/rateHz)
		}
		if err := w.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Commit(); err != nil {
		t.Fatal(err)
	}
	return path
}

// asCounts writes a stack as 16-bit integers.
func asCounts(t testing.TB, wide, high, frames int, rateHz float64, s scene) string {
	t.Helper()
	head := fmt.Sprintf("{'descr': '<u2', 'fortran_order': False, 'shape': (%d, %d, %d), }", frames, high, wide)
	head += strings.Repeat(" ", 117-len(head)) + "\n"
	b := append([]byte("\x93NUMPY\x01\x00"), byte(len(head)), 0)
	b = append(b, head...)
	for n := range frames {
		for i := range wide * high {
			b = binary.LittleEndian.AppendUint16(b, uint16(math.Round(s(i, n, float64(n)/rateHz))))
		}
	}
	path := filepath.Join(t.TempDir(), "counts.npy")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func analyse(path string, o Options) (Result, error) {
	s, err := frame.OpenStack(path, frame.Options{})
	if err != nil {
		return Result{}, err
	}
	defer s.Close()
	return Analyse(s, o)
}

// truth is a scene of known oscillation: amplitude and phase by pixel.
func truth(i int) (amplitude, phase float64) {
	return 1 + 0.01*float64(i%width), -3 + 6*float64(i)/(width*height)
}

// TestClosedForm finds oscillations without noise, under a constant and a
// quadratic trend, with and without whole cycles and with frames left over.
func TestClosedForm(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name             string
		frames           int
		rateHz, f, curve float64
		method           string
		used             int
		trend            Trend
	}{
		{"twenty frames a period", 400, 25, 1.25, 1, Overlaid, 400, Quadratic},
		{"frames left over", 413, 25, 1.25, 1, Overlaid, 400, Quadratic},
		{"five periods in twelve frames", 240, 12, 2.5, 1, Overlaid, 240, Quadratic},
		{"odd cycle", 9 * 25, 25, 1, 1, Overlaid, 225, Quadratic},
		{"no cycle that repeats", 300, 25, 1.3, 1, LeastSquares, 300, Quadratic},
		{"irrational", 300, 25, math.Sqrt2, 1, LeastSquares, 300, Quadratic},
		{"a period and a half", 30, 25, 1.25, 0, LeastSquares, 30, Linear},
		{"one period", 20, 25, 1.25, 0, LeastSquares, 20, Linear},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			path := asFloats(t, c.frames, c.rateHz, func(i, n int, at float64) float64 {
				a, phi := truth(i)
				return 300 + 0.3*at*(1+float64(i%5)) - c.curve*0.01*at*at + a*math.Cos(2*math.Pi*c.f*at+phi)
			})
			r, err := analyse(path, Options{FrequencyHz: c.f, RateHz: c.rateHz})
			if err != nil {
				t.Fatal(err)
			}
			if r.Method != c.method || r.FramesUsed != c.used || r.Trend != c.trend {
				t.Errorf("%s, %d frames, %s trend, want %s, %d, %s", r.Method, r.FramesUsed, r.Trend, c.method, c.used, c.trend)
			}
			for i := range r.Amplitude {
				a, phi := truth(i)
				if math.Abs(r.Amplitude[i]-a) > 1e-9 || math.Abs(r.PhaseRad[i]-phi) > 1e-9 {
					t.Fatalf("pixel %d: %v at %v rad, want %v at %v", i, r.Amplitude[i], r.PhaseRad[i], a, phi)
				}
				if math.Abs(r.InPhase[i]-a*math.Cos(phi)) > 1e-9 || math.Abs(r.Quadrature[i]-a*math.Sin(phi)) > 1e-9 {
					t.Fatalf("pixel %d: parts %v, %v", i, r.InPhase[i], r.Quadrature[i])
				}
			}
		})
	}
}

// TestConstantDoesNotLeak has a large level and a trend without oscillation, and
// a length that is no whole number of periods. The trend is the one that biased a
// plain correlation in the reference: 2 mK/s over 64 s.
func TestConstantDoesNotLeak(t *testing.T) {
	t.Parallel()
	for _, f := range []float64{1.25, 1.37} {
		path := asFloats(t, 1607, 25, func(i, n int, at float64) float64 { return 30000 + float64(i) + 0.002*at })
		r, err := analyse(path, Options{FrequencyHz: f, RateHz: 25})
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range r.Amplitude {
			if a > 1e-8 {
				t.Fatalf("%g Hz, pixel %d: %g of nothing", f, i, a)
			}
		}
	}
}

// TestNoise checks the stated uncertainties against the scatter they stand for.
// Per quadrature it is sigma sqrt(2/N); the amplitude of pure noise is Rayleigh
// distributed, so that exp(-3²/2) = 1.11 % of it passes three standard
// uncertainties (closed forms).
func TestNoise(t *testing.T) {
	t.Parallel()
	const sigma, frames = 0.05, 400
	for _, c := range []struct {
		f      float64
		method string
	}{{1.25, Overlaid}, {1.31, LeastSquares}} {
		random := rand.New(rand.NewPCG(7, 8))
		path := asFloats(t, frames, 25, func(i, n int, at float64) float64 {
			v := 25 + sigma*random.NormFloat64()
			if i%2 == 0 {
				v += 0.1 * math.Cos(2*math.Pi*c.f*at+1)
			}
			return v
		})
		r, err := analyse(path, Options{FrequencyHz: c.f, RateHz: 25})
		if err != nil {
			t.Fatal(err)
		}
		if r.Method != c.method {
			t.Fatalf("%s, want %s", r.Method, c.method)
		}
		want := sigma * math.Sqrt(2.0/frames)
		var u, z2, p2, passed, n float64
		for i := range r.Amplitude {
			u += r.UAmplitude[i] / float64(len(r.Amplitude))
			if i%2 == 1 {
				if !math.IsNaN(r.PhaseRad[i]) {
					passed++
				}
				continue
			}
			n++
			z2 += math.Pow((r.Amplitude[i]-0.1)/r.UAmplitude[i], 2)
			p2 += math.Pow((r.PhaseRad[i]-1)/r.UPhaseRad[i], 2)
		}
		if math.Abs(u/want-1) > 0.02 {
			t.Errorf("%s: mean uncertainty %g, want %g", c.method, u, want)
		}
		// 1056 pixels: the mean square of a standard normal is 1 within 0.13, three times its deviation.
		if z2, p2 = z2/n, p2/n; math.Abs(z2-1) > 0.13 || math.Abs(p2-1) > 0.15 {
			t.Errorf("%s: mean squares of the normalised errors %.3f and %.3f, want 1", c.method, z2, p2)
		}
		if share := passed / n; share > 0.025 {
			t.Errorf("%s: %.2f %% of pure noise has a phase, want 1.11 %%", c.method, 100*share)
		}
	}
}

// TestSquareWave checks what sampling does to the fundamental of a square wave:
// 4/(n sin(pi/n)) in place of 4/pi, by 11.07 %, 2.62 % and 0.65 % for 4, 8 and 16
// samples a period (shared reference on thermal measurement, section 3, computed
// there independently), and that harmonics are not taken for noise.
func TestSquareWave(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n    int
		bias float64 // %
	}{{4, 11.07}, {8, 2.62}, {16, 0.65}} {
		path := asFloats(t, 20*c.n, float64(c.n), func(i, n int, at float64) float64 {
			if n%c.n < c.n/2 {
				return 31
			}
			return 29
		})
		plain, err := analyse(path, Options{FrequencyHz: 1, RateHz: float64(c.n)})
		if err != nil {
			t.Fatal(err)
		}
		if got := 100 * (plain.Amplitude[5]*math.Pi/4 - 1); math.Abs(got-c.bias) > 0.005 {
			t.Errorf("%d samples: %.3f %% above 4/pi, want %.2f %%", c.n, got, c.bias)
		}
		r, err := analyse(path, Options{FrequencyHz: 1, RateHz: float64(c.n), Drive: Square})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(r.Amplitude[5]-4/math.Pi) > 1e-12 {
			t.Errorf("%d samples: %v corrected, want 4/pi", c.n, r.Amplitude[5])
		}
		if r.Noise[5] > 1e-9 {
			t.Errorf("%d samples: harmonics count as noise of %g", c.n, r.Noise[5])
		}
	}
}

// TestOddSquareWave: an odd number n of samples stands for 2n phases.
func TestOddSquareWave(t *testing.T) {
	t.Parallel()
	for _, n := range []int{5, 7, 9} {
		sum := complex(0, 0)
		for k := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			v := -1.0
			if 2*k <= n { // the sample at the edge belongs to one side
				v = 1
			}
			sum += complex(v*cos, -v*sin)
		}
		got := 2 * math.Hypot(real(sum), imag(sum)) / float64(n)
		if want := 4 / math.Pi * (1 + drive(Square, n).SampledBias); math.Abs(got-want) > 1e-12 {
			t.Errorf("%d samples: the sum gives %v, the formula %v", n, got, want)
		}
	}
}

// TestCountsAndFloatsAgree sends the same numbers through the two ways files are
// folded.
func TestCountsAndFloatsAgree(t *testing.T) {
	t.Parallel()
	values := func(i, n int, at float64) float64 {
		a, phi := truth(i)
		random := rand.New(rand.NewPCG(uint64(i), uint64(n)))
		return math.Round(30000 + at + 100*a*math.Cos(2*math.Pi*1.25*at+phi) + 5*random.NormFloat64())
	}
	for _, f := range []float64{1.25, 1.3} {
		o := Options{FrequencyHz: f, RateHz: 25}
		counts, err := analyse(asCounts(t, width, height, 211, 25, values), o)
		if err != nil {
			t.Fatal(err)
		}
		floats, err := analyse(asFloats(t, 211, 25, values), o)
		if err != nil {
			t.Fatal(err)
		}
		for i := range counts.Amplitude {
			if math.Abs(counts.InPhase[i]-floats.InPhase[i]) > 1e-8 || math.Abs(counts.Quadrature[i]-floats.Quadrature[i]) > 1e-8 || math.Abs(counts.Noise[i]-floats.Noise[i]) > 1e-8 {
				t.Fatalf("%g Hz, pixel %d: %v and %v", f, i, counts.InPhase[i], floats.InPhase[i])
			}
		}
	}
}

// TestUnevenTimes takes the times from the file, with a gap in them.
func TestUnevenTimes(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(3, 4))
	path := filepath.Join(t.TempDir(), "stack.csv")
	w, err := frame.Create(path, frame.Output{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	at := 100.0
	for n := range 150 {
		at += 0.04 * (0.7 + 0.6*random.Float64())
		if n == 70 {
			at += 0.33
		}
		f := frame.Frame{Width: 3, Height: 2, HasTime: true, TimeS: at}
		for i := range 6 {
			a, phi := truth(300 * i)
			f.Pixels = append(f.Pixels, 25+0.2*at+a*math.Cos(2*math.Pi*1.25*at+phi))
		}
		if n == 40 { // a frame that the camera missed
			for i := range f.Pixels {
				f.Pixels[i] = math.NaN()
			}
		}
		if err := w.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Commit(); err != nil {
		t.Fatal(err)
	}
	r, err := analyse(path, Options{FrequencyHz: 1.25})
	if err != nil {
		t.Fatal(err)
	}
	if r.FramesUsed != 149 || r.Frames != 150 {
		t.Errorf("%d of %d frames used, want 149 of 150", r.FramesUsed, r.Frames)
	}
	first := firstTime(t, path) // where the program's time begins; the scene's is that of the file
	for i := range 6 {
		a, phi := truth(300 * i)
		phi = math.Remainder(phi+2*math.Pi*1.25*first, 2*math.Pi)
		if math.Abs(r.Amplitude[i]-a) > 1e-8 || math.Abs(math.Remainder(r.PhaseRad[i]-phi, 2*math.Pi)) > 1e-8 {
			t.Errorf("pixel %d: %v at %v, want %v at %v", i, r.Amplitude[i], r.PhaseRad[i], a, phi)
		}
	}
}

func firstTime(t *testing.T, path string) float64 {
	t.Helper()
	f, _, err := frame.OpenFrame(path, 0, frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return f.TimeS
}

// TestMissing: a pixel that one frame misses has no amplitude, the others do.
func TestMissing(t *testing.T) {
	t.Parallel()
	path := asFloats(t, 100, 25, func(i, n int, at float64) float64 {
		if i == 17 && n == 30 {
			return math.NaN()
		}
		a, phi := truth(i)
		return 25 + a*math.Cos(2*math.Pi*1.25*at+phi)
	})
	r, err := analyse(path, Options{FrequencyHz: 1.25, RateHz: 25})
	if err != nil {
		t.Fatal(err)
	}
	if r.Missing != 1 || !math.IsNaN(r.Amplitude[17]) || math.IsNaN(r.Amplitude[18]) {
		t.Errorf("%d missing, amplitudes %v and %v", r.Missing, r.Amplitude[17], r.Amplitude[18])
	}
	if at := r.Strongest(3); len(at) != 3 || at[0]%width != width-1 {
		t.Errorf("strongest at %v", at)
	}
}

// TestRefused: 7 Hz at 9 frames a second shows as 2 Hz (shared reference on
// thermal measurement, section 3).
func TestRefused(t *testing.T) {
	t.Parallel()
	path := asFloats(t, 30, 9, func(i, n int, at float64) float64 { return 25 + at })
	for _, c := range []struct {
		name string
		o    Options
		kind fault.Kind
		says string
	}{
		{"aliased", Options{FrequencyHz: 7, RateHz: 9}, fault.Invalid, "would show up as 2 Hz"},
		{"at half the rate", Options{FrequencyHz: 4.5, RateHz: 9}, fault.Invalid, "not below half the frame rate of 9 Hz but equal to it"},
		{"three a period", Options{FrequencyHz: 3, RateHz: 9}, fault.Invalid, "3 frames a period are too few"},
		{"shorter than a period", Options{FrequencyHz: 0.2, RateHz: 9}, fault.Invalid, "0.667 of a period"},
		{"no rate", Options{FrequencyHz: 1}, fault.Usage, "has no times"},
		{"no frequency", Options{RateHz: 9}, fault.Invalid, "frequency of 0 Hz"},
		{"negative rate", Options{FrequencyHz: 1, RateHz: -9}, fault.Invalid, "rate of -9 Hz"},
		{"hidden below nothing", Options{FrequencyHz: 1, RateHz: 9, Hide: -1}, fault.Invalid, "hidden below -1"},
	} {
		_, err := analyse(path, c.o)
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind != c.kind || !strings.Contains(f.Msg, c.says) || f.Hint == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
