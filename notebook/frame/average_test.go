package frame

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"

	"dieglow/catalog/fault"
)

// TestAverageAgainstIntegers compares the mean of 16-bit stacks with sums of
// big integers taken pixel by pixel, for sizes that leave samples behind the
// last word and numbers of frames that leave some behind the last batch.
func TestAverageAgainstIntegers(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(13, 14))
	for _, descr := range []string{"<u2", ">u2", "<i2", ">i2"} {
		for _, size := range [][3]int{{1, 1, 1}, {3, 3, 5}, {8, 4, 9}, {61, 8, 12}, {200, 1, 7}} {
			frames, pixels := size[0], size[1]*size[2]
			data := []byte(npyText(descr, "False", size[0], size[1], size[2]))
			sums, full := make([]int64, pixels), 0
			for i := range frames * pixels {
				v := uint16(rng.UintN(1 << 16))
				if rng.IntN(20) == 0 {
					v = math.MaxUint16
				}
				value, top := int64(v), v == math.MaxUint16
				if descr[1] == 'i' {
					value, top = int64(int16(v)), v == math.MaxInt16
				}
				sums[i%pixels] += value
				if top {
					full++
				}
				if descr[0] == '<' {
					data = binary.LittleEndian.AppendUint16(data, v)
				} else {
					data = binary.BigEndian.AppendUint16(data, v)
				}
			}
			path := put(t, "s.npy", data)
			for _, spread := range []bool{false, true} {
				s, err := OpenStack(path, Options{})
				if err != nil {
					t.Fatal(err)
				}
				a, err := s.Average()
				if spread {
					s.Close()
					if s, err = OpenStack(path, Options{}); err != nil {
						t.Fatal(err)
					}
					a, err = s.Spread()
				}
				s.Close()
				if err != nil || a.Frames != frames || a.SaturatedSamples != full {
					t.Fatalf("%s %v: %d frames, %d saturated, %v; want %d saturated", descr, size, a.Frames, a.SaturatedSamples, err, full)
				}
				for i, v := range a.Mean.Pixels {
					if want := float64(sums[i]) / float64(frames); math.Abs(v-want) > 1e-11*(1+math.Abs(want)) {
						t.Fatalf("%s %v: pixel %d has mean %v, want %v", descr, size, i, v, want)
					}
				}
			}
		}
	}
}

// TestAverageFlushes adds more frames of the highest value than 32 bits hold.
func TestAverageFlushes(t *testing.T) {
	t.Parallel()
	m := newMeanSums(5)
	buf := make([]byte, meanBatch*2*5)
	for i := range buf {
		buf[i] = 0xff
	}
	const batches = 3 * meanFlush / meanBatch
	for range batches {
		m.add(kernel{}, buf, meanBatch, 5)
	}
	m.flush(kernel{})
	for i, v := range m.total {
		if want := uint64(batches * meanBatch * math.MaxUint16); v != want {
			t.Errorf("pixel %d sums to %d, want %d", i, v, want)
		}
	}
}

// TestSpread uses values whose mean and standard deviation are 5 and
// sqrt(32/7) by hand, and the same on a level that swallows squares.
func TestSpread(t *testing.T) {
	t.Parallel()
	values := []float64{2, 4, 4, 4, 5, 5, 7, 9}
	path := t.TempDir() + "/s.npy"
	w, err := Create(path, Output{})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range values {
		f := Frame{Width: 4, Height: 1, Pixels: []float64{v, 1e9 + v, math.NaN(), v}}
		if i > 0 {
			f.Pixels[3] = math.NaN()
		}
		if err := w.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Commit(); err != nil {
		t.Fatal(err)
	}
	s, err := OpenStack(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	a, err := s.Spread()
	if err != nil || a.Frames != 8 || a.MissingSamples != 15 || a.Mean.MissingCount != 1 || a.StdDev.MissingCount != 2 {
		t.Fatalf("Spread = %+v, %v", a, err)
	}
	sd := math.Sqrt(32.0 / 7)
	for i, want := range []float64{5, 1e9 + 5, math.NaN(), 2} {
		if got := a.Mean.Pixels[i]; !(got == want || math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("mean of pixel %d = %v, want %v", i, got, want)
		}
	}
	for i, want := range []float64{sd, sd, math.NaN(), math.NaN()} {
		if got := a.StdDev.Pixels[i]; math.Abs(got-want) > 1e-14 || math.IsNaN(got) != math.IsNaN(want) {
			t.Errorf("standard deviation of pixel %d = %v, want %v", i, got, want)
		}
	}
	if _, err := s.Average(); err == nil {
		t.Error("an average of no frames succeeds")
	}
}

func TestAverageOfNothing(t *testing.T) {
	t.Parallel()
	s, err := OpenStack(put(t, "s.npy", []byte(npyText("<u2", "False", 1, 1, 1)+"ab")), Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Skip(1); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Average(); fault.KindOf(err) != fault.Invalid {
		t.Errorf("an average of no frames: %v", err)
	}
	if got := NoiseFactor(16); got != 0.25 || !math.IsNaN(NoiseFactor(0)) {
		t.Errorf("NoiseFactor(16) = %v", got)
	}
}

// TestMemoryOfAStack reads stacks of two lengths: the longer one takes no more.
// It is not parallel: it measures memory.
func TestMemoryOfAStack(t *testing.T) {
	took := func(frames int) uint64 {
		path := t.TempDir() + "/s.npy"
		writeCounts(t, path, frames)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		s, err := OpenStack(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if _, err := s.Average(); err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	short, long := took(100), took(400)
	if long > short+1<<20 || long > 20<<20 {
		t.Errorf("100 frames took %d bytes, 400 took %d", short, long)
	}
}

func BenchmarkAverage256x192(b *testing.B) {
	m := newMeanSums(256 * 192)
	buf := make([]byte, meanBatch*2*256*192)
	b.SetBytes(int64(len(buf)))
	for b.Loop() {
		m.add(kernel{watch: true, full: math.MaxUint16}, buf, meanBatch, 256*192)
	}
}

func BenchmarkDecodeNPY256x192(b *testing.B) {
	l := layout{sample: Uint16}
	src, dst := make([]byte, 2*256*192), make([]float64, 256*192)
	for b.Loop() {
		if err := l.decode(dst, src); err != nil {
			b.Fatal(err)
		}
	}
}
