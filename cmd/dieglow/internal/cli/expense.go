package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/store"
)

func newExpense(app *App) *cobra.Command {
	n := noun[notebook.Expense]{
		kind: notebook.KindExpense, plural: "expenses", nameless: true,
		columns: []term.Column{{Header: "for"}, {Header: "cost", Align: term.Right}, {Header: "on"}, {Header: "part"}, {Header: "project"}},
		row: func(tx *store.Tx, r notebook.Record[notebook.Expense]) ([]string, error) {
			part, project := "", "library"
			if r.Body.Part != nil {
				part = r.Body.Part.Handle
			}
			if r.Scope != notebook.Library {
				p, err := store.Get[notebook.Project](tx, r.Scope)
				if err != nil {
					return nil, err
				}
				project = p.Label()
			}
			return []string{r.Body.What, r.Body.Cost.String(), r.Body.On.String(), part, project}, nil
		},
	}
	return newGroup(n.kind, "Money spent", "", "  dieglow expense list\n"+expenseExample, newExpenseAdd(app, n), newExpenseList(app, n))
}

const expenseExample = `  dieglow expense add --for "two germanium lenses" --cost 84EUR --part ge25 --on 2026-02-20`

func newExpenseAdd(app *App, n noun[notebook.Expense]) *cobra.Command {
	cmd := &cobra.Command{
		Use: "add", Short: "Record an expense", Example: expenseExample, Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			var out recorded[notebook.Expense]
			err := app.update(cmd.Context(), func(tx *store.Tx) error {
				e, at, err := readExpense(in, tx)
				if err != nil {
					return err
				}
				out.Record, err = store.Add(tx, e, at)
				return err
			})
			if err != nil {
				return err
			}
			return n.said(app, out, "recorded")
		},
	}
	textFlags(cmd.Flags(), "for", "what it was for (needed)", "cost", "the amount with its currency (needed)", "on", "when", "part", "the catalogue part it bought", "project", "project it is charged to; the library unless given", "notes", "anything else")
	return cmd
}

func readExpense(in *input, tx *store.Tx) (e notebook.Expense, at store.Placement, err error) {
	in.text("for", &e.What)
	var cost *quantity.Money
	in.money("cost", &cost)
	in.past("on", &e.On)
	in.text("notes", &e.Notes)
	if in.err != nil {
		return e, at, in.err
	}
	if cost == nil {
		return e, at, fault.Invalidf("an expense needs its amount").WithHint("give --cost 84EUR")
	}
	e.Cost = *cost
	if name, ok := in.given("part"); ok {
		part, err := tx.GetRaw(name)
		if err != nil {
			return e, at, err
		}
		switch part.Kind {
		case catalog.KindLens, catalog.KindCamera, catalog.KindArtefact, catalog.KindInstrument:
			e.Part = &part.Ref
		default:
			return e, at, fault.Invalidf("%s is not a part of the catalogue", part.Label()).WithHint("name a lens, a camera, an artefact or an instrument, or leave --part out")
		}
	}
	at.Project, err = projectOf(in, tx)
	return e, at, err
}

// newExpenseList lists the expenses with their totals, one a currency.
func newExpenseList(app *App, n noun[notebook.Expense]) *cobra.Command {
	cmd := n.list(app)
	plain := cmd.RunE
	cmd.RunE = func(cmd *cobra.Command, a []string) error {
		if err := plain(cmd, a); err != nil || app.json || !app.screen().IsTerminal() {
			return err
		}
		totals := make(quantity.Totals)
		err := app.view(cmd.Context(), func(tx *store.Tx) error {
			all, err := store.List[notebook.Expense](tx, "")
			for _, e := range all {
				if err == nil {
					err = totals.Add(e.Body.Cost)
				}
			}
			return err
		})
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(app.Out, "total: %s\n", totals)
		return err
	}
	return cmd
}
