package frame

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
)

// TestWriteReadsBack holds for every ending; that other programs read the same
// is TestOthersReadWhatIsWritten.
func TestWriteReadsBack(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	exact := []float64{0.1, -40, 1e-9, nan, 123456.789, 3}
	single := make([]float64, len(exact))
	for i, v := range exact {
		single[i] = float64(float32(v))
	}
	tests := []struct {
		name   string
		frames int
		timed  bool
		o      Output
		in     []float64
		want   []float64
	}{
		{"f.csv", 1, false, Output{}, exact, exact},
		{"f.tsv", 3, false, Output{}, exact, exact},
		{"f.csv", 3, true, Output{}, exact, exact},
		{"f.csv", 1, true, Output{}, exact, exact},
		{"f.npy", 3, false, Output{}, exact, exact},
		{"f.npy", 1, false, Output{Sample: Float32}, exact, single},
		{"f.tiff", 3, false, Output{}, exact, single},
		{"f.fits", 3, false, Output{Unit: Kelvin}, exact, single},
		{"F.FIT", 1, false, Output{}, exact, single},
		{"f.png", 1, false, Output{Unit: Counts}, []float64{0, 1, 2, 3, 4, 65535}, []float64{0, 1, 2, 3, 4, 65535}},
	}
	for _, tt := range tests {
		for _, size := range [][2]int{{3, 2}, {6, 1}, {1, 6}} {
			path := filepath.Join(t.TempDir(), tt.name)
			w, err := Create(path, tt.o)
			if err != nil {
				t.Fatal(err)
			}
			defer w.Close()
			for i := range tt.frames {
				if err := w.Write(Frame{Width: size[0], Height: size[1], Pixels: tt.in, HasTime: tt.timed, TimeS: float64(i) / 3}); err != nil {
					t.Fatal(err)
				}
			}
			if err := w.Commit(); err != nil {
				t.Fatal(err)
			}
			frames, info, err := all(path, Options{})
			if err != nil || len(frames) != tt.frames || info.HasTime != tt.timed || info.Width != size[0] {
				t.Errorf("%s, %d frames of %v: %d read, %+v, %v", tt.name, tt.frames, size, len(frames), info, err)
			}
			for i, f := range frames {
				if !slices.EqualFunc(f.Pixels, tt.want, same) || tt.timed && f.TimeS != float64(i)/3 {
					t.Errorf("%s, frame %d: %v at %v, want %v", tt.name, i, f.Pixels, f.TimeS, tt.want)
				}
			}
		}
	}
}

func TestWriteRefusesAndLeavesNothing(t *testing.T) {
	t.Parallel()
	one := func(v ...float64) Frame { return Frame{Width: len(v), Height: 1, Pixels: v} }
	timed := func(s float64) Frame {
		return Frame{Width: 1, Height: 2, Pixels: []float64{1, 2}, HasTime: true, TimeS: s}
	}
	tests := []struct {
		name, file string
		frames     []Frame
		want       string
	}{
		{"nothing", "f.npy", nil, "no frame to write"},
		{"infinite", "f.csv", []Frame{one(1, math.Inf(1))}, "is infinite"},
		{"another size", "f.tif", []Frame{one(1), one(1, 2)}, "another size"},
		{"time backwards", "f.csv", []Frame{timed(1), timed(0.5)}, "frame 1 is at 0.5 s, and the one before at 1 s"},
		{"time stands still", "f.csv", []Frame{timed(1), timed(1)}, "frame 1 is at 1 s"},
		{"fractions in a PNG", "f.png", []Frame{one(1, 2.5)}, "column 1, row 0 is 2.5"},
		{"missing in a PNG", "f.png", []Frame{one(math.NaN())}, "column 0, row 0 is NaN"},
		{"too high for a PNG", "f.png", []Frame{one(65536)}, "is 65536"},
		{"two frames in a PNG", "f.png", []Frame{one(1), one(2)}, "a PNG holds one frame"},
		{"no pixels", "f.npy", []Frame{{Width: 2, Height: 2}}, "0 pixels for 2 x 2"},
	}
	for _, tt := range tests {
		dir := t.TempDir()
		w, err := Create(filepath.Join(dir, tt.file), Output{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range tt.frames {
			w.Write(f) // the first error stays and comes back from Commit
		}
		err = w.Commit()
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q (invalid)", tt.name, err, tt.want)
		}
		if left, _ := os.ReadDir(dir); len(left) > 0 {
			t.Errorf("%s: left %v behind", tt.name, left)
		}
	}
}

func TestCreateRefuses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	there := put(t, "there.csv", []byte("1\n"))
	tests := []struct {
		path string
		o    Output
		kind fault.Kind
	}{
		{filepath.Join(dir, "f.jpg"), Output{}, fault.Invalid},
		{filepath.Join(dir, "f"), Output{}, fault.Invalid},
		{filepath.Join(dir, "f.png"), Output{Unit: DegC}, fault.Invalid},
		{filepath.Join(dir, "f.npy"), Output{Sample: Uint16}, fault.Invalid},
		{filepath.Join(dir, "f.tif"), Output{Sample: Float64}, fault.Invalid},
		{there, Output{}, fault.Conflict},
		{filepath.Join(dir, "none", "f.csv"), Output{}, fault.Other},
	}
	for _, tt := range tests {
		if _, err := Create(tt.path, tt.o); err == nil || fault.KindOf(err) != tt.kind {
			t.Errorf("Create(%s): %v, want %v", tt.path, err, tt.kind)
		}
	}
	w, err := Create(there, Output{Replace: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := w.Write(Frame{Width: 1, Height: 1, Pixels: []float64{2}}); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(there); string(b) != "1\n" {
		t.Errorf("before Commit the file is %q", b)
	}
	if err := w.Commit(); err != nil {
		t.Fatal(err)
	}
	if b, _ := os.ReadFile(there); string(b) != "2\n" {
		t.Errorf("after Commit the file is %q", b)
	}
	if err := w.Write(Frame{}); err == nil {
		t.Error("Write after Commit succeeds")
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 {
		t.Errorf("left %v behind", left)
	}
}
