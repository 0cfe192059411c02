package frame

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
)

// put writes a file of the test and returns its path.
func put(t *testing.T, name string, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// all reads every frame of a stack.
func all(path string, o Options) ([]Frame, Info, error) {
	s, err := OpenStack(path, o)
	if err != nil {
		return nil, Info{}, err
	}
	defer s.Close()
	var frames []Frame
	for {
		f, err := s.Next(nil)
		if errors.Is(err, io.EOF) {
			return frames, s.Info(), nil
		}
		if err != nil {
			return frames, s.Info(), err
		}
		frames = append(frames, f)
	}
}

func TestTextStacks(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, in      string
		o             Options
		width, height int
		times         []float64
		want          []float64 // all frames, one after the other
	}{
		{"blocks", "1,2\n3,4\n\n5,6\n7,8\n", Options{}, 2, 2, nil, []float64{1, 2, 3, 4, 5, 6, 7, 8}},
		{"blocks with comments and a header", "a,b\n# one\n1,2\n\n# two\n\n5,6\n\n\n", Options{}, 2, 1, nil, []float64{1, 2, 5, 6}},
		{"decimal commas", "1,5;2\n\n3;4,5\n", Options{}, 2, 1, nil, []float64{1.5, 2, 3, 4.5}},
		{"rows of one time", "time_s,a,b\n0,1,2\n0,3,4\n0.5,5,6\n0.5,7,8\n", Options{}, 2, 2, []float64{0, 0.5}, []float64{1, 2, 3, 4, 5, 6, 7, 8}},
		{"milliseconds in brackets", "Time (ms);a\n0;1\n0;2\n40;3\n40;4\n", Options{}, 1, 2, []float64{0, 0.04}, []float64{1, 2, 3, 4}},
		{"a frame a row, stated", "t_s\ta\tb\tc\td\n1\t1\t2\t3\t4\n2\t5\t6\t7\tnan\n", Options{Width: 2, Height: 2}, 2, 2, []float64{1, 2}, []float64{1, 2, 3, 4, 5, 6, 7, math.NaN()}},
		{"a frame a row, by comment", "# Size: 2 x 1\ntime_s,a,b\n1,1,2\n1,3,4\n", Options{}, 2, 1, []float64{1, 1}, []float64{1, 2, 3, 4}},
		{"one timed frame", "time_s,a\n-3,1\n-3,2\n", Options{}, 1, 2, []float64{-3}, []float64{1, 2}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			frames, info, err := all(put(t, "f.csv", []byte(tt.in)), tt.o)
			if err != nil {
				t.Fatal(err)
			}
			var got, times []float64
			for i, f := range frames {
				got = append(got, f.Pixels...)
				if f.HasTime {
					times = append(times, f.TimeS)
				}
				if f.Index != i || f.Width != tt.width || f.Height != tt.height {
					t.Errorf("frame %d: index %d, %d x %d", i, f.Index, f.Width, f.Height)
				}
			}
			if !slices.EqualFunc(got, tt.want, same) || !slices.Equal(times, tt.times) {
				t.Errorf("%v at %v, want %v at %v", got, times, tt.want, tt.times)
			}
			if info.Frames != len(frames) || info.HasTime != (tt.times != nil) {
				t.Errorf("info %+v for %d frames", info, len(frames))
			}
		})
	}
}

func TestTextStacksRefuse(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, in string
		o        Options
		want     string
		kind     fault.Kind
	}{
		{"another size", "1,2\n\n3,4,5\n", Options{}, "frame 1 has 3 x 1 pixels, and frame 0 has 2 x 1", fault.Invalid},
		{"a damaged row in the second block", "1,2\n\n3,x\n", Options{}, `line 3, column 2: "x" is not a number`, fault.Invalid},
		{"time runs backwards", "time_s,a\n1,1\n1,2\n0.5,3\n0.5,4\n", Options{}, "line 4: the time runs backwards, from 1 s to 0.5 s", fault.Invalid},
		{"time without unit", "time,a,b\n1,1,2\n", Options{}, `the column "time" does not say its unit`, fault.Invalid},
		{"a frame a row without size", "time_s,a,b,c,d\n1,1,2,3,4\n2,1,2,3,4\n", Options{}, "one row of 4 numbers has a time of its own", fault.Invalid},
		{"another size than stated", "time_s,a,b\n1,1,2\n1,3,4\n1,3,4\n", Options{Width: 2, Height: 2}, "2 x 3 pixels, and 2 x 2 were stated", fault.Conflict},
		{"a matrix of another size than stated", "1,2\n", Options{Width: 3, Height: 2}, "has 2 x 1 pixels, and 3 x 2 were stated", fault.Conflict},
		{"missing time", "time_s,a,b\nnan,1,2\n", Options{}, "the time is missing", fault.Invalid},
		{"uneven groups", "time_s,a\n1,1\n1,2\n2,3\n", Options{}, "one row of 1 numbers", fault.Invalid},
		{"only a time", "time_s,\n1\n", Options{}, "a time without pixels", fault.Invalid},
		{"too many pixels", "1,2\n3,4\n5,6\n", Options{Limits: Limits{MaxPixels: 4}}, "more than 4 pixels", fault.Invalid},
		{"too many in a series", "time_s,a\n1,1\n1,2\n1,3\n", Options{Limits: Limits{MaxPixels: 2}}, "more than", fault.Invalid},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			frames, _, err := all(put(t, "f.csv", []byte(tt.in)), tt.o)
			if err == nil || fault.KindOf(err) != tt.kind || !strings.Contains(err.Error(), tt.want) || fault.HintOf(err) == "" {
				t.Errorf("%d frames, %v (%v), want %q (%v) with a hint", len(frames), err, fault.KindOf(err), tt.want, tt.kind)
			}
		})
	}
}

func TestOpenFrame(t *testing.T) {
	t.Parallel()
	path := put(t, "f.csv", []byte("1,2\n\n3,4\n\nnan,nan\n"))
	f, info, err := OpenFrame(path, 1, Options{})
	if err != nil || f.Index != 1 || !slices.Equal(f.Pixels, []float64{3, 4}) || info.Format != Text {
		t.Errorf("OpenFrame(1) = %v, %+v, %v", f, info, err)
	}
	if _, err := Open(path, Limits{}); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "holds 3 frames") || !strings.Contains(fault.HintOf(err), "--index, from 0 to 2") {
		t.Errorf("Open of a stack: %v (%s)", err, fault.HintOf(err))
	}
	if _, _, err := OpenFrame(path, 3, Options{}); fault.KindOf(err) != fault.NotFound || !strings.Contains(err.Error(), "it holds 3") {
		t.Errorf("OpenFrame(3): %v, want not found and 3 frames", err)
	}
	if _, _, err := OpenFrame(path, 2, Options{}); fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "every pixel is missing") {
		t.Errorf("OpenFrame of a missing frame: %v", err)
	}
}

func TestSkip(t *testing.T) {
	t.Parallel()
	for _, path := range []string{put(t, "f.csv", []byte("1,2\n\n3,4\n\n5,6\n")), written(t, "s.tif", 3), written(t, "s.npy", 3)} {
		s, err := OpenStack(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		if err := s.Skip(2); err != nil {
			t.Fatal(err)
		}
		if f, err := s.Next(nil); err != nil || f.Index != 2 {
			t.Errorf("%s: after Skip(2): %d, %v", path, f.Index, err)
		}
		if err := s.Skip(7); err != nil {
			t.Errorf("%s: Skip past the end: %v", path, err)
		}
		if _, err := s.Next(nil); err != io.EOF || s.Info().Frames != 3 {
			t.Errorf("%s: at the end: %v, %d frames", path, err, s.Info().Frames)
		}
	}
}

// written makes a file of 3 x 2 frames counting up from 0.
func written(t *testing.T, name string, frames int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	w, err := Create(path, Output{})
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	for i := range frames {
		f := Frame{Width: 3, Height: 2, Pixels: make([]float64, 6)}
		for j := range f.Pixels {
			f.Pixels[j] = float64(6*i + j)
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

func TestSaturationAndMissing(t *testing.T) {
	t.Parallel()
	data := append([]byte(npyText("<u2", "False", 2, 2)), 0xff, 0xff, 0xff, 0x3f, 0, 0, 1, 0)
	path := put(t, "f.npy", data)
	f, info, err := OpenFrame(path, -1, Options{})
	if err != nil || f.SaturatedCount != 1 || info.Saturation == nil || *info.Saturation != 65535 {
		t.Errorf("%+v, %+v, %v; want one saturated at 65535", f, info, err)
	}
	level := 16383.0
	if f, _, err = OpenFrame(path, -1, Options{Saturation: &level}); err != nil || f.SaturatedCount != 2 || f.Stats().SaturatedCount != 2 {
		t.Errorf("%+v, %v; want two saturated at 16383", f, err)
	}
	nan := math.NaN()
	if _, _, err = OpenFrame(path, -1, Options{Saturation: &nan}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a saturation level of NaN: %v", err)
	}
	for name, bits := range map[string][]byte{"infinite": {0, 0, 0x80, 0x7f}, "larger than any": {0, 0, 0, 0x7e}} {
		data := append([]byte(npyText("<f4", "False", 1, 2)), append([]byte{0, 0, 0, 0}, bits...)...)
		_, err := Open(put(t, "f.npy", data), Limits{})
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "frame 0, column 1, row 0 (all from 0)") || !strings.Contains(err.Error(), name) {
			t.Errorf("a pixel that is %s: %v", name, err)
		}
	}
}

// TestOpenHeaterStack reads measured frames: a plate over a circular heater,
// doi 10.1002/batt.202100401, 977 x 11 x 11. Its last frame is the text file of
// the same data set to six decimals.
func TestOpenHeaterStack(t *testing.T) {
	t.Parallel()
	dir := os.Getenv("DIEGLOW_SHARED")
	if dir == "" {
		t.Skip("DIEGLOW_SHARED is not set: the measured frames are not here")
	}
	dir = filepath.Join(dir, "data", "ir-heater")
	last, err := Open(filepath.Join(dir, "last_frame_degC.csv"), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	f, info, err := OpenFrame(filepath.Join(dir, "frames_degC.npy"), 976, Options{})
	if err != nil || info.Frames != 977 || f.Width != 11 || f.Height != 11 {
		t.Fatalf("%+v, %v; want 977 frames of 11 x 11", info, err)
	}
	for i, v := range f.Pixels {
		if math.Abs(v-last.Pixels[i]) > 5.1e-7 {
			t.Errorf("pixel %d is %v, and %v in the text", i, v, last.Pixels[i])
		}
	}
}

// stackOf opens bytes as a stack, for fuzzing.
func stackOf(data []byte, o Options) (*Stack, error) {
	s := &Stack{path: "fuzz"}
	var err error
	s.info, s.src, err = open(input{bytes.NewReader(data), int64(len(data))}, o)
	return s, err
}

// checkStack reads what opens and checks what must hold of any file.
func checkStack(t *testing.T, data []byte, o Options) {
	t.Helper()
	o.MaxPixels = 1 << 12
	s, err := stackOf(data, o)
	frames := 0
	for err == nil {
		var f Frame
		f, err = s.Next(nil)
		if errors.Is(err, io.EOF) {
			if s.info.Frames != frames {
				t.Fatalf("%d frames read, and the file says %d", frames, s.info.Frames)
			}
			return
		}
		if err == nil {
			frames++
			if len(f.Pixels) == 0 || len(f.Pixels) > o.MaxPixels || len(f.Pixels) != f.Width*f.Height {
				t.Fatalf("%d pixels in %d x %d", len(f.Pixels), f.Width, f.Height)
			}
			if ratio := len(f.Pixels) / len(data); ratio > lzwRatio {
				t.Fatalf("%d pixels from %d bytes", len(f.Pixels), len(data))
			}
		}
		if frames > 1000 {
			return
		}
	}
	if k := fault.KindOf(err); k != fault.Invalid && k != fault.Conflict || fault.HintOf(err) == "" {
		t.Fatalf("error without kind or hint: %v", err)
	}
}

func FuzzOpenText(f *testing.F) {
	for _, s := range []string{"1,2\n\n3,4\n", "time_s,a\n1,1\n1,2\n", "# size: 2x1\nt_s,a,b\n1,1,2\n2,3,4\n", "time_ms;a\n0;1\n-1;2\n", "# size: 4x1\nt_s,a,b\n1,1,2\n", "\ufeff1\n\n\n2\n#\n3"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 0 {
			checkStack(t, data, Options{})
		}
	})
}

func FuzzOpenBinary(f *testing.F) {
	f.Add([]byte(npyText("<u2", "False", 1, 2) + "abcd"))
	f.Add([]byte(npyText(">f8", "True", 1, 1) + "abcdefgh"))
	for _, b := range tiffSamples() {
		f.Add(b)
	}
	for _, b := range fitsSamples() {
		f.Add(b)
	}
	f.Add(greyPNG(16, 3, 2))
	f.Add(greyPNG(8, 3, 2))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 0 && len(data) < 1<<16 {
			checkStack(t, data, Options{})
		}
	})
}

func FuzzOpenRaw(f *testing.F) {
	f.Add([]byte("abcdefgh"), 2, 1, false, false)
	f.Fuzz(func(t *testing.T, data []byte, width, height int, big, float bool) {
		raw := RawSamples{Sample: Uint16, BigEndian: big}
		if float {
			raw.Sample = Float32
		}
		if len(data) > 0 {
			checkStack(t, data, Options{Raw: &raw, Width: width, Height: height})
		}
	})
}
