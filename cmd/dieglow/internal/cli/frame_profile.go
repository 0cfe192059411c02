package cli

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/chart"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/hotspot"
	"dieglow/notebook/report"
)

func profileAnalysis() analysis {
	return analysis{
		name: "profile", short: "Values along a line, as table and chart",
		long: `The values from one place to another, no more than a pixel apart, interpolated
between pixel centres and averaged over --width lines side by side. With
--reference, of the difference to a frame of the unpowered object. With --to PREFIX
a table (profile.csv), a chart and a picture of the line are written.`,
		example: "  dieglow frame profile hot.npy --unit degC --from 10,20 --until 90,64.5 --width 3 --to cut-\n  dieglow frame profile hot.npy --from 0,30 --until 99,30 --json",
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "from", "where the line begins, x,y in pixels", "until", "where it ends", "width", "lines side by side that are averaged; 1 unless given",
				"reference", "a frame of the unpowered object to subtract; of a stack the mean is taken")
		},
		files: []string{"reference"},
		run:   runProfile,
	}
}

// profilePoint is a point of a profile as JSON gives it.
type profilePoint struct {
	DistancePx float64  `json:"distance_px"`
	DistanceUM *float64 `json:"distance_um"`
	XPx        float64  `json:"x_px"`
	YPx        float64  `json:"y_px"`
	Value      *float64 `json:"value"`
}

// profileSeen is what frame profile gives as JSON.
type profileSeen struct {
	Unit      string         `json:"unit"`
	Reference bool           `json:"reference"` // values are differences to it
	LengthPx  float64        `json:"length_px"`
	LengthUM  *float64       `json:"length_um"`
	ULengthUM *float64       `json:"u_length_um"` // of the object pixel alone
	PixelUM   *float64       `json:"object_pixel_um"`
	WidthPx   int            `json:"width_px"`
	Min       float64        `json:"min"`
	Max       float64        `json:"max"`
	MaxAtPx   float64        `json:"max_at_px"`
	Mean      float64        `json:"mean"`
	Noise     hotspot.Noise  `json:"noise"` // of a pixel of the frame
	Missing   int            `json:"missing"`
	Points    []profilePoint `json:"points"`
	Done      []string       `json:"done"`
}

// subtracted is the frame, or its difference to the reference where there is one.
func (s seen) subtracted() (frame.Frame, error) {
	if s.reference == nil {
		return s.Frame, nil
	}
	return hotspot.Difference(s.Frame, *s.reference)
}

// valueUnit is the unit of what subtracted gives, and how its results end.
func (s seen) valueUnit() (unit, end string) {
	value, rise, valueEnd, riseEnd := s.units()
	if s.reference != nil {
		return rise, riseEnd
	}
	return value, valueEnd
}

func runProfile(in *input, s subject) (analysed, error) {
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	line := hotspot.Line{WidthPx: 1}
	for _, flag := range []string{"from", "until"} {
		if _, ok := in.given(flag); !ok {
			return analysed{}, fault.Usagef("--%s is needed", flag).WithHint("say where the line runs with --from x,y --until x,y, in pixels from the top left")
		}
	}
	line.From, _ = at.point(in, "from")
	line.Until, _ = at.point(in, "until")
	in.number("width", &line.WidthPx)
	if in.err != nil {
		return analysed{}, in.err
	}
	f, err := at.subtracted()
	if err != nil {
		return analysed{}, err
	}
	samples, err := hotspot.Profile(f, line)
	if err != nil {
		return analysed{}, err
	}
	out := at.profile(samples, f, line)
	draw := func() ([]derivedFile, error) { return at.profileFiles(s.title, out, line) }
	unit, end := at.valueUnit()
	_, rise, _, _ := at.units()
	noise := "noise of a pixel " + riseText(out.Noise.SD, 2, rise)
	a := analysed{figures: out, draw: draw, lines: at.profileLines(out), results: []notebook.Result{
		{Name: "length_px", Label: "length of the profile", Value: quantity.Exactly(out.LengthPx), Unit: "px", WhyNoU: "as stated"},
		{Name: "max" + end, Label: "highest value", Value: quantity.Exactly(out.Max), Unit: unit, WhyNoU: noise},
		{Name: "max_at_px", Label: "where, from the beginning", Value: quantity.Exactly(out.MaxAtPx), Unit: "px", WhyNoU: "to the spacing of the values"},
		{Name: "min" + end, Label: "lowest value", Value: quantity.Exactly(out.Min), Unit: unit, WhyNoU: noise},
		{Name: "mean" + end, Label: "mean", Value: quantity.Exactly(out.Mean), Unit: unit, WhyNoU: "it describes this line"},
	}}
	if out.LengthUM != nil {
		a.results = append(a.results, notebook.Result{Name: "length_um", Label: "length on the object", Value: quantity.Estimate{Value: *out.LengthUM, U: out.ULengthUM}, Unit: "µm", WhyNoU: "the object pixel has none"})
	}
	if out.Missing > 0 {
		at.warnings = append(at.warnings, fmt.Sprintf("%s of the profile missing", counted(out.Missing, "value")))
	}
	if n := at.SaturatedCount; n > 0 {
		at.warnings = append(at.warnings, fmt.Sprintf("%s of the frame at the end of the range: values there are lower limits", counted(n, "pixel")))
	}
	a.warnings = at.warnings
	a.print = func(app *App) error { return app.printProfile(out, unit) }
	return a, err
}

// profile sums up a profile.
func (s seen) profile(samples []hotspot.Sample, f frame.Frame, line hotspot.Line) profileSeen {
	out := profileSeen{Reference: s.reference != nil, LengthPx: samples[len(samples)-1].DistancePx, WidthPx: line.WidthPx, Min: math.Inf(1), Max: math.Inf(-1), Noise: hotspot.MeasureNoise(f), Done: nonNil(s.done)}
	if s.Unit != frame.Unstated {
		out.Unit = s.Unit.String()
	}
	if s.pixelUM != nil {
		px := s.pixelUM.Value
		um := out.LengthPx * px
		out.PixelUM, out.LengthUM = &px, &um
		if u, ok := s.pixelUM.StandardU(); ok {
			u *= out.LengthPx
			out.ULengthUM = &u
		}
	}
	for _, p := range samples {
		point := profilePoint{DistancePx: p.DistancePx, XPx: p.X, YPx: p.Y, Value: finite(p.Value)}
		if out.PixelUM != nil {
			um := p.DistancePx * *out.PixelUM
			point.DistanceUM = &um
		}
		out.Points = append(out.Points, point)
		if point.Value == nil {
			out.Missing++
			continue
		}
		out.Min, out.Mean = math.Min(out.Min, p.Value), out.Mean+p.Value
		if p.Value > out.Max {
			out.Max, out.MaxAtPx = p.Value, p.DistancePx
		}
	}
	out.Mean /= float64(len(samples) - out.Missing)
	return out
}

func (s seen) profileLines(out profileSeen) [][3]string {
	unit, _ := s.valueUnit()
	_, rise, _, _ := s.units()
	length := quantity.Fixed(out.LengthPx, 5) + " px"
	if out.LengthUM != nil {
		um := quantity.Fixed(*out.LengthUM, 5)
		if out.ULengthUM != nil {
			um = sureTo(*out.LengthUM, *out.ULengthUM)
		}
		length += ", " + um + " µm"
	}
	lines := [][3]string{{"length", length, report.Measured}, {"width", fmt.Sprintf("%d px", out.WidthPx), ""}}
	if out.Reference {
		lines = append(lines, [3]string{"values", "differences to the reference", report.Measured})
	}
	lines = append(lines, [3]string{"highest", riseText(out.Max, 6, unit) + fmt.Sprintf(" at %s px", quantity.Fixed(out.MaxAtPx, 5)), report.Measured},
		[3]string{"lowest", riseText(out.Min, 6, unit), report.Measured}, [3]string{"mean", riseText(out.Mean, 6, unit), report.Measured},
		[3]string{"noise", riseText(out.Noise.SD, 3, rise) + " a pixel of the frame, " + out.Noise.From, report.Measured})
	for _, d := range out.Done {
		lines = append(lines, [3]string{"prepared", d, ""})
	}
	return lines
}

func (app *App) printProfile(out profileSeen, unit string) error {
	right := func(label string) term.Column { return term.Column{Header: label, Align: term.Right} }
	label := "value"
	if unit != "" {
		label += ", " + unit
	}
	t := term.Table{Columns: []term.Column{right("distance, px"), right("x, px"), right("y, px"), right(label)}}
	for _, p := range out.Points {
		v := "-"
		if p.Value != nil {
			v = quantity.Fixed(*p.Value, 7)
		}
		t.Rows = append(t.Rows, []string{quantity.Fixed(p.DistancePx, 6), quantity.Fixed(p.XPx, 6), quantity.Fixed(p.YPx, 6), v})
	}
	return app.tables(t)
}

// profileFiles makes the table, the chart and the picture of the line.
func (s seen) profileFiles(title string, out profileSeen, line hotspot.Line) ([]derivedFile, error) {
	unit, end := s.valueUnit()
	var table bytes.Buffer
	fmt.Fprintf(&table, "distance_px,distance_um,x_px,y_px,value%s\n", end)
	series := chart.Series{}
	c := chart.LineChart{Title: title + ", profile", XLabel: "distance, px", YLabel: valueLabel(unit, out.Reference)}
	if out.PixelUM != nil {
		c.XLabel = "distance, µm"
	}
	text := func(v *float64) string {
		if v == nil {
			return ""
		}
		return strconv.FormatFloat(*v, 'g', -1, 64)
	}
	for _, p := range out.Points {
		fmt.Fprintf(&table, "%s,%s,%s,%s,%s\n", text(&p.DistancePx), text(p.DistanceUM), text(&p.XPx), text(&p.YPx), text(p.Value))
		x, y := p.DistancePx, math.NaN()
		if p.DistanceUM != nil {
			x = *p.DistanceUM
		}
		if p.Value != nil {
			y = *p.Value
		}
		series.X, series.Y = append(series.X, x), append(series.Y, y)
	}
	c.Series = []chart.Series{series}
	drawn, err := chart.Lines(c)
	if err != nil {
		return nil, err
	}
	dx, dy := line.Until.X-line.From.X, line.Until.Y-line.From.Y
	half := float64(line.WidthPx) / 2 / math.Hypot(dx, dy)
	band := []picture.Point{{X: line.From.X - half*dy, Y: line.From.Y + half*dx}, {X: line.Until.X - half*dy, Y: line.Until.Y + half*dx},
		{X: line.Until.X + half*dy, Y: line.Until.Y - half*dx}, {X: line.From.X + half*dy, Y: line.From.Y - half*dx}}
	marks := []picture.Mark{{Path: []picture.Point{picture.Point(line.From), picture.Point(line.Until)}, Label: "0"}}
	if line.WidthPx > 1 {
		marks = append(marks, picture.Mark{Path: band, Closed: true, Thin: true})
	}
	img, err := picture.Marked(s.Frame, s.drawing(title+", where the profile runs"), marks)
	if err != nil {
		return nil, err
	}
	where, err := encodePNG("profile-line.png", img)
	return append([]derivedFile{{"profile.csv", table.Bytes()}, {"profile.png", drawn}}, where...), err
}

func valueLabel(unit string, difference bool) string {
	label := "value"
	switch {
	case difference:
		label = "rise over the reference"
	case unit == "°C" || unit == "K":
		label = "temperature"
	}
	return strings.TrimSuffix(label+", "+unit, ", ")
}
