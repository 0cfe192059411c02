package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/report"
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
	BareLenses  []string            `json:"bare_lenses"`  // taken as uncoated, since their transmission was not measured
	// Tolerance is what the tolerances of the parts do to the exact figures.
	Tolerance optics.ToleranceReport `json:"tolerance"`
	Light     optics.BandLight       `json:"light"`
	Drift     optics.FocalDrift      `json:"drift"` // for lenses warmer by warmerK
	Measured  []comparison           `json:"measured"`
	// FocusTravel is what first order gives from the camera's nearest focus to
	// infinity; null where the nearest focus is not recorded.
	FocusTravel *optics.FocusTravel `json:"focus_travel"`
	// MeasuredTransmission is the product of the transmissions measured of the
	// lenses; null where one was not.
	MeasuredTransmission *quantity.Estimate `json:"measured_transmission"`
	// WhyNoTolerance is why Tolerance is empty.
	WhyNoTolerance string               `json:"why_no_tolerance"`
	Explain        []optics.Explanation `json:"explain,omitempty"`
}

// exactOf works out everything that exact rays say of a setup.
// contrast is what a bar must keep, 0 for the usual one.
func exactOf(tx *store.Tx, r notebook.Record[catalog.Setup], contrast float64) (out exactSetup, err error) {
	out.Record = r
	parts, err := setupParts(tx, r.Body)
	if err != nil {
		return out, err
	}
	p, err := r.Body.Prediction(parts, targetRadiance)
	if err != nil {
		return out, err
	}
	p.Contrast = contrast
	out.BareLenses = nonNil(r.Body.BareLenses(parts))
	out.IdealLenses = nonNil(r.Body.IdealLenses(parts))
	if out.Exact, err = p.Attachment.Exact(); err != nil {
		return out, err
	}
	if out.Sharpness, err = p.Sharpness(); err != nil {
		return out, err
	}
	if out.Tolerance, err = r.Body.ExactTolerance(parts, p); err != nil {
		out.WhyNoTolerance = err.Error()
	}
	if out.Light, err = r.Body.Light(parts, targetRadiance); err != nil {
		return out, err
	}
	out.MeasuredTransmission = measuredTransmission(r.Body, parts)
	if out.Drift, err = r.Body.Drift(parts, warmerK); err != nil {
		return out, err
	}
	if nearest := parts.Camera.NearestFocusMM; nearest != nil {
		travel, err := p.Attachment.OverFocus(*nearest, math.Inf(1), optics.FirstOrder)
		if err != nil {
			return out, err
		}
		out.FocusTravel = &travel
	}
	measured, err := comparisons(tx, r, &out)
	out.Measured = nonNil(measured)
	return out, err
}

// bar is the smallest bar in the middle, with what the tolerances do to it.
func (s exactSetup) bar() quantity.Estimate {
	return s.estimate("smallest_bar_um", catalog.WorseBarUM(s.Sharpness.Points[0]))
}

// estimate is a figure with what the tolerances do to it.
func (s exactSetup) estimate(name string, v float64) quantity.Estimate {
	e := quantity.Exactly(v)
	if u, ok := toleranceOf(s.Tolerance, name); ok && u.U > 0 {
		e.U = &u.U
	}
	return e
}

func toleranceOf(t optics.ToleranceReport, name string) (optics.FigureUncertainty, bool) {
	for _, f := range t.Figures {
		if f.Name == name {
			return f, true
		}
	}
	return optics.FigureUncertainty{}, false
}

// exactShow adds --exact to setup show.
func exactShow(app *App, show *cobra.Command) {
	exact := show.Flags().Bool("exact", false, "trace exact rays: field, light and sharpness from the middle to the corner")
	contrast := show.Flags().Float64("contrast", optics.DefaultContrast, "with --exact: the contrast that a bar must keep")
	plain := show.RunE
	show.RunE = func(cmd *cobra.Command, args []string) error {
		if !*exact {
			if cmd.Flags().Changed("contrast") {
				return fault.Usagef("a contrast is for exact rays").WithHint("add --exact, or leave --contrast out")
			}
			return plain(cmd, args)
		}
		if !(*contrast > 0 && *contrast < 1) {
			return fault.Invalidf("a contrast of %g is not between 0 and 1", *contrast).WithHint("type a share such as 0.2")
		}
		explain, err := cmd.Flags().GetBool("explain")
		if err != nil {
			return err
		}
		var out exactSetup
		err = app.view(cmd.Context(), func(tx *store.Tx) (err error) {
			r, err := store.Get[catalog.Setup](tx, args[0])
			if err != nil {
				return err
			}
			out, err = exactOf(tx, r, *contrast)
			return err
		})
		if err != nil {
			return err
		}
		if explain {
			out.Explain = append(out.Sharpness.Explain(), out.Light.Explain()...)
		}
		return app.emit(out, func() error {
			if err := app.printExact(out); err != nil || !explain {
				return err
			}
			fmt.Fprintln(app.Out)
			return app.screen().Markdown(report.Explanations("How the exact figures of "+out.Label()+" come about", out.Explain))
		})
	}
}

func (app *App) printExact(s exactSetup) error {
	e, g, sharp := s.Exact, s.Body.Figures, s.Sharpness
	mm := func(v float64) string { return quantity.Fixed(v, 4) + " mm" }
	with := func(name string, v float64, unit string) string {
		est := s.estimate(name, v)
		text := quantity.Fixed(v, 4)
		if est.U != nil {
			text = est.Number(quantity.One)
		}
		return strings.TrimSpace(text + " " + unit)
	}
	um := func(v float64) string { return quantity.Fixed(v, 3) + " µm" }
	blur := with("rms_blur_um", sharp.RMSBlurUM, "µm")
	if sharp.RMSBlurUM < leastBlurUM {
		blur = "below " + um(leastBlurUM)
	}
	t := term.Table{Columns: []term.Column{{Header: s.Label() + ", predicted"}, {Header: "exact rays"}, {Header: "first order"}}, Rows: [][]string{
		{"working distance", with("working_distance_mm", sharp.WorkingDistanceMM, "mm"), mm(g.WorkingDistanceMM)},
		{"object pixel", with("object_pixel_um", sharp.ObjectPixelUM, "µm"), um(g.ObjectPixelUM)},
		{"field of view", quantity.Fixed(e.FieldXMM, 4) + " x " + mm(e.FieldYMM), quantity.Fixed(g.FieldXMM, 4) + " x " + mm(g.FieldYMM)},
		{"object-side numerical aperture", with("na_object", sharp.NAObject, ""), quantity.Fixed(g.NAObject, 4)},
		{"clear distance to the specimen", mm(e.ClearanceMM + sharp.WorkingDistanceMM - e.WorkingDistanceMM), ""},
		{"rms radius of the blur in the middle", blur, ""},
		{"smallest bar in the middle", with("smallest_bar_um", s.bar().Value, "µm"), ""},
		{"edge width in the middle", edgeText(s, with), ""},
		{"smallest bar in the corner", with("smallest_bar_corner_um", catalog.WorseBarUM(sharp.Points[len(sharp.Points)-1]), "µm"), ""},
		{"depth of field", with("depth_of_field_um", sharp.DepthOfField.TotalUM, "µm"), ""},
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
	var lines [][3]string
	for _, list := range [][]report.Fact{report.Light(s.Light, s.MeasuredTransmission, s.BareLenses, targetK), report.Drift(s.Drift), comparisonFacts(s.Measured)} {
		for _, f := range list {
			lines = append(lines, [3]string{f.Label, f.Value, f.Origin})
		}
	}
	if t := s.FocusTravel; t != nil {
		lines = append(lines, travelLines(*t)...)
	}
	for _, name := range []string{"smallest_bar_um", "working_distance_mm"} {
		if u, ok := toleranceOf(s.Tolerance, name); ok && len(u.Shares) > 0 && u.Shares[0].U > 0 {
			what := map[string]string{"smallest_bar_um": "the smallest bar", "working_distance_mm": "the working distance"}[name]
			lines = append(lines, [3]string{"tolerance that matters most to " + what, u.Shares[0].Input + " (" + quantity.Fixed(100*u.Shares[0].Share, 2) + " % of the variance)", ""})
		}
	}
	fmt.Fprintln(app.Out)
	if err := app.facts("light, drift, tolerance", lines); err != nil {
		return err
	}
	text := "\nUncertainties are standard ones, of the parts' tolerances alone.\n"
	if s.WhyNoTolerance != "" {
		text = "\nUncertainties were not evaluated: " + s.WhyNoTolerance + "\n"
	}
	text += fmt.Sprintf("\nA bar is half a period, resolved above a contrast of %s. The camera's own lens is taken as perfect and its pixels as wholly sensitive; the band is weighted by a target at %s. Along: detail that changes along the line from the middle to the corner, whose edge width stands beside; across: detail that changes across it.\n",
		quantity.Fixed(s.Sharpness.Contrast, 3), quantity.Shown(targetK, 4, quantity.Kelvin))
	if len(s.IdealLenses) > 0 {
		text += "\nTaken without aberration, since known by focal length alone: " + strings.Join(s.IdealLenses, ", ") + ". The real lens does worse.\n"
	}
	return app.screen().Markdown([]byte(text))
}

// travelLines prints what the camera's focus travel does to the figures that move most.
func travelLines(t optics.FocusTravel) [][3]string {
	label := "camera focused from " + quantity.Fixed(t.NearestMM, 4) + " mm to infinity"
	var parts []string
	for _, f := range t.Figures {
		switch f.Name {
		case "working_distance_mm":
			parts = append(parts, "working distance "+quantity.Fixed(f.Low, 4)+" to "+quantity.Fixed(f.High, 4)+" mm")
		case "object_pixel_um":
			parts = append(parts, "object pixel "+quantity.Fixed(f.Low, 4)+" to "+quantity.Fixed(f.High, 4)+" µm")
		case "field_x_mm":
			parts = append(parts, "field "+quantity.Fixed(f.Low, 4)+" to "+quantity.Fixed(f.High, 4)+" mm wide")
		}
	}
	if t.Impossible != "" {
		parts = append(parts, t.Impossible)
	}
	return [][3]string{{label, strings.Join(parts, "; "), report.Predicted}}
}

// leastBlurUM is below what anything here measures.
const leastBlurUM = 0.001

// edgeText is the width of an edge in the middle.
func edgeText(s exactSetup, with func(name string, v float64, unit string) string) string {
	c := s.Sharpness.Points[0]
	if c.Tangential == nil || c.Tangential.EdgeWidthUM == nil {
		return "none: the blur has no end"
	}
	return with("edge_width_um", *c.Tangential.EdgeWidthUM, "µm")
}
