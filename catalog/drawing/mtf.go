package drawing

import (
	"fmt"

	"gonum.org/v1/plot"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

// The lines of a chart of modulation.
func tangentialLine() line  { return line{colour: blue(), widthMM: 0.45} }
func sagittalLine() line    { return line{colour: orange(), widthMM: 0.45, dashMM: dashed()} }
func diffractionLine() line { return line{colour: faint(), widthMM: medium} }
func detectorLine() line {
	return line{colour: teal(), widthMM: medium, dashMM: []float64{3, 0.8, 0.8, 0.8}}
}
func nyquistLine() line  { return line{colour: ink(), widthMM: medium, dashMM: dotted()} }
func contrastLine() line { return line{colour: ink(), widthMM: thin} }

// MTF draws the predicted modulation at the centre, at 0.7 of the field and at
// the corner, with what diffraction and pixels alone would leave. Fault Invalid
// when there are no points or no object pixel.
func MTF(title string, s optics.Sharpness) (Drawing, error) {
	if len(s.Points) == 0 || !(s.ObjectPixelUM > 0) || !finite(s.ObjectPixelUM) {
		return Drawing{}, fault.Invalidf("there is no modulation to draw").WithHint("predict the sharpness of a setup first")
	}
	nyquist := 500 / s.ObjectPixelUM
	most := 2 * nyquist
	row := make([]*plot.Plot, len(s.Points))
	for i, p := range s.Points {
		row[i] = mtfPanel(p, s.Contrast, nyquist, most)
		if i > 0 {
			row[i].Y.Label.Text = ""
		}
	}
	return Drawing{title: title, paint: func(p pen) {
		p.head(title+": modulation, predicted", fmt.Sprintf("At the specimen; object pixel %s µm, NA %s limited by %s, depth of field %s, specimen %s µm beyond best focus. The camera's own lens is taken as perfect.",
			fixed(s.ObjectPixelUM, 3), fixed(s.NAObject, 3), s.Stop, small(s.DepthOfField.TotalUM), fixed(1000*s.DefocusMM, 3)))
		panels(p, [][]*plot.Plot{row}, 30, false)
		p.keys(19, []entry{
			{tangentialLine(), nil, "tangential: detail along the line to the corner"}, {sagittalLine(), nil, "sagittal: detail across it"},
			{diffractionLine(), nil, "diffraction alone"}, {detectorLine(), nil, "pixels alone"},
			{nyquistLine(), nil, "Nyquist of the object pixel, " + fixed(nyquist, 3) + " lp/mm"}, {contrastLine(), nil, "contrast " + fixed(s.Contrast, 3)},
		})
	}}, nil
}

// mtfPanel draws one point of the field.
func mtfPanel(s optics.PointSharpness, contrast, nyquist, most float64) *plot.Plot {
	title := fmt.Sprintf("%s, %s mm from the axis, beam %s %%", s.Name, fixed(s.ObjectMM, 3), fixed(100*s.Passed, 3))
	if s.ObjectMM < 1e-9 { // rounding
		title = fmt.Sprintf("%s, beam %s %%", s.Name, fixed(100*s.Passed, 3))
	}
	p := newPlot(title, "line pairs per mm at the specimen", "modulation")
	if s.Tangential == nil || s.Sagittal == nil {
		p.Add(note{"no light reaches this point", 0.2, 0.5})
		within(p, 0, most, 0, 1)
		return p
	}
	for _, d := range []struct {
		of   *optics.DirectionSharpness
		line line
		dash []float64
	}{{s.Tangential, tangentialLine(), nil}, {s.Sagittal, sagittalLine(), dashed()}} {
		c := upTo(d.of.Curves, most)
		limit := diffractionLine()
		limit.dashMM = d.dash
		curve(p, limit, c.FrequencyLPPerMM, c.Diffraction)
		if d.dash == nil {
			curve(p, detectorLine(), c.FrequencyLPPerMM, c.Detector)
		}
		curve(p, d.line, c.FrequencyLPPerMM, c.Modulation)
	}
	curve(p, nyquistLine(), []float64{nyquist, nyquist}, []float64{0, 1})
	curve(p, contrastLine(), []float64{0, most}, []float64{contrast, contrast})
	p.Add(note{"smallest bar " + fixed(s.Tangential.SmallestBarUM, 3) + " µm,", 0.54, 0.99})
	p.Add(note{"across " + fixed(s.Sagittal.SmallestBarUM, 3) + " µm", 0.54, 0.955})
	p.Add(note{"limited by " + s.Tangential.Limit, 0.54, 0.92})
	within(p, 0, most, 0, 1)
	return p
}

// upTo cuts curves at a frequency, where a line would leave the chart.
func upTo(c optics.Curves, most float64) optics.Curves {
	n := 0
	for n < len(c.FrequencyLPPerMM) && c.FrequencyLPPerMM[n] <= most {
		n++
	}
	return optics.Curves{FrequencyLPPerMM: c.FrequencyLPPerMM[:n], Modulation: c.Modulation[:n], Diffraction: c.Diffraction[:n], Detector: c.Detector[:n]}
}
