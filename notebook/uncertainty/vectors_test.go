package uncertainty_test

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// vector is what is wanted for an input, and how near.
type vector struct{ want, relTol float64 }

// vectors reads testdata/vectors/name by its first column.
func vectors(t *testing.T, name string) map[string]vector {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "vectors", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	out := map[string]vector{}
	lines := bufio.NewScanner(f)
	lines.Scan() // heading
	for lines.Scan() {
		row := strings.Split(lines.Text(), "\t")
		if len(row) != 4 {
			t.Fatalf("%s: %q has %d columns, want 4", name, lines.Text(), len(row))
		}
		out[row[0]] = vector{number(t, row[1]), number(t, row[2])}
	}
	if err := lines.Err(); err != nil || len(out) == 0 {
		t.Fatalf("%s: %d rows, error %v", name, len(out), err)
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
	want := vectors(t, name)
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
