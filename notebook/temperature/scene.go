// Package temperature turns what a camera says into the temperature of what it
// looks at, with an uncertainty: a stated scene, the measurement equation of the
// radiometry room, and an evaluation by the uncertainty room.
package temperature

import (
	"context"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook/radiometry"
	"dieglow/notebook/uncertainty"
)

// Element is a stretch of air or an optical element between object and camera.
type Element struct {
	Name         string
	Transmission quantity.Estimate
	TempK        quantity.Estimate
}

// Scene is what is known of a measurement besides the camera's reading. A value
// without an uncertainty enters as if it were exact; Unevaluated names them.
type Scene struct {
	Band       *radiometry.Band
	Emissivity quantity.Estimate
	ReflectedK quantity.Estimate
	Elements   []Element          // from the object to the camera
	Camera     uncertainty.Camera // what the camera adds to the uncertainty of a reading; zero: nothing
}

// Equation returns the measurement equation at the scene's values. Faults as
// radiometry.NewEquation.
func (s Scene) Equation() (*radiometry.Equation, error) {
	r := radiometry.Scene{Emissivity: s.Emissivity.Value, ReflectedK: s.ReflectedK.Value}
	for _, e := range s.Elements {
		r.Elements = append(r.Elements, radiometry.Element{Name: e.Name, Transmission: e.Transmission.Value, TempK: e.TempK.Value})
	}
	return radiometry.NewEquation(s.Band, r)
}

// Unevaluated returns the names of the inputs that carry no uncertainty.
func (s Scene) Unevaluated(apparentK quantity.Estimate) []string {
	out := []string{}
	note := func(name string, e quantity.Estimate) {
		if e.U == nil {
			out = append(out, name)
		}
	}
	if s.Camera == (uncertainty.Camera{}) {
		note(apparentName, apparentK)
	} else if s.Camera.AccuracyK == 0 && s.Camera.AccuracyShare == 0 {
		out = append(out, "accuracy of the camera")
	}
	if s.Camera != (uncertainty.Camera{}) {
		for _, c := range []struct {
			absent bool
			name   string
		}{
			{s.Camera.NETDK == 0, "noise of the camera"}, {s.Camera.NonUniformityK == 0, "non-uniformity"}, {s.Camera.DriftKPerMin == 0, "drift since the last reference frame"},
			{s.Camera.Target.TargetUM == 0, "size of source and focus"},
		} {
			if c.absent {
				out = append(out, c.name)
			}
		}
	}
	note("emissivity", s.Emissivity)
	note("reflected temperature", s.ReflectedK)
	for _, e := range s.Elements {
		note("transmission of "+e.Name, e.Transmission)
		note("temperature of "+e.Name, e.TempK)
	}
	return out
}

const apparentName = "apparent temperature"

// failedShare is how many trials may fall outside the domain of a ratio: an
// emissivity of 0.95(3) exceeds 1 in one of twenty.
const failedShare = 0.3

// Object evaluates the object's temperature in K from an apparent one. Fault
// Invalid, naming the input, where the equation has no solution.
func (s Scene) Object(ctx context.Context, apparentK quantity.Estimate, o uncertainty.Options) (uncertainty.Result, error) {
	equation, err := s.Equation()
	if err != nil {
		return uncertainty.Result{}, err
	}
	objectK, err := equation.Object(apparentK.Value)
	if err != nil {
		return uncertainty.Result{}, err
	}
	table, err := s.table(apparentK.Value, objectK)
	if err != nil {
		return uncertainty.Result{}, err
	}
	inputs, names := s.inputs(apparentK)
	model := uncertainty.Model(radiometry.ObjectModel(table, names...))
	camera := s.Camera
	if camera != (uncertainty.Camera{}) {
		camera.ReadingK = apparentK.Value
		contributions, err := camera.Inputs()
		if err != nil {
			return uncertainty.Result{}, err
		}
		model = uncertainty.AddTo(model, radiometry.ModelApparentK, len(inputs))
		inputs = append(inputs, contributions...)
	}
	o.Unit = "K"
	o.Trials.MaxFailedShare = failedShare
	return uncertainty.Evaluate(ctx, model, inputs, nil, o)
}

// inputs returns the model's inputs in its order, and the names of the elements.
func (s Scene) inputs(apparentK quantity.Estimate) ([]uncertainty.Input, []string) {
	in := func(name, unit string, e quantity.Estimate) uncertainty.Input {
		i := uncertainty.FromEstimate(name, e)
		i.Unit = unit
		return i
	}
	inputs := []uncertainty.Input{in(apparentName, "K", apparentK), in("emissivity", "", s.Emissivity), in("reflected temperature", "K", s.ReflectedK)}
	var names []string
	for _, e := range s.Elements {
		names = append(names, e.Name)
		inputs = append(inputs, in("transmission of "+e.Name, "", e.Transmission), in("temperature of "+e.Name, "K", e.TempK))
	}
	return inputs, names
}

// table covers every temperature of the scene with room for trials; what falls
// outside is solved as exactly, only more slowly.
func (s Scene) table(more ...float64) (*radiometry.Table, error) {
	low, high := s.ReflectedK.Value, s.ReflectedK.Value
	for _, e := range s.Elements {
		more = append(more, e.TempK.Value)
	}
	for _, k := range more {
		low, high = min(low, k), max(high, k)
	}
	return s.Band.Table(max(radiometry.MinK, low/2), min(radiometry.MaxK, high*1.5))
}

// Budget is a result in degrees Celsius and kelvin with its rows, largest first,
// in the form that is printed, recorded and compared.
type Budget struct {
	ObjectC    float64     `json:"object_c"`
	UK         *float64    `json:"u_k"` // standard uncertainty to first order; null: no input carries one
	Level      float64     `json:"level"`
	LowC       *float64    `json:"low_c"` // of the coverage interval
	HighC      *float64    `json:"high_c"`
	Method     string      `json:"method"`
	Why        string      `json:"why"`
	Advice     string      `json:"advice"`
	Rows       []BudgetRow `json:"budget"`
	Exact      []string    `json:"uncertainty_not_evaluated"` // inputs taken as exact
	MonteCarlo *Trials     `json:"monte_carlo,omitempty"`
}

// BudgetRow is one input's part in the uncertainty.
type BudgetRow struct {
	Input        string   `json:"input"`
	Value        float64  `json:"value"`
	Unit         string   `json:"unit"` // of value: "degC", "K" or "1"; u is in K for both temperatures
	U            *float64 `json:"u"`    // null: not evaluated
	Sensitivity  *float64 `json:"sensitivity"`
	Contribution float64  `json:"contribution_k"`
	Share        float64  `json:"share"` // of the variance
	Reason       string   `json:"reason"`
}

// Trials is the outcome of a Monte Carlo evaluation in degrees Celsius.
type Trials struct {
	Count         int     `json:"trials"`
	Failed        int     `json:"failed"` // trials outside the domain, such as an emissivity above 1
	MeanC         float64 `json:"mean_c"`
	SDK           float64 `json:"sd_k"`
	LowC          float64 `json:"low_c"` // as much probability below as above
	HighC         float64 `json:"high_c"`
	ShortestLowC  float64 `json:"shortest_low_c"`
	ShortestHighC float64 `json:"shortest_high_c"`
}

// NewBudget lays a result out. ObjectC and UK are to first order, at the stated
// inputs; the interval is by the method that Method names.
func NewBudget(r uncertainty.Result, exact []string) Budget {
	const zero = quantity.CelsiusZeroK
	b := Budget{ObjectC: r.FirstOrder.Value - zero, Level: r.Interval.Level, Method: string(r.Method), Why: r.Why, Advice: r.Advice, Exact: exact}
	if r.FirstOrder.U > 0 {
		u, low, high := r.FirstOrder.U, r.Interval.Low-zero, r.Interval.High-zero
		b.UK, b.LowC, b.HighC = &u, &low, &high
	}
	for _, row := range r.FirstOrder.Budget {
		out := BudgetRow{Input: row.Name, Value: row.Value, Unit: "1", Contribution: row.Contribution, Share: row.Share, Reason: row.Reason}
		switch {
		case row.Unit == "K" && row.Value > 100: // a temperature, not an amount added to one
			out.Value, out.Unit = row.Value-zero, "degC"
		case row.Unit == "K":
			out.Unit = "K"
		}
		if row.U > 0 {
			u := row.U
			out.U = &u
		} else if row.Name == apparentName && hasCamera(r.FirstOrder.Budget) {
			out.Reason = InCameraRows
		}
		if !math.IsNaN(row.Sensitivity) {
			c := row.Sensitivity
			out.Sensitivity = &c
		}
		b.Rows = append(b.Rows, out)
	}
	if m := r.MonteCarlo; m != nil {
		b.MonteCarlo = &Trials{Count: m.Trials, Failed: m.Failed, MeanC: m.Mean - zero, SDK: m.SD, LowC: m.Symmetric.Low - zero, HighC: m.Symmetric.High - zero,
			ShortestLowC: m.Shortest.Low - zero, ShortestHighC: m.Shortest.High - zero}
	}
	return b
}

// InCameraRows is the reason of a reading's row whose uncertainty the camera's
// contributions make up.
const InCameraRows = "its uncertainty stands in the rows of the camera"

// hasCamera reports whether contributions of the camera stand in a budget: they
// are amounts added to the reading.
func hasCamera(rows []uncertainty.Row) bool {
	for _, r := range rows {
		if r.Unit == "K" && r.Value < 100 {
			return true
		}
	}
	return false
}

// LeftOutText says how many trials were left out and what that means; "" for none.
func (t Trials) LeftOutText() string {
	if t.Failed == 0 {
		return ""
	}
	return quantity.Fixed(100*float64(t.Failed)/float64(t.Count), 3) + " % of the trials had no solution (an emissivity or a transmission above 1, a reading below what is reflected) and were left out: mean and intervals hold on the condition that this cannot be. State such an input with a smaller uncertainty."
}

// ShowContribution prints the contribution of a row and its share; an input whose
// uncertainty was not evaluated contributes an unknown amount, not nothing.
func ShowContribution(r BudgetRow) (contribution, share string) {
	if r.U == nil {
		return "-", "-"
	}
	return quantity.Fixed(r.Contribution, 3) + " K", quantity.Fixed(r.Share*100, 3) + " %"
}

// ShowU prints the uncertainty of a row, or why it has none.
func ShowU(r BudgetRow) string {
	switch {
	case r.U != nil:
		return quantity.Fixed(*r.U, 3)
	case r.Reason == InCameraRows:
		return "see the camera"
	}
	return "not evaluated"
}

// Elements pairs transmissions with temperatures, in order from the object. A
// transmission of exactly 1 needs no temperature. Fault Invalid when they do not pair.
func Elements(name string, transmissions, tempsK []quantity.Estimate) ([]Element, error) {
	if len(transmissions) == 1 && len(tempsK) == 0 && transmissions[0].Value == 1 && transmissions[0].U == nil {
		return nil, nil
	}
	if len(transmissions) != len(tempsK) {
		return nil, fault.Invalidf("%d transmissions and %d temperatures of the %s do not pair", len(transmissions), len(tempsK), name).
			WithHint("give the temperature of each element that does not pass everything, for example a transmission of 0.9 and a temperature of 25C")
	}
	var out []Element
	for i := range transmissions {
		n := name
		if len(transmissions) > 1 {
			n = name + " " + string(rune('1'+i))
		}
		out = append(out, Element{n, transmissions[i], tempsK[i]})
	}
	return out, nil
}

// ShowValue prints the value of a row with its unit.
func ShowValue(r BudgetRow) string {
	switch r.Unit {
	case "degC":
		return quantity.Fixed(r.Value, 6) + " °C"
	case "K":
		return quantity.Fixed(r.Value, 6) + " K"
	}
	return quantity.Fixed(r.Value, 6)
}
