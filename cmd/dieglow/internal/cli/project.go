package cli

import (
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/store"
)

func projectNoun() noun[notebook.Project] {
	return noun[notebook.Project]{
		kind: notebook.KindProject, plural: "projects",
		short: "Pieces of work, with the questions they are to answer",
		long: `The name is a code name and the client an alias, so that neither gives the
client away. Questions are numbered in the order given; an outcome answers one
by its number.`,
		example: `  dieglow project add kestrel --client "client K" --nda --question "where does the power go?" --budget 900EUR`,
		amended: `  dieglow project amend kestrel --question "where does the power go?" --question "is the junction below 125 °C?" --reason "second question agreed"`,
		fresh:   func() notebook.Project { return notebook.Project{} },
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "client", "alias of the client", "budget", "budget, with its currency", "notes", "anything else")
			f.Bool("nda", false, "under a non-disclosure agreement")
			f.StringArray("question", nil, "a question to be answered; may be repeated")
		},
		apply: func(in *input, _ *store.Tx, p *notebook.Project) error {
			in.text("client", &p.Client)
			in.flag("nda", &p.NDA)
			in.list("question", &p.Questions)
			in.money("budget", &p.Budget)
			in.text("notes", &p.Notes)
			return nil
		},
		facts:   projectFacts,
		columns: []term.Column{{Header: "client"}, {Header: "NDA"}, {Header: "questions", Align: term.Right}, {Header: "budget", Align: term.Right}, {Header: "state"}},
		row: func(_ *store.Tx, r notebook.Record[notebook.Project]) ([]string, error) {
			p := r.Body
			nda, state := "no", "open"
			if p.NDA {
				nda = "yes"
			}
			if p.Closed {
				state = "closed"
			}
			return []string{p.Client, nda, fmt.Sprint(len(p.Questions)), moneyText(p.Budget), state}, nil
		},
	}
}

func newProject(app *App) *cobra.Command {
	n := projectNoun()
	return n.group(app, newProjectClose(app, n))
}

func newProjectClose(app *App, n noun[notebook.Project]) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "close NAME",
		Short: "Close a project; its record stays",
		Long: `Nothing new is recorded in a closed project, except that parts move and go back.
What is recorded can still be amended.`,
		Example: `  dieglow project close kestrel --remark "report accepted" --on 2026-04-02`,
		Args:    args("the project's name or handle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return n.revise(app, cmd, args[0], func(in *input, _ *store.Tx, p *notebook.Project) error {
				if p.Closed {
					return fault.Conflictf("%s is closed already", args[0]).WithHint("dieglow trail %s says when", args[0])
				}
				p.Closed = true
				in.past("on", &p.ClosedOn)
				in.text("remark", &p.ClosingRemark)
				return in.err
			})
		},
	}
	textFlags(cmd.Flags(), "on", "day it was closed", "remark", "closing remark")
	cmd.Flags().String("reason", "closed", "why it is amended")
	return cmd
}

// projectOf returns the id of the project named by the --project flag, "" when
// none is given.
func projectOf(in *input, tx *store.Tx) (string, error) {
	name, ok := in.given("project")
	if !ok {
		return "", nil
	}
	p, err := store.Get[notebook.Project](tx, name)
	return p.ID, err
}
