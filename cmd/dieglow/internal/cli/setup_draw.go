package cli

import (
	"cmp"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/drawing"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/store"
)

// sheet is a drawing of a setup that can be asked for.
type sheet struct {
	flag, usage, what string
	draw              func(drawnSetup) (drawing.Drawing, error)
}

func sheets() []sheet {
	return []sheet{
		{"draw", "write the stack to scale with its rays and lengths, x.svg or x.png", "the stack to scale", drawnSetup.stack},
		{"mount", "write the dimension sheet of a holder, x.svg or x.png", "the holder's dimensions", drawnSetup.mount},
		{"mtf", "write the predicted modulation, x.svg or x.png", "the modulation", drawnSetup.modulation},
		{"spots", "write the predicted spot diagrams, x.svg or x.png", "the spot diagrams", drawnSetup.spots},
		{"fans", "write the predicted ray fans, x.svg or x.png", "the ray fans", drawnSetup.fans},
	}
}

// drawnSetup is what the drawings of a setup are made from.
type drawnSetup struct {
	title      string
	names      []string // of the lenses as they stand
	ideal      []string // lenses that exact rays flatter
	prediction optics.Prediction
}

// sheetFile is a drawing and its file.
type sheetFile struct {
	sheet
	path string
	data []byte
}

// drawShow adds the drawings to setup show.
func drawShow(app *App, show *cobra.Command) {
	for _, s := range sheets() {
		show.Flags().String(s.flag, "", s.usage)
	}
	show.Flags().Bool("replace", false, "write over drawings that are there")
	plain := show.RunE
	show.RunE = func(cmd *cobra.Command, args []string) error {
		in := app.input(cmd)
		wanted, err := in.sheets()
		if err != nil {
			return err
		}
		if len(wanted) == 0 {
			return plain(cmd, args)
		}
		var r notebook.Record[catalog.Setup]
		var of drawnSetup
		err = app.view(cmd.Context(), func(tx *store.Tx) (err error) {
			if r, err = store.Get[catalog.Setup](tx, args[0]); err != nil {
				return err
			}
			of, err = drawnOf(tx, r)
			return err
		})
		if err != nil {
			return err
		}
		return app.writeSheets(r, of, wanted, in.isSet("replace"))
	}
}

// sheets returns the drawings asked for. Faults say that a name is not one of a
// drawing, or stands for two, before any is made.
func (in *input) sheets() ([]sheetFile, error) {
	var wanted []sheetFile
	for _, s := range sheets() {
		path, ok := in.given(s.flag)
		if !ok {
			continue
		}
		if err := drawing.CheckName(path); err != nil {
			in.fail(s.flag, err)
			continue
		}
		path = filepath.Clean(path)
		for _, other := range wanted {
			if other.path == path {
				return nil, fault.Usagef("--%s and --%s name the same file", other.flag, s.flag).WithHint("give each drawing a file of its own")
			}
		}
		wanted = append(wanted, sheetFile{sheet: s, path: path})
	}
	if len(wanted) > 0 {
		for _, flag := range []string{"exact", "explain"} {
			if in.isSet(flag) {
				return nil, fault.Usagef("--%s prints figures, and drawings are written instead", flag).WithHint("ask for one of them at a time")
			}
		}
	}
	return wanted, in.err
}

// drawnOf prepares a setup for drawing.
func drawnOf(tx *store.Tx, r notebook.Record[catalog.Setup]) (drawnSetup, error) {
	parts, err := setupParts(tx, r.Body)
	if err != nil {
		return drawnSetup{}, err
	}
	d := drawnSetup{title: cmp.Or(r.Name, r.Handle) + " (" + r.Ref.String() + ")", ideal: r.Body.IdealLenses(parts)}
	for _, seat := range r.Body.Stack {
		name := cmp.Or(seat.Name, seat.Lens.Handle)
		if seat.Flipped {
			name += " flipped"
		}
		if seat.IncidenceDeg != 0 {
			name += " at " + quantity.Fixed(seat.IncidenceDeg, 4) + "°"
		}
		d.names = append(d.names, name)
	}
	d.prediction, err = r.Body.Prediction(parts, targetRadiance)
	return d, err
}

// writeSheets makes every drawing before it writes the first, and takes back
// those written when one cannot be, so that a fault leaves no file behind.
func (app *App) writeSheets(r notebook.Record[catalog.Setup], of drawnSetup, files []sheetFile, replace bool) error {
	for i, f := range files {
		if err := mayWrite(f.path, replace); err != nil {
			return err
		}
		d, err := f.draw(of)
		if err != nil {
			return err
		}
		if files[i].data, err = d.Encode(f.path); err != nil {
			return err
		}
	}
	var paths []string
	for _, f := range files {
		if err := writeFile(f.path, f.data, replace); err != nil {
			if !replace { // what was there before is gone, and a new drawing better than none
				for _, path := range paths {
					os.Remove(path)
				}
			}
			return err
		}
		paths = append(paths, f.path)
	}
	return app.emit(struct {
		notebook.Record[catalog.Setup]
		Written []string `json:"written"`
	}{r, paths}, func() error {
		for _, f := range files {
			if _, err := fmt.Fprintf(app.Out, "wrote %s: %s\n", f.path, f.what); err != nil {
				return err
			}
		}
		return nil
	})
}

func (d drawnSetup) stack() (drawing.Drawing, error) {
	v := drawing.StackView{Title: d.title, Attachment: d.prediction.Attachment, Names: d.names}
	if len(d.ideal) > 0 {
		v.Notes = []string{"Taken without aberration and thickness, since known by focal length alone: " + strings.Join(d.ideal, ", ") + ". The real lens does worse."}
	}
	return drawing.Stack(v)
}

func (d drawnSetup) mount() (drawing.Drawing, error) {
	return drawing.Mount(drawing.MountView{Title: d.title, Attachment: d.prediction.Attachment, Names: d.names})
}

func (d drawnSetup) modulation() (drawing.Drawing, error) {
	s, err := d.prediction.Sharpness()
	if err != nil {
		return drawing.Drawing{}, err
	}
	return drawing.MTF(d.title, s)
}

func (d drawnSetup) spots() (drawing.Drawing, error) {
	exact, err := d.prediction.Attachment.Exact()
	if err != nil {
		return drawing.Drawing{}, err
	}
	diagrams, err := d.prediction.SpotDiagrams()
	if err != nil {
		return drawing.Drawing{}, err
	}
	return drawing.Spots(d.title, diagrams, optics.RayleighUM(d.prediction.Attachment.WavelengthUM, exact.NAObject), exact.ObjectPixelUM)
}

func (d drawnSetup) fans() (drawing.Drawing, error) {
	fans, err := d.prediction.RayFans()
	if err != nil {
		return drawing.Drawing{}, err
	}
	return drawing.RayFans(d.title, fans)
}
