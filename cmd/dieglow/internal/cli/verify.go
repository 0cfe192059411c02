package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/store"
)

func newInit(app *App) *cobra.Command {
	var g notebook.Genesis
	cmd := &cobra.Command{
		Use:     "init [DIR]",
		Short:   "Start a notebook in a folder",
		Long:    "DIR is made if it is not there; without it the notebook starts in the working directory.",
		Example: `  dieglow init bench --operator "A. Person" --lab "Example Laboratory"`,
		Args:    optionalArg,
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := "."
			if app.notebook != "" {
				dir = app.notebook
			}
			if len(args) == 1 {
				dir = args[0]
			}
			db, err := store.Create(cmd.Context(), dir, g, app.Source)
			if err != nil {
				return err
			}
			defer db.Close()
			return app.emit(map[string]string{"notebook": dir}, func() error {
				_, err := fmt.Fprintf(app.Out, "started a notebook in %s\n", dir)
				return err
			})
		},
	}
	textFlags(cmd.Flags())
	cmd.Flags().StringVar(&g.Operator, "operator", "", "who records, unless --by or DIEGLOW_OPERATOR says otherwise")
	cmd.Flags().StringVar(&g.Lab, "lab", "", "whose notebook it is")
	return cmd
}

func newVerify(app *App) *cobra.Command {
	var noted string
	cmd := &cobra.Command{
		Use:   "verify",
		Short: "Check that what is stored is what was written",
		Long: `Rehashes the journal's chain and every raw file, replays the journal into memory,
and compares the result with the tables. Changes nothing.

What it cannot show: whether the newest entries were cut off, whether the whole
notebook was replaced by an older copy or written anew, and whether something was
never recorded. Note the number of entries and the head it prints, outside the
notebook; --noted ENTRIES:HEAD then compares with them.`,
		Example: "  dieglow verify\n  dieglow verify --noted 41:9f2c41...",
		Args:    args(),
		RunE:    func(cmd *cobra.Command, _ []string) error { return app.verify(cmd, noted) },
	}
	cmd.Flags().StringVar(&noted, "noted", "", "entries and head noted earlier, as ENTRIES:HEAD")
	return cmd
}

func (app *App) verify(cmd *cobra.Command, noted string) error {
	dir, err := app.notebookDir()
	if err != nil {
		return err
	}
	db, err := store.OpenRead(cmd.Context(), dir, app.Source)
	if err != nil {
		return err
	}
	defer db.Close()
	c, err := db.Verify(cmd.Context())
	if err != nil {
		return err
	}
	if noted != "" {
		if err := db.CompareNoted(cmd.Context(), &c, noted); err != nil {
			return err
		}
	}
	if err := app.emit(c, func() error { return app.printCheck(c, noted != "") }); err != nil {
		return err
	}
	if n := len(c.Problems); n > 0 {
		return fault.Corruptf("%s found", counted(n, "problem")).WithHint("keep the notebook as it is; dieglow rebuild mends tables, a backup that verifies mends the rest")
	}
	return nil
}

func (app *App) printCheck(c store.Check, anchored bool) error {
	w := app.Out
	fmt.Fprintf(w, "entries      %d, chain from the first to the last\n", c.Entries)
	fmt.Fprintf(w, "head         %s\n", c.Head)
	fmt.Fprintf(w, "tables       %d rows compared with the replayed journal\n", c.Rows)
	fmt.Fprintf(w, "raw files    %d read and hashed, %d bytes\n", c.RawFiles, c.RawBytes)
	if c.ClockSteps > 0 {
		fmt.Fprintf(w, "clock        set back before %s; their order stands\n", counted(int(c.ClockSteps), "entry"))
	}
	for _, n := range c.Notes {
		fmt.Fprintf(w, "note         %s\n", term.Clean(n))
	}
	for _, p := range c.Problems {
		fmt.Fprintf(w, "PROBLEM      %s: %s\n", p.Class, term.Clean(p.Text))
	}
	switch {
	case len(c.Problems) > 0:
		fmt.Fprintf(w, "not intact\n")
	case anchored:
		fmt.Fprintf(w, "intact, and it continues what was noted\n")
	default:
		fmt.Fprintf(w, "intact. Not shown: whether newest entries were cut off or all was written anew;\nfor that, note %d:%s elsewhere and give it to --noted later\n", c.Entries, c.Head)
	}
	return nil
}

func newRebuild(app *App) *cobra.Command {
	return &cobra.Command{
		Use:     "rebuild",
		Short:   "Make the tables anew from the journal",
		Long:    "The journal is the truth and is not touched; a damaged journal is refused.",
		Example: "  dieglow rebuild",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			dir, err := app.notebookDir()
			if err != nil {
				return err
			}
			db, err := store.OpenWrite(cmd.Context(), dir, app.Source)
			if err != nil {
				return err
			}
			defer db.Close()
			n, err := db.Rebuild(cmd.Context())
			if err != nil {
				return err
			}
			return app.emit(map[string]int64{"entries": n}, func() error {
				_, err := fmt.Fprintf(app.Out, "made the tables anew from %s\n", counted(int(n), "entry"))
				return err
			})
		},
	}
}
