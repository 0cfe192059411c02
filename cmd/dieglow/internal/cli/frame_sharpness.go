package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/chart"
	"dieglow/notebook/report"
	"dieglow/notebook/sharpness"
)

// howSharp explains the uncertainties that edge and wire share.
const howSharp = `Uncertainties are of noise, ragged edges and a field that changes along the edge:
the results without each of up to 16 blocks of rows in turn (jackknife; nothing is
drawn at random), and the standard error of the fitted line for the angle. The
modulation is that of the whole chain, with the pixel's footprint in it: nothing is
divided out but what the evaluation itself blurs. With --pixel or --setup lengths
are given at the object, and the smallest bar: half the period at which the
modulation of a sine falls to --contrast, and no less than a pixel.`

func contrastFlag(f *pflag.FlagSet) {
	textFlags(f, "contrast", "modulation that a bar must keep to count as resolved; 0.2 unless given")
}

// contrast reads --contrast.
func (in *input) contrast() float64 {
	c := sharpness.DefaultContrast
	in.must("contrast", quantity.One, &c)
	return c
}

func edgeAnalysis() analysis {
	return analysis{
		name: "edge", sharp: true, short: "Resolution from a slanted edge: edge width and modulation transfer function",
		long: `Measures the one straight edge in the picture, or in the part that --crop names:
the slanted-edge method, with four steps a pixel. The edge should lie 2 to 10 degrees
off the pixel columns or rows (common practice), and must lie more than about half a
degree off. The width from 10 % to 90 % is read across the edge.

` + howSharp,
		example: "  dieglow frame edge edge.npy --crop 40,20,128,96\n  dieglow frame edge edge.npy --pixel '15.2(1) um' --contrast 0.1 --to edge- --json",
		flags:   contrastFlag,
		run:     runEdge,
	}
}

// lineJSON is where an edge or a wire lies.
type lineJSON struct {
	Along        string  `json:"along"`
	DirectionDeg float64 `json:"direction_deg"` // from the rows, clockwise, 0 to 180
	BendPx       float64 `json:"bend_px"`
	Crossed      int     `json:"lines_used"`
}

func newLineJSON(l sharpness.Line) lineJSON {
	return lineJSON{l.Along, l.DirectionDeg, l.BendPx, l.Crossed}
}

// mtfJSON is a modulation transfer function.
type mtfJSON struct {
	MTF50  *float64      `json:"mtf50_cy_per_px"` // null: not reached up to 1 cycle per pixel
	MTF50U *float64      `json:"mtf50_u_cy_per_px"`
	MTF10  *float64      `json:"mtf10_cy_per_px"`
	MTF10U *float64      `json:"mtf10_u_cy_per_px"`
	MTF    [][2]*float64 `json:"mtf"` // frequency in cycles per pixel, modulation
	MTFU   []*float64    `json:"mtf_u"`
	Window string        `json:"window"`
}

func newMTFJSON(s sharpness.Spectrum, half, tenth *quantity.Estimate, flatPx, endPx float64) mtfJSON {
	m := mtfJSON{Window: fmt.Sprintf("Tukey: 1 up to %s px from the middle, falling as a cosine to 0 at %s px", quantity.Fixed(flatPx, 3), quantity.Fixed(endPx, 3))}
	if half != nil {
		m.MTF50, m.MTF50U = &half.Value, half.U
	}
	if tenth != nil {
		m.MTF10, m.MTF10U = &tenth.Value, tenth.U
	}
	for k, v := range s.Modulation {
		f := float64(k) * s.StepCyPerPx()
		m.MTF = append(m.MTF, [2]*float64{&f, finite(v)})
		m.MTFU = append(m.MTFU, finite(s.U[k]))
	}
	return m
}

// atObjectJSON is what follows where the object pixel is known; all null otherwise.
type atObjectJSON struct {
	PixelUM     *float64 `json:"object_pixel_um"`
	PixelUUM    *float64 `json:"object_pixel_u_um"`
	PixelFrom   string   `json:"object_pixel_from,omitempty"`
	MTF50       *float64 `json:"mtf50_lp_per_mm"`
	MTF50U      *float64 `json:"mtf50_u_lp_per_mm"`
	Smallest    *float64 `json:"smallest_bar_um"`
	SmallestU   *float64 `json:"smallest_bar_u_um"`
	SmallestBy  string   `json:"smallest_bar_limited_by,omitempty"`
	BarContrast float64  `json:"contrast"`
	// Predicted is what exact rays give the setup; null without one.
	Predicted *predictedSharpness `json:"predicted"`
}

// pixelNoU says why lengths at the object carry no uncertainty.
const pixelNoU = "the object pixel has no stated uncertainty"

// measured adds a line and a result of what was read from pixels.
func (a *analysed) measured(name, label string, e quantity.Estimate, unit string) {
	a.add(name, label, e, unit, "", report.Measured)
}

func (a *analysed) add(name, label string, e quantity.Estimate, unit, whyNoU, origin string) {
	text := e.Number(quantity.One)
	if _, ok := e.StandardU(); !ok {
		text = quantity.Fixed(e.Value, 5) // a computed figure has no more digits that mean anything
	}
	text = strings.TrimSpace(text + " " + unit)
	a.lines = append(a.lines, [3]string{label, text, origin})
	r := notebook.Result{Name: name, Label: label, Value: e, Unit: unit}
	if _, ok := e.StandardU(); !ok {
		r.WhyNoU = whyNoU
	}
	a.results = append(a.results, r)
}

func (a *analysed) note(label, text string) { a.lines = append(a.lines, [3]string{label, text, ""}) }

// atObject adds what follows from the object pixel.
func (a *analysed) atObject(s seen, half *quantity.Estimate, bar func(quantity.Estimate) (sharpness.SmallestBar, error), contrast float64) (atObjectJSON, error) {
	out := atObjectJSON{BarContrast: contrast}
	if s.pixelUM == nil {
		// The contrast is checked all the same.
		_, err := bar(quantity.Exactly(1))
		return out, err
	}
	out.PixelUM, out.PixelUUM, out.PixelFrom, out.Predicted = &s.pixelUM.Value, s.pixelUM.U, s.how, s.predicted
	if half != nil {
		lp := sharpness.LinePairsPerMM(*half, *s.pixelUM)
		out.MTF50, out.MTF50U = &lp.Value, lp.U
		a.add("mtf50_lp_per_mm", "half modulation at", lp, "line pairs/mm", pixelNoU, report.Measured)
	}
	b, err := bar(*s.pixelUM)
	if err != nil {
		return out, err
	}
	out.Smallest, out.SmallestU, out.SmallestBy = &b.SizeUM.Value, b.SizeUM.U, b.Limit
	a.add(notebook.ResultResolvedUM, "smallest bar", b.SizeUM, "µm", pixelNoU, report.Measured)
	if b.Limit == sharpness.ByPixel {
		a.note("limited by", "the pixel: the modulation would carry narrower bars")
	}
	a.results = append(a.results, notebook.Result{Name: notebook.ResultContrast, Label: "contrast that a bar must keep", Value: quantity.Exactly(contrast), WhyNoU: "a chosen limit"})
	a.note("contrast", quantity.Fixed(contrast, 3)+" that a bar must keep")
	a.lines = append(a.lines, [3]string{"object pixel", s.pixelUM.Format(quantity.Micrometre), s.how})
	if p := s.predicted; p != nil {
		a.lines = append(a.lines, p.lines(contrast)...)
	}
	return out, nil
}

// lines prints the prediction beside a measured sharpness.
func (p predictedSharpness) lines(contrast float64) [][3]string {
	by := " by " + p.Setup + ", exact rays, middle of the field, its camera's lens taken as perfect"
	var out [][3]string
	if contrast == p.Contrast {
		out = append(out, [3]string{"smallest bar", p.SmallestBar.Format(quantity.Micrometre) + by, report.Predicted})
	}
	if p.EdgeWidthUM != nil {
		out = append(out, [3]string{"edge width", quantity.Fixed(*p.EdgeWidthUM, 4) + " µm" + by, report.Predicted})
	}
	return out
}

func runEdge(in *input, s subject) (analysed, error) {
	contrast := in.contrast()
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	e, err := sharpness.MeasureEdge(at.Frame)
	if err != nil {
		return analysed{}, err
	}
	out := analysed{warnings: append(at.done, e.Warnings...)}
	out.measured("edge_angle_deg", "edge angle", e.AngleDeg, "degrees")
	out.note("nearest axis", "pixel "+e.Along)
	out.measured("rise_10_90_px", "10 % to 90 %", e.RisePx, "px")
	out.halfAndTenth(e.MTF50, e.MTF10)
	figures := struct {
		Angle  float64  `json:"edge_angle_deg"` // from the nearest pixel axis, 0 to 45
		AngleU *float64 `json:"edge_angle_u_deg"`
		lineJSON
		Rise   float64  `json:"rise_10_90_px"`
		RiseU  *float64 `json:"rise_10_90_u_px"`
		RiseUM *float64 `json:"rise_10_90_um"`
		RiseUU *float64 `json:"rise_10_90_u_um"`
		Low    float64  `json:"low"` // levels of the two sides, in the unit of the frame
		High   float64  `json:"high"`
		Noise  *float64 `json:"noise_sd"`
		mtfJSON
		atObjectJSON
		Warnings []string `json:"warnings"`
	}{Angle: e.AngleDeg.Value, AngleU: e.AngleDeg.U, lineJSON: newLineJSON(e.Line), Rise: e.RisePx.Value, RiseU: e.RisePx.U, Low: e.Low, High: e.High, Noise: finite(e.NoiseSD),
		mtfJSON: newMTFJSON(e.MTF, e.MTF50, e.MTF10, e.FlatPx, e.EndPx), Warnings: nonNil(out.warnings)}
	if at.pixelUM != nil {
		um := sharpness.LengthUM(e.RisePx, *at.pixelUM)
		figures.RiseUM, figures.RiseUU = &um.Value, um.U
		out.add(notebook.ResultEdgeUM, "edge width", um, "µm", pixelNoU, report.Measured)
	}
	bar := func(pixel quantity.Estimate) (sharpness.SmallestBar, error) { return e.SmallestBarUM(contrast, pixel) }
	if figures.atObjectJSON, err = out.atObject(at, e.MTF50, bar, contrast); err != nil {
		return out, err
	}
	out.note("levels", quantity.Fixed(e.Low, 5)+" and "+quantity.Fixed(e.High, 5)+", noise "+quantity.Fixed(e.NoiseSD, 2)+unitAfter(at))
	out.figures = figures
	out.draw = func() ([]derivedFile, error) { return edgePictures(s.title, e, contrast) }
	return out, err
}

// unitAfter is the unit of a frame as it follows a number.
func unitAfter(s seen) string {
	if value, _, _, _ := s.units(); value != "" {
		return " " + value
	}
	return ""
}

// halfAndTenth adds where the modulation falls to a half and to a tenth.
func (a *analysed) halfAndTenth(half, tenth *quantity.Estimate) {
	for _, f := range []struct {
		name, label string
		at          *quantity.Estimate
	}{{"mtf50_cy_per_px", "half modulation", half}, {"mtf10_cy_per_px", "a tenth of it", tenth}} {
		if f.at == nil {
			a.note(f.label, "not reached up to 1 cycle per pixel")
			continue
		}
		a.measured(f.name, f.label, *f.at, "cycles/px")
	}
}

func edgePictures(title string, e sharpness.Edge, contrast float64) ([]derivedFile, error) {
	spread := chart.LineChart{Title: title + ": edge and line spread", XLabel: "distance across the edge / px", YLabel: "share of the step; line spread per px",
		Series: []chart.Series{within("edge spread", e.Spread, e.EndPx), within("line spread", e.LineSpread, e.EndPx)},
		HLines: []chart.Mark{{At: 0.1, Label: "10 %"}, {At: 0.9, Label: "90 %"}}}
	return sharpPictures("edge-spread.png", spread, title, e.MTF, e.MTF50, contrast)
}

// sharpPictures draws a spread and a modulation transfer function.
func sharpPictures(name string, spread chart.LineChart, title string, s sharpness.Spectrum, half *quantity.Estimate, contrast float64) ([]derivedFile, error) {
	first, err := chart.Lines(spread)
	if err != nil {
		return nil, err
	}
	line := chart.Series{Name: "modulation, with its standard uncertainty"}
	for k, m := range s.Modulation {
		line.X, line.Y = append(line.X, float64(k)*s.StepCyPerPx()), append(line.Y, m)
		line.LowY, line.HighY = append(line.LowY, m-s.U[k]), append(line.HighY, m+s.U[k])
	}
	c := chart.LineChart{Title: title + ": modulation transfer function", XLabel: "frequency / cycles per px", YLabel: "modulation", Series: []chart.Series{line},
		VLines: []chart.Mark{{At: 0.5, Label: "half a cycle per pixel"}}, HLines: []chart.Mark{{At: contrast, Label: "contrast " + quantity.Fixed(contrast, 3)}}}
	if half != nil {
		c.VLines = append(c.VLines, chart.Mark{At: half.Value, Label: "half modulation at " + quantity.Fixed(half.Value, 3)})
	}
	second, err := chart.Lines(c)
	return []derivedFile{{name, first}, {"mtf.png", second}}, err
}

// within is a profile as far as the window reaches.
func within(name string, p sharpness.Profile, endPx float64) chart.Series {
	s := chart.Series{Name: name}
	for i, x := range p.AtPx {
		if x >= -endPx && x <= endPx {
			s.X, s.Y = append(s.X, x), append(s.Y, p.Value[i])
		}
	}
	return s
}

func wireAnalysis() analysis {
	return analysis{
		name: "wire", sharp: true, short: "Resolution from a slanted thin wire: line spread and modulation transfer function",
		long: `Measures the one straight wire in the picture, hotter or colder than what lies
behind it. With --diameter, which needs --pixel or --setup, the wire's own width is
divided out of the modulation, as that of a strip of its diameter; the width at half
of the peak stays as it is seen.

` + howSharp,
		example: "  dieglow frame wire wire.npy --crop 40,20,128,96\n  dieglow frame wire wire.npy --diameter '25.0(5) um' --pixel '15.2(1) um' --json",
		flags: func(f *pflag.FlagSet) {
			contrastFlag(f)
			textFlags(f, "diameter", "diameter of the wire, with its uncertainty")
		},
		run: runWire,
	}
}

func runWire(in *input, s subject) (analysed, error) {
	contrast := in.contrast()
	var diameter, widthPx *quantity.Estimate
	if in.estimate("diameter", quantity.Micrometre, &diameter); in.err != nil {
		return analysed{}, in.err
	}
	if _, err := s.pixelUM(); diameter != nil && err != nil {
		return analysed{}, err
	}
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	if diameter != nil {
		w := sharpness.PixelsWide(*diameter, *at.pixelUM)
		widthPx = &w
	}
	w, err := sharpness.MeasureWire(at.Frame, widthPx)
	if err != nil {
		return analysed{}, err
	}
	out := analysed{warnings: append(at.done, w.Warnings...)}
	out.measured("wire_angle_deg", "wire angle", w.AngleDeg, "degrees")
	out.note("nearest axis", "pixel "+w.Along)
	out.measured("fwhm_px", "width at half of the peak", w.FWHMPx, "px")
	out.halfAndTenth(w.MTF50, w.MTF10)
	figures := struct {
		Angle  float64  `json:"wire_angle_deg"` // from the nearest pixel axis, 0 to 45
		AngleU *float64 `json:"wire_angle_u_deg"`
		lineJSON
		Cold       bool     `json:"cold"`
		FWHM       float64  `json:"fwhm_px"`
		FWHMU      *float64 `json:"fwhm_u_px"`
		FWHMUM     *float64 `json:"fwhm_um"`
		FWHMUU     *float64 `json:"fwhm_u_um"`
		WidthPx    *float64 `json:"wire_width_px"` // divided out of the modulation; null: nothing was
		WidthUPx   *float64 `json:"wire_width_u_px"`
		Background float64  `json:"background"` // in the unit of the frame
		Peak       float64  `json:"peak"`
		Noise      *float64 `json:"noise_sd"`
		mtfJSON
		atObjectJSON
		Warnings []string `json:"warnings"`
	}{Angle: w.AngleDeg.Value, AngleU: w.AngleDeg.U, lineJSON: newLineJSON(w.Line), Cold: w.Cold, FWHM: w.FWHMPx.Value, FWHMU: w.FWHMPx.U, Background: w.Background, Peak: w.Peak, Noise: finite(w.NoiseSD),
		mtfJSON: newMTFJSON(w.MTF, w.MTF50, w.MTF10, w.FlatPx, w.EndPx), Warnings: nonNil(out.warnings)}
	if widthPx != nil {
		figures.WidthPx, figures.WidthUPx = &widthPx.Value, widthPx.U
		out.note("divided out", "a strip of "+diameter.Format(quantity.Micrometre)+", "+quantity.Fixed(widthPx.Value, 3)+" px")
	}
	if at.pixelUM != nil {
		um := sharpness.LengthUM(w.FWHMPx, *at.pixelUM)
		figures.FWHMUM, figures.FWHMUU = &um.Value, um.U
		out.add("fwhm_um", "the same at the object", um, "µm", pixelNoU, report.Measured)
	}
	bar := func(pixel quantity.Estimate) (sharpness.SmallestBar, error) { return w.SmallestBarUM(contrast, pixel) }
	if figures.atObjectJSON, err = out.atObject(at, w.MTF50, bar, contrast); err != nil {
		return out, err
	}
	out.figures = figures
	spread := chart.LineChart{Title: s.title + ": line spread", XLabel: "distance across the wire / px", YLabel: "share of the peak",
		Series: []chart.Series{within("line spread", w.LineSpread, w.EndPx)}, HLines: []chart.Mark{{At: 0.5, Label: "half"}}}
	out.draw = func() ([]derivedFile, error) {
		return sharpPictures("line-spread.png", spread, s.title, w.MTF, w.MTF50, contrast)
	}
	return out, err
}
