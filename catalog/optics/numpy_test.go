package optics

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"
	"time"
)

// relay is four lenses, eight surfaces, with clear apertures that stop some rays.
func relay() Stack {
	lens := func(n, r1, r2, t float64) Element {
		return Element{N: n, Radius1MM: r1, Radius2MM: r2, ThicknessMM: t, DiameterMM: 20, SemiAperture1MM: 9, SemiAperture2MM: 9}
	}
	return Stack{
		{Element: lens(4.003, 40, 60, 3), GapAfterMM: 3}, {Element: lens(2.4065, 0, -80, 4), GapAfterMM: 1},
		{Element: lens(4.003, 60, 90, 3), GapAfterMM: 2}, {Element: lens(2.4065, 90, 0, 3)},
	}
}

func bundle(n int) []Ray {
	random := rand.New(rand.NewPCG(1, 2))
	rays := make([]Ray, n)
	for i := range rays {
		rays[i] = RayAt(16*random.Float64()-8, 16*random.Float64()-8, -5, 0.2*random.Float64()-0.1, 0.2*random.Float64()-0.1)
	}
	return rays
}

// TestTraceAgreesWithNumpy sends the same rays through the same formulas in
// numpy, written apart, and prints how the two compare in time.
func TestTraceAgreesWithNumpy(t *testing.T) {
	if testing.Short() {
		t.Skip("a comparison with another program")
	}
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import numpy").Run(); err != nil {
		if os.Getenv("DIEGLOW_OUTSIDE") == "1" {
			t.Fatalf("DIEGLOW_OUTSIDE=1, and %s has no numpy: %v", python, err)
		}
		t.Skipf("%s has no numpy; install python3-numpy to compare", python)
	}
	sys, rays := relay().compile(), bundle(200_000)
	theirs, theirSeconds := numpyTrace(t, python, sys, rays)

	ours, outcomes := make([]Ray, len(rays)), make([]Outcome, len(rays))
	seconds, passed := math.Inf(1), 0
	for range 5 {
		copy(ours, rays)
		start := time.Now()
		passed = sys.TraceAll(ours, outcomes)
		seconds = min(seconds, time.Since(start).Seconds())
	}
	for i, o := range outcomes {
		want := theirs[i]
		if (o.Fate == Passed) == math.IsNaN(want[0]) {
			t.Fatalf("ray %d: %v here, %v there", i, sys.Describe(o), want)
		}
		got := [6]float64{ours[i].X, ours[i].Y, ours[i].Z, ours[i].L, ours[i].M, ours[i].N}
		for k := range got {
			if o.Fate == Passed && math.Abs(got[k]-want[k]) > 1e-11 {
				t.Fatalf("ray %d: %v here, %v there", i, got, want)
			}
		}
	}
	work := float64(len(rays) * sys.Surfaces())
	t.Logf("%d of %d rays pass; %.1f million surfaces a second here, %.1f in numpy, ratio %.2f",
		passed, len(rays), work/seconds/1e6, work/theirSeconds/1e6, theirSeconds/seconds)
}

// numpyTrace returns the traced rays as columns, and the seconds it took.
func numpyTrace(t *testing.T, python string, sys *System, rays []Ray) (traced [][6]float64, seconds float64) {
	t.Helper()
	in := []float64{float64(len(sys.faces)), float64(len(rays))}
	for _, f := range sys.faces {
		in = append(in, f.before, f.c, f.mu, f.clear2)
	}
	columns := make([]float64, 6*len(rays))
	for i, r := range rays {
		for k, v := range [6]float64{r.X, r.Y, r.Z, r.L, r.M, r.N} {
			columns[k*len(rays)+i] = v
		}
	}
	var stdin, stdout, stderr bytes.Buffer
	if err := binary.Write(&stdin, binary.LittleEndian, append(in, columns...)); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/trace_numpy.py")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &stdin, &stdout, &stderr
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1", "OPENBLAS_NUM_THREADS=1")
	if err := cmd.Run(); err != nil {
		t.Fatalf("numpy: %v\n%s", err, stderr.String())
	}
	if err := binary.Read(&stdout, binary.LittleEndian, &seconds); err != nil {
		t.Fatal(err)
	}
	if err := binary.Read(&stdout, binary.LittleEndian, columns); err != nil {
		t.Fatal(err)
	}
	traced = make([][6]float64, len(rays))
	for i := range traced {
		for k := range 6 {
			traced[i][k] = columns[k*len(rays)+i]
		}
	}
	return traced, seconds
}

func BenchmarkTraceAll(b *testing.B) {
	sys, rays := relay().compile(), bundle(1024)
	work, outcomes := make([]Ray, len(rays)), make([]Outcome, len(rays))
	b.ReportAllocs()
	for b.Loop() {
		copy(work, rays)
		sys.TraceAll(work, outcomes)
	}
	surfaces := 0
	for _, o := range outcomes {
		surfaces += int(min(o.Surface+1, int32(sys.Surfaces())))
	}
	b.ReportMetric(float64(surfaces)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msurfaces/s")
}

func BenchmarkTrace(b *testing.B) {
	sys, rays := relay().compile(), bundle(1024)
	b.ReportAllocs()
	surfaces := 0
	for b.Loop() {
		surfaces = 0
		for _, r := range rays {
			_, o := sys.Trace(r)
			surfaces += int(min(o.Surface+1, int32(sys.Surfaces())))
		}
	}
	b.ReportMetric(float64(surfaces)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msurfaces/s")
}
