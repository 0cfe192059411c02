package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/heat"
	"dieglow/notebook/report"
	"dieglow/store"
)

// hiddenShare is what the camera is taken not to see of a rise unless it is stated.
const (
	hiddenShare = 0.1
	hiddenRule  = "10 % of the rise, for blur and for layers above the junction: a rule of this program without a source; --spot or --hidden state it"
)

func newSpecimenHeadroom(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "headroom NAME",
		Short: "Whether a specimen stands more power, before it gets it",
		Long: `Foresees the hottest temperature at a power from the captures so far, and sets it
against the specimen's limits. The verdict is go, small step only, or stop, which
ends with exit status 4. It names the largest power advised for the next step and
the rule, what was allowed for, what cannot be known, and what the part is worth.

With --derate the power limit falls by so much a kelvin of ambient above
--derate-from. --spot states how wide the hot spot is: what the blur hides of it
is allowed for in place of the usual tenth.`,
		Example: `  dieglow specimen headroom drv-1 --to 1.2W
  dieglow specimen headroom drv-1 --to 2.5W --derate-from 25C --derate 10mW/K --spot 200um --json`,
		Args: args("the specimen's name or handle"),
	}
	textFlags(cmd.Flags(), "to", "the power that is meant", "ambient", "ambient temperature to expect; that of the newest capture unless given",
		"derate-from", "ambient temperature above which the power limit falls", "derate", "by how much, 10mW/K",
		"hidden", "share of the rise the camera does not see; 10% unless given", "spot", "width of the hot spot: allows for what the blur hides of it")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return app.headroom(cmd, args[0]) }
	return cmd
}

// headroomOf is what specimen headroom gives as JSON.
type headroomOf struct {
	Specimen string          `json:"specimen"`
	Worth    *quantity.Money `json:"worth"` // of the part; null: not recorded
	AtStake  string          `json:"at_stake"`
	Source   string          `json:"limit_source"`
	heat.Headroom
}

func (app *App) headroom(cmd *cobra.Command, name string) error {
	in := app.input(cmd)
	to := in.needed("to", quantity.Watt, "0.5W").Value
	var out headroomOf
	err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
		s, err := store.Get[notebook.Specimen](tx, name)
		if err != nil {
			return err
		}
		out, err = in.headroomOf(tx, s, to)
		return err
	})
	if err != nil {
		return err
	}
	for _, n := range out.Notes {
		app.notef("note: %s", n)
	}
	if err := app.emit(out, func() error { return app.printHeadroom(out) }); err != nil || out.Verdict != heat.Stop {
		return err
	}
	return fault.Conflictf("stop: %s", out.Reasons[0]).WithHint("go no further than %s (%s); %s", quantity.Shown(out.AdvisedW, 3, quantity.Watt), out.AdvisedRule, out.AtStake)
}

// headroomOf asks for headroom from what is on record of a specimen and the flags.
func (in *input) headroomOf(tx *store.Tx, s notebook.Record[notebook.Specimen], toW float64) (headroomOf, error) {
	out := headroomOf{Specimen: s.Label(), Worth: s.Body.Worth, AtStake: atStake(s.Body), Source: s.Body.Limits.Source}
	list, notes, err := heatedCaptures(tx, s.ID)
	if err != nil {
		return out, err
	}
	q := heat.Question{ToW: toW, LimitW: s.Body.Limits.PowerW, LimitK: s.Body.Limits.TemperatureK, HiddenShare: hiddenShare, HiddenRule: hiddenRule, AmbientK: latestAmbient(list)}
	in.estimate("ambient", quantity.Kelvin, &q.AmbientK)
	if err := in.derating(&q); err != nil {
		return out, err
	}
	if err := in.hidden(tx, list, &q); err != nil {
		return out, err
	}
	var more []string
	q.Points, more = points(list, q.AmbientK)
	out.Headroom, err = q.Headroom()
	out.Notes = append(append(out.Notes, notes...), more...)
	if state, serr := tx.SpecimenState(s.ID); serr == nil && state != store.Held {
		out.Notes = append(out.Notes, s.Label()+" is "+state)
	}
	return out, err
}

func (in *input) derating(q *heat.Question) error {
	from, per := in.optional("derate-from", quantity.Kelvin), in.optional("derate", quantity.WattPerKelvin)
	switch {
	case in.err != nil:
		return in.err
	case (from == nil) != (per == nil):
		return fault.Usagef("a derating needs where it begins and how steep it is").WithHint("give --derate-from 25C together with --derate 10mW/K")
	case from != nil:
		q.Derating = &heat.Derating{FromK: *from, PerWK: *per}
	}
	return nil
}

// hidden settles what the camera does not see: stated, or from the blur of the
// setup over a spot of stated width.
func (in *input) hidden(tx *store.Tx, list []heatedCapture, q *heat.Question) error {
	share, spot := in.optional("hidden", quantity.One), in.optional("spot", quantity.Micrometre)
	switch {
	case in.err != nil:
		return in.err
	case share != nil && spot != nil:
		return fault.Usagef("what the camera does not see is stated in two ways").WithHint("give --hidden or --spot")
	case share != nil:
		q.HiddenShare, q.HiddenRule = *share, "as stated"
	case spot != nil && len(list) == 0:
		return fault.Invalidf("no capture tells which setup sees the spot").WithHint("leave --spot out, or state --hidden 20%%")
	case spot != nil:
		setup := list[len(list)-1].Body.Setup
		blur, from, err := blurOf(tx, setup)
		if err != nil {
			return err
		}
		if q.HiddenShare, err = heat.HiddenByBlur(*spot, blur); err != nil {
			return err
		}
		q.HiddenRule = fmt.Sprintf("a round spot of %s µm under a Gaussian blur of %s µm, %s; layers above the junction are not allowed for", quantity.Fixed(*spot, 4), quantity.Fixed(blur, 4), from)
	}
	return nil
}

// blurOf returns the full width at half maximum of a setup's blur on the object,
// and where it is from.
func blurOf(tx *store.Tx, ref catalog.Ref) (blurUM float64, from string, err error) {
	edge, err := newestResult(tx, ref, notebook.ResultEdgeUM)
	if err != nil {
		return 0, "", err
	}
	if edge != nil {
		return heat.WidthOfEdge(edge.Value.Value), "from the edge measured, " + edge.Finding, nil
	}
	setup, err := store.GetRef[catalog.Setup](tx, ref)
	return setup.Body.Figures.PredictedUM, "the limit predicted of " + ref.String(), err
}

// atStake says in plain words what one part costs.
func atStake(s notebook.Specimen) string {
	if s.Worth == nil {
		return "what the part is worth is not recorded: amend it with --worth before it is risked"
	}
	return "one part lost costs " + s.Worth.String()
}

func (app *App) printHeadroom(h headroomOf) error {
	lines := [][3]string{{"verdict on " + quantity.Shown(h.ToW, 4, quantity.Watt), h.Verdict, ""}}
	add := func(label, value, origin string) { lines = append(lines, [3]string{label, value, origin}) }
	for _, r := range h.Reasons {
		add("because", r, "")
	}
	add("largest power advised next", quantity.Shown(h.AdvisedW, 3, quantity.Watt), h.AdvisedRule)
	if h.PredictedC != nil {
		e := quantity.Estimate{Value: *h.PredictedC + quantity.CelsiusZeroK, U: h.UK}
		text := quantity.Shown(e.Value, 4, quantity.Kelvin) + ", uncertainty not known"
		if h.UK != nil {
			text = e.Format(quantity.Kelvin)
		}
		add("hottest temperature foreseen", text, report.Predicted)
		for _, a := range h.Allowances {
			add("  allowed for "+a.What, "+"+quantity.Fixed(a.K, 3)+" K", a.Rule)
		}
		add("highest to be reckoned with", quantity.Fixed(*h.HighC, 4)+" °C", "with twice the uncertainty and the allowances")
	}
	if h.LimitC != nil {
		add("temperature limit", quantity.Fixed(*h.LimitC, 5)+" °C", h.Source)
	}
	if h.LimitW != nil {
		add("power limit", quantity.Shown(*h.LimitW, 4, quantity.Watt), h.Source)
	}
	for _, c := range h.CannotKnow {
		add("cannot be known", c, "")
	}
	add("at stake", h.AtStake, "")
	return app.facts(h.Specimen, lines)
}

// headroomWarning says where the stated power of a capture to be recorded lies
// above the one advised after the captures before it; "" where it does not.
func headroomWarning(tx *store.Tx, c notebook.Capture, in *input) (string, error) {
	if c.Specimen == nil || c.PowerW == nil || !(c.PowerW.Value > 0) {
		return "", nil
	}
	s, err := store.GetRef[notebook.Specimen](tx, *c.Specimen)
	if err != nil {
		return "", err
	}
	plain := *in
	plain.given = func(string) (string, bool) { return "", false }
	h, err := plain.headroomOf(tx, s, c.PowerW.Value)
	if err != nil || h.Verdict == heat.Go || c.PowerW.Value <= h.AdvisedW {
		return "", err
	}
	if h.LimitW == nil && h.LimitC == nil && h.Points == 0 {
		return "", nil // nothing on record advises anything
	}
	return fmt.Sprintf("the power %s lies above the %s advised before it (%s); dieglow specimen headroom tells before the power is on", c.PowerW.Format(quantity.Watt), quantity.Shown(h.AdvisedW, 3, quantity.Watt), h.AdvisedRule), nil
}
