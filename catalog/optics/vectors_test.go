package optics_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/testdata/vectors"
)

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func millimetres(t *testing.T, text string) float64 {
	t.Helper()
	v, err := quantity.ParseValue(text, quantity.Millimetre)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// within compares to a relative tolerance, absolute where zero is wanted.
func within(got, want, relTol float64) bool {
	if want == 0 || math.IsInf(want, 0) {
		return got == want || math.Abs(got-want) <= relTol
	}
	return math.Abs(got-want) <= relTol*math.Abs(want)
}

func TestThinLensMatchesTextbooks(t *testing.T) {
	t.Parallel()
	for _, row := range vectors.Rows(t, "thin_lens.tsv") {
		words := strings.Fields(row[0])
		given := map[string]float64{}
		for _, w := range words[1:] {
			name, value, _ := strings.Cut(w, "=")
			given[name] = millimetres(t, value)
		}
		tol := number(t, row[2])
		if words[0] == "focal" {
			if got, want := optics.ThinFocalMM(given["s"], given["i"]), millimetres(t, row[1]); !within(got, want, tol) {
				t.Errorf("%s: %v, want %v (%s)", row[0], got, want, row[3])
			}
			continue
		}
		c, err := optics.Stack{{Element: optics.Thin(given["f"])}}.Conjugate(given["s"])
		if err != nil {
			t.Errorf("%s: %v", row[0], err)
			continue
		}
		got, want := c.Magnification, 0.0
		if words[0] == "image" {
			got, want = c.ImageMM, millimetres(t, row[1])
		} else {
			want = number(t, row[1])
		}
		if !within(got, want, tol) || c.Virtual != (c.ImageMM < 0) {
			t.Errorf("%s: %v, want %v (%s)", row[0], got, want, row[3])
		}
	}
}

func TestUSAF1951MatchesItsTable(t *testing.T) {
	t.Parallel()
	for _, row := range vectors.Rows(t, "usaf1951_lp_per_mm.tsv") {
		f := strings.Fields(row[0])
		group, element := int(number(t, f[0])), int(number(t, f[1]))
		got, err := optics.USAF1951LinePairsPerMM(group, element)
		if err != nil || !within(got, number(t, row[1]), number(t, row[2])) {
			t.Errorf("group %d element %d: %v, %v, want %s (%s)", group, element, got, err, row[1], row[3])
		}
		bar, err := optics.USAF1951BarWidthUM(group, element)
		if err != nil || !within(bar*2*got, 1000, 1e-12) {
			t.Errorf("group %d element %d: bar of %v µm, %v, want half a line pair of %v /mm", group, element, bar, err, got)
		}
	}
	for _, bad := range [][2]int{{-3, 1}, {10, 1}, {0, 0}, {0, 7}} {
		if got, err := optics.USAF1951LinePairsPerMM(bad[0], bad[1]); err == nil {
			t.Errorf("group %d element %d: %v, want an error", bad[0], bad[1], got)
		}
		if got, err := optics.USAF1951BarWidthUM(bad[0], bad[1]); err == nil {
			t.Errorf("group %d element %d: bar %v, want an error", bad[0], bad[1], got)
		}
	}
}
