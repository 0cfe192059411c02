// Package report turns records into what people read: facts for a screen, and
// Markdown documents. It is handed records and opens no database; the same
// records give the same bytes.
package report

import (
	"dieglow/catalog"
	"dieglow/catalog/quantity"
)

// Fact is one line about a record.
type Fact struct {
	Label  string `json:"label"`
	Value  string `json:"value"`
	Origin string `json:"origin"` // predicted, measured, stated, assumed, ...; "" for what needs none
}

// NotRecorded is what stands for a value nobody recorded.
const NotRecorded = "not recorded"

// The origins of a value, which are never shown alike.
const (
	Predicted = "predicted" // computed from optics, nothing was measured
	Measured  = "measured"
	Stated    = "stated" // by a maker or a client
	Assumed   = "assumed"
	Computed  = "computed" // from recorded values
	FromTable = "table"
)

// facts collects lines about a record.
type facts []Fact

func (f *facts) add(label, value, origin string) {
	*f = append(*f, Fact{label, value, origin})
}

// text adds a text, or "not recorded" when it is empty.
func (f *facts) text(label, value string) {
	if value == "" {
		value = NotRecorded
	}
	f.add(label, value, "")
}

// maybe adds a text if there is one.
func (f *facts) maybe(label, value string) {
	if value != "" {
		f.add(label, value, "")
	}
}

// estimate adds a value with its uncertainty, and says when none was evaluated.
func (f *facts) estimate(label string, e *quantity.Estimate, unit quantity.Unit, origin string) {
	if e == nil {
		f.add(label, NotRecorded, "")
		return
	}
	f.add(label, withU(*e, unit), origin)
}

// withU prints an estimate; one without an uncertainty says so.
func withU(e quantity.Estimate, unit quantity.Unit) string {
	if e.U == nil {
		return e.Format(unit) + ", uncertainty not evaluated"
	}
	return e.Format(unit)
}

// number adds a plain number, or "not recorded".
func (f *facts) number(label string, v *float64, unit quantity.Unit, origin string) {
	if v == nil {
		f.add(label, NotRecorded, "")
		return
	}
	f.add(label, quantity.Exactly(*v).Format(unit), origin)
}

func (f *facts) cost(label string, m *quantity.Money) {
	if m == nil {
		f.add(label, NotRecorded, "")
		return
	}
	f.add(label, m.String(), "")
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func radiusText(r *quantity.Estimate) string {
	if r == nil {
		return "plane"
	}
	return r.Format(quantity.Millimetre)
}

func whenText(w catalog.When) string {
	if w == "" {
		return NotRecorded
	}
	return w.String()
}
