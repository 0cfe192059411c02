package cli

import (
	"cmp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/chart"
	"dieglow/notebook/heat"
	"dieglow/notebook/report"
	"dieglow/store"
)

// resistanceQuantity is the quantity of a finding that specimen measure records.
const resistanceQuantity = "resistance"

func newSpecimenMeasure(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "measure NAME",
		Short: "Rise per watt from captures at several powers, recorded as a finding",
		Long: `Fits a straight line to the rise of the hottest point over each capture's own
ambient against the power drawn, with uncertainties in both. The temperatures are
the newest object temperatures found by capture measure; a capture without one
goes in with its highest apparent value, and a warning. What the captures share,
such as the emissivity, moves all points together and is carried through so.

The slope is a characterisation parameter of this part in this mounting. It is not
a theta-JA or theta-JC: those need the standard's conditions, which a camera over
an opened part does not have.`,
		Example: `  dieglow specimen measure drv-1 --as resistance
  dieglow specimen measure drv-1 --as resistance --captures capture-3,capture-4,capture-5`,
		Args: args("the specimen's name or handle"),
	}
	textFlags(cmd.Flags(), "as", "what to measure: resistance", "captures", "which captures, divided by commas; all with a power and a temperature unless given",
		"findings", "which object temperatures, divided by commas; the newest of each capture unless given")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return app.measureSpecimen(cmd, args[0]) }
	return cmd
}

// resistanceFound is what specimen measure gives as JSON.
type resistanceFound struct {
	recorded[notebook.Finding]
	Resistance heat.Resistance `json:"resistance"`
}

func (app *App) measureSpecimen(cmd *cobra.Command, name string) error {
	in := app.input(cmd)
	if as, _ := in.given("as"); as != resistanceQuantity {
		return fault.Usagef("what to measure over the captures of a specimen is not said").WithHint("give --as resistance")
	}
	var out resistanceFound
	err := app.update(cmd.Context(), func(tx *store.Tx) error {
		s, err := store.Get[notebook.Specimen](tx, name)
		if err != nil {
			return err
		}
		list, notes, err := chosenHeated(tx, s, in)
		if err != nil {
			return err
		}
		job := resistanceJob{app: app, list: list}
		f, files, err := job.finding()
		if err != nil {
			return err
		}
		out.Resistance, out.Warnings = job.result, append(notes, job.notes...)
		m := measurement{app: app, tx: tx, ctx: cmd.Context(), capture: job.hottest().Record}
		out.Record, err = m.add(f, files)
		return err
	})
	if err != nil {
		return err
	}
	for _, w := range append(slices.Clone(out.Warnings), out.Resistance.Notes...) {
		app.notef("note: %s", w)
	}
	return app.emit(out, func() error { return app.printResistance(out) })
}

// chosenHeated gathers a specimen's captures under --captures and --findings.
func chosenHeated(tx *store.Tx, s notebook.Record[notebook.Specimen], in *input) (list []heatedCapture, notes []string, err error) {
	if list, notes, err = heatedCaptures(tx, s.ID); err != nil {
		return nil, nil, err
	}
	if len(list) == 0 {
		return nil, nil, fault.Invalidf("%s has no capture with a power and a temperature", s.Label()).WithHint("record captures at several powers with capture add, and measure them with capture measure")
	}
	if names, ok := in.given("captures"); ok {
		if list, err = chosenCaptures(tx, list, names); err != nil {
			return nil, nil, err
		}
		notes = nil
	}
	if names, ok := in.given("findings"); ok {
		err = chooseFindings(tx, list, names)
	}
	return list, notes, err
}

// chooseFindings puts the named findings in place of the newest.
func chooseFindings(tx *store.Tx, list []heatedCapture, names string) error {
	for _, name := range strings.Split(names, ",") {
		f, err := store.Get[notebook.Finding](tx, strings.TrimSpace(name))
		if err != nil {
			return err
		}
		i := slices.IndexFunc(list, func(h heatedCapture) bool { return h.ID == f.Body.Capture.ID })
		if i < 0 || f.Body.Quantity != notebook.ObjectTemperature {
			return fault.Invalidf("%s is no object temperature of one of these captures", f.Handle).WithHint("capture measure records one")
		}
		list[i].finding = &f
	}
	return nil
}

// resistanceJob makes a finding of captures at several powers.
type resistanceJob struct {
	app    *App
	list   []heatedCapture
	result heat.Resistance
	notes  []string
}

// hottest is the capture at the highest power, the first of several.
func (j *resistanceJob) hottest() heatedCapture {
	return slices.MaxFunc(j.list, func(a, b heatedCapture) int {
		return cmp.Compare(a.Body.PowerW.Value, b.Body.PowerW.Value)
	})
}

func (j *resistanceJob) finding() (notebook.Finding, []derivedFile, error) {
	ps, notes := points(j.list, nil)
	r, err := heat.NewResistance(ps)
	if err != nil {
		return notebook.Finding{}, nil, err
	}
	j.result, j.notes = r, notes
	f := notebook.Finding{Capture: j.hottest().Ref, Quantity: resistanceQuantity, Program: j.app.Source.Tool, Results: resistanceResults(r),
		Analysis: &notebook.Analysis{Flags: map[string]string{}, Files: map[string]notebook.Attachment{}, Captures: refsOf(j.list)}}
	var captures, findings []string
	for _, h := range j.list {
		captures = append(captures, h.Ref.String())
		if h.finding != nil {
			findings = append(findings, h.finding.Ref.String())
		}
		for _, file := range h.Body.Frames {
			f.RawFiles = append(f.RawFiles, file.SHA256)
		}
	}
	f.Analysis.Flags["captures"] = strings.Join(captures, ",")
	if findings != nil {
		f.Analysis.Flags["findings"] = strings.Join(findings, ",")
	}
	if r.Apparent {
		f.WhyNot = "some temperatures are apparent"
	}
	data, err := resistanceChart(r)
	return f, []derivedFile{{"rise-over-power.png", data}}, err
}

// resistanceResults are the figures a finding keeps.
func resistanceResults(r heat.Resistance) []notebook.Result {
	label := "rise per watt, a characterisation parameter and neither theta-JA nor theta-JC"
	if r.Apparent {
		label = "apparent " + label
	}
	why := "two points without uncertainties"
	out := []notebook.Result{
		{Name: "rise_k_per_w", Label: label, Value: r.RiseKPerW, Unit: "K/W", WhyNoU: why},
		{Name: "intercept_k", Label: "rise at no power", Value: r.InterceptK, Unit: "K", WhyNoU: why},
		{Name: "largest_deviation_k", Label: "largest distance of a point from the line", Value: quantity.Exactly(r.LargestOffK), Unit: "K", WhyNoU: "a difference of two of the figures above"},
		{Name: "ambient_drift_k", Label: "ambient, highest less lowest", Value: quantity.Exactly(r.AmbientDriftK), Unit: "K", WhyNoU: "as recorded"},
		{Name: "captures", Label: "captures taken", Value: quantity.Exactly(float64(len(r.Points))), WhyNoU: "counted; straight line: " + r.Linear},
	}
	if c := r.CurvatureKPerW2; c != nil {
		out = append(out, notebook.Result{Name: "curvature_k_per_w2", Label: "curvature of a parabola", Value: *c, Unit: "K/W²", WhyNoU: "the points carry none"})
	}
	for i := range out {
		if out[i].Value.U != nil {
			out[i].WhyNoU = ""
		}
	}
	return out
}

// resistanceChart draws the points and the line with twice its uncertainty.
func resistanceChart(r heat.Resistance) ([]byte, error) {
	dots := chart.Series{Name: "captures", Points: true}
	line := chart.Series{Name: "line, with twice its standard uncertainty"}
	for _, p := range r.Points {
		dots.X, dots.Y = append(dots.X, p.PowerW.Value), append(dots.Y, p.RiseK.Value)
	}
	const steps = 50
	for i := range steps + 1 {
		w := 1.1 * r.HighestPowerW * float64(i) / steps
		k, u := r.Rise(w)
		line.X, line.Y = append(line.X, w), append(line.Y, k)
		if r.RiseKPerW.U != nil {
			line.LowY, line.HighY = append(line.LowY, k-2*u), append(line.HighY, k+2*u)
		}
	}
	y := "rise over ambient, K"
	if r.Apparent {
		y = "apparent rise over ambient, K"
	}
	return chart.Lines(chart.LineChart{Title: "rise per watt " + perWatt(r), XLabel: "power, W", YLabel: y, Series: []chart.Series{line, dots}})
}

// perWatt prints the slope.
func perWatt(r heat.Resistance) string {
	if r.RiseKPerW.U == nil {
		return quantity.Fixed(r.RiseKPerW.Value, 4) + " K/W, uncertainty not evaluated"
	}
	return r.RiseKPerW.Format(quantity.KelvinPerWatt)
}

func (app *App) printResistance(out resistanceFound) error {
	r := out.Resistance
	lines := [][3]string{}
	for _, f := range report.FindingFacts(out.Body) {
		lines = append(lines, [3]string{f.Label, f.Value, f.Origin})
	}
	for _, p := range r.Points {
		lines = append(lines, [3]string{p.Capture, p.PowerW.Format(quantity.Watt) + ", rise " + p.RiseK.Format(quantity.KelvinStep), quantity.Fixed(p.OffLineK, 2) + " K off the line"})
	}
	lines = append(lines, [3]string{"what it is", r.WhatItIs, ""}, [3]string{"what it is not", r.WhatItIsNot, ""})
	return app.facts(out.Handle, lines)
}

// resistanceAgain computes a finding of a resistance from the captures and
// findings it names.
func (app *App) resistanceAgain(tx *store.Tx, f notebook.Finding) (notebook.Finding, []derivedFile, error) {
	job := resistanceJob{app: app}
	for _, ref := range f.Analysis.Captures {
		c, err := store.GetRef[notebook.Capture](tx, ref)
		if err != nil {
			return f, nil, err
		}
		job.list = append(job.list, heatedCapture{Record: c})
	}
	if names := f.Analysis.Flags["findings"]; names != "" {
		if err := chooseFindings(tx, job.list, names); err != nil {
			return f, nil, err
		}
	}
	again, files, err := job.finding()
	again.Program = f.Program
	return again, files, err
}
