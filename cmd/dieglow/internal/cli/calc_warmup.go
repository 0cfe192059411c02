package cli

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/chart"
	"dieglow/notebook/heat"
)

func newCalcWarmup(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "warmup FILE",
		Short: "What a series of temperatures settles at, and when",
		Long: `FILE is a text file with a time in s and a temperature on each line, divided by
commas, semicolons, tabs or blanks; a first line may name the columns. Of more
columns the first whose numbers change is taken, unless --column names another.

T(t) = T_inf - sum of A exp(-t/tau) is fitted with one and with two time constants.
A model is adequate when it leaves little more than the noise and none with more
time constants is better by more than chance; the rule is printed. The simplest
adequate model is chosen. What it settles at is an extrapolation, and says so.

Flat readings before the power came on are found and not fitted; --from states when
it came on. Readings far from their neighbours are named and left out. A model whose
parameters the readings do not determine is never chosen.`,
		Example: `  dieglow calc warmup warm-up.csv --within 0.5K
  dieglow calc warmup log.csv --from 50s --keep-all
  dieglow calc warmup log.csv --column T1 --noise 50mK --at 10min --plot warm-up.png`,
		Args: args("a file of times and temperatures"),
		RunE: func(cmd *cobra.Command, args []string) error { return runCalcWarmup(app, app.input(cmd), args[0]) },
	}
	textFlags(cmd.Flags(), "within", "of the final value counts as equilibrium; 1K unless given", "noise", "standard deviation of one reading; estimated unless given", "unit", "of the temperatures, degC or K; what the column's name says, else degC",
		"column", "name or number of the column of temperatures", "time-column", "that of the times", "u-column", "that of standard uncertainties in K; none unless given",
		"from", "when power came on, on the clock of the series; found where readings before it are flat", "at", "when a capture was taken: was it at equilibrium?; the end of the series unless given", "plot", "draw readings, fits and residuals into this PNG file")
	cmd.Flags().Bool("keep-all", false, "fit readings that stand out too")
	cmd.Flags().Bool("replace", false, "write over a picture that is there")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}

func runCalcWarmup(app *App, in *input, path string) error {
	s, w, err := in.warmup(path)
	if err != nil {
		return err
	}
	if file, ok := in.given("plot"); ok {
		data, err := warmupChart(filepath.Base(path), s, w)
		if err != nil {
			return err
		}
		if err := writeFile(file, data, in.isSet("replace")); err != nil {
			return err
		}
		app.notef("wrote %s", file)
	}
	explain := func() ([]optics.Explanation, error) { return explainWarmup(s, w), nil }
	if in.isSet("explain") {
		return showFigures(app, in, path, w, warmupLines(w), explain)
	}
	return app.emit(w, func() error { return app.printWarmup(path, w) })
}

func (in *input) warmup(path string) (heat.Series, heat.WarmUp, error) {
	var c heat.Columns
	var unit string
	in.text("time-column", &c.Time)
	in.text("column", &c.Temp)
	in.text("u-column", &c.U)
	in.text("unit", &unit)
	if unit != "" && unit != "degC" && unit != "K" {
		in.fail("unit", fault.Invalidf("%q is not a unit of temperatures here", unit).WithHint("use degC or K"))
	}
	o := heat.WarmUpOptions{WithinK: 1, AtS: in.optional("at", quantity.Second), FromS: in.optional("from", quantity.Second), KeepAll: in.isSet("keep-all")}
	in.must("within", quantity.KelvinStep, &o.WithinK)
	if _, ok := in.given("noise"); ok {
		if in.must("noise", quantity.KelvinStep, &o.NoiseK); in.err == nil && !(o.NoiseK > 0) {
			in.fail("noise", fault.Invalidf("%s K is not above zero", quantity.Fixed(o.NoiseK, 4)).WithHint("give --noise 50mK, or leave it out"))
		}
	}
	if in.err != nil {
		return heat.Series{}, heat.WarmUp{}, in.err
	}
	f, err := os.Open(path)
	if err != nil {
		return heat.Series{}, heat.WarmUp{}, fault.NotFoundf("the series cannot be opened").Because(err).WithHint("name a text file with a time in s and a temperature on each line")
	}
	defer f.Close()
	s, err := heat.ReadSeries(f, c, unit)
	if err != nil {
		return s, heat.WarmUp{}, err
	}
	w, err := s.WarmUp(o)
	return s, w, err
}

// inSeriesUnit prints a temperature of a series with its unit.
func inSeriesUnit(v float64, u *float64, unit string) string {
	symbol := " K"
	if unit == "degC" {
		symbol = " °C"
	}
	e := quantity.Estimate{Value: v, U: u}
	if u == nil {
		return quantity.Fixed(v, 6) + symbol + ", uncertainty not evaluated"
	}
	return e.Number(quantity.KelvinStep) + symbol
}

func warmupLines(w heat.WarmUp) [][3]string {
	yes := map[bool]string{true: "yes", false: "no"}
	lines := [][3]string{{"chosen", w.Chosen, "computed"}, {"final value", inSeriesUnit(w.FinalValue, w.U, w.Unit), "extrapolated"}}
	if w.TimeToWithinS != nil {
		lines = append(lines, [3]string{"within " + quantity.Fixed(w.WithinK, 4) + " K of it from", quantity.Fixed(*w.TimeToWithinS, 5) + " s on", "computed"},
			[3]string{"still to wait after the last reading", quantity.Fixed(*w.RemainingS, 5) + " s", "computed"})
	}
	return append(lines,
		[3]string{"gap at " + quantity.Fixed(w.AtS, 6) + " s", quantity.Fixed(w.GapK, 3) + " K", "computed"},
		[3]string{"at equilibrium then", yes[w.AtEquilibrium], "computed"},
		[3]string{"noise of a reading", quantity.Fixed(w.NoiseK, 3) + " K", w.NoiseFrom},
		[3]string{"warm-up begins at", quantity.Fixed(w.StartS, 6) + " s", w.StartFrom},
		[3]string{"readings fitted", fmt.Sprint(w.Readings), notFitted(w)})
}

// notFitted says how many readings are not fitted, and why.
func notFitted(w heat.WarmUp) string {
	var parts []string
	if w.Before > 0 {
		parts = append(parts, fmt.Sprintf("%d before the warm-up", w.Before))
	}
	if n := len(w.Outlying); w.OutlyingLeftOut && n > 0 {
		parts = append(parts, fmt.Sprintf("%d standing out", n))
	}
	if len(parts) == 0 {
		return ""
	}
	return "not fitted: " + strings.Join(parts, ", ")
}

func (app *App) printWarmup(path string, w heat.WarmUp) error {
	if err := app.facts(path, warmupLines(w)); err != nil {
		return err
	}
	fmt.Fprintln(app.Out)
	if err := app.printModels(w); err != nil {
		return err
	}
	for _, n := range w.Notes {
		app.notef("note: %s", n)
	}
	return nil
}

// printModels prints the parameters of each model and how it was judged.
func (app *App) printModels(w heat.WarmUp) error {
	t := term.Table{Columns: []term.Column{{Header: "model"}, {Header: "parameter"}, {Header: "value", Align: term.Right}, {Header: "standard error", Align: term.Right}}}
	for _, m := range w.Models {
		for _, name := range parameterOrder(m) {
			u := "not to be had"
			if e := m.StandardErrors[name]; e != nil {
				u = quantity.Fixed(*e, 3)
			}
			t.Rows = append(t.Rows, []string{m.Name, name, quantity.Fixed(m.Parameters[name], 6), u})
		}
		t.Rows = append(t.Rows, []string{m.Name, "residual sd, K", quantity.Fixed(m.ResidualSD, 4), ""})
		judged := "adequate"
		if !m.Adequate {
			judged = "not adequate"
		}
		t.Rows = append(t.Rows, []string{m.Name, judged, m.Why, ""})
	}
	if err := app.screen().Table(t); err != nil {
		return err
	}
	app.notef("rule: %s", w.Rule)
	return nil
}

// parameterOrder lists the final value, the amplitudes and the time constants.
func parameterOrder(m heat.Model) []string {
	names := make([]string, 0, len(m.Parameters))
	for _, n := range []string{"t_inf", "a_k", "a1_k", "a2_k", "tau_s", "tau1_s", "tau2_s"} {
		if _, ok := m.Parameters[n]; ok {
			names = append(names, n)
		}
	}
	return names
}

func explainWarmup(s heat.Series, w heat.WarmUp) []optics.Explanation {
	var list []optics.Explanation
	for _, m := range w.Models {
		inputs := []optics.Input{{Name: "readings", Value: fmt.Sprint(w.Readings)}, {Name: "degrees of freedom", Value: fmt.Sprint(m.Freedom)}, {Name: "amplitudes are at", Value: quantity.Fixed(w.TimeZeroS, 6) + " s"}}
		for _, name := range parameterOrder(m) {
			inputs = append(inputs, optics.Input{Name: name, Value: quantity.Fixed(m.Parameters[name], 6)})
		}
		list = append(list, optics.Explanation{
			Figure: m.Name, Value: "residual standard deviation " + quantity.Fixed(m.ResidualSD, 4) + " K, " + m.Why,
			Formula: "T(t) = T_inf - sum A exp(-t/tau); least squares by variable projection, standard errors from s² (JᵀJ)⁻¹, or (JᵀWJ)⁻¹ with stated uncertainties",
			Inputs:  inputs, Source: "response of a linear thermal network; G. Golub and V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413",
		})
	}
	return append(list,
		optics.Explanation{Figure: "noise", Value: quantity.Fixed(w.NoiseK, 4) + " K", Formula: "mean square deviation of residuals from the straight line through their neighbours, those beyond 6 times the median-based one left out", Inputs: []optics.Input{{Name: "taken", Value: w.NoiseFrom}},
			Source: "T. Gasser, L. Sroka and C. Jennen-Steinmetz, Biometrika 73 (1986) 625"},
		optics.Explanation{Figure: "adequate", Value: w.Chosen, Formula: w.Rule, Inputs: []optics.Input{{Name: "noise", Value: quantity.Fixed(w.NoiseK, 4) + " K"}}, Source: "rule of this program; Fisher's F"},
		optics.Explanation{Figure: "final value", Value: inSeriesUnit(w.FinalValue, w.U, w.Unit), Formula: "T_inf of the chosen model; u from its standard error, widened by sqrt((1+r)/(1-r)) where neighbouring residuals err alike",
			Inputs: []optics.Input{{Name: "chosen", Value: w.Chosen}}, Source: "JCGM 100:2008, 4.2.7"})
}

// warmupChart draws readings and fits over time, with the final value, and below
// them what each model leaves, in multiples of the noise.
func warmupChart(title string, s heat.Series, w heat.WarmUp) ([]byte, error) {
	unit := map[string]string{"degC": "°C", "K": "K"}[s.Unit]
	first, last := math.Max(w.StartS, s.TimeS[0]), s.TimeS[len(s.TimeS)-1]
	end := last
	if w.TimeToWithinS != nil {
		end = math.Min(math.Max(last, first+1.3*(*w.TimeToWithinS-first)), last+2*(last-first))
	}
	fitted, out := parted(s, w)
	c := chart.LineChart{Title: title, XLabel: "time, s", YLabel: "temperature, " + unit, Series: []chart.Series{{Name: "readings", X: s.TimeS, Y: without(s.Temp, out), Points: true}}}
	c.Below = &chart.Panel{YLabel: "residual / noise", Series: []chart.Series{{X: []float64{first, last}, Y: []float64{0, 0}, LowY: []float64{-2, -2}, HighY: []float64{2, 2}}},
		HLines: []chart.Mark{{At: 2, Label: "2 times the noise"}, {At: -2}}}
	const points = 400
	for _, m := range w.Models {
		l := chart.Series{Name: m.Name}
		if m.Name == w.Chosen {
			l.Name += ", chosen"
		}
		for i := range points + 1 {
			t := first + (end-first)*float64(i)/points
			l.X, l.Y = append(l.X, t), append(l.Y, m.Fit.At(t))
		}
		c.Series = append(c.Series, l)
		left := make([]float64, len(s.TimeS))
		for i, t := range s.TimeS {
			left[i] = (fitted[i] - m.Fit.At(t)) / w.NoiseK
		}
		c.Below.Series = append(c.Below.Series, chart.Series{X: s.TimeS, Y: left, Points: true})
	}
	if len(w.Outlying) > 0 {
		apart := chart.Series{Name: "standing out", Points: true}
		for _, r := range w.Outlying {
			apart.X, apart.Y = append(apart.X, r.TimeS), append(apart.Y, r.Temp)
		}
		c.Series = append(c.Series, apart)
	}
	c.HLines = []chart.Mark{{At: w.FinalValue, Label: "final value " + inSeriesUnit(w.FinalValue, w.U, w.Unit)}}
	if w.TimeToWithinS != nil && *w.TimeToWithinS <= end {
		c.VLines = []chart.Mark{{At: *w.TimeToWithinS, Label: "within " + quantity.Fixed(w.WithinK, 3) + " K"}}
	}
	if w.Before > 0 {
		c.VLines = append(c.VLines, chart.Mark{At: w.StartS, Label: "beginning, " + w.StartFrom})
	}
	return chart.Lines(c)
}

// parted returns the temperatures with NaN for those that are not fitted, and
// which of them stand out.
func parted(s heat.Series, w heat.WarmUp) (fitted []float64, out map[int]bool) {
	fitted, out = slices.Clone(s.Temp), map[int]bool{}
	for _, r := range w.Outlying {
		i, _ := slices.BinarySearch(s.TimeS, r.TimeS)
		out[i] = true
		if w.OutlyingLeftOut {
			fitted[i] = math.NaN()
		}
	}
	for i, t := range s.TimeS {
		if w.Before > 0 && t < w.StartS {
			fitted[i] = math.NaN()
		}
	}
	return fitted, out
}

// without returns the values with NaN at some places.
func without(values []float64, places map[int]bool) []float64 {
	all := slices.Clone(values)
	for i := range places {
		all[i] = math.NaN()
	}
	return all
}
