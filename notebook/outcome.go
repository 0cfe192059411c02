package notebook

import (
	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// The results an outcome can state.
const (
	Resolved     = "resolved"     // a feature of known size was told apart
	Answer       = "answer"       // a project's question was answered
	Inconclusive = "inconclusive" // it was tried and did not decide anything
	Lost         = "lost"         // the specimen was destroyed or went missing
)

// Outcome is what came of the work.
type Outcome struct {
	Result  string       `json:"result"`
	Capture *catalog.Ref `json:"capture"` // the evidence; nil where the result is not one capture's
	On      catalog.When `json:"on"`

	FeatureUM *quantity.Estimate `json:"feature_um"`        // resolved: its size
	Artefact  *catalog.Ref       `json:"artefact"`          // resolved: on what, when it was an artefact
	Setup     *catalog.Ref       `json:"setup"`             // resolved: with what, as the capture says
	Feature   string             `json:"feature"`           // resolved: what it was, in words
	HowJudged string             `json:"how_judged"`        // resolved: by eye, by contrast; "" not recorded
	Finding   *catalog.Ref       `json:"finding,omitempty"` // resolved: what measured it; nil where it was judged

	Question int    `json:"question"` // answer or inconclusive: number of the project's question, 0 none
	Text     string `json:"text"`     // the answer, or what was tried

	Specimen *catalog.Ref    `json:"specimen"` // lost
	Cost     *quantity.Money `json:"cost"`     // lost: what it cost; nil: not recorded
	Because  string          `json:"because"`  // lost: the cause

	Lesson    string `json:"lesson"`
	Withdrawn bool   `json:"withdrawn"` // no longer held; the reason is the revision's
}

// Strength is how well a resolved feature is known.
type Strength int

// The strengths, weakest first.
const (
	ByStatement Strength = iota // its size is what someone says
	OnArtefact                  // judged on an artefact of known size
	ByFinding                   // measured on a frame of one
)

// String returns the strength in words.
func (s Strength) String() string {
	switch s {
	case ByFinding:
		return "measured"
	case OnArtefact:
		return "on an artefact"
	}
	return "by statement"
}

// Strength returns how well a resolved feature is known.
func (o Outcome) Strength() Strength {
	switch {
	case o.Artefact != nil && o.Finding != nil:
		return ByFinding
	case o.Artefact != nil:
		return OnArtefact
	}
	return ByStatement
}

// Kind returns KindOutcome.
func (Outcome) Kind() string { return KindOutcome }

// Title returns the empty name: an outcome goes by its handle.
func (Outcome) Title() string { return "" }

// Validate checks the outcome. Fault Invalid, naming what to type.
func (o Outcome) Validate() error {
	switch o.Result {
	case Resolved:
		if o.FeatureUM == nil || o.Capture == nil || o.Setup == nil {
			return fault.Invalidf("a resolved feature needs its size and the capture that shows it").WithHint("give --resolved 50um --on ARTEFACT --capture capture-3")
		}
		if !(o.FeatureUM.Value > 0 && o.FeatureUM.Value < 1e6) {
			return fault.Invalidf("a feature of %s µm is not possible", quantity.Fixed(o.FeatureUM.Value, 6)).WithHint("check the unit, for example 50um")
		}
		if o.Artefact == nil && o.Feature == "" {
			return fault.Invalidf("a resolved feature needs to say on what").WithHint(`give --on ARTEFACT, or --feature "bond wires, 50 um by the data sheet"`)
		}
	case Answer:
		if o.Text == "" {
			return fault.Invalidf("an answer is empty").WithHint(`give --answer "the left driver dissipates 1.1 W"`)
		}
	case Inconclusive:
		if o.Text == "" {
			return fault.Invalidf("an inconclusive outcome needs to say what was tried").WithHint(`give --inconclusive "contrast too low below 0.2 W"`)
		}
	case Lost:
		if o.Specimen == nil || o.Because == "" {
			return fault.Invalidf("a loss needs the specimen and the cause").WithHint(`give --lost --specimen NAME --because "supply limit set too high"`)
		}
	default:
		return fault.Invalidf("an outcome needs its result").WithHint("give one of --resolved, --answer, --inconclusive or --lost")
	}
	if err := o.On.Check(); err != nil {
		return err
	}
	return texts("feature", o.Feature, "judgement", o.HowJudged, "answer", o.Text, "cause", o.Because, "lesson", o.Lesson)
}
