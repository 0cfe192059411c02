package uncertainty_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"dieglow/notebook/radiometry"
	"dieglow/notebook/uncertainty"
)

func between(t testing.TB, name string, value, half float64, d uncertainty.Distribution, dof float64) uncertainty.Input {
	t.Helper()
	in, err := uncertainty.Between(name, value, half, d)
	if err != nil {
		t.Fatal(err)
	}
	in.DegreesOfFreedom = dof
	return in
}

// TestGaugeBlock is JCGM 100:2008, H.1, and JCGM 101:2008, 9.5.
func TestGaugeBlock(t *testing.T) {
	t.Parallel()
	inputs := []uncertainty.Input{
		{Name: "standard", Value: 50000623, U: 25, DegreesOfFreedom: 18},
		{Name: "difference", Value: 215, U: 5.8, DegreesOfFreedom: 24},
		{Name: "random effects", U: 3.9, DegreesOfFreedom: 5},
		{Name: "systematic effects", U: 6.7, DegreesOfFreedom: 8},
		between(t, "expansion difference", 0, 1e-6, uncertainty.Rectangular, 50),
		{Name: "mean temperature", Value: -0.1, U: 0.2},
		between(t, "cycling", 0, 0.5, uncertainty.Arcsine, 0),
		between(t, "expansion", 11.5e-6, 2e-6, uncertainty.Rectangular, 0),
		between(t, "temperature difference", 0, 0.05, uncertainty.Rectangular, 2),
	}
	model := func(x []float64) (float64, error) {
		return x[0] + x[1] + x[2] + x[3] - x[0]*(x[4]*(x[5]+x[6])+x[7]*x[8]), nil
	}
	r, err := uncertainty.Evaluate(t.Context(), model, inputs, nil, uncertainty.Options{Trials: uncertainty.Trials{Count: 1_000_000, Seed: 1, Level: 0.99}})
	if err != nil {
		t.Fatal(err)
	}
	k, expanded, _, err := r.FirstOrder.Expanded(0.99)
	if err != nil || r.MonteCarlo == nil {
		t.Fatalf("no expanded uncertainty or no trials: %v, %s", err, r.Why)
	}
	checks(t, "uncertainty_gum.tsv", "h1 ", map[string]float64{
		"value_nm": r.FirstOrder.Value, "u_nm": r.FirstOrder.U, "dof": r.FirstOrder.DegreesOfFreedom, "k99": k, "U99_nm": expanded, "second_order_u_nm": r.FirstOrder.SecondOrderU,
		"mc_mean_nm": r.MonteCarlo.Mean, "mc_sd_nm": r.MonteCarlo.SD, "mc_low_nm": r.MonteCarlo.Shortest.Low, "mc_high_nm": r.MonteCarlo.Shortest.High,
	})
	if r.Method != uncertainty.ByMonteCarlo || !strings.Contains(r.Why, "not adequate") {
		t.Errorf("method %q, %s: the second-order terms were not noticed", r.Method, r.Why)
	}
}

// TestImpedance is JCGM 100:2008, H.2, from the readings: voltage in V, current
// in mA, phase in rad. The five readings are from memory, not verified.
func TestImpedance(t *testing.T) {
	t.Parallel()
	readings := [][]float64{
		{5.007, 4.994, 5.005, 4.990, 4.999}, {19.663, 19.639, 19.640, 19.685, 19.678}, {1.0456, 1.0438, 1.0468, 1.0428, 1.0433},
	}
	names := []string{"V", "I", "phase"}
	var inputs []uncertainty.Input
	var correlations []uncertainty.Correlation
	for i, r := range readings {
		in, err := uncertainty.FromReadings(names[i], r)
		if err != nil {
			t.Fatal(err)
		}
		inputs = append(inputs, in)
		for j := range i {
			c, err := uncertainty.ReadingsCorrelation(readings[j], r)
			if err != nil {
				t.Fatal(err)
			}
			correlations = append(correlations, uncertainty.Correlation{A: names[j], B: names[i], R: c})
		}
	}
	models := []uncertainty.Model{
		func(x []float64) (float64, error) { return 1000 * x[0] / x[1] * math.Cos(x[2]), nil },
		func(x []float64) (float64, error) { return 1000 * x[0] / x[1] * math.Sin(x[2]), nil },
		func(x []float64) (float64, error) { return 1000 * x[0] / x[1], nil },
	}
	got := map[string]float64{}
	var u []float64
	for i, name := range []string{"R", "X", "Z"} {
		r, err := uncertainty.Propagate(models[i], inputs, correlations)
		if err != nil {
			t.Fatal(err)
		}
		got[name+"_ohm"], got["u_"+name+"_ohm"] = r.Value, r.U
		u = append(u, r.U)
		if math.Abs(r.DegreesOfFreedom-4) > 1e-9 { // five readings of everything together
			t.Errorf("%s has %v degrees of freedom, want 4", name, r.DegreesOfFreedom)
		}
	}
	// r(a, b) from u(a+b)² = u(a)² + u(b)² + 2 r u(a) u(b).
	for _, p := range []struct {
		name string
		a, b int
	}{{"r_RX", 0, 1}, {"r_RZ", 0, 2}, {"r_XZ", 1, 2}} {
		sum, err := uncertainty.Propagate(func(x []float64) (float64, error) {
			a, _ := models[p.a](x)
			b, _ := models[p.b](x)
			return a + b, nil
		}, inputs, correlations)
		if err != nil {
			t.Fatal(err)
		}
		got[p.name] = (sum.U*sum.U - u[p.a]*u[p.a] - u[p.b]*u[p.b]) / (2 * u[p.a] * u[p.b])
	}
	checks(t, "uncertainty_gum.tsv", "h2 ", got)
}

// TestSupplement is JCGM 101:2008, 9.2.3 and 9.3.
func TestSupplement(t *testing.T) {
	t.Parallel()
	var four []uncertainty.Input
	for i := range 4 {
		four = append(four, between(t, fmt.Sprint("x", i), 0, math.Sqrt(3), uncertainty.Rectangular, 0))
	}
	sum := func(x []float64) (float64, error) { return x[0] + x[1] + x[2] + x[3], nil }
	r, err := uncertainty.Evaluate(t.Context(), sum, four, nil, uncertainty.Options{MonteCarlo: true, Trials: uncertainty.Trials{Count: 1_000_000, Seed: 3}})
	if err != nil {
		t.Fatal(err)
	}
	half := (r.MonteCarlo.Shortest.High - r.MonteCarlo.Shortest.Low) / 2
	// The model of 9.3 and its inputs are from memory, not verified: masses in mg, densities in kg/m³.
	mass := []uncertainty.Input{
		{Name: "reference", Value: 100000, U: 0.050}, {Name: "added", Value: 1.234, U: 0.020},
		between(t, "air", 1.2, 0.1, uncertainty.Rectangular, 0), between(t, "weight", 8000, 1000, uncertainty.Rectangular, 0), between(t, "reference density", 8000, 50, uncertainty.Rectangular, 0),
	}
	calibration := func(x []float64) (float64, error) {
		return (x[0]+x[1])*(1+(x[2]-1.2)*(1/x[3]-1/x[4])) - 100000, nil
	}
	m, err := uncertainty.Evaluate(t.Context(), calibration, mass, nil, uncertainty.Options{Trials: uncertainty.Trials{Count: 1_000_000, Seed: 3}})
	if err != nil || m.MonteCarlo == nil {
		t.Fatalf("mass: %v, %s", err, m.Why)
	}
	if m.Method != uncertainty.ByMonteCarlo {
		t.Errorf("mass by %s: %s", m.Method, m.Why)
	}
	checks(t, "uncertainty_gum.tsv", "s1 ", map[string]float64{
		"rectangular_u": r.FirstOrder.U, "rectangular_shortest95": half,
		"mass_value_mg": m.FirstOrder.Value, "mass_first_order_u_mg": m.FirstOrder.U, "mass_mc_sd_mg": m.MonteCarlo.SD,
	})
}

func TestCoverageFactors(t *testing.T) {
	t.Parallel()
	for key, v := range published(t, "uncertainty_coverage.tsv") {
		words := strings.Fields(key)
		got := uncertainty.CoverageFactor(number(t, words[0]), number(t, words[1]))
		if math.Abs(got/v.want-1) > v.relTol {
			t.Errorf("k(%s) = %.9g, want %v", key, got, v.want)
		}
	}
	for _, bad := range [][2]float64{{0, 5}, {1, 5}, {0.95, 0.5}, {math.NaN(), 5}, {0.95, math.NaN()}} {
		if got := uncertainty.CoverageFactor(bad[0], bad[1]); !math.IsNaN(got) {
			t.Errorf("k%v = %v, want NaN", bad, got)
		}
	}
}

// thermal is an object read through a lens.
func thermal(t testing.TB) (uncertainty.Model, []uncertainty.Input) {
	t.Helper()
	b, err := radiometry.NewBand(8, 14)
	if err != nil {
		t.Fatal(err)
	}
	table, err := b.Table(100, 3000)
	if err != nil {
		t.Fatal(err)
	}
	return radiometry.ObjectModel(table, "optics"), []uncertainty.Input{
		{Name: "apparent", Value: 335.15, U: 0.5}, {Name: "emissivity", Value: 0.8, U: 0.03}, {Name: "reflected", Value: 296.15, U: 1.5},
		{Name: "transmission", Value: 0.9, U: 0.01}, {Name: "optics", Value: 298.15, U: 1},
	}
}

func TestThermalBudget(t *testing.T) {
	t.Parallel()
	model, inputs := thermal(t)
	r, err := uncertainty.Evaluate(t.Context(), model, inputs, nil, uncertainty.Options{Unit: "K", Trials: uncertainty.Trials{Count: 1_000_000, Seed: 1}})
	if err != nil || r.MonteCarlo == nil {
		t.Fatalf("%v, %s", err, r.Why)
	}
	got := map[string]float64{"value_c": r.FirstOrder.Value - 273.15, "u_k": r.FirstOrder.U,
		"mc mean_c": r.MonteCarlo.Mean - 273.15, "mc sd_k": r.MonteCarlo.SD, "mc low_c": r.MonteCarlo.Symmetric.Low - 273.15, "mc high_c": r.MonteCarlo.Symmetric.High - 273.15}
	var order []string
	for _, row := range r.FirstOrder.Budget {
		got["sensitivity "+row.Name] = row.Sensitivity
		order = append(order, row.Name)
	}
	got["contribution emissivity"] = r.FirstOrder.Budget[0].Contribution
	checks(t, "uncertainty_thermal.tsv", "", got)
	if want := []string{"emissivity", "apparent", "transmission", "reflected", "optics"}; !slices.Equal(order, want) {
		t.Errorf("budget in order %v, want %v", order, want)
	}
	if !strings.Contains(r.Advice, "emissivity") || r.Method != uncertainty.ByMonteCarlo {
		t.Errorf("advice %q, method %q", r.Advice, r.Method)
	}
}

func BenchmarkThermalMillionTrials(b *testing.B) {
	model, inputs := thermal(b)
	for b.Loop() {
		if _, err := uncertainty.RunMonteCarlo(b.Context(), model, inputs, nil, uncertainty.Trials{Count: 1_000_000, Seed: 1}); err != nil {
			b.Fatal(err)
		}
	}
}
