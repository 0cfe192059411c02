package cli

import (
	"fmt"
	"math"

	"github.com/spf13/pflag"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/frame"
	"dieglow/notebook/frame/picture"
	"dieglow/notebook/hotspot"
	"dieglow/notebook/report"
)

func regionAnalysis() analysis {
	return analysis{
		name: "region", short: "Statistics of rectangles, ellipses and polygons",
		long: `Regions are separated by semicolons and may have a name before an equals sign. A
pixel belongs to a region when its centre does. The uncertainty of a mean is that
of the noise alone, which is measured on the frame: what is wrong with all pixels
alike, such as the emissivity, is not in it.`,
		example: `  dieglow frame region hot.npy --unit degC --region "pad=rect:10,20,8,6; ellipse:40.5,30,5,3; polygon:1,1 9,1 5,8"`,
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "region", "NAME=rect:column,row,width,height; ellipse:x,y,radius,radius; polygon:x,y x,y x,y",
				"reference", "a frame of the unpowered object to subtract; of a stack the mean is taken")
		},
		files: []string{"reference"},
		run:   runRegion,
	}
}

// regionSeen is a region as JSON gives it.
type regionSeen struct {
	Name  string `json:"name"`
	Shape string `json:"region"` // as typed
	hotspot.RegionStats
}

// regionsSeen is what frame region gives as JSON.
type regionsSeen struct {
	Unit      string        `json:"unit"`
	Reference bool          `json:"reference"` // values are differences to it
	Noise     hotspot.Noise `json:"noise"`
	Regions   []regionSeen  `json:"regions"`
	Done      []string      `json:"done"`
}

func runRegion(in *input, s subject) (analysed, error) {
	text, ok := in.given("region")
	if !ok {
		return analysed{}, fault.Usagef("--region is needed").WithHint(`give --region "rect:10,20,8,6", or ellipse:x,y,radius,radius, or polygon:x,y x,y x,y`)
	}
	regions, err := hotspot.ParseRegions(text)
	if err != nil {
		return analysed{}, err
	}
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	f, err := at.subtracted()
	if err != nil {
		return analysed{}, err
	}
	f.Saturation = at.Saturation
	if at.reference != nil {
		f.Saturation = nil // differences do not tell
	}
	out := regionsSeen{Reference: at.reference != nil, Noise: hotspot.MeasureNoise(f), Regions: []regionSeen{}, Done: nonNil(at.done)}
	if at.Unit != frame.Unstated {
		out.Unit = at.Unit.String()
	}
	var marks []picture.Mark
	for _, r := range regions {
		stats, err := r.Measure(f, out.Noise)
		if err != nil {
			return analysed{}, err
		}
		out.Regions = append(out.Regions, regionSeen{r.Name, r.Text, stats})
		m := picture.Mark{Closed: true, Label: r.Name}
		for _, p := range r.Outline() {
			m.Path = append(m.Path, picture.Point(p))
		}
		marks = append(marks, m)
		if stats.Saturated > 0 {
			at.warnings = append(at.warnings, fmt.Sprintf("%s: %s at the end of the range: its mean and highest value are lower limits", r.Name, counted(stats.Saturated, "pixel")))
		}
	}
	draw := func() ([]derivedFile, error) {
		img, err := picture.Marked(at.Frame, at.drawing(s.title+", regions"), marks)
		if err != nil {
			return nil, err
		}
		return encodePNG("regions.png", img)
	}
	unit, _ := at.valueUnit()
	_, rise, _, _ := at.units()
	lines := [][3]string{{"noise", riseText(out.Noise.SD, 3, rise) + " a pixel, " + out.Noise.From, report.Measured}, {"uncertainty of means", "of the noise alone", report.Measured}}
	if out.Reference {
		lines = append(lines, [3]string{"values", "differences to the reference", report.Measured})
	}
	for _, d := range out.Done {
		lines = append(lines, [3]string{"prepared", d, ""})
	}
	return analysed{figures: out, lines: lines, draw: draw, warnings: at.warnings, results: at.regionResults(out),
		print: func(app *App) error { return app.printRegions(out, unit) }}, nil
}

func (app *App) printRegions(out regionsSeen, unit string) error {
	right := func(label string) term.Column { return term.Column{Header: label, Align: term.Right} }
	withUnit := func(label string) term.Column {
		if unit != "" {
			label += ", " + unit
		}
		return right(label)
	}
	t := term.Table{Columns: []term.Column{{Header: "region"}, right("pixels"), withUnit("mean"), withUnit("median"), withUnit("lowest"), withUnit("highest"), right("at"), withUnit("standard deviation"), right("missing")}}
	for _, r := range out.Regions {
		t.Rows = append(t.Rows, []string{r.Name, fmt.Sprint(r.Pixels), sureTo(r.Mean, r.UMean), quantity.Fixed(r.Median, 6), quantity.Fixed(r.Min, 6), quantity.Fixed(r.Max, 6),
			fmt.Sprintf("%d,%d", r.MaxX, r.MaxY), quantity.Fixed(r.SD, 3), fmt.Sprint(r.Missing)})
	}
	return app.tables(t)
}

func (s seen) regionResults(out regionsSeen) []notebook.Result {
	unit, end := s.valueUnit()
	var results []notebook.Result
	for i, r := range out.Regions {
		add := func(name, label string, v, u float64, why string) {
			e := notebook.Result{Name: fmt.Sprintf("region%d_%s%s", i+1, name, end), Label: r.Name + ", " + label, Value: quantity.Exactly(v), Unit: unit, WhyNoU: why}
			if u > 0 && !math.IsInf(u, 0) {
				e.Value = quantity.With(v, u)
			}
			results = append(results, e)
		}
		add("mean", fmt.Sprintf("mean of %s, u of the noise alone", counted(r.Pixels, "pixel")), r.Mean, r.UMean, "the noise is not known")
		add("max", "highest pixel, u of the noise alone", r.Max, out.Noise.SD, "the noise is not known")
		add("min", "lowest pixel, u of the noise alone", r.Min, out.Noise.SD, "the noise is not known")
		add("sd", "spread of its pixels", r.SD, 0, "it describes this region")
	}
	return results
}
