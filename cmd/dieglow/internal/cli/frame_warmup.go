package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/heat"
)

func warmupAnalysis() analysis {
	return analysis{
		name:  "warmup",
		short: "What a place in a stack of frames settles at, and when",
		long: `Follows a place through the frames: the pixel that is hottest in the last frame,
unless --at names a pixel or a part. The times are those of the file, or follow from
--rate. The series is fitted and judged as by calc warmup. The values are those of
the frames: apparent temperatures, whose time constants are the object's to good
approximation and whose final value is not.`,
		example: `  dieglow frame warmup stack.npy --rate 1Hz --unit degC
  dieglow frame warmup stack.npy --rate 25Hz --unit degC --at 10,12,3,3 --within 0.5K --to warm-`,
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "rate", "frames a second, in place of the file's times, 25Hz", "at", "hottest, column,row or column,row,width,height; hottest unless given",
				"within", "of the final value counts as equilibrium; 1K unless given", "noise", "standard deviation of one value; estimated unless given",
				"from", "when power came on, on the clock of the frames; found where frames before it are flat")
			f.Bool("keep-all", false, "fit values that stand out too")
		},
		run: runFrameWarmup,
	}
}

// frameWarmup is what frame warmup gives as JSON.
type frameWarmup struct {
	XPX    int `json:"x_px"`
	YPX    int `json:"y_px"`
	Width  int `json:"width_px"`
	Height int `json:"height_px"`
	heat.WarmUp
}

func runFrameWarmup(in *input, s subject) (analysed, error) {
	if err := in.wholeStack("warmup"); err != nil {
		return analysed{}, err
	}
	o := heat.WarmUpOptions{WithinK: 1, FromS: in.optional("from", quantity.Second), KeepAll: in.isSet("keep-all")}
	in.must("within", quantity.KelvinStep, &o.WithinK)
	in.must("noise", quantity.KelvinStep, &o.NoiseK)
	var rate float64
	in.must("rate", quantity.Hertz, &rate)
	if _, ok := in.given("rate"); ok && !(rate > 0) {
		in.fail("rate", fault.Invalidf("a frame rate of %g Hz", rate).WithHint("give the frames a second, above 0"))
	}
	if in.err != nil {
		return analysed{}, in.err
	}
	part, err := in.tracked(s)
	if err != nil {
		return analysed{}, err
	}
	stack, err := s.stack()
	if err != nil {
		return analysed{}, err
	}
	defer stack.Close()
	unit := fileUnit(stack.Info())
	if text, ok := in.given("unit"); ok {
		if unit, err = frame.ParseUnit(text); err != nil {
			return analysed{}, err
		}
	}
	if unit != frame.DegC && unit != frame.Kelvin {
		return analysed{}, fault.Invalidf("the frames' numbers are not said to be temperatures").WithHint("give --unit degC or --unit K")
	}
	series, err := heat.Track(stack, part, rate)
	if err != nil {
		return analysed{}, err
	}
	series.Unit = unit.String()
	w, err := series.WarmUp(o)
	if err != nil {
		return analysed{}, err
	}
	draw := func() ([]derivedFile, error) {
		picture, err := warmupChart(s.title, series, w)
		return []derivedFile{{"warm-up.png", picture}}, err
	}
	place := fmt.Sprintf("column %d, row %d", part.X, part.Y)
	if part.Width*part.Height > 1 {
		place += fmt.Sprintf(", mean of %d x %d pixels", part.Width, part.Height)
	}
	return analysed{
		figures: frameWarmup{part.X, part.Y, part.Width, part.Height, w}, lines: append([][3]string{{"place", place, ""}}, warmupLines(w)...),
		print: func(app *App) error { return app.printModels(w) }, results: warmupResults(w), draw: draw, warnings: w.Notes,
	}, nil
}

// tracked settles which part of the frames is followed.
func (in *input) tracked(s subject) (frame.Rect, error) {
	text, ok := in.given("at")
	switch {
	case ok && strings.Count(text, ",") == 1:
		return parseRect(text + ",1,1")
	case ok && text != "hottest":
		return parseRect(text)
	}
	stack, err := s.stack()
	if err != nil {
		return frame.Rect{}, err
	}
	defer stack.Close()
	x, y, err := heat.HottestAtEnd(stack)
	return frame.Rect{X: x, Y: y, Width: 1, Height: 1}, err
}

// warmupResults are the figures a finding keeps.
func warmupResults(w heat.WarmUp) []notebook.Result {
	symbol := map[string]string{"degC": "°C", "K": "K"}[w.Unit]
	final := quantity.Estimate{Value: w.FinalValue, U: w.U}
	out := []notebook.Result{
		{Name: "final_value", Label: "apparent temperature it settles at, extrapolated with " + w.Chosen, Value: final, Unit: symbol},
		{Name: "gap_k", Label: "final value less the value at the end", Value: quantity.Exactly(w.GapK), Unit: "K", WhyNoU: "see the final value"},
		{Name: "noise_k", Label: "noise of a value", Value: quantity.Exactly(w.NoiseK), Unit: "K", WhyNoU: w.NoiseFrom},
	}
	if w.TimeToWithinS != nil {
		out = append(out, notebook.Result{Name: "time_to_within_s", Label: "within " + quantity.Fixed(w.WithinK, 3) + " K of it from", Value: quantity.Exactly(*w.TimeToWithinS), Unit: "s", WhyNoU: "follows from the fit"})
	}
	for _, m := range w.Models {
		if m.Name != w.Chosen {
			continue
		}
		for _, name := range parameterOrder(m) {
			if strings.HasPrefix(name, "tau") {
				out = append(out, notebook.Result{Name: name, Label: "time constant " + strings.TrimSuffix(name, "_s"), Value: quantity.Estimate{Value: m.Parameters[name], U: m.StandardErrors[name]}, Unit: "s"})
			}
		}
	}
	return out
}
