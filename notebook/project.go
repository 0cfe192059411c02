// Package notebook holds what was done: projects with their questions, specimens
// with their preparation and custody, captures with their conditions, outcomes
// and expenses, and what makes each of them valid. It knows nothing of how they
// are stored or shown.
package notebook

import (
	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

// The kinds of notebook record.
const (
	KindNotebook    = "notebook"
	KindProject     = "project"
	KindSpecimen    = "specimen"
	KindPreparation = "preparation"
	KindCustody     = "custody"
	KindCapture     = "capture"
	KindOutcome     = "outcome"
	KindExpense     = "expense"
)

// Genesis is the first record of every notebook.
type Genesis struct {
	Operator string `json:"operator"` // who records unless someone else is named; "" none
	Lab      string `json:"lab"`      // whose notebook it is; "" not recorded
}

// Kind returns KindNotebook.
func (Genesis) Kind() string { return KindNotebook }

// Title returns the empty name: there is one notebook.
func (Genesis) Title() string { return "" }

// Validate checks the texts. Fault Invalid otherwise.
func (g Genesis) Validate() error { return texts("operator", g.Operator, "lab", g.Lab) }

// Project is a piece of work for someone, with the questions it is to answer.
type Project struct {
	Name          string          `json:"name"`   // code name
	Client        string          `json:"client"` // alias; "" own work
	NDA           bool            `json:"nda"`    // under a non-disclosure agreement
	Questions     []string        `json:"questions"`
	Budget        *quantity.Money `json:"budget"`
	Closed        bool            `json:"closed"`
	ClosedOn      catalog.When    `json:"closed_on"`
	ClosingRemark string          `json:"closing_remark"`
	Notes         string          `json:"notes"`
}

// Kind returns KindProject.
func (Project) Kind() string { return KindProject }

// Title returns the code name.
func (p Project) Title() string { return p.Name }

// Validate checks the project. Fault Invalid, naming what to type.
func (p Project) Validate() error {
	if err := catalog.CheckName(KindProject, p.Name); err != nil {
		return err
	}
	for _, q := range p.Questions {
		if q == "" {
			return fault.Invalidf("a question is empty").WithHint(`give --question "where does the power go?"`)
		}
		if err := catalog.CheckText("question", q); err != nil {
			return err
		}
	}
	if err := p.ClosedOn.Check(); err != nil {
		return err
	}
	return texts("client", p.Client, "closing remark", p.ClosingRemark, "notes", p.Notes)
}

// Expense is money spent: on a part bought, a service, a consumable.
type Expense struct {
	What  string         `json:"what"`
	Cost  quantity.Money `json:"cost"`
	On    catalog.When   `json:"on"`
	Part  *catalog.Ref   `json:"part"` // the catalogue part it bought; nil none
	Notes string         `json:"notes"`
}

// Kind returns KindExpense.
func (Expense) Kind() string { return KindExpense }

// Title returns the empty name: an expense goes by its handle.
func (Expense) Title() string { return "" }

// Validate checks the expense. Fault Invalid, naming what to type.
func (e Expense) Validate() error {
	if e.What == "" {
		return fault.Invalidf("an expense needs to say what for").WithHint(`give --for "two zinc selenide lenses"`)
	}
	if err := e.On.Check(); err != nil {
		return err
	}
	return texts("purpose", e.What, "notes", e.Notes)
}

// texts checks several text fields given as name, value pairs.
func texts(pairs ...string) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if err := catalog.CheckText(pairs[i], pairs[i+1]); err != nil {
			return err
		}
	}
	return nil
}
