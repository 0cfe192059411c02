package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

// document makes a report: its dossier for JSON, its Markdown for people.
type document func(tx *store.Tx, seal report.Seal, name string) (dossier any, markdown []byte, err error)

// capturePictures returns the pictures of a capture's findings, to be written
// beside a document that goes to a file, and their names by SHA-256.
func capturePictures(tx *store.Tx, d report.CaptureDossier, to string) (files []derivedFile, names map[string]string, err error) {
	names = map[string]string{}
	stem := strings.TrimSuffix(filepath.Base(to), filepath.Ext(to))
	for _, f := range d.Findings {
		for _, a := range f.Body.Derived {
			if filepath.Ext(a.Name) != ".png" {
				continue
			}
			path, err := tx.RawPath(a.SHA256, a.Size)
			if err != nil {
				return nil, nil, err
			}
			data, err := os.ReadFile(path)
			if err != nil {
				return nil, nil, fault.Otherf("cannot read a derived picture").Because(err)
			}
			if _, twice := names[a.SHA256]; twice {
				continue
			}
			name := stem + "-" + f.Handle + "-" + a.Name
			files, names[a.SHA256] = append(files, derivedFile{name, data}), name
		}
	}
	return files, names, nil
}

func newReport(app *App) *cobra.Command {
	return newGroup("report", "Markdown summaries with their evidence", `The same records give the same bytes. On a terminal the document is laid out; in a
pipe, with --plain or in a file it is Markdown.`,
		"  dieglow report capture capture-3\n  dieglow report resolved 50um --to answer.md",
		newReportOf(app, "setup", "What a setup is, is predicted to do, and was shown to do", "the setup's name or handle", func(tx *store.Tx, seal report.Seal, name string) (any, []byte, error) {
			r, err := store.Get[catalog.Setup](tx, name)
			if err != nil {
				return nil, nil, err
			}
			d, err := setupDossier(tx, r)
			d.Seal = seal
			return d, report.SetupReport(d), err
		}),
		newReportOf(app, "specimen", "A specimen, its preparation, custody, captures and outcomes", "the specimen's name or handle", func(tx *store.Tx, seal report.Seal, name string) (any, []byte, error) {
			r, err := store.Get[notebook.Specimen](tx, name)
			if err != nil {
				return nil, nil, err
			}
			d, err := specimenDossier(tx, r)
			d.Seal = seal
			return d, report.SpecimenReport(d), err
		}),
		newReportOf(app, "capture", "A capture under its conditions, and what rests on it", "the capture's handle", func(tx *store.Tx, seal report.Seal, name string) (any, []byte, error) {
			r, err := store.Get[notebook.Capture](tx, name)
			if err != nil {
				return nil, nil, err
			}
			d, err := captureDossier(tx, r)
			if err != nil {
				return nil, nil, err
			}
			d.Seal = seal
			return d, report.CaptureReport(d, nil), nil
		}),
		newReportOf(app, "project", "A project: questions, answers, specimens, money", "the project's name or handle", func(tx *store.Tx, seal report.Seal, name string) (any, []byte, error) {
			r, err := store.Get[notebook.Project](tx, name)
			if err != nil {
				return nil, nil, err
			}
			d, err := projectDossier(tx, r)
			d.Seal = seal
			return d, report.ProjectReport(d), err
		}),
		newReportOf(app, "losses", "Specimens lost, why, and what it cost", "", func(tx *store.Tx, seal report.Seal, name string) (any, []byte, error) {
			d, err := lossesDossier(tx, name)
			d.Seal = seal
			return d, report.LossesReport(d), err
		}),
		newReportOf(app, "resolved", "Which setup resolved a size, with the evidence", "a size such as 50um", func(tx *store.Tx, seal report.Seal, size string) (any, []byte, error) {
			um, err := quantity.ParseValue(size, quantity.Micrometre)
			if err != nil {
				return nil, nil, err
			}
			if !(um > 0) {
				return nil, nil, fault.Invalidf("a size of %s µm is not possible", quantity.Fixed(um, 6)).WithHint("give a size above zero, for example 50um")
			}
			d, err := resolvedDossier(tx, um)
			d.Seal = seal
			return d, report.ResolvedReport(d), err
		}))
}

func newReportOf(app *App, what, short, argument string, make document) *cobra.Command {
	use, example, wanted := what+" NAME", "  dieglow report "+what+" "+what+"-1 --to "+what+".md", args(argument)
	switch what {
	case "losses":
		use, example, wanted = what+" [PROJECT]", "  dieglow report losses", optionalArg
	case "resolved":
		use, example = what+" SIZE", "  dieglow report resolved 50um"
	}
	cmd := &cobra.Command{Use: use, Short: short, Example: example, Args: wanted}
	to := cmd.Flags().String("to", "", "write the Markdown to a file, which must not be there yet")
	replace := cmd.Flags().Bool("replace", false, "write over the file of --to")
	cmd.RunE = func(cmd *cobra.Command, a []string) error {
		name := ""
		if len(a) > 0 {
			name = a[0]
		}
		var dossier any
		var markdown []byte
		err := app.view(cmd.Context(), func(tx *store.Tx) error {
			seal, err := app.seal(tx)
			if err != nil {
				return err
			}
			dossier, markdown, err = make(tx, seal, name)
			return err
		})
		if err != nil {
			return err
		}
		if *to != "" {
			if err := app.writeReport(cmd, *to, dossier, markdown, *replace); err != nil {
				return err
			}
			if !app.json {
				_, err = fmt.Fprintf(app.Out, "wrote %s\n", *to)
				return err
			}
		}
		return app.emit(dossier, func() error { return app.screen().Markdown(markdown) })
	}
	return cmd
}

// writeReport writes a document, and the pictures of a capture's findings beside it.
func (app *App) writeReport(cmd *cobra.Command, to string, dossier any, markdown []byte, replace bool) error {
	d, ok := dossier.(report.CaptureDossier)
	if !ok {
		return writeFile(to, markdown, replace)
	}
	return app.view(cmd.Context(), func(tx *store.Tx) error {
		pictures, names, err := capturePictures(tx, d, to)
		if err != nil {
			return err
		}
		if err := writeFile(to, report.CaptureReport(d, names), replace); err != nil {
			return err
		}
		for _, p := range pictures {
			if err := writeFile(filepath.Join(filepath.Dir(to), p.name), p.data, replace); err != nil {
				return err
			}
		}
		return nil
	})
}

// mayWrite reports a fault Conflict for a file that is there and is not to be
// replaced.
func mayWrite(path string, replace bool) error {
	if _, err := os.Lstat(path); err == nil && !replace {
		return fault.Conflictf("%s is there already", path).WithHint("add --replace to write over it, or name another file")
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fault.Otherf("cannot look at %s", path).Because(err).WithHint("name a file in a folder that is there and can be written")
	}
	return nil
}

// writeFile writes a file whole or not at all. Faults of mayWrite.
func writeFile(path string, data []byte, replace bool) error {
	if err := mayWrite(path, replace); err != nil {
		return err
	}
	failed := func(err error) error {
		return fault.Otherf("cannot write %s", path).Because(err).WithHint("name a file in a folder that is there and can be written")
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".dieglow-*")
	if err != nil {
		return failed(err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return failed(err)
	}
	return nil
}
