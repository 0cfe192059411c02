package lockin

import (
	"bytes"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"testing"
)

// TestAgreesWithNumpy fits the same noisy stack with numpy.linalg.lstsq.
func TestAgreesWithNumpy(t *testing.T) {
	t.Parallel()
	const python = "/usr/bin/python3"
	if err := exec.Command(python, "-c", "import numpy").Run(); err != nil {
		if os.Getenv("DIEGLOW_OUTSIDE") == "1" {
			t.Fatalf("DIEGLOW_OUTSIDE=1, and %s has no numpy: %v", python, err)
		}
		t.Skipf("%s has no numpy; install python3-numpy to compare", python)
	}
	const frames, rateHz, f = 333, 25.0, 1.31
	random := rand.New(rand.NewPCG(21, 22))
	in := []float64{rateHz, f, 2, frames, width * height}
	for range frames * width * height {
		in = append(in, 25+random.NormFloat64())
	}
	values := in[5:]
	r, err := analyse(asFloats(t, frames, rateHz, func(i, n int, at float64) float64 { return values[n*width*height+i] }), Options{FrequencyHz: f, RateHz: rateHz})
	if err != nil {
		t.Fatal(err)
	}
	var stdin, stdout, stderr bytes.Buffer
	if err := binary.Write(&stdin, binary.LittleEndian, in); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "testdata/fit_numpy.py")
	cmd.Stdin, cmd.Stdout, cmd.Stderr = &stdin, &stdout, &stderr
	if err := cmd.Run(); err != nil {
		t.Fatalf("numpy: %v\n%s", err, stderr.String())
	}
	theirs := make([]float64, 4*width*height)
	if err := binary.Read(&stdout, binary.LittleEndian, theirs); err != nil {
		t.Fatal(err)
	}
	for i := range r.InPhase {
		ours := [4]float64{r.InPhase[i], r.Quadrature[i], math.Sqrt(r.cov[i].ii), math.Sqrt(r.cov[i].qq)}
		for k, v := range ours {
			if want := theirs[k*width*height+i]; math.Abs(v-want) > 1e-10 {
				t.Fatalf("pixel %d, figure %d: %v here, %v there", i, k, v, want)
			}
		}
	}
}
