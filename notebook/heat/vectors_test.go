package heat_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"dieglow/notebook/heat"
	"dieglow/testdata/vectors"
)

// published checks a figure for each row of testdata/vectors/heat.tsv that begins
// with a word.
func published(t *testing.T, word string, figure func(fields []string) float64) {
	t.Helper()
	seen := 0
	for _, row := range vectors.Rows(t, "heat.tsv") {
		fields := strings.Fields(row[0])
		if fields[0] != word {
			continue
		}
		seen++
		want, tol := number(t, row[1]), number(t, row[2])
		if got := figure(fields[1:]); !(math.Abs(got-want) <= tol*math.Abs(want)) {
			t.Errorf("%s = %.10g, want %g to %g (%s)", row[0], got, want, tol, row[3])
		}
	}
	if seen == 0 {
		t.Errorf("heat.tsv has no row for %q", word)
	}
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func must[T any](t *testing.T) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// threeStages is the network of the published figures.
func threeStages() heat.Foster { return heat.Foster{{.15, 1e-3}, {.45, .02}, {.90, .35}} }

func TestPublishedFigures(t *testing.T) {
	t.Parallel()
	published(t, "spread", func(f []string) float64 {
		s := must[heat.SpreadFigures](t)(heat.Spread{Shape: f[0], SizeMM: number(t, f[1]), ConductivityWK: number(t, f[2])}.Figures())
		return map[string]float64{"isothermal": s.IsothermalKPerW, "mean": s.IsofluxMeanKPerW, "centre": s.IsofluxCentreKPerW}[f[3]]
	})
	published(t, "diffusion", func(f []string) float64 {
		return must[float64](t)(heat.DiffusionLengthMM(number(t, f[0]), number(t, f[1])))
	})
	published(t, "foster", func(f []string) float64 {
		if f[0] == "step" {
			return threeStages().StepKPerW(number(t, f[1]))
		}
		return threeStages().PeakK(heat.Train{PulseS: number(t, f[1]), PeriodS: number(t, f[2]), PowerW: 1})
	})
	published(t, "plate", func(f []string) float64 {
		return must[float64](t)(heat.Plate{ConductivityWK: 20, ThicknessMM: 1.6, FilmWM2K: 20}.RiseK(1, 0, number(t, f[0])))
	})
	published(t, "derate", func(f []string) float64 {
		return must[float64](t)(heat.Derating{FromK: 298.15, PerWK: 150.0 / 175}.At(150, 273.15+number(t, f[0])))
	})
}

func TestLineAgainstTheGuideAndYork(t *testing.T) {
	t.Parallel()
	x := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	y := []float64{-.171, -.169, -.166, -.159, -.164, -.165, -.156, -.157, -.159, -.161, -.160}
	var points []heat.Point
	for i := range x {
		points = append(points, heat.Point{X: x[i] - 20, Y: y[i]})
	}
	l := must[heat.Line](t)(heat.FitLine(points))
	at30, u30 := l.At(10)
	published(t, "gum_h3", func(f []string) float64 {
		return map[string]float64{"a": l.A, "b": l.B, "ua": l.UA, "ub": l.UB, "r": l.Cov / (l.UA * l.UB), "s": l.SD, "at30": at30, "u30": u30}[f[0]]
	})

	px := []float64{0, .9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4}
	py := []float64{5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5}
	wx := []float64{1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1}
	wy := []float64{1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500}
	points = nil
	for i := range px {
		points = append(points, heat.Point{X: px[i], Y: py[i], UX: 1 / math.Sqrt(wx[i]), UY: 1 / math.Sqrt(wy[i])})
	}
	york := must[heat.Line](t)(heat.FitLine(points))
	published(t, "york", func(f []string) float64 {
		return map[string]float64{"a": york.A, "b": york.B, "ua": york.UA, "ub": york.UB, "chi2": york.Chi2}[f[0]]
	})

	// With exact x the estimate is linear in the y: its gains are what a change of one
	// y does. Nearly exact x, as a power is, change that little.
	for _, ux := range []float64{0, 1e-3} {
		for i := range points {
			points[i].UX = ux
		}
		l := must[heat.Line](t)(heat.FitLine(points))
		for i := range points {
			const step = 1e-4
			moved := append([]heat.Point{}, points...)
			moved[i].Y += step
			m := must[heat.Line](t)(heat.FitLine(moved))
			if got := (m.B - l.B) / step; math.Abs(got-l.Gain[i]) > 1e-6+ux*math.Abs(l.Gain[i]) {
				t.Errorf("point %d, u(x) %g: B moves by %g for each y, and Gain says %g", i, ux, got, l.Gain[i])
			}
		}
	}
}
