package uncertainty_test

import (
	"math"
	"strconv"
	"testing"

	"dieglow/testdata/vectors"
)

// vector is what is wanted for an input, and how near.
type vector struct{ want, relTol float64 }

// published reads a table of vectors by its first column.
func published(t *testing.T, name string) map[string]vector {
	t.Helper()
	out := map[string]vector{}
	for _, row := range vectors.Rows(t, name) {
		out[row[0]] = vector{number(t, row[1]), number(t, row[2])}
	}
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// checks compares figures with a file of vectors; each has to be in the file.
func checks(t *testing.T, name, prefix string, got map[string]float64) {
	t.Helper()
	want := published(t, name)
	for key, g := range got {
		v, ok := want[prefix+key]
		if !ok {
			t.Errorf("%s has no %q", name, prefix+key)
			continue
		}
		if !(math.Abs(g-v.want) <= v.relTol*math.Abs(v.want)) {
			t.Errorf("%s%s = %.10g, want %.10g to %.1e", prefix, key, g, v.want, v.relTol)
		}
	}
}
