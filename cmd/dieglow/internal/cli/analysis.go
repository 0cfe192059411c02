package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
)

// analysis is a computation on a frame file, shared by frame NAME FILE and
// capture measure HANDLE --as NAME: a finding is made by the code that a person
// can run by hand.
type analysis struct {
	name, short, long string
	example           string               // of the frame command
	flags             func(*pflag.FlagSet) // its own, beside those of how the file is read
	files             []string             // flags of its own that name another file, which a finding keeps
	sharp             bool                 // a prediction of sharpness stands beside its result
	run               func(in *input, s subject) (analysed, error)
}

// subject is the file an analysis works on, and what is known about it.
type subject struct {
	title string // for pictures: a file name or a capture's handle
	path  string
	in    *input
	pixel *quantity.Estimate // object pixel in µm, where it is known
	how   string             // where pixel is from
	// predicted is the sharpness that exact rays give the setup, nil where there is
	// no setup or none is asked for.
	predicted *predictedSharpness
	files     map[string]string // paths of the other files, by their flag
}

// frame returns the one frame that is meant, prepared as the flags ask.
func (s subject) frame() (picked, error) { return s.in.pick(s.path) }

// stack opens the file's frames, to be read one by one; the caller closes it.
func (s subject) stack() (*frame.Stack, error) {
	o := s.in.frameOptions()
	if s.in.err != nil {
		return nil, s.in.err
	}
	return frame.OpenStack(s.path, o)
}

// other reads the one frame of the file that a flag of analysis.files names;
// given is false where the flag is not.
func (s subject) other(flag string) (f frame.Frame, given bool, err error) {
	path, ok := s.files[flag]
	if !ok {
		return f, false, nil
	}
	f, _, err = frame.OpenFrame(path, -1, frame.Options{})
	return f, true, err
}

// analysed is what an analysis found.
type analysed struct {
	figures any               // what --json prints
	title   string            // above the lines; the file's name unless given
	lines   [][3]string       // label, value, origin
	print   func(*App) error  // nil, or what follows the lines
	results []notebook.Result // what a finding records
	// draw makes the maps and pictures, which are written with --to PREFIX or kept
	// with a finding; nil: there are none.
	draw     func() ([]derivedFile, error)
	warnings []string
}

// made draws the maps and pictures.
func (a analysed) made() ([]derivedFile, error) {
	if a.draw == nil {
		return nil, nil
	}
	return a.draw()
}

// frameAnalyses are the analyses, in the order of help.
func frameAnalyses() []analysis {
	return []analysis{
		edgeAnalysis(), wireAnalysis(), barsAnalysis(), scaleAnalysis(),
		spotsAnalysis(), profileAnalysis(), regionAnalysis(), overlayAnalysis(),
		lockinAnalysis(),
		warmupAnalysis(),
		powerAnalysis(),
		modelAnalysis(),
	}
}

// newFrameAnalysis makes the frame command of an analysis.
func newFrameAnalysis(app *App, a analysis) *cobra.Command {
	cmd := &cobra.Command{Use: a.name + " FILE", Short: a.short, Long: a.long, Example: a.example, Args: args("a frame file")}
	f := cmd.Flags()
	pickFlags(f)
	textFlags(f, "pixel", "what one pixel sees of the object, 25um, with its uncertainty", "setup", "take that from a setup of the notebook", "to", "write maps and pictures to files that begin like this, or into this folder")
	f.Bool("replace", false, "write over files that are there")
	a.flags(f)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		s := subject{title: filepath.Base(args[0]), path: args[0], in: in, files: map[string]string{}}
		for _, flag := range a.files {
			if path, ok := in.given(flag); ok {
				s.files[flag] = path
			}
		}
		if err := app.statedPixel(cmd, in, &s, a.sharp); err != nil {
			return err
		}
		out, err := a.run(in, s)
		if err != nil {
			return err
		}
		if in.err != nil {
			return in.err
		}
		if app.json {
			// What cannot be printed must not leave files behind.
			if _, err := json.Marshal(out.figures); err != nil {
				return err
			}
		}
		for _, w := range out.warnings {
			app.notef("warning: %s", w)
		}
		if prefix, ok := in.given("to"); ok {
			files, err := out.made()
			if err != nil {
				return err
			}
			if err := app.writeDerived(prefix, files, in.isSet("replace")); err != nil {
				return err
			}
		}
		return app.emit(out.figures, func() error { return app.printAnalysed(out, args[0]) })
	}
	return cmd
}

// writeDerived writes derived files to names that begin with prefix; where prefix
// ends like a file's name, as in q.npy, the first file of that kind alone goes to
// exactly there. Nothing is written when one of them is there already.
func (app *App) writeDerived(prefix string, files []derivedFile, replace bool) error {
	named := make([]derivedFile, 0, len(files))
	joined := prefix
	if info, err := os.Stat(prefix); err == nil && info.IsDir() {
		joined = strings.TrimRight(prefix, "/") + "/"
	} else if last, _ := utf8.DecodeLastRuneInString(prefix); unicode.IsLetter(last) || unicode.IsDigit(last) {
		joined += "-" // out-amplitude.npy rather than outamplitude.npy
	}
	for _, d := range files {
		if strings.EqualFold(filepath.Ext(prefix), filepath.Ext(d.name)) {
			named = []derivedFile{{prefix, d.data}}
			break
		}
		named = append(named, derivedFile{joined + d.name, d.data})
	}
	for _, d := range named {
		if _, err := os.Lstat(d.name); err == nil && !replace {
			return fault.Conflictf("%s is there already", d.name).WithHint("add --replace to write over it, or name another file")
		}
	}
	for _, d := range named {
		if err := writeFile(d.name, d.data, replace); err != nil {
			return err
		}
		app.notef("wrote %s", d.name)
	}
	return nil
}

func (app *App) printAnalysed(out analysed, title string) error {
	if out.title != "" {
		title = out.title
	}
	if len(out.lines) > 0 {
		if err := app.facts(title, out.lines); err != nil {
			return err
		}
	}
	if out.print == nil {
		return nil
	}
	if len(out.lines) > 0 {
		fmt.Fprintln(app.Out)
	}
	return out.print(app)
}
