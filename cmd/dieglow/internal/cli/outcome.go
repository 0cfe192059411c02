package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

func newOutcome(app *App) *cobra.Command {
	n := noun[notebook.Outcome]{
		kind: notebook.KindOutcome, plural: "outcomes", nameless: true,
		facts: func(_ *store.Tx, r notebook.Record[notebook.Outcome]) ([]report.Fact, error) {
			return report.OutcomeFacts(r), nil
		},
		columns: []term.Column{{Header: "result"}, {Header: "what"}, {Header: "evidence"}, {Header: "when"}},
		row: func(_ *store.Tx, r notebook.Record[notebook.Outcome]) ([]string, error) {
			evidence := "none"
			if r.Body.Capture != nil {
				evidence = r.Body.Capture.String()
			}
			return []string{report.OutcomeResult(r.Body), report.OutcomeText(r.Body), evidence, r.Body.On.String()}, nil
		},
	}
	return newGroup(n.kind, "What came of the work: features resolved, answers, losses", "", "  dieglow outcome list\n"+outcomeExample,
		newOutcomeAdd(app, n), n.list(app), n.show(app), newWithdraw(app, n))
}

const outcomeExample = `  dieglow outcome add --resolved 50um --on wire-50 --capture capture-1 --judged "dip of 30 % between the wires"
  dieglow outcome add --finding finding-2
  dieglow outcome add --project kestrel --question 1 --answer "the left driver, 1.1 W" --capture capture-3
  dieglow outcome add --lost --specimen drv-1 --cost 42EUR --because "supply limit set to 10 A" --lesson "set the limit before connecting"`

func newOutcomeAdd(app *App, n noun[notebook.Outcome]) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "add",
		Short: "Record an outcome",
		Long: `One of four results: a feature of known size was resolved (--resolved, with the
capture that shows it), a question was answered (--answer), it stayed open
(--inconclusive), or the specimen was lost (--lost).`,
		Example: outcomeExample,
		Args:    args(),
	}
	f := cmd.Flags()
	textFlags(f, "resolved", "size of the feature resolved, 50um, or G4E3 for an element of a 1951 bar target", "on", "the artefact it is on", "feature", "what it is, when not on an artefact", "judged", "how it was judged resolved", "finding", "the finding that measured it: gives size, capture and artefact where they are not stated",
		"answer", "the answer", "question", "number of the project's question", "inconclusive", "what was tried",
		"specimen", "the specimen lost", "cost", "what the loss cost, with its currency", "because", "the cause",
		"capture", "the capture it rests on", "project", "project, where no capture or specimen says", "lesson", "what was learned", "when", "when")
	f.Bool("lost", false, "the specimen was destroyed or went missing")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		in := app.input(cmd)
		var out recorded[notebook.Outcome]
		err := app.update(cmd.Context(), func(tx *store.Tx) error {
			o, at, err := readOutcome(in, tx)
			if err != nil {
				return err
			}
			if out.Record, err = store.Add(tx, o, at); err != nil {
				return err
			}
			out.Warnings, err = outcomeWarnings(tx, o)
			return err
		})
		if err != nil {
			return err
		}
		return n.said(app, out, "recorded")
	}
	return cmd
}

// outcomeWarnings says what speaks against a feature having been resolved.
func outcomeWarnings(tx *store.Tx, o notebook.Outcome) (out []string, err error) {
	if o.Result != notebook.Resolved {
		return nil, nil
	}
	s, err := store.GetRef[catalog.Setup](tx, *o.Setup)
	if err != nil {
		return nil, err
	}
	if g := s.Body.Figures; o.FeatureUM.Value < min(g.RayleighUM, g.SamplingUM/2) {
		out = append(out, fmt.Sprintf("%s is finer than optics allows this setup: Rayleigh limit %s µm, object pixel %s µm",
			o.FeatureUM.Format(quantity.Micrometre), quantity.Fixed(g.RayleighUM, 3), quantity.Fixed(g.ObjectPixelUM, 3)))
	}
	if o.Artefact == nil {
		out = append(out, "the size rests on a statement, not on an artefact of known size")
		return out, nil
	}
	a, err := store.GetRef[catalog.Artefact](tx, *o.Artefact)
	if err == nil && a.Body.DueOn != "" && o.On != "" && o.On.Day() > a.Body.DueOn.Day() {
		out = append(out, "the certificate of "+a.Label()+" was overdue")
	}
	return out, err
}

func readOutcome(in *input, tx *store.Tx) (o notebook.Outcome, at store.Placement, err error) {
	if o.Result, err = resultGiven(in); err != nil {
		return o, at, err
	}
	if text, ok := in.given("resolved"); ok {
		size, err := catalog.ParseSize(text)
		in.fail("resolved", err)
		o.FeatureUM, o.Feature = &size.SizeUM, size.Label
	}
	in.text("feature", &o.Feature)
	in.text("judged", &o.HowJudged)
	in.text("answer", &o.Text)
	in.text("inconclusive", &o.Text)
	in.money("cost", &o.Cost)
	in.text("because", &o.Because)
	in.text("lesson", &o.Lesson)
	in.past("when", &o.On)
	question := &o.Question
	in.count("question", &question)
	if question != nil {
		o.Question = *question
	}
	if _, ok := in.given("question"); ok && o.Question < 1 {
		in.fail("question", fault.Invalidf("there is no question %d", o.Question).WithHint("questions are numbered from 1; dieglow project show NAME lists them"))
	}
	if in.err != nil {
		return o, at, in.err
	}
	if at.Project, err = projectOf(in, tx); err != nil {
		return o, at, err
	}
	if err := outcomeFinding(in, tx, &o, &at); err != nil {
		return o, at, err
	}
	if err := outcomeEvidence(in, tx, &o, &at); err != nil {
		return o, at, err
	}
	if o.Result == notebook.Lost {
		if err := outcomeLoss(in, tx, &o, &at); err != nil {
			return o, at, err
		}
	}
	if o.Result != notebook.Resolved && at.Project == "" {
		return o, at, fault.Invalidf("an outcome needs to say which project it belongs to").WithHint("give --project NAME, or the --capture or --specimen it is about")
	}
	return o, at, checkQuestion(tx, o, at)
}

// resultGiven returns the one result the flags state.
func resultGiven(in *input) (string, error) {
	result := ""
	if _, ok := in.given("finding"); ok {
		result = notebook.Resolved
	}
	for _, r := range []struct{ flag, result string }{
		{"resolved", notebook.Resolved}, {"answer", notebook.Answer}, {"inconclusive", notebook.Inconclusive}, {"lost", notebook.Lost},
	} {
		if _, ok := in.given(r.flag); !ok {
			continue
		}
		if result != "" && result != r.result {
			return "", fault.Usagef("an outcome has one result, and more than one is given").WithHint("record each with its own dieglow outcome add")
		}
		result = r.result
	}
	if result == "" {
		return "", fault.Usagef("an outcome needs its result").WithHint("give one of --resolved, --answer, --inconclusive or --lost")
	}
	return result, nil
}

// outcomeFinding takes a resolved feature from the finding that measured it.
func outcomeFinding(in *input, tx *store.Tx, o *notebook.Outcome, at *store.Placement) error {
	name, ok := in.given("finding")
	if !ok {
		return nil
	}
	f, err := store.Get[notebook.Finding](tx, name)
	if err != nil {
		return err
	}
	bar, ok := f.Body.Result(notebook.ResultResolvedUM)
	if !ok {
		return fault.Invalidf("%s does not say what was resolved", f.Handle).WithHint("name a finding made by dieglow capture measure --as edge, wire or bars")
	}
	c, err := store.GetRef[notebook.Capture](tx, f.Body.Capture)
	if err != nil {
		return err
	}
	if _, given := in.given("capture"); given {
		return fault.Usagef("a finding has its capture").WithHint("leave --capture out")
	}
	if o.FeatureUM == nil {
		v := bar.Value
		o.FeatureUM = &v
	} else if u, _ := bar.Value.StandardU(); o.FeatureUM.Value < bar.Value.Value-2*u {
		return fault.Conflictf("%s says %s, and %s is finer", f.Handle, bar.Value.Format(quantity.Micrometre), o.FeatureUM.Format(quantity.Micrometre)).
			WithHint("leave --resolved out to record what was measured")
	}
	o.Finding, o.Capture, o.Setup, o.Artefact = &f.Ref, &c.Ref, &c.Body.Setup, c.Body.Artefact
	if o.HowJudged == "" {
		o.HowJudged = "smallest bar " + bar.Value.Format(quantity.Micrometre)
		if contrast, ok := f.Body.Result(notebook.ResultContrast); ok {
			o.HowJudged += " above a contrast of " + quantity.Fixed(contrast.Value.Value, 3)
		}
		o.HowJudged += ", by " + f.Body.Quantity + " (" + f.Handle + ")"
	}
	if o.Feature == "" {
		o.Feature = "bar, by " + f.Body.Quantity
	}
	if c.Scope != notebook.Library {
		at.Project = c.Scope
	}
	if _, given := in.given("on"); given {
		return resolvedOn(in, tx, o, c)
	}
	return nil
}

// outcomeEvidence looks up the capture an outcome rests on; for a resolved
// feature it must show the artefact named, and the artefact must have the size.
func outcomeEvidence(in *input, tx *store.Tx, o *notebook.Outcome, at *store.Placement) error {
	if name, ok := in.given("capture"); ok {
		c, err := store.Get[notebook.Capture](tx, name)
		if err != nil {
			return err
		}
		if at.Project != "" && c.Scope != notebook.Library && at.Project != c.Scope {
			return fault.Conflictf("%s belongs to another project", c.Handle).WithHint("leave --project out: the outcome belongs to its capture's project")
		}
		o.Capture = &c.Ref
		if c.Scope != notebook.Library {
			at.Project = c.Scope
		}
		if o.Result == notebook.Resolved {
			o.Setup = &c.Body.Setup
			return resolvedOn(in, tx, o, c)
		}
	}
	return nil
}

func resolvedOn(in *input, tx *store.Tx, o *notebook.Outcome, c notebook.Record[notebook.Capture]) error {
	name, ok := in.given("on")
	if !ok {
		return nil
	}
	a, err := store.Get[catalog.Artefact](tx, name)
	if err != nil {
		return err
	}
	if c.Body.Artefact == nil || c.Body.Artefact.ID != a.ID {
		return fault.Conflictf("%s does not show %s", c.Handle, a.Label()).WithHint("name the check capture made on it, or describe the feature of the specimen with --feature")
	}
	size, found := a.Body.FindSize(o.FeatureUM.Value)
	if !found {
		return fault.Conflictf("%s has no feature of %s", a.Label(), o.FeatureUM.Format(quantity.Micrometre)).WithHint("it has %s", a.Body.SizeList())
	}
	o.Artefact = &a.Ref
	if o.FeatureUM.U == nil { // the artefact knows its size better than the person typing it
		stated := o.FeatureUM.Stated
		o.FeatureUM = &quantity.Estimate{Value: size.SizeUM.Value, U: size.SizeUM.U, Stated: stated}
	}
	if o.Feature == "" {
		o.Feature = size.Label
	}
	return nil
}

func outcomeLoss(in *input, tx *store.Tx, o *notebook.Outcome, at *store.Placement) error {
	name, ok := in.given("specimen")
	if !ok {
		return fault.Invalidf("a loss needs the specimen").WithHint("give --specimen NAME")
	}
	s, err := store.Get[notebook.Specimen](tx, name)
	if err != nil {
		return err
	}
	if at.Project != "" && at.Project != s.Scope {
		return fault.Conflictf("%s belongs to another project", s.Label()).WithHint("leave --project out: the loss belongs to the specimen's project")
	}
	if state, err := tx.SpecimenState(s.ID); err != nil {
		return err
	} else if state == store.Lost {
		return fault.Conflictf("%s is recorded as lost already", s.Label()).WithHint("dieglow trail %s says how; dieglow outcome withdraw takes that back", s.Handle)
	}
	o.Specimen, at.Project = &s.Ref, s.Scope
	if o.Cost == nil {
		o.Cost = s.Body.Worth // what it was worth when received; nil stays "not recorded"
	}
	return nil
}

func checkQuestion(tx *store.Tx, o notebook.Outcome, at store.Placement) error {
	if o.Question == 0 {
		return nil
	}
	if at.Project == "" {
		return fault.Invalidf("a question belongs to a project").WithHint("give --project NAME")
	}
	p, err := store.Get[notebook.Project](tx, at.Project)
	if err != nil {
		return err
	}
	if n := len(p.Body.Questions); o.Question < 1 || o.Question > n {
		return fault.Invalidf("%s has no question %d", p.Label(), o.Question).WithHint("its questions are numbered 1 to %d; dieglow project show %s lists them", n, p.Handle)
	}
	return nil
}

// newWithdraw takes an outcome back. It stays readable and no longer counts.
func newWithdraw(app *App, n noun[notebook.Outcome]) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "withdraw HANDLE",
		Short:   "Take an outcome back; its record stays",
		Example: `  dieglow outcome withdraw outcome-2 --reason "wrong wire: it was the 75 µm one"`,
		Args:    args("the outcome's handle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return n.revise(app, cmd, args[0], func(_ *input, _ *store.Tx, o *notebook.Outcome) error {
				if o.Withdrawn {
					return fault.Conflictf("%s is withdrawn already", args[0]).WithHint("dieglow trail %s says why", args[0])
				}
				o.Withdrawn = true
				return nil
			})
		},
	}
	cmd.Flags().String("reason", "", "why it is taken back (needed)")
	return cmd
}
