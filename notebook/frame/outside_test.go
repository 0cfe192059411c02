package frame

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const python = "/usr/bin/python3"

// outside runs testdata/outside.py, which needs numpy, tifffile, astropy, Pillow
// and tiffcp (Debian: python3-numpy python3-tifffile python3-astropy python3-pil
// libtiff-tools).
func outside(t *testing.T, args ...string) string {
	t.Helper()
	missing := exec.Command(python, "-c", "import numpy, tifffile, astropy, PIL").Run()
	if missing == nil {
		_, missing = exec.LookPath("tiffcp")
	}
	if missing != nil {
		if os.Getenv("DIEGLOW_OUTSIDE") == "1" {
			t.Fatalf("DIEGLOW_OUTSIDE=1, and an outside reader is not here: %v", missing)
		}
		t.Skipf("an outside reader is not here (%v); install python3-numpy python3-tifffile python3-astropy python3-pil libtiff-tools", missing)
	}
	if os.Getenv("DIEGLOW_OUTSIDE") != "1" {
		t.Skip("DIEGLOW_OUTSIDE is not 1: not compared with numpy, tifffile, libtiff, astropy and Pillow")
	}
	cmd := exec.Command(python, append([]string{filepath.Join("testdata", "outside.py")}, args...)...)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("outside.py %v: %v\n%s", args, err, stderr.String())
	}
	return string(out)
}

// outsideFile is a file and the values in it.
type outsideFile struct {
	File  string `json:"file"`
	Shape []int  `json:"shape"`
	Raw   string `json:"raw,omitempty"`
	F4    bool   `json:"f4,omitempty"`
}

func (o outsideFile) size() (frames, height, width int) {
	frames = 1
	if len(o.Shape) == 3 {
		frames = o.Shape[0]
	}
	return frames, o.Shape[len(o.Shape)-2], o.Shape[len(o.Shape)-1]
}

func readValues(t *testing.T, path string) []float64 {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	v := make([]float64, len(b)/8)
	for i := range v {
		v[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
	}
	return v
}

// TestReadsWhatOthersWrite reads files written by numpy, tifffile, libtiff
// (tiffcp), astropy and Pillow, bit by bit.
func TestReadsWhatOthersWrite(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	outside(t, "write", dir)
	b, err := os.ReadFile(filepath.Join(dir, "manifest.json"))
	if err != nil {
		t.Fatal(err)
	}
	var files []outsideFile
	if err := json.Unmarshal(b, &files); err != nil {
		t.Fatal(err)
	}
	for _, o := range files {
		path := filepath.Join(dir, o.File)
		if err := o.matches(path, readValues(t, path+".f64")); err != nil {
			t.Errorf("%s: %v", o.File, err)
		}
	}
	t.Logf("%d files read", len(files))
}

// matches reads the stack at path and compares it with the values, one by one.
func (o outsideFile) matches(path string, want []float64) error {
	frames, height, width := o.size()
	var options Options
	if o.Raw != "" {
		raw, err := ParseRaw(o.Raw)
		if err != nil {
			return err
		}
		options = Options{Raw: &raw, Width: width, Height: height}
	}
	s, err := OpenStack(path, options)
	if err != nil {
		return err
	}
	defer s.Close()
	if i := s.Info(); i.Width != width || i.Height != height || i.Frames != frames {
		return fmt.Errorf("%d frames of %d x %d, want %d of %d x %d", i.Frames, i.Width, i.Height, frames, width, height)
	}
	var dst []float64
	for {
		f, err := s.Next(dst)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		dst = f.Pixels
		for i, v := range f.Pixels {
			if w := want[f.Index*width*height+i]; !same(v, w) {
				return fmt.Errorf("frame %d, pixel %d is %v, and the other program has %v", f.Index, i, v, w)
			}
		}
		frames--
	}
	if frames != 0 {
		return fmt.Errorf("%d frames were not read", frames)
	}
	return nil
}

// TestOthersReadWhatIsWritten has numpy, tifffile, Pillow and astropy read files
// made by Create.
func TestOthersReadWhatIsWritten(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(5, 6))
	var files []outsideFile
	for _, name := range []string{"a.csv", "a.tsv", "a.npy", "f4.npy", "a.tif", "a.fits", "counts.png", "timed.csv"} {
		for _, frames := range []int{1, 4} {
			if name == "counts.png" && frames > 1 || name == "timed.csv" && frames == 1 {
				continue
			}
			o := outsideFile{File: strings.Repeat("s", frames-1) + name, Shape: []int{frames, 7, 11}}
			if frames == 1 {
				o.Shape = o.Shape[1:]
			}
			ending := filepath.Ext(name)
			o.F4 = ending == ".tif" || ending == ".fits" || name == "f4.npy"
			writeRandom(t, rng, filepath.Join(dir, o.File), frames, o.F4 && ending == ".npy")
			files = append(files, o)
		}
	}
	b, err := json.Marshal(files)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "manifest.json"), b, 0o600); err != nil {
		t.Fatal(err)
	}
	if got := outside(t, "check", dir); !strings.HasPrefix(got, "14 files read") {
		t.Errorf("outside.py check: %s, want 14 files read", got)
	}
}

// writeRandom writes frames with Create and their values as raw f8 beside them.
func writeRandom(t *testing.T, rng *rand.Rand, path string, frames int, single bool) {
	t.Helper()
	o := Output{}
	if single {
		o.Sample = Float32
	}
	w, err := Create(path, o)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Close()
	var values []byte
	for i := range frames {
		f := Frame{Width: 11, Height: 7, Pixels: make([]float64, 77), HasTime: strings.Contains(path, "timed"), TimeS: float64(i) / 30}
		for j := range f.Pixels {
			f.Pixels[j] = 25 + 10*rng.NormFloat64()
			if strings.HasSuffix(path, ".png") {
				f.Pixels[j] = float64(rng.IntN(1 << 16))
			} else if j == 5 {
				f.Pixels[j] = math.NaN()
			}
			values = binary.LittleEndian.AppendUint64(values, math.Float64bits(f.Pixels[j]))
		}
		if err := w.Write(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Commit(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path+".f64", values, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestSpeedBesideNumpy prints how the mean image of 10,000 frames of 256 x 192
// and the reading of one such frame of text compare with numpy in the same run.
// It asserts no time: a busy machine would fail it. It writes a file of 1 GB and
// runs when DIEGLOW_SPEED is 1.
func TestSpeedBesideNumpy(t *testing.T) {
	if os.Getenv("DIEGLOW_SPEED") != "1" {
		t.Skip("DIEGLOW_SPEED is not 1: 1 GB and some seconds")
	}
	dir := t.TempDir()
	stack, text := filepath.Join(dir, "s.npy"), filepath.Join(dir, "t.csv")
	writeCounts(t, stack, 10_000)
	if err := os.WriteFile(text, text256x192(), 0o600); err != nil {
		t.Fatal(err)
	}
	var theirs struct {
		Mapped  float64 `json:"mean_mapped_s"`
		Loaded  float64 `json:"mean_loaded_s"`
		LoadTxt float64 `json:"loadtxt_s"`
	}
	if err := json.Unmarshal([]byte(outside(t, "time", stack, text)), &theirs); err != nil {
		t.Fatal(err)
	}
	mean, read := math.Inf(1), math.Inf(1)
	for range 7 {
		start := time.Now()
		s, err := OpenStack(stack, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Average(); err != nil {
			t.Fatal(err)
		}
		mean = min(mean, time.Since(start).Seconds())
		s.Close()
		start = time.Now()
		if _, err := Open(text, Limits{}); err != nil {
			t.Fatal(err)
		}
		read = min(read, time.Since(start).Seconds())
	}
	t.Logf("mean image: %.0f ms from the file; numpy %.0f ms mapped (ratio %.2f), %.0f ms loaded (ratio %.2f)",
		1e3*mean, 1e3*theirs.Mapped, mean/theirs.Mapped, 1e3*theirs.Loaded, mean/theirs.Loaded)
	t.Logf("text: %.2f ms; numpy.loadtxt %.2f ms (ratio %.3f)", 1e3*read, 1e3*theirs.LoadTxt, read/theirs.LoadTxt)
}

// writeCounts writes frames of 256 x 192 14-bit counts, <u2, as an .npy file.
func writeCounts(t *testing.T, path string, frames int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, 8))
	one := make([]byte, 100*2*256*192)
	for i := 0; i < len(one); i += 2 {
		binary.LittleEndian.PutUint16(one[i:], uint16(rng.UintN(1<<14)))
	}
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteString(npyText("<u2", "False", frames, 192, 256)); err != nil {
		t.Fatal(err)
	}
	for range frames / 100 {
		if _, err := f.Write(one); err != nil {
			t.Fatal(err)
		}
	}
}
