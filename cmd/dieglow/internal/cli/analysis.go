package cli

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/store"
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

// pixelUM returns the object pixel. Fault Usage where it is not known.
func (s subject) pixelUM() (quantity.Estimate, error) {
	if s.pixel == nil {
		return quantity.Estimate{}, fault.Usagef("what one pixel sees of the object is not known").WithHint("give --pixel 25um, or --setup NAME")
	}
	return *s.pixel, nil
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
	textFlags(f, "pixel", "what one pixel sees of the object, 25um, with its uncertainty", "setup", "take that from a setup of the notebook", "to", "write maps and pictures to files that begin like this")
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
	for _, d := range files {
		if strings.EqualFold(filepath.Ext(prefix), filepath.Ext(d.name)) {
			named = []derivedFile{{prefix, d.data}}
			break
		}
		named = append(named, derivedFile{prefix + d.name, d.data})
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

// statedPixel reads --pixel, or takes it from the setup of --setup.
func (app *App) statedPixel(cmd *cobra.Command, in *input, s *subject, sharp bool) error {
	in.estimate("pixel", quantity.Micrometre, &s.pixel)
	s.how = "stated"
	name, ok := in.given("setup")
	if in.err != nil || !ok || s.pixel != nil {
		return in.err
	}
	return app.view(cmd.Context(), func(tx *store.Tx) error {
		setup, err := store.Get[catalog.Setup](tx, name)
		if err != nil {
			return err
		}
		if err := s.pixelOf(tx, setup); err != nil || !sharp {
			return err
		}
		s.predictedBy(tx, setup)
		return nil
	})
}

// predictedSharpness is what exact rays predict in the middle of a setup's field.
type predictedSharpness struct {
	Setup       string            `json:"setup"`
	SmallestBar quantity.Estimate `json:"smallest_bar_um"` // at the contrast below
	Contrast    float64           `json:"contrast"`
	EdgeWidthUM *float64          `json:"edge_width_um"`
}

// predictedBy takes the prediction of a setup where its rays can be traced over the
// camera's band; where not, there is none to set beside the measurement.
func (s *subject) predictedBy(tx *store.Tx, setup notebook.Record[catalog.Setup]) {
	exact, err := exactOf(tx, setup, optics.DefaultContrast)
	if err != nil {
		return
	}
	p := predictedSharpness{Setup: setup.Ref.String(), SmallestBar: exact.bar(), Contrast: exact.Sharpness.Contrast}
	if c := exact.Sharpness.Points[0]; c.Tangential != nil {
		p.EdgeWidthUM = c.Tangential.EdgeWidthUM
	}
	s.predicted = &p
}

// pixelOf takes the object pixel of a setup: measured where it was, else predicted.
func (s *subject) pixelOf(tx *store.Tx, setup notebook.Record[catalog.Setup]) error {
	measured, err := measuredScale(tx, setup.Ref)
	if err != nil {
		return err
	}
	if measured != nil {
		s.pixel, s.how = &measured.Value, "measured, "+measured.Finding
		return nil
	}
	e := quantity.Exactly(setup.Body.Figures.ObjectPixelUM)
	if u, ok := setup.Body.Figures.Uncertainty("object_pixel_um"); ok {
		e.U = &u.U
	}
	s.pixel, s.how = &e, "predicted by "+setup.Ref.String()
	return nil
}

// recordAnalysis makes a finding of a capture by an analysis. in holds the flags.
func (app *App) recordAnalysis(cmd *cobra.Command, handle string, a analysis) error {
	in := app.input(cmd)
	var out recorded[notebook.Finding]
	var found analysed
	err := app.update(cmd.Context(), func(tx *store.Tx) error {
		c, err := store.Get[notebook.Capture](tx, handle)
		if err != nil {
			return err
		}
		m := measurement{app: app, tx: tx, ctx: cmd.Context(), capture: c}
		var f notebook.Finding
		if f, found, err = m.analyse(in, a, analysisFlags(cmd, a)); err != nil {
			return err
		}
		files, err := found.made()
		if err != nil {
			return err
		}
		out.Warnings = found.warnings
		out.Record, err = m.add(f, files)
		return err
	})
	if err != nil {
		return err
	}
	for _, w := range out.Warnings {
		app.notef("warning: %s", w)
	}
	return app.emit(out, func() error {
		found.title = out.Handle + ": " + a.name + " of " + out.Body.Capture.String()
		return app.printAnalysed(found, "")
	})
}

// analysisChoice adds --as and the flags of every analysis to capture measure,
// but for those it has already.
func analysisChoice(f *pflag.FlagSet) {
	var names []string
	all := pflag.NewFlagSet("", pflag.ContinueOnError)
	pickFlags(all)
	all.String("pixel", "", "what one pixel sees of the object, in place of the setup's")
	all.String("corrected", "", "analyse the map of object temperatures of this finding in place of the raw frame")
	for _, a := range frameAnalyses() {
		names = append(names, a.name)
		own := pflag.NewFlagSet("", pflag.ContinueOnError)
		a.flags(own)
		own.VisitAll(func(o *pflag.Flag) {
			if all.Lookup(o.Name) == nil {
				all.AddFlag(o)
			}
		})
	}
	all.VisitAll(func(o *pflag.Flag) {
		if f.Lookup(o.Name) == nil {
			f.AddFlag(o)
			o.Hidden = true // dieglow frame NAME --help explains them
		}
	})
	f.String("as", "", "what to measure in place of a temperature: "+strings.Join(names, ", "))
}

// findAnalysis returns the analysis of a name. Fault Usage where there is none,
// or a flag is given that it does not have.
func findAnalysis(cmd *cobra.Command, name string) (analysis, error) {
	var names []string
	for _, a := range frameAnalyses() {
		names = append(names, a.name)
		if a.name != name {
			continue
		}
		own := a.ownFlags()
		var foreign error
		cmd.LocalFlags().VisitAll(func(f *pflag.Flag) { // Visit sees nothing there: the set is built anew
			if f.Changed && own.Lookup(f.Name) == nil && f.Name != "as" && f.Name != "file" && cmd.InheritedFlags().Lookup(f.Name) == nil && foreign == nil {
				foreign = fault.Usagef("--%s is not for --as %s", f.Name, name).WithHint("dieglow frame %s --help lists its flags", name)
			}
		})
		return a, foreign
	}
	return analysis{}, fault.Usagef("there is no analysis %q", name).WithHint("give --as %s, or leave it out for a temperature", strings.Join(names, ", "))
}

// analysisFlagsAlone refuses flags of an analysis without --as.
func analysisFlagsAlone(cmd *cobra.Command) error {
	var foreign error
	cmd.LocalFlags().VisitAll(func(f *pflag.Flag) {
		if f.Changed && f.Hidden && foreign == nil {
			foreign = fault.Usagef("--%s is for an analysis, and none is named", f.Name).WithHint("add --as NAME; without it a temperature is measured")
		}
	})
	return foreign
}

// otherFiles returns the flags that name another file, that of every analysis included.
func (a analysis) otherFiles() []string { return append([]string{"subtract"}, a.files...) }

// ownFlags returns every flag an analysis reads.
func (a analysis) ownFlags() *pflag.FlagSet {
	own := pflag.NewFlagSet("", pflag.ContinueOnError)
	pickFlags(own)
	own.String("pixel", "", "")
	own.String("corrected", "", "")
	a.flags(own)
	return own
}

// again runs the analysis of a finding on the same files under the same flags.
func (m *measurement) analyseAgain(f notebook.Finding, now *input) (notebook.Finding, []derivedFile, error) {
	for _, a := range frameAnalyses() {
		if a.name != f.Quantity {
			continue
		}
		in, paths := *now, map[string]string{}
		in.given = func(flag string) (string, bool) {
			if path, ok := paths[flag]; ok {
				return path, true
			}
			text, ok := f.Analysis.Flags[flag]
			if _, corrected := f.Analysis.Files["corrected"]; flag == "unit" && corrected {
				return frame.DegC.String(), true
			}
			if flag == "unit" && !ok && m.file.Unit != "" {
				return m.file.Unit, true
			}
			return text, ok
		}
		in.lists = func(string) ([]string, bool) { return nil, false }
		path, err := m.tx.RawPath(m.file.SHA256, m.file.Size)
		if err != nil {
			return f, nil, err
		}
		s := subject{title: m.capture.Handle, path: path, in: &in, files: map[string]string{}, pixel: f.Analysis.PixelUM, how: f.Analysis.PixelFrom}
		for flag, kept := range f.Analysis.Files {
			if flag == "corrected" {
				if s.path, err = m.tx.RawPath(kept.SHA256, kept.Size); err != nil {
					return f, nil, err
				}
				continue
			}
			if s.files[flag], err = m.tx.RawPath(kept.SHA256, kept.Size); err != nil {
				return f, nil, err
			}
			paths[flag] = s.files[flag]
		}
		if s.pixel == nil {
			in.estimate("pixel", quantity.Micrometre, &s.pixel)
			s.how = "stated"
		}
		out, err := a.run(&in, s)
		if err != nil {
			return f, nil, err
		}
		f.Results = out.results
		files, err := out.made()
		return f, files, err
	}
	return f, nil, fault.Invalidf("%s is an analysis this version does not know", f.Quantity).WithHint("use the version that made it: %s", f.Program)
}

// analysisFlags collects the flags that an analysis was given, as typed.
func analysisFlags(cmd *cobra.Command, a analysis) notebook.Flags {
	own := a.ownFlags()
	given := notebook.Flags{}
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if own.Lookup(f.Name) != nil {
			given[f.Name] = f.Value.String()
		}
	})
	return given
}

// analyse runs an analysis on the capture's frame file. given holds its flags as
// typed; the paths among them are replaced by files kept with the finding.
func (m *measurement) analyse(in *input, a analysis, given notebook.Flags) (notebook.Finding, analysed, error) {
	f := notebook.Finding{Capture: m.capture.Ref, Quantity: a.name, Program: m.app.Source.Tool, Analysis: &notebook.Analysis{Flags: given, Files: map[string]notebook.Attachment{}}}
	if err := m.chooseFile(in); err != nil {
		return f, analysed{}, err
	}
	path, err := m.tx.RawPath(m.file.SHA256, m.file.Size)
	if err != nil {
		return f, analysed{}, err
	}
	f.RawFiles, f.Analysis.File = []string{m.file.SHA256}, m.file.Name
	if name, ok := in.given("corrected"); ok {
		kept, mapped, err := m.temperatureMap(name)
		if err != nil {
			return f, analysed{}, err
		}
		path, f.Analysis.Files["corrected"] = mapped, kept
		in = in.with("unit", frame.DegC.String())
	}
	s := subject{title: m.capture.Handle, path: path, in: in, files: map[string]string{}}
	for _, flag := range a.otherFiles() {
		other, ok := given[flag]
		if !ok {
			continue
		}
		kept, path, err := m.keepOther(other)
		if err != nil {
			return f, analysed{}, err
		}
		s.files[flag], in = path, in.with(flag, path)
		f.Analysis.Files[flag] = kept
		f.RawFiles = append(f.RawFiles, kept.SHA256)
	}
	in.estimate("pixel", quantity.Micrometre, &s.pixel)
	s.how = "stated"
	if s.pixel == nil {
		setup, err := store.GetRef[catalog.Setup](m.tx, m.capture.Body.Setup)
		if err != nil {
			return f, analysed{}, err
		}
		if err := s.pixelOf(m.tx, setup); err != nil {
			return f, analysed{}, err
		}
		f.Analysis.PixelUM, f.Analysis.PixelFrom = s.pixel, s.how
		if a.sharp {
			s.predictedBy(m.tx, setup)
		}
	}
	if _, ok := in.given("unit"); !ok && m.file.Unit != "" {
		in = in.with("unit", m.file.Unit)
	}
	s.in = in
	out, err := a.run(in, s)
	if err == nil {
		err = in.err
	}
	f.Results = out.results
	return f, out, err
}

// temperatureMap returns the kept map of object temperatures of a finding of the
// same capture or project.
func (m *measurement) temperatureMap(name string) (notebook.Attachment, string, error) {
	f, err := store.Get[notebook.Finding](m.tx, name)
	if err != nil {
		return notebook.Attachment{}, "", err
	}
	if f.Scope != m.capture.Scope && f.Scope != notebook.Library {
		return notebook.Attachment{}, "", fault.Conflictf("%s belongs to another project", f.Handle).WithHint("name a finding of the same project")
	}
	for _, d := range f.Body.Derived {
		if f.Body.Quantity == notebook.ObjectTemperature && strings.HasSuffix(d.Name, ".npy") {
			path, err := m.tx.RawPath(d.SHA256, d.Size)
			return d, path, err
		}
	}
	return notebook.Attachment{}, "", fault.Invalidf("%s has no map of object temperatures", f.Handle).WithHint("make one with dieglow capture measure, without --as, from a capture with emissivity and reflected temperature on record")
}

// keepOther takes a file that a flag names into the notebook, or finds a kept one
// by the handle of its capture, or of the finding whose temperatures it holds.
func (m *measurement) keepOther(name string) (notebook.Attachment, string, error) {
	if strings.HasPrefix(name, notebook.KindFinding+"-") {
		return m.temperatureMap(name)
	}
	if strings.HasPrefix(name, notebook.KindCapture+"-") {
		c, err := store.Get[notebook.Capture](m.tx, name)
		if err != nil {
			return notebook.Attachment{}, "", err
		}
		if c.Scope != m.capture.Scope && c.Scope != notebook.Library {
			return notebook.Attachment{}, "", fault.Conflictf("%s belongs to another project", c.Handle).WithHint("name a capture of the same project, or a file")
		}
		if len(c.Body.Frames) != 1 {
			return notebook.Attachment{}, "", fault.Invalidf("%s has %d frame files", c.Handle, len(c.Body.Frames)).WithHint("name the file itself")
		}
		fr := c.Body.Frames[0]
		path, err := m.tx.RawPath(fr.SHA256, fr.Size)
		return notebook.Attachment{Name: fr.Name, SHA256: fr.SHA256, Size: fr.Size}, path, err
	}
	kept, err := m.tx.Keep(name)
	if err != nil {
		return notebook.Attachment{}, "", err
	}
	m.others = append(m.others, kept)
	path, err := m.tx.RawPath(kept.SHA256, kept.Size)
	return notebook.Attachment{Name: filepath.Base(name), SHA256: kept.SHA256, Size: kept.Size}, path, err
}

// with returns the input with one more value given.
func (in *input) with(name, value string) *input {
	out := *in
	out.given = func(flag string) (string, bool) {
		if flag == name {
			return value, true
		}
		return in.given(flag)
	}
	return &out
}
