package cli

import (
	"fmt"
	"image"
	"math"
	"strings"

	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/heat/model"
	"dieglow/notebook/report"
)

// agreement puts a verdict into words.
func agreement(agree *bool) string {
	switch {
	case agree == nil:
		return "not judged"
	case *agree:
		return "agree"
	}
	return "disagree"
}

func (j modelJob) lines(f modelFigures) [][3]string {
	show := func(v modelJudged, unit string) string {
		switch {
		case v.Value == nil:
			return "not defined"
		case v.U == nil || !(*v.U > 0):
			return strings.TrimSpace(quantity.Fixed(*v.Value, 4) + " " + unit)
		}
		return strings.TrimSpace(quantity.With(*v.Value, *v.U).Number(quantity.One) + " " + unit)
	}
	place := fmt.Sprintf("%s, %s pixels of the frame", quantity.Fixed(f.Shift.X, 4), quantity.Fixed(f.Shift.Y, 4))
	if f.Shift.UX > 0 && f.Shift.UY > 0 {
		place = fmt.Sprintf("%s, %s pixels of the frame", quantity.With(f.Shift.X, f.Shift.UX).Number(quantity.One), quantity.With(f.Shift.Y, f.Shift.UY).Number(quantity.One))
	}
	lines := [][3]string{{"measured and model", agreement(f.Agree), report.Computed}}
	for _, r := range f.Reasons {
		lines = append(lines, [3]string{"  because", r, report.Computed})
	}
	lines = append(lines,
		[3]string{"compared", fmt.Sprintf("%d pixels, %s %% of the frame", f.Pixels, quantity.Fixed(100*f.Overlap, 3)), ""},
		[3]string{"corner of the model", place, f.Shift.From},
		[3]string{"mean difference", show(f.BiasK, "K"), report.Computed},
		[3]string{"root mean square", quantity.Fixed(f.RMSK, 4) + " K", report.Computed},
		[3]string{"scale", show(f.Scale, ""), report.Computed})
	if f.Correlation != nil {
		lines = append(lines, [3]string{"correlation", quantity.Fixed(*f.Correlation, 5), report.Computed})
	}
	l := f.Largest
	lines = append(lines, [3]string{"largest disagreement", show(modelJudged{&l.DifferenceK, l.UK, nil}, "K") + fmt.Sprintf(" at column %d, row %d", l.X, l.Y), report.Computed},
		[3]string{"pixels that disagree", fmt.Sprint(f.Disagreeing), report.Computed})
	for _, r := range f.Regions {
		lines = append(lines, [3]string{r.Name, show(r.DifferenceK, "K") + ", " + agreement(r.Agree), report.Computed})
	}
	return lines
}

func (j modelJob) results(f modelFigures) []notebook.Result {
	value := func(v modelJudged) quantity.Estimate {
		if v.U == nil || !(*v.U > 0) {
			return quantity.Exactly(*v.Value)
		}
		return quantity.With(*v.Value, *v.U)
	}
	out := []notebook.Result{{Name: "bias_k", Label: "measured less model, mean", Value: value(f.BiasK), Unit: "K"}}
	if f.Scale.Value != nil {
		out = append(out, notebook.Result{Name: "scale", Label: "measured over model rises", Value: value(f.Scale)})
	}
	out = append(out, []notebook.Result{
		{Name: "rms_k", Label: "root mean square difference", Value: quantity.Exactly(f.RMSK), Unit: "K", WhyNoU: "describes the difference found"},
		{Name: "disagreeing_pixels", Label: "pixels that disagree, " + agreement(f.Agree) + " on the whole", Value: quantity.Exactly(float64(f.Disagreeing)), WhyNoU: "a count"},
	}...)
	for _, r := range f.Regions {
		out = append(out, notebook.Result{Name: "difference_k " + r.Name, Label: r.Name + ", measured less model: " + agreement(r.Agree), Value: value(r.DifferenceK), Unit: "K"})
	}
	for i, r := range out {
		if r.Value.U == nil && r.WhyNoU == "" {
			out[i].WhyNoU = "no uncertainty was stated"
		}
	}
	return out
}

func (j modelJob) warnings(c model.Comparison) []string {
	var out []string
	if !c.Judged {
		out = append(out, "not judged: state the uncertainties with --u-measured and --u-model")
	}
	if math.IsNaN(c.Scale.Value) {
		out = append(out, "the model is the same everywhere: scale and correlation are not defined")
	}
	p := c.Placed
	switch {
	case j.job.Place != nil:
	case !p.Found:
		out = append(out, "the place of the model was not found, and it was left where it was looked for: "+p.Why)
	case !p.Tested:
		out = append(out, fmt.Sprintf("the model was moved to %s, %s pixels, where it fits best: its place is not tested; --shift or --u-place does that", quantity.Fixed(p.At.X, 4), quantity.Fixed(p.At.Y, 4)))
	}
	return out
}

func (j modelJob) maps(c model.Comparison) ([]derivedFile, error) {
	sheet := func(values []float64, unit frame.Unit) frame.Frame {
		return frame.Frame{Width: c.Width, Height: c.Height, Pixels: values, Unit: unit}
	}
	unit := j.job.Measured.Unit
	var files []derivedFile
	for _, m := range []struct {
		name string
		f    frame.Frame
	}{{"difference.npy", sheet(c.Difference, rise(unit))}, {"model-on-frame.npy", sheet(c.OnFrame, unit)}} {
		npy, err := encodeNPY(m.f)
		if err != nil {
			return nil, err
		}
		files = append(files, derivedFile{m.name, npy})
	}
	var drawn []image.Image
	scale := shownRange(j.job.Measured, sheet(c.OnFrame, unit))
	for _, d := range []struct {
		f     frame.Frame
		title string
		span  *[2]float64
	}{{j.job.Measured, j.s.title + ", measured", scale}, {sheet(c.OnFrame, unit), "model", scale}, {sheet(c.Difference, rise(unit)), "measured less model", nil}} {
		img, err := picture.Render(d.f, picture.Options{Title: d.title, ObjectPixelUM: j.job.PixelUM.Value, Range: d.span})
		if err != nil {
			return nil, err
		}
		drawn = append(drawn, img)
	}
	png, err := encodePNG("comparison.png", picture.Beside(drawn...))
	return append(files, png...), err
}

// shownRange is one colour range for two frames; nil where they do not differ.
func shownRange(a, b frame.Frame) *[2]float64 {
	s, t := a.Stats(), b.Stats()
	if low, high := math.Min(s.Min, t.Min), math.Max(s.Max, t.Max); low < high {
		return &[2]float64{low, high}
	}
	return nil
}
