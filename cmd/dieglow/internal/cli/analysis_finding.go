package cli

import (
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/store"
)

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

// analyseAgain runs the analysis of a finding on the same files under the same flags.
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
