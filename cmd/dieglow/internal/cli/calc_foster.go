package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/chart"
	"dieglow/notebook/heat"
)

func newCalcFoster(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "foster",
		Short: "Transient impedance and pulse trains of a Foster network",
		Long: `Z(t) = sum of R (1 - exp(-t/tau)), as data sheets give it. For a train of pulses the
responses are superposed exactly: peak, mean and valley of the rise, for a train
without end or, with --pulses, at the end of so many from cold. With --at the rise
at moments after the first pulse began.`,
		Example: `  dieglow calc foster --r 1.2,3.4 --tau 10ms,1s --pulse 10ms --period 100ms --power 5W
  dieglow calc foster --r 0.15,0.45,0.90 --tau 1ms,20ms,350ms --zth --plot zth.png`,
		Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error { return runCalcFoster(app, app.input(cmd)) },
	}
	textFlags(cmd.Flags(), "r", "resistances in K/W, divided by commas", "tau", "time constants, as many", "pulse", "length of a pulse", "period", "from the beginning of one to that of the next",
		"power", "during a pulse; 1W unless given", "pulses", "how many; without end unless given", "at", "moments after the first pulse began, divided by commas", "plot", "draw transient impedance and pulses into this PNG file")
	f := cmd.Flags()
	f.Bool("zth", false, "print the table of the transient impedance too; JSON always has it")
	f.Bool("replace", false, "write over a picture that is there")
	f.Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}

// fosterResult is what calc foster gives as JSON.
type fosterResult struct {
	Stages          []heat.Stage    `json:"stages"`
	ResistanceKPerW float64         `json:"resistance_k_per_w"` // after a long time
	PowerW          float64         `json:"power_w"`
	Duty            *float64        `json:"duty"` // null without a train, as what follows
	Pulses          *int            `json:"pulses"`
	PeakK           *float64        `json:"peak_rise_k"`
	MeanK           *float64        `json:"mean_rise_k"` // once every pulse gives the same
	ValleyK         *float64        `json:"valley_rise_k"`
	PeakKPerW       *float64        `json:"peak_k_per_w"`
	At              []fosterAt      `json:"at"`
	Zth             []heat.ZthPoint `json:"zth"`
}

// fosterAt is the rise at a moment.
type fosterAt struct {
	TimeS float64 `json:"time_s"`
	RiseK float64 `json:"rise_k"`
}

func runCalcFoster(app *App, in *input) error {
	net, train, err := in.foster()
	if err != nil {
		return err
	}
	out := fosterResult{Stages: net, ResistanceKPerW: net.ResistanceKPerW(), PowerW: train.PowerW, At: []fosterAt{}}
	duty := 1.0
	if train.PulseS > 0 {
		duty = train.Duty()
		peak, mean, valley, perW := net.PeakK(train), net.MeanK(train), net.ValleyK(train), net.PeakK(heat.Train{PulseS: train.PulseS, PeriodS: train.PeriodS, Pulses: train.Pulses, PowerW: 1})
		out.Duty, out.PeakK, out.MeanK, out.ValleyK, out.PeakKPerW = &duty, &peak, &mean, &valley, &perW
		if train.Pulses > 0 {
			out.Pulses = &train.Pulses
		}
	}
	if _, ok := in.given("at"); ok {
		for _, t := range in.valueList("at", quantity.Second, "10ms") {
			out.At = append(out.At, fosterAt{t, net.AtK(train, t)})
		}
		if in.err != nil {
			return in.err
		}
	}
	out.Zth = net.Zth(duty)
	if err := app.plotFoster(in, net, train, out); err != nil {
		return err
	}
	lines := out.lines()
	if in.isSet("explain") || !in.isSet("zth") {
		return showFigures(app, in, "Foster network", out, lines, func() ([]optics.Explanation, error) { return out.explain(lines), nil })
	}
	return app.emit(out, func() error {
		if err := app.facts("Foster network", lines); err != nil {
			return err
		}
		fmt.Fprintln(app.Out)
		return app.screen().Table(zthTable(out.Zth))
	})
}

// foster reads the network and the train; without a train, a step of the power.
func (in *input) foster() (heat.Foster, heat.Train, error) {
	train := heat.Train{PowerW: 1}
	r, tau := in.valueList("r", quantity.KelvinPerWatt, "1.2,3.4"), in.valueList("tau", quantity.Second, "10ms,1s")
	in.must("power", quantity.Watt, &train.PowerW)
	in.must("pulse", quantity.Second, &train.PulseS)
	in.must("period", quantity.Second, &train.PeriodS)
	var pulses *int
	in.count("pulses", &pulses)
	_, pulse := in.given("pulse")
	_, period := in.given("period")
	switch {
	case in.err != nil:
		return nil, train, in.err
	case len(r) != len(tau):
		return nil, train, fault.Invalidf("%d resistances and %d time constants", len(r), len(tau)).WithHint("give as many of one as of the other: --r 1.2,3.4 --tau 10ms,1s")
	case pulse != period:
		return nil, train, fault.Usagef("a train of pulses needs the pulse and the period").WithHint("give --pulse 10ms --period 100ms, or neither for a step")
	case pulses != nil && (!pulse || *pulses < 1):
		return nil, train, fault.Invalidf("--pulses counts the pulses of a train, from 1").WithHint("give --pulse 10ms --period 100ms --pulses 20")
	}
	var net heat.Foster
	for i := range r {
		net = append(net, heat.Stage{RKPerW: r[i], TauS: tau[i]})
	}
	if err := net.Validate(); err != nil {
		return nil, train, err
	}
	if pulses != nil {
		train.Pulses = *pulses
	}
	if !pulse {
		if !(train.PowerW > 0) {
			return nil, train, fault.Invalidf("a power of %s W is not above zero", quantity.Fixed(train.PowerW, 4)).WithHint("give --power 5W")
		}
		return net, train, nil
	}
	return net, train, train.Validate()
}

func (r fosterResult) lines() [][3]string {
	lines := [][3]string{{"resistance after a long time", quantity.Shown(r.ResistanceKPerW, 7, quantity.KelvinPerWatt), "computed"}}
	add := func(label string, k float64) {
		lines = append(lines, [3]string{label, quantity.Shown(k, 7, quantity.KelvinStep), "computed"})
	}
	if r.Duty != nil {
		lines = append(lines, [3]string{"duty factor", quantity.Fixed(*r.Duty, 6), "computed"})
		after := "of a train without end"
		if r.Pulses != nil {
			after = fmt.Sprintf("after %s from cold", counted(*r.Pulses, "pulse"))
		}
		add("peak rise "+after, *r.PeakK)
		add("valley after it", *r.ValleyK)
		add("mean rise of a train without end", *r.MeanK)
	}
	for _, a := range r.At {
		add("rise at "+quantity.Shown(a.TimeS, 6, quantity.Second), a.RiseK)
	}
	return lines
}

func (r fosterResult) explain(lines [][3]string) []optics.Explanation {
	var inputs []optics.Input
	for i, s := range r.Stages {
		inputs = append(inputs, optics.Input{Name: fmt.Sprintf("R%d, tau%d", i+1, i+1), Value: quantity.Shown(s.RKPerW, 6, quantity.KelvinPerWatt) + ", " + quantity.Shown(s.TauS, 6, quantity.Second)})
	}
	inputs = append(inputs, optics.Input{Name: "P, power during a pulse", Value: quantity.Shown(r.PowerW, 6, quantity.Watt)})
	formulas := []string{"sum R", "tp/T", "P sum R (1 - exp(-tp/tau)) (1 - exp(-n T/tau))/(1 - exp(-T/tau))", "the same times exp(-(T - tp)/tau)", "P tp/T sum R"}
	var list []optics.Explanation
	for i, l := range lines {
		formula := "steps on and off superposed, Z(t) = sum R (1 - exp(-t/tau))"
		if i == 0 || r.Duty != nil && i < len(formulas) {
			formula = formulas[i]
		}
		list = append(list, optics.Explanation{Figure: l[0], Value: l[1], Formula: formula, Inputs: inputs, Source: "superposition of a linear network's responses; Foster's form, terms of JESD51-14"})
	}
	return list
}

func zthTable(points []heat.ZthPoint) term.Table {
	t := term.Table{Columns: []term.Column{{Header: "pulse, s", Align: term.Right}, {Header: "single, K/W", Align: term.Right}, {Header: "train, K/W", Align: term.Right}}}
	for _, p := range points {
		t.Rows = append(t.Rows, []string{quantity.Fixed(p.TimeS, 3), quantity.Fixed(p.ZKPerW, 5), quantity.Fixed(p.PulsedKPW, 5)})
	}
	return t
}

// plotFoster draws the rise in time: the step, and the pulses from cold.
func (app *App) plotFoster(in *input, net heat.Foster, train heat.Train, r fosterResult) error {
	file, ok := in.given("plot")
	if !ok {
		return nil
	}
	end := r.Zth[len(r.Zth)-1].TimeS
	step := chart.Series{Name: "power left on"}
	pulsed := chart.Series{Name: "pulses from cold"}
	const points = 2000
	if train.PulseS > 0 {
		end = min(end, 20*train.PeriodS)
	}
	for i := range points + 1 {
		t := end * float64(i) / points
		step.X, step.Y = append(step.X, t), append(step.Y, net.StepK(train.PowerW, t))
		if train.PulseS > 0 {
			pulsed.X, pulsed.Y = append(pulsed.X, t), append(pulsed.Y, net.AtK(train, t))
		}
	}
	c := chart.LineChart{Title: "Foster network, " + quantity.Shown(train.PowerW, 4, quantity.Watt), XLabel: "time, s", YLabel: "rise, K", Series: []chart.Series{step}}
	if train.PulseS > 0 {
		c.Series = append(c.Series, pulsed)
		c.HLines = []chart.Mark{{At: *r.MeanK, Label: "mean of a train without end"}, {At: *r.PeakK, Label: "peak"}}
	}
	data, err := chart.Lines(c)
	if err != nil {
		return err
	}
	if err := writeFile(file, data, in.isSet("replace")); err != nil {
		return err
	}
	app.notef("wrote %s", file)
	return nil
}
