package catalog

import (
	"dieglow/catalog/fault"
)

// Instrument is a meter or a supply whose readings enter a record.
type Instrument struct {
	Name         string        `json:"name"`
	Form         string        `json:"form"` // one of InstrumentForms
	Measures     string        `json:"measures"`
	Maker        string        `json:"maker"`
	Model        string        `json:"model"`
	Serial       string        `json:"serial"`
	Accuracy     string        `json:"accuracy"` // as its sheet states it
	Calibrations []Calibration `json:"calibrations"`
	Condition    Condition     `json:"condition"`
	Notes        string        `json:"notes"`
}

// Calibration is one calibration of an instrument.
type Calibration struct {
	On          When   `json:"on"`
	DueOn       When   `json:"due_on"` // "" no date set
	By          string `json:"by"`
	Certificate string `json:"certificate"`
	Result      string `json:"result"`
}

// InstrumentForms returns the forms of instrument.
func InstrumentForms() []string {
	return []string{"meter", "supply", "thermometer", "reference-source", "other"}
}

// Kind returns KindInstrument.
func (Instrument) Kind() string { return KindInstrument }

// Title returns the given name.
func (i Instrument) Title() string { return i.Name }

// Validate checks the instrument. Fault Invalid, naming the value and what to type.
func (i Instrument) Validate() error {
	if i.Name != "" {
		if err := CheckName(KindInstrument, i.Name); err != nil {
			return err
		}
	}
	known := false
	for _, f := range InstrumentForms() {
		known = known || f == i.Form
	}
	if !known {
		return fault.Invalidf("%q is not a form of instrument", i.Form).WithHint("use --form meter, supply, thermometer, reference-source or other")
	}
	if err := CheckCondition(i.Condition); err != nil {
		return err
	}
	for _, c := range i.Calibrations {
		if c.On == "" {
			return fault.Invalidf("a calibration without its date says nothing").WithHint("give --on 2026-03-01")
		}
		for _, w := range []When{c.On, c.DueOn} {
			if err := w.Check(); err != nil {
				return err
			}
		}
		if c.DueOn != "" && c.DueOn.Day() < c.On.Day() {
			return fault.Invalidf("the next calibration is due on %s, before this one on %s", c.DueOn, c.On).WithHint("check both dates")
		}
		if err := texts("laboratory", c.By, "certificate", c.Certificate, "result", c.Result); err != nil {
			return err
		}
	}
	return texts("what it measures", i.Measures, "maker", i.Maker, "model", i.Model, "serial", i.Serial, "accuracy", i.Accuracy, "notes", i.Notes)
}

// CalibrationOn returns the latest calibration made on or before the day, and
// whether it was still within its due date then.
func (i Instrument) CalibrationOn(day When) (c Calibration, found, valid bool) {
	for _, k := range i.Calibrations {
		if k.On.Day() <= day.Day() && (!found || k.On >= c.On) {
			c, found = k, true
		}
	}
	return c, found, found && (c.DueOn == "" || day.Day() <= c.DueOn.Day())
}
