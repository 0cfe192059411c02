package notebook

import (
	"slices"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// Specimen is a thing under test.
type Specimen struct {
	Name      string          `json:"name"`
	Form      string          `json:"form"`     // one of SpecimenForms
	Identity  string          `json:"identity"` // marking, lot, date code, serial
	SizeXMM   *float64        `json:"size_x_mm"`
	SizeYMM   *float64        `json:"size_y_mm"`
	Worth     *quantity.Money `json:"worth"`
	Limits    Limits          `json:"limits"`
	Beryllia  Presence        `json:"beryllia"` // whether it may hold beryllium oxide
	Hazards   []string        `json:"hazards"`  // others, in plain words
	CutFrom   *catalog.Ref    `json:"cut_from"` // the specimen it was taken out of; nil none
	Condition string          `json:"condition_on_receipt"`
	Received  catalog.When    `json:"received_on"`
	From      string          `json:"received_from"`
	Handling  string          `json:"handling"` // instructions that came with it
	Notes     string          `json:"notes"`
}

// Limits are what the specimen must not be taken beyond.
type Limits struct {
	PowerW       *float64 `json:"power_w"`       // nil: not recorded
	TemperatureK *float64 `json:"temperature_k"` // of the junction or hottest point; nil: not recorded
	Source       string   `json:"source"`        // data sheet, client, own judgement
}

// Presence says whether something is there.
type Presence string

// The answers to "may it hold beryllia?".
const (
	NotRecorded Presence = "not recorded"
	Possible    Presence = "possible"
	Excluded    Presence = "excluded"
)

// SpecimenForms returns the forms of specimen.
func SpecimenForms() []string {
	return []string{"decapped-package", "package", "bare-die", "board", "other"}
}

// Kind returns KindSpecimen.
func (Specimen) Kind() string { return KindSpecimen }

// Title returns the given name.
func (s Specimen) Title() string { return s.Name }

// Validate checks the specimen. Fault Invalid, naming what to type.
func (s Specimen) Validate() error {
	if s.Name != "" {
		if err := catalog.CheckName(KindSpecimen, s.Name); err != nil {
			return err
		}
	}
	if !slices.Contains(SpecimenForms(), s.Form) {
		return fault.Invalidf("%q is not a form of specimen", s.Form).WithHint("use --form decapped-package, package, bare-die, board or other")
	}
	if s.Beryllia != NotRecorded && s.Beryllia != Possible && s.Beryllia != Excluded {
		return fault.Invalidf("%q does not say whether beryllia may be present", s.Beryllia).WithHint("use --beryllia possible, excluded or unknown")
	}
	for _, d := range []*float64{s.SizeXMM, s.SizeYMM} {
		if d != nil && !(*d > 0 && *d <= 2000) {
			return fault.Invalidf("a size of %s mm is not between 0 and 2 m", quantity.Fixed(*d, 6)).WithHint("give --size 5mmx4mm")
		}
	}
	l := s.Limits
	if l.PowerW != nil && !(*l.PowerW > 0 && *l.PowerW < 1e6) {
		return fault.Invalidf("a power limit of %s W is not possible", quantity.Fixed(*l.PowerW, 6)).WithHint("give --max-power 2W")
	}
	if l.TemperatureK != nil && !(*l.TemperatureK > 200 && *l.TemperatureK < 2000) {
		return fault.Invalidf("a temperature limit of %s is not possible", quantity.Exactly(*l.TemperatureK).Format(quantity.Kelvin)).WithHint("give --max-temperature 150C")
	}
	if (l.PowerW != nil || l.TemperatureK != nil) && l.Source == "" {
		return fault.Invalidf("a limit without its source cannot be relied on").WithHint(`say where it comes from: --limit-source "data sheet, table 4"`)
	}
	for _, h := range s.Hazards {
		if err := catalog.CheckText("hazard", h); err != nil {
			return err
		}
	}
	if err := s.Received.Check(); err != nil {
		return err
	}
	return texts("identity", s.Identity, "source of the limits", l.Source, "condition on receipt", s.Condition,
		"received from", s.From, "handling", s.Handling, "notes", s.Notes)
}

// Preparation is one step done to a specimen.
type Preparation struct {
	Specimen     catalog.Ref   `json:"specimen"`
	Step         string        `json:"step"` // one of Steps
	Method       string        `json:"method"`
	Person       string        `json:"person"`
	On           catalog.When  `json:"on"`
	Result       string        `json:"result"`
	Cautions     []CautionSeen `json:"cautions"`     // shown before the step was recorded
	Acknowledged bool          `json:"acknowledged"` // the person said they had read a warning that asks for it
}

// CautionSeen names the caution text a person was shown.
type CautionSeen struct {
	ID      string `json:"id"`
	Version int    `json:"version"`
}

// Kind returns KindPreparation.
func (Preparation) Kind() string { return KindPreparation }

// Title returns the empty name: a preparation goes by its handle.
func (Preparation) Title() string { return "" }

// Validate checks the step. Fault Invalid, naming what to type.
func (p Preparation) Validate() error {
	if _, ok := FindStep(p.Step); !ok {
		return fault.Invalidf("%q is not a preparation step", p.Step).WithHint("use --step %s", stepNames())
	}
	if p.Method == "" {
		return fault.Invalidf("a preparation step needs its method").WithHint(`say how it was done: --method "lid lifted with a blade, under a cover"`)
	}
	if p.Person == "" {
		return fault.Invalidf("a preparation step needs the person who did it").WithHint(`give --person "name"`)
	}
	if err := p.On.Check(); err != nil {
		return err
	}
	return texts("method", p.Method, "person", p.Person, "result", p.Result)
}

// Custody is one change of where a specimen is.
type Custody struct {
	Specimen  catalog.Ref  `json:"specimen"`
	Event     string       `json:"event"` // moved or returned
	Place     string       `json:"place"`
	Person    string       `json:"person"`
	On        catalog.When `json:"on"`
	Condition string       `json:"condition"`
}

// The custody events after receipt, which is the specimen's own record. Loss is
// recorded by an outcome, which says why.
const (
	Moved    = "moved"
	Returned = "returned"
)

// Kind returns KindCustody.
func (Custody) Kind() string { return KindCustody }

// Title returns the empty name: a custody event goes by its handle.
func (Custody) Title() string { return "" }

// Validate checks the event. Fault Invalid, naming what to type.
func (c Custody) Validate() error {
	if c.Event != Moved && c.Event != Returned {
		return fault.Invalidf("%q is not a custody event", c.Event)
	}
	if c.Place == "" {
		return fault.Invalidf("a custody event needs a place or a receiver").WithHint(`give --to "bench 2" or --to "client, by courier"`)
	}
	if err := c.On.Check(); err != nil {
		return err
	}
	return texts("place", c.Place, "person", c.Person, "condition", c.Condition)
}
