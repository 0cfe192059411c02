package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

// noun is a kind of record with what its add, list, show and amend verbs need.
type noun[T store.Body] struct {
	kind    string // "lens"
	plural  string // "lenses"
	short   string // of the group
	long    string // of add: what the flags mean
	example string // of add
	amended string // example of amend

	fresh func() T                                                       // a record with its defaults
	flags func(*pflag.FlagSet)                                           // shared by add and amend
	apply func(in *input, tx *store.Tx, body *T) error                   // the flags given, onto the record
	ready func(tx *store.Tx, body *T) error                              // nil, or what is computed before recording
	place func(in *input, tx *store.Tx, body T) (store.Placement, error) // nil: the library
	warn  func(tx *store.Tx, body T) ([]string, error)                   // nil, or what to tell after recording
	facts func(tx *store.Tx, r notebook.Record[T]) ([]report.Fact, error)

	nameless bool           // its records go by their handles
	brief    func(T) string // nil, or what is said with the handle of a record just written
	columns  []term.Column
	row      func(tx *store.Tx, r notebook.Record[T]) ([]string, error) // after the handle and name
}

// group makes the noun's command with its four verbs and whatever else it has.
func (n noun[T]) group(app *App, more ...*cobra.Command) *cobra.Command {
	verbs := append([]*cobra.Command{n.add(app), n.list(app), n.show(app), n.amend(app)}, more...)
	return newGroup(n.kind, n.short, "", "  dieglow "+n.kind+" list\n"+n.example, verbs...)
}

// recorded is what a verb that records gives as JSON.
type recorded[T store.Body] struct {
	notebook.Record[T]
	Warnings []string `json:"warnings"`
}

func (n noun[T]) add(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "add [NAME]",
		Short: "Record " + article(n.kind) + " " + n.kind,
		Long:  n.long, Example: n.example, Args: optionalArg,
	}
	n.flags(cmd.Flags())
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in, body := app.input(cmd), n.fresh()
		if len(args) == 1 {
			setName(&body, strings.TrimSpace(args[0]))
			if err := catalog.CheckName(n.kind, strings.TrimSpace(args[0])); err != nil {
				return err
			}
		}
		var out recorded[T]
		err := app.update(cmd.Context(), func(tx *store.Tx) (err error) {
			if err := n.fill(in, tx, &body); err != nil {
				return err
			}
			var at store.Placement
			if n.place != nil {
				if at, err = n.place(in, tx, body); err != nil {
					return err
				}
			}
			if out.Record, err = store.Add(tx, body, at); err != nil {
				return err
			}
			out.Warnings, err = n.warnings(tx, body)
			return err
		})
		if err != nil {
			return err
		}
		return n.said(app, out, "recorded")
	}
	return cmd
}

// fill puts the flags onto the record and computes what belongs to it.
func (n noun[T]) fill(in *input, tx *store.Tx, body *T) error {
	if err := n.apply(in, tx, body); err != nil {
		return err
	}
	if in.err != nil {
		return in.err
	}
	if n.ready != nil {
		if err := (*body).Validate(); err != nil {
			return err
		}
		return n.ready(tx, body)
	}
	return nil
}

func (n noun[T]) warnings(tx *store.Tx, body T) ([]string, error) {
	if n.warn == nil {
		return nil, nil
	}
	return n.warn(tx, body)
}

// said reports a record just written: its handle on standard output, warnings beside it.
func (n noun[T]) said(app *App, out recorded[T], verb string) error {
	for _, w := range out.Warnings {
		app.notef("warning: %s", w)
	}
	return app.emit(out, func() error {
		line := verb + " " + out.Label() + revisionText(out.Meta)
		if n.brief != nil {
			line += ": " + n.brief(out.Body)
		}
		_, err := fmt.Fprintln(app.Out, term.Clean(line))
		return err
	})
}

func revisionText(m notebook.Meta) string {
	if m.Revision == 1 {
		return ""
	}
	return fmt.Sprintf(", revision %d", m.Revision)
}

func (n noun[T]) list(app *App) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the " + n.plural,
		Example: "  dieglow " + n.kind + " list",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			head := []term.Column{{Header: n.kind}, {Header: "name"}}
			if n.nameless {
				head = head[:1]
			}
			t := term.Table{Columns: append(head, n.columns...)}
			var all []notebook.Record[T]
			err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
				if all, err = store.List[T](tx, ""); err != nil {
					return err
				}
				for _, r := range all {
					cells, err := n.row(tx, r)
					if err != nil {
						return err
					}
					t.Rows = append(t.Rows, append([]string{r.Handle, r.Name}[:len(head)], cells...))
				}
				return nil
			})
			if err != nil {
				return err
			}
			return app.emit(nonNil(all), func() error {
				if len(all) == 0 {
					app.notef("no %s yet", n.plural)
				}
				return app.screen().Table(t)
			})
		},
	}
}

// nonNil makes an empty list print as [] in JSON.
func nonNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// shown is a record with the facts about it, as show gives it in JSON.
type shown[T store.Body] struct {
	notebook.Record[T]
	Facts []report.Fact `json:"facts"`
}

func (n noun[T]) show(app *App) *cobra.Command {
	return &cobra.Command{
		Use:     "show NAME",
		Short:   "Show " + article(n.kind) + " " + n.kind,
		Long:    "NAME is a handle (" + n.kind + "-1), a given name or an id; " + n.kind + "-1@2 is its second revision.",
		Example: "  dieglow " + n.kind + " show " + n.kind + "-1",
		Args:    args("the " + n.kind + "'s name or handle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var out shown[T]
			err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
				if out.Record, err = store.Get[T](tx, args[0]); err != nil {
					return err
				}
				out.Facts, err = n.facts(tx, out.Record)
				return err
			})
			if err != nil {
				return err
			}
			return app.emit(out, func() error { return app.sheet(out.Meta, out.Facts) })
		},
	}
}

func (n noun[T]) amend(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "amend NAME",
		Short: "Record a new revision of " + article(n.kind) + " " + n.kind,
		Long: `Only what the flags name is changed, in a new revision; the old one stays
readable. An empty text takes a value away: --notes "".`,
		Example: n.amended, Args: args("the " + n.kind + "'s name or handle"),
	}
	n.flags(cmd.Flags())
	cmd.Flags().String("reason", "", "why it is amended (needed)")
	cmd.Flags().String("rename", "", "a new name")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return n.revise(app, cmd, args[0], func(in *input, tx *store.Tx, body *T) error {
			if name, ok := in.given("rename"); ok {
				setName(body, strings.TrimSpace(name))
				if err := catalog.CheckName(n.kind, strings.TrimSpace(name)); err != nil {
					return err
				}
			}
			return n.fill(in, tx, body)
		})
	}
	return cmd
}

// revise records a new revision changed by change, with the reason flag.
func (n noun[T]) revise(app *App, cmd *cobra.Command, name string, change func(*input, *store.Tx, *T) error) error {
	in := app.input(cmd)
	var out recorded[T]
	err := app.update(cmd.Context(), func(tx *store.Tx) error {
		old, err := store.Get[T](tx, name)
		if err != nil {
			return err
		}
		before, err := json.Marshal(old.Body)
		if err != nil {
			return err
		}
		if err := change(in, tx, &old.Body); err != nil {
			return err
		}
		if after, err := json.Marshal(old.Body); err != nil {
			return err
		} else if bytes.Equal(before, after) {
			return fault.Invalidf("that changes nothing about %s", old.Label()).WithHint("name what is to change; %s amend --help lists the flags", "dieglow "+n.kind)
		}
		reason, err := cmd.Flags().GetString("reason")
		if err != nil {
			return err
		}
		if out.Record, err = store.Amend(tx, old.Meta, old.Body, reason); err != nil {
			return err
		}
		out.Warnings, err = n.warnings(tx, old.Body)
		return err
	})
	if err != nil {
		return err
	}
	return n.said(app, out, "amended")
}

// sheet prints a record as lines of label, value and where the value is from.
func (app *App) sheet(m notebook.Meta, facts []report.Fact) error {
	title := m.Label()
	if m.Latest > 1 {
		title += fmt.Sprintf(", revision %d of %d", m.Revision, m.Latest)
	}
	t := term.Table{Columns: []term.Column{{Header: title}, {Header: ""}, {Header: ""}}}
	for _, f := range facts {
		t.Rows = append(t.Rows, []string{f.Label, f.Value, f.Origin})
	}
	t.Rows = append(t.Rows, []string{"recorded", m.Recorded.Format("2006-01-02 15:04 UTC") + " by " + m.Who, "entry " + fmt.Sprint(m.Seq)})
	if m.Reason != "" {
		t.Rows = append(t.Rows, []string{"reason of the revision", m.Reason, ""})
	}
	return app.screen().Table(t)
}

// setName gives a record its name, for the kinds that can have one.
func setName(body any, name string) {
	switch b := body.(type) {
	case *catalog.Lens:
		b.Name = name
	case *catalog.Camera:
		b.Name = name
	case *catalog.Artefact:
		b.Name = name
	case *catalog.Instrument:
		b.Name = name
	case *catalog.Setup:
		b.Name = name
	case *notebook.Project:
		b.Name = name
	case *notebook.Specimen:
		b.Name = name
	}
}

func article(noun string) string {
	if strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an"
	}
	return "a"
}

// textFlags declares text flags given as name, usage pairs.
func textFlags(f *pflag.FlagSet, pairs ...string) {
	for i := 0; i+1 < len(pairs); i += 2 {
		f.String(pairs[i], "", pairs[i+1])
	}
}
