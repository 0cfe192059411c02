package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/radiometry"
	"dieglow/store"
)

// targetK is the temperature of the target whose radiance weights the band.
const targetK = 300.0

// exactSetup is what setup show --exact gives as JSON.
type exactSetup struct {
	notebook.Record[catalog.Setup]
	Exact       optics.ExactFigures `json:"exact"`
	Sharpness   optics.Sharpness    `json:"sharpness"`
	IdealLenses []string            `json:"ideal_lenses"` // taken without aberration, since known by focal length alone
}

// exactShow adds --exact to setup show.
func exactShow(app *App, show *cobra.Command) {
	exact := show.Flags().Bool("exact", false, "trace exact rays: field, light and sharpness from the middle to the corner")
	plain := show.RunE
	show.RunE = func(cmd *cobra.Command, args []string) error {
		if !*exact {
			return plain(cmd, args)
		}
		var out exactSetup
		err := app.view(cmd.Context(), func(tx *store.Tx) (err error) {
			if out.Record, err = store.Get[catalog.Setup](tx, args[0]); err != nil {
				return err
			}
			parts, err := setupParts(tx, out.Body)
			if err != nil {
				return err
			}
			p, err := out.Body.Prediction(parts, func(um float64) float64 { return radiometry.SpectralRadiance(um, targetK) })
			if err != nil {
				return err
			}
			out.IdealLenses = nonNil(out.Body.IdealLenses(parts))
			if out.Exact, err = p.Attachment.Exact(); err != nil {
				return err
			}
			out.Sharpness, err = p.Sharpness()
			return err
		})
		if err != nil {
			return err
		}
		return app.emit(out, func() error { return app.printExact(out) })
	}
}

func (app *App) printExact(s exactSetup) error {
	e, g := s.Exact, s.Body.Figures
	mm := func(v float64) string { return quantity.Fixed(v, 4) + " mm" }
	um := func(v float64) string { return quantity.Fixed(v, 3) + " µm" }
	t := term.Table{Columns: []term.Column{{Header: s.Label() + ", predicted"}, {Header: "exact rays"}, {Header: "first order"}}, Rows: [][]string{
		{"working distance", mm(e.WorkingDistanceMM), mm(g.WorkingDistanceMM)},
		{"object pixel", um(e.ObjectPixelUM), um(g.ObjectPixelUM)},
		{"field of view", quantity.Fixed(e.FieldXMM, 4) + " x " + mm(e.FieldYMM), quantity.Fixed(g.FieldXMM, 4) + " x " + mm(g.FieldYMM)},
		{"object-side numerical aperture", quantity.Fixed(e.NAObject, 4), quantity.Fixed(g.NAObject, 4)},
		{"clear distance to the specimen", mm(e.ClearanceMM), ""},
		{"rms radius of the blur in the middle", um(e.RMSBlurUM), ""},
		{"depth of field", um(e.DepthOfField.TotalUM), ""},
	}}
	if err := app.screen().Table(t); err != nil {
		return err
	}
	fmt.Fprintln(app.Out)
	t = term.Table{Columns: []term.Column{{Header: "field point"}, {Header: "beam passed", Align: term.Right}, {Header: "smallest bar along", Align: term.Right}, {Header: "across", Align: term.Right}, {Header: "edge width", Align: term.Right}, {Header: "limited by"}}}
	for _, p := range s.Sharpness.Points {
		row := []string{p.Name, quantity.Fixed(p.Passed*100, 3) + " %", "-", "-", "-", "no light"}
		if p.Tangential != nil && p.Sagittal != nil {
			row[2], row[3], row[5] = um(p.Tangential.SmallestBarUM), um(p.Sagittal.SmallestBarUM), p.Tangential.Limit
			if w := p.Tangential.EdgeWidthUM; w != nil {
				row[4] = um(*w)
			}
		}
		t.Rows = append(t.Rows, row)
	}
	if err := app.screen().Table(t); err != nil {
		return err
	}
	text := fmt.Sprintf("\nA bar is half a period, resolved above a contrast of %s. The camera's own lens is taken as perfect and its pixels as wholly sensitive; the band is weighted by a target at %s.\n",
		quantity.Fixed(s.Sharpness.Contrast, 3), quantity.Shown(targetK, 4, quantity.Kelvin))
	if len(s.IdealLenses) > 0 {
		text += "\nTaken without aberration, since known by focal length alone: " + strings.Join(s.IdealLenses, ", ") + ". The real lens does worse.\n"
	}
	return app.screen().Markdown([]byte(text))
}
