package frame

import (
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"dieglow/catalog/fault"
)

// TestFold adds up stacks of all kinds by hand and compares. The samples of "near"
// lie close together, those of "jumps" do so but for some frames, and those of
// "far" do not.
func TestFold(t *testing.T) {
	t.Parallel()
	const frames = 93
	spread := map[string]func(r *rand.Rand, n int) int{
		"near":  func(r *rand.Rand, n int) int { return 30000 + r.IntN(900) },
		"low":   func(r *rand.Rand, n int) int { return r.IntN(700) },
		"high":  func(r *rand.Rand, n int) int { return 65535 - r.IntN(400) },
		"jumps": func(r *rand.Rand, n int) int { return 30000 + r.IntN(900) - n%31/30*r.IntN(29000) },
		"far":   func(r *rand.Rand, n int) int { return r.IntN(65536) },
	}
	for name, draw := range spread {
		for _, size := range [][2]int{{64, 48}, {61, 47}, {5, 3}} {
			for _, f := range []Folding{{Length: 20, Cycles: 3}, {Length: 2, Cycles: 33}, {Length: 1, Cycles: 50}, {Length: 7, Cycles: 100}, {Length: 1, Cycles: 1}, {Length: 3, Cycles: 40, Frames: 80}, {Length: 300, Cycles: 2}} {
				t.Run(name, func(t *testing.T) {
					random := rand.New(rand.NewPCG(1, uint64(size[0])))
					data := make([]uint16, frames*size[0]*size[1])
					for i := range data {
						data[i] = uint16(draw(random, i/(size[0]*size[1])))
					}
					kinds := []string{"u16le"}
					if name == "far" {
						kinds = append(kinds, "u16be", "floats")
					}
					foldAlike(t, data, size, f, frames, kinds)
				})
			}
		}
	}
}

// foldAlike folds data as raw files of either byte order or as 64-bit floats.
func foldAlike(t *testing.T, data []uint16, size [2]int, f Folding, frames int, kinds []string) {
	t.Helper()
	for _, raw := range kinds {
		s := foldStack(t, data, size, raw)
		pixels := size[0] * size[1]
		saturated := 0
		out, err := s.Fold(f, func(pixel, n int) Receive {
			return func(got Sums) {
				if got.Pixel != pixel || len(got.Values) != n {
					t.Errorf("%s: %d values from pixel %d on, want %d from %d", raw, len(got.Values), got.Pixel, n, pixel)
				}
				want := 0
				for i := range got.Values {
					sum := 0.0
					want = 0
					for k := got.First; k < frames && (f.Frames == 0 || k < f.Frames) && want < f.Cycles; k += f.Length {
						sum += float64(data[k*pixels+pixel+i])
						want++
					}
					if got.Values[i] != sum {
						t.Fatalf("%s, %+v: frame %d, pixel %d: %v, want %v", raw, f, got.First, pixel+i, got.Values[i], sum)
					}
				}
				if got.Frames != want {
					t.Errorf("%s, %+v: frame %d: %d frames, want %d", raw, f, got.First, got.Frames, want)
				}
			}
		})
		if err != nil {
			t.Fatal(err)
		}
		total := frames
		if f.Frames > 0 {
			total = f.Frames
		}
		for _, v := range data[:total*pixels] {
			if v == math.MaxUint16 {
				saturated++
			}
		}
		if raw != "floats" && out.SaturatedSamples != saturated {
			t.Errorf("%s: %d saturated samples, want %d", raw, out.SaturatedSamples, saturated)
		}
		if out.Frames != total {
			t.Errorf("%s: %d frames, want %d", raw, out.Frames, total)
		}
	}
}

func foldStack(t *testing.T, data []uint16, size [2]int, raw string) *Stack {
	t.Helper()
	var o Options
	var b []byte
	path := filepath.Join(t.TempDir(), "stack")
	if raw == "floats" {
		path += ".npy"
		w, err := Create(path, Output{})
		if err != nil {
			t.Fatal(err)
		}
		defer w.Close()
		pixels := size[0] * size[1]
		for n := range len(data) / pixels {
			f := Frame{Width: size[0], Height: size[1]}
			for _, v := range data[n*pixels : (n+1)*pixels] {
				f.Pixels = append(f.Pixels, float64(v))
			}
			if err := w.Write(f); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Commit(); err != nil {
			t.Fatal(err)
		}
	} else {
		for _, v := range data {
			if raw == "u16be" {
				b = append(b, byte(v>>8), byte(v))
			} else {
				b = append(b, byte(v), byte(v>>8))
			}
		}
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		samples, err := ParseRaw(raw)
		if err != nil {
			t.Fatal(err)
		}
		o = Options{Width: size[0], Height: size[1], Raw: &samples}
	}
	s, err := OpenStack(path, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// TestFoldEnds: a stack that is read to its end has nothing to fold, and one that
// is too short says so.
func TestFoldEnds(t *testing.T) {
	t.Parallel()
	for _, raw := range []string{"u16le", "floats"} {
		s := foldStack(t, make([]uint16, 40), [2]int{4, 2}, raw)
		none := func(int, int) Receive { return func(Sums) {} }
		if _, err := s.Fold(Folding{Length: 2, Cycles: 1, Frames: 6}, none); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: six of five frames: %v", raw, err)
		}
		s = foldStack(t, make([]uint16, 40), [2]int{4, 2}, raw)
		if out, err := s.Fold(Folding{Length: 2, Cycles: 1}, none); err != nil || out.Frames != 5 {
			t.Errorf("%s: %d frames, %v", raw, out.Frames, err)
		}
		if _, err := s.Next(nil); !errors.Is(err, io.EOF) {
			t.Errorf("%s: after the end: %v", raw, err)
		}
		if _, err := s.Fold(Folding{Length: 2, Cycles: 1}, none); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: nothing left: %v", raw, err)
		}
	}
}
