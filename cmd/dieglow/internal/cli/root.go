package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
)

// newRoot builds the command tree.
func newRoot(app *App) *cobra.Command {
	root := newGroup("dieglow", "A lab notebook and parts catalogue for thermal imaging of chips and boards", `dieglow records which lenses stood before which camera, what was imaged under
which conditions, and what came of it, and answers from that record.

A notebook is a folder with notebook.sqlite and files/. It is found by
--notebook, DIEGLOW_NOTEBOOK, or the nearest one above the working directory.`,
		`  dieglow demo                         a notebook with an invented scenario
  dieglow init bench --operator "A. Person"
  dieglow find setups --resolved 50um  which setup resolved 50 µm?`)
	root.Version = Version
	root.SetVersionTemplate("dieglow {{.Version}}\n")
	root.SilenceErrors, root.SilenceUsage = true, true
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return fault.Usagef("%s", err).WithHint("%s --help shows the flags", cmd.CommandPath())
	})
	flags := root.PersistentFlags()
	flags.StringVar(&app.notebook, "notebook", "", "folder of the notebook")
	flags.StringVar(&app.by, "by", "", "operator, noted in what is recorded")
	flags.BoolVar(&app.json, "json", false, "print the result as JSON")
	flags.BoolVar(&app.plain, "plain", false, "no layout and no colours, as in a pipe")
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error {
		if app.notebook == "" && cmd.Flags().Changed("notebook") {
			return fault.Usagef("--notebook is empty").WithHint("name the notebook's folder: --notebook DIR")
		}
		return nil
	}
	root.AddGroup(
		&cobra.Group{ID: "start", Title: "Start:"},
		&cobra.Group{ID: "catalogue", Title: "Catalogue, what the bench owns:"},
		&cobra.Group{ID: "notebook", Title: "Notebook, what was done:"},
		&cobra.Group{ID: "answers", Title: "Answers:"},
		&cobra.Group{ID: "bench", Title: "Without a notebook:"},
		&cobra.Group{ID: "keeping", Title: "Keeping:"},
	)
	add := func(group string, cmds ...*cobra.Command) {
		for _, c := range cmds {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	add("start", newInit(app), newDemo(app))
	add("catalogue", newMaterial(app), newLens(app), newCamera(app), newArtefact(app), newInstrument(app), newSetup(app))
	add("notebook", newProject(app), newSpecimen(app), newCapture(app), newOutcome(app), newExpense(app))
	add("answers", newFind(app), newReport(app), newTrail(app))
	add("bench", newCalc(app), newFrame(app))
	add("keeping", newVerify(app), newRebuild(app))
	root.AddCommand(newExitCodes())
	root.SetHelpCommand(newHelp())
	return root
}

// newGroup makes a command that only holds others. Bare, it shows its help; with
// a word that is none of them it fails, which cobra alone would not see to.
func newGroup(use, short, long, example string, children ...*cobra.Command) *cobra.Command {
	cmd := &cobra.Command{
		Use: use, Short: short, Long: long, Example: example,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return noCommand(cmd, args[0])
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.SuggestionsMinimumDistance = 2
	cmd.AddCommand(children...)
	return cmd
}

// noCommand refuses a word that is none of a command's own. Fault Usage.
func noCommand(cmd *cobra.Command, word string) error {
	err := fault.Usagef("%s has no command %q", cmd.CommandPath(), word)
	if near := cmd.SuggestionsFor(word); len(near) > 0 {
		return err.WithHint("did you mean %s %s?", cmd.CommandPath(), strings.Join(near, " or "))
	}
	return err.WithHint("%s --help lists the commands", cmd.CommandPath())
}

// newHelp replaces cobra's own, which ends with 0 on a command there is not.
func newHelp() *cobra.Command {
	return &cobra.Command{
		Use: "help [COMMAND]", Short: "Help about a command", Example: "  dieglow help lens add",
		RunE: func(cmd *cobra.Command, words []string) error {
			found, rest, err := cmd.Root().Find(words)
			if err != nil {
				return fault.Usagef("%s", err).WithHint("dieglow --help lists the commands")
			}
			if len(rest) > 0 {
				return noCommand(found, rest[0])
			}
			found.InitDefaultHelpFlag()
			return found.Help()
		},
	}
}

// args takes a fixed number of arguments, named for the message.
func args(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, got []string) error {
		switch {
		case len(got) < len(names):
			return fault.Usagef("%s needs %s", cmd.CommandPath(), strings.Join(names[len(got):], " and ")).WithHint("%s --help shows how to call it", cmd.CommandPath())
		case len(got) > len(names):
			return fault.Usagef("%s takes %s; %q is one word too many", cmd.CommandPath(), counted(len(names), "argument"), got[len(names)]).
				WithHint("put a value with blanks in it between quotes")
		}
		return nil
	}
}

// optionalArg takes at most one argument.
func optionalArg(cmd *cobra.Command, got []string) error {
	if len(got) > 1 {
		return fault.Usagef("%s takes at most one argument; %q is one word too many", cmd.CommandPath(), got[1]).WithHint("put a value with blanks in it between quotes")
	}
	return nil
}

// counted prints "1 lens", "3 lenses".
func counted(n int, noun string) string {
	switch {
	case n == 1:
		return fmt.Sprintf("%d %s", n, noun)
	case strings.HasSuffix(noun, "y"):
		return fmt.Sprintf("%d %sies", n, strings.TrimSuffix(noun, "y"))
	case strings.HasSuffix(noun, "s"):
		return fmt.Sprintf("%d %ses", n, noun)
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

func checkOperator(who string) error {
	if err := catalog.CheckText("operator", who); err != nil {
		return err
	}
	if strings.TrimSpace(who) == "" {
		return fault.Invalidf("the operator's name is blank").WithHint(`give --by "name"`)
	}
	if strings.ContainsAny(who, "\n\t") || len(who) > 120 {
		return fault.Invalidf("the operator's name is longer than 120 bytes or has a line break").WithHint(`give --by "name"`)
	}
	return nil
}

// newExitCodes is a help topic.
func newExitCodes() *cobra.Command {
	return &cobra.Command{
		Use:   "exit-codes",
		Short: "What the exit status says",
		Long: `  0    done
  1    anything else: the machine, the disk
  2    the command line is wrong
  3    not found, or more than one thing answers to the name
  4    a value is invalid, or contradicts what is recorded
  5    another process is writing to the notebook
  6    what is stored is not what was written
  130  interrupted

With --json the error is printed on standard error as
{"error": {"kind", "message", "hint", "status"}}.`,
	}
}
