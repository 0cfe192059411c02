package hotspot_test

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"dieglow/notebook/frame"
	"dieglow/notebook/hotspot"
)

// scipy runs the comparison script, or skips where there is no scipy.
func scipy(t *testing.T, into any, arguments ...string) {
	t.Helper()
	if testing.Short() {
		t.Skip("a comparison with another program")
	}
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import scipy.ndimage").Run(); err != nil {
		if os.Getenv("DIEGLOW_OUTSIDE") == "1" {
			t.Fatalf("DIEGLOW_OUTSIDE=1, and %s has no scipy: %v", python, err)
		}
		t.Skipf("%s has no scipy; install python3-scipy to compare", python)
	}
	out, err := exec.Command(python, append([]string{filepath.Join("testdata", "spots_scipy.py")}, arguments...)...).Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(out, into); err != nil {
		t.Fatal(err)
	}
}

func save(t *testing.T, f frame.Frame) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "frame.f64")
	data := make([]byte, 0, 8*len(f.Pixels))
	for _, v := range f.Pixels {
		data = binary.LittleEndian.AppendUint64(data, math.Float64bits(v))
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestAgreesWithScipy compares the spots of a frame with scipy.ndimage (label,
// center_of_mass, maximum_position, sum and mean) and their Gaussians with
// scipy.optimize.leastsq.
func TestAgreesWithScipy(t *testing.T) {
	f := scene(256, 192, 25, 0.05, 1, bump{3, 60.3, 50.6, 3, 3}, bump{2, 160.2, 90.7, 4, 5}, bump{5, 200.1, 150.9, 2, 2})
	r := scene(256, 192, 25, 0.05, 2)
	var theirs struct {
		SD, Level            float64
		Area, Rise, Mean     []float64
		Centre               [][2]float64
		Peak                 [][2]int
		Fits                 []struct{ X, Y, Height, FWHM float64 }
		Seconds, Fit_Seconds float64
	}
	scipy(t, &theirs, "find", save(t, f), save(t, r), "256", "192", "5")
	o := usual()
	o.Reference = &r
	seconds := math.Inf(1)
	var found hotspot.Found
	for range 7 {
		start := time.Now()
		found = find(t, f, o)
		seconds = math.Min(seconds, time.Since(start).Seconds())
	}
	t.Logf("%.2f ms; scipy %.2f ms, and %.2f ms for the Gaussians: ratio %.2f", 1e3*seconds, 1e3*theirs.Seconds, 1e3*theirs.Fit_Seconds, seconds/(theirs.Seconds+theirs.Fit_Seconds))
	if math.Abs(found.Noise.SD-theirs.SD) > 1e-3*theirs.SD || math.Abs(found.Background.Level-theirs.Level) > 0.05*theirs.SD {
		t.Errorf("noise %v, level %v; scipy %v, %v", found.Noise.SD, found.Background.Level, theirs.SD, theirs.Level)
	}
	if len(found.Spots) != len(theirs.Area) {
		t.Fatalf("%d spots; scipy %d", len(found.Spots), len(theirs.Area))
	}
	for _, s := range found.Spots {
		k := -1
		for i, p := range theirs.Peak {
			if p[0] == s.PeakYPx && p[1] == s.PeakXPx {
				k = i
			}
		}
		if k < 0 {
			t.Fatalf("scipy has no peak at %d, %d", s.PeakXPx, s.PeakYPx)
		}
		q := theirs.Fits[k]
		// The level differs a little, and with it the outermost pixels.
		if math.Abs(float64(s.AreaPx)-theirs.Area[k]) > 2 || math.Abs(s.Rise-theirs.Rise[k]) > 1e-9 || math.Abs(s.MeanRise-theirs.Mean[k]) > 0.02*theirs.Mean[k] {
			t.Errorf("area %d, rise %v, mean %v; scipy %v, %v, %v", s.AreaPx, s.Rise, s.MeanRise, theirs.Area[k], theirs.Rise[k], theirs.Mean[k])
		}
		if math.Hypot(s.XPx-theirs.Centre[k][1], s.YPx-theirs.Centre[k][0]) > 0.3 || math.Hypot(s.XPx-q.X, s.YPx-q.Y) > s.UXPx || math.Abs(*s.FitRise-q.Height-found.Background.Level) > *s.UFitRise || math.Abs(s.Fit.FWHMPx-q.FWHM) > 2*s.Fit.UFWHMPx {
			t.Errorf("centre %.4f, %.4f, height %.4f, width %.4f; scipy %+v, centroid %v", s.XPx, s.YPx, *s.FitRise, s.Fit.FWHMPx, q, theirs.Centre[k])
		}
	}
}

// TestProfileAgreesWithScipy compares a profile with scipy.ndimage.map_coordinates
// of order 1.
func TestProfileAgreesWithScipy(t *testing.T) {
	f := scene(64, 48, 25, 0.5, 4, bump{5, 30, 20, 4, 4})
	got, err := hotspot.Profile(f, hotspot.Line{From: hotspot.Point{X: 3.25, Y: 40.5}, Until: hotspot.Point{X: 61.75, Y: 2.125}, WidthPx: 1})
	if err != nil {
		t.Fatal(err)
	}
	var theirs []float64
	scipy(t, &theirs, "line", save(t, f), "64", "48", "3.25", "40.5", "61.75", "2.125", strconv.Itoa(len(got)))
	for i, v := range theirs {
		if math.Abs(got[i].Value-v) > 1e-9 {
			t.Errorf("value %d: %v; scipy %v", i, got[i].Value, v)
		}
	}
}

// TestHeater looks for the heater behind the middle of a real plate.
func TestHeater(t *testing.T) {
	t.Parallel()
	folder := os.Getenv("DIEGLOW_SHARED")
	if folder == "" {
		t.Skip("DIEGLOW_SHARED does not name the folder with data/")
	}
	f, _, err := frame.OpenFrame(filepath.Join(folder, "data", "ir-heater", "frames_degC.npy"), 976, frame.Options{})
	if err != nil {
		t.Fatal(err)
	}
	found := find(t, f, usual())
	if len(found.Spots) != 1 {
		t.Fatalf("%d spots", len(found.Spots))
	}
	// The set's own text file has 24.862512 at column 5, row 5, its highest.
	if s := found.Spots[0]; math.Hypot(s.XPx-5, s.YPx-5) > 0.5 || s.PeakXPx != 5 || s.PeakYPx != 5 || math.Abs(s.Peak-24.862512) > 1e-5 {
		t.Errorf("%+v", s)
	}
}
