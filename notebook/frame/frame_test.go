package frame

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dieglow/catalog/fault"
)

func TestParseUnit(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]Unit{"degC": DegC, "degc": DegC, "C": DegC, " °C ": DegC, "K": Kelvin, "k": Kelvin, "counts": Counts} {
		got, err := ParseUnit(in)
		if err != nil || got != want {
			t.Errorf("ParseUnit(%q) = %v, %v, want %v", in, got, err, want)
		}
		if back, err := ParseUnit(got.String()); err != nil || back != got {
			t.Errorf("ParseUnit(%q) = %v, %v, want %v", got.String(), back, err, got)
		}
	}
	for _, in := range []string{"", "degF", "unstated", "mK", "25"} {
		if _, err := ParseUnit(in); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("ParseUnit(%q): %v, want fault Invalid with a hint", in, err)
		}
	}
}

func TestStats(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	// The eight values have mean 5 and mean square deviation 4 by hand.
	f := Frame{Width: 3, Height: 3, Pixels: []float64{2, 4, 4, 4, nan, 5, 5, 7, 9}}
	want := Stats{Min: 2, Max: 9, Mean: 5, StdDev: 2, MaxX: 2, MaxY: 2, MissingCount: 1}
	if got := f.Stats(); got != want {
		t.Errorf("Stats() = %+v, want %+v", got, want)
	}
	// A large offset does not disturb the spread: 0.5 about 2^40 is exact.
	f = Frame{Width: 2, Height: 1, Pixels: []float64{1<<40 - 0.5, 1<<40 + 0.5}}
	if got := f.Stats(); got.StdDev != 0.5 || got.MaxX != 1 {
		t.Errorf("Stats() = %+v, want a standard deviation of 0.5 and the maximum at x = 1", got)
	}
	f = Frame{Width: 2, Height: 2, Pixels: []float64{1, 3, 3, 3}}
	if got := f.Stats(); got.MaxX != 1 || got.MaxY != 0 {
		t.Errorf("Stats() puts the first of equal maxima at %d, %d, want 1, 0", got.MaxX, got.MaxY)
	}
	f = Frame{Width: 1, Height: 1, Pixels: []float64{nan}}
	if got := f.Stats(); !math.IsNaN(got.Mean) || !math.IsNaN(got.Max) || got.MaxX != -1 || got.MissingCount != 1 {
		t.Errorf("Stats() of a missing pixel = %+v, want NaN and position -1", got)
	}
}

// TestOpenHeaterFrame reads a measured frame: a plate over a circular heater,
// doi 10.1002/batt.202100401. The values are from awk (size, maximum, position,
// minimum) and from Python 3 statistics.fmean and pstdev on the same file.
func TestOpenHeaterFrame(t *testing.T) {
	t.Parallel()
	dir := os.Getenv("DIEGLOW_SHARED")
	if dir == "" {
		t.Skip("DIEGLOW_SHARED is not set: the measured frame is not here")
	}
	f, err := Open(filepath.Join(dir, "data", "ir-heater", "last_frame_degC.csv"), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	s := f.Stats()
	if f.Width != 11 || f.Height != 11 || s.Max != 24.862512 || s.MaxX != 5 || s.MaxY != 5 || s.Min != 21.691513 || s.MissingCount != 0 {
		t.Errorf("%d x %d, %+v; want 11 x 11, maximum 24.862512 at 5, 5, minimum 21.691513", f.Width, f.Height, s)
	}
	if math.Abs(s.Mean-22.971981157024793) > 1e-13 || math.Abs(s.StdDev-0.7145339930029643) > 1e-13 {
		t.Errorf("mean %v, standard deviation %v; want 22.971981157024793, 0.7145339930029643", s.Mean, s.StdDev)
	}
}

func TestOpenRefuses(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	tests := []struct {
		name, content, want string
		kind                fault.Kind
	}{
		{"array.csv", "\x93NUMPY\x01\x00", "array.csv: the header of the array is cut short", fault.Invalid},
		{"picture.txt", "II*\x00", "the TIFF file is cut short", fault.Invalid},
		{"picture.csv", "\xff\xd8\xff\xe0", "picture.csv is a JPEG picture", fault.Invalid},
		{"sheet.csv", "PK\x03\x04", "is a zip archive or spreadsheet", fault.Invalid},
		{"empty.csv", "", "empty.csv: no rows of numbers", fault.Invalid},
		{"short.csv", "1,2\n3\n", "short.csv: line 2 has 1 columns", fault.Invalid},
	}
	for _, tt := range tests {
		path := filepath.Join(dir, tt.name)
		if err := os.WriteFile(path, []byte(tt.content), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Open(path, Limits{})
		if fault.KindOf(err) != tt.kind || !strings.Contains(err.Error(), tt.want) || fault.HintOf(err) == "" {
			t.Errorf("Open(%s): %v, want %q with a hint", tt.name, err, tt.want)
		}
	}
	if _, err := Open(filepath.Join(dir, "none.csv"), Limits{}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a missing file: %v, want fault NotFound", err)
	}
	if _, err := Open(dir, Limits{}); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a folder: %v, want fault Invalid", err)
	}
}
