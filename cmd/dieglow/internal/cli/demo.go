package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/cmd/dieglow/internal/demo"
	"dieglow/cmd/dieglow/internal/term"
)

func newDemo(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "demo [DIR]",
		Short: "Fill a notebook with an invented scenario and ask it questions",
		Long: `Everything in it is invented: two projects, one of them under a non-disclosure
agreement, lenses, cameras, setups, boards and opened parts, captures with small
frames, one part lost. DIR is dieglow-demo unless given, and must not be there.

The scenario is run as commands, each of which --commands prints.`,
		Example: "  dieglow demo\n  dieglow demo scratch --commands",
		Args:    optionalArg,
	}
	commands := cmd.Flags().Bool("commands", false, "print every command of the scenario")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		dir := "dieglow-demo"
		if len(args) == 1 {
			dir = args[0]
		}
		return app.demo(cmd.Context(), dir, *commands)
	}
	return cmd
}

func (app *App) demo(ctx context.Context, dir string, commands bool) error {
	if _, err := os.Lstat(dir); err == nil {
		return fault.Conflictf("%s is there already", dir).WithHint("name another folder: dieglow demo DIR; or remove that one")
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fault.Otherf("cannot look at %s", dir).Because(err).WithHint("name a folder in a place that can be written: dieglow demo DIR")
	}
	frames, err := os.MkdirTemp("", "dieglow-frames-")
	if err != nil {
		return fault.Otherf("cannot make a temporary folder").Because(err)
	}
	defer os.RemoveAll(frames)
	for _, f := range demo.Frames() {
		if err := os.WriteFile(filepath.Join(frames, f.Name), f.CSV, 0o644); err != nil {
			return fault.Otherf("cannot write an invented frame").Because(err)
		}
	}
	start := demo.Step{Args: []string{"init", dir, "--operator", demo.Operator, "--lab", demo.Lab}}
	fmt.Fprintf(app.Err, "An invented scenario, recorded in %s:\n", term.Clean(dir))
	for _, s := range append([]demo.Step{start}, demo.Steps(dir, frames)...) {
		if err := app.demoStep(ctx, dir, s, commands); err != nil {
			return err
		}
	}
	fmt.Fprintf(app.Err, "\nThe notebook is in %s. Try: dieglow --notebook %s report project kestrel\n", term.Clean(dir), term.Clean(dir))
	return nil
}

// demoStep runs one command of the scenario as if it had been typed.
func (app *App) demoStep(ctx context.Context, dir string, s demo.Step, commands bool) error {
	typed := "dieglow " + shellText(s.Args)
	if s.Show {
		fmt.Fprintf(app.Err, "\n%s\n", s.Say)
	} else if s.Say != "" {
		fmt.Fprintf(app.Err, "- %s\n", s.Say)
	}
	if commands || s.Show {
		fmt.Fprintf(app.Err, "$ %s\n", typed)
	}
	step := &App{In: app.In, Out: io.Discard, Err: io.Discard, Env: app.Env, Source: app.Source, Local: app.Local}
	if s.Show {
		step.Out, step.Err = app.Out, app.Err
	}
	root := newRoot(step)
	args := append([]string{}, s.Args...)
	if args[0] != "init" {
		args = append(args, "--notebook", dir, "--by", demo.Operator)
	}
	if app.plain {
		args = append(args, "--plain")
	}
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if s.Refused && fault.KindOf(err) == fault.Conflict {
		step.reportError(err, fault.KindOf(err).ExitStatus())
		return nil
	}
	if err != nil {
		return fmt.Errorf("demo step %q: %w", typed, err)
	}
	return nil
}

// shellText prints arguments as they would be typed.
func shellText(args []string) string {
	var out []string
	for _, a := range args {
		if a == "" || strings.ContainsAny(a, " ()$\"'*?&;<>|\\") {
			a = "'" + strings.ReplaceAll(a, "'", `'\''`) + "'"
		}
		out = append(out, a)
	}
	return strings.Join(out, " ")
}
