package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/pflag"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/chart"
	"dieglow/notebook/frame"
	"dieglow/notebook/report"
	"dieglow/notebook/sharpness"
)

func barsAnalysis() analysis {
	return analysis{
		name: "bars", short: "Contrast of each element of a bar target, and the smallest resolved",
		long: `Each element has three bars; its part holds them and the two gaps between, five bar
widths or a little more. Sizes are widths of one bar, or elements of a 1951 target.

With --light and --dark, large even areas of what bars and gaps are made of, the
contrast is ` + sharpness.Modulation + `. Without them it
is that of Michelson, ` + sharpness.Michelson + `,
and a frame in °C or K is refused. The smallest resolved is the last that keeps
--contrast while all wider ones do; its uncertainty is that of the bar.`,
		example: `  dieglow frame bars target.npy --elements "G3E1@40,30,36,30; G3E2@84,30,32,27" --light 10,100,20,20 --dark 40,100,20,20
  dieglow frame bars target.npy --elements "50.0(5) um@12,10,20,16; 25.0(5) um@40,10,10,8" --unit counts --pixel 12.5um --json`,
		flags: func(f *pflag.FlagSet) {
			contrastFlag(f)
			textFlags(f, "elements", "size@column,row,width,height of each element, with ; between them", "light", "a large even area of what the brighter of bars and gaps are made of", "dark", "one of the darker",
				"size-u", "standard uncertainty of the width of a bar, where a size states none")
		},
		run: runBars,
	}
}

// barElements reads --elements.
func (in *input) barElements() []sharpness.Element {
	text, _ := in.given("elements")
	var sizeU *float64
	in.value("size-u", quantity.Micrometre, &sizeU)
	if sizeU != nil && !(*sizeU > 0) {
		in.fail("size-u", fault.Invalidf("%g µm is no uncertainty", *sizeU).WithHint("give a length above zero, for example 0.5um"))
	}
	var list []sharpness.Element
	for _, part := range strings.Split(text, ";") {
		if strings.TrimSpace(part) == "" {
			continue
		}
		size, place, ok := strings.Cut(part, "@")
		if !ok {
			in.fail("elements", fault.Invalidf("%q does not say where the element is", strings.TrimSpace(part)).WithHint("write size@column,row,width,height, for example G3E1@40,30,36,30"))
			return nil
		}
		s, err := catalog.ParseSize(strings.TrimSpace(size))
		in.fail("elements", err)
		r, err := parseRect(place)
		in.fail("elements", err)
		if s.SizeUM.U == nil && sizeU != nil {
			s.SizeUM = quantity.With(s.SizeUM.Value, *sizeU)
		}
		if in.err == nil && !(s.SizeUM.Value > 0) {
			in.fail("elements", fault.Invalidf("a bar of %g µm", s.SizeUM.Value).WithHint("give the width of one bar, above zero"))
		}
		list = append(list, sharpness.Element{Label: s.Label, SizeUM: s.SizeUM, Part: r})
	}
	return list
}

// area reads a part of the frame, nil where the flag is not given.
func (in *input) area(flag string) *frame.Rect {
	text, ok := in.given(flag)
	if !ok {
		return nil
	}
	r, err := parseRect(text)
	in.fail(flag, err)
	return &r
}

// barJSON is one element of a target.
type barJSON struct {
	Label     string   `json:"label"`
	BarUM     float64  `json:"bar_um"`
	BarUUM    *float64 `json:"bar_u_um"`
	PeriodPx  float64  `json:"period_px"`
	Along     string   `json:"along"`
	Bars      float64  `json:"bars"` // in the unit of the frame
	Gaps      float64  `json:"gaps"`
	Contrast  float64  `json:"contrast"`
	ContrastU *float64 `json:"contrast_u"`
	Resolved  bool     `json:"resolved"`
}

func runBars(in *input, s subject) (analysed, error) {
	o := sharpness.BarsOptions{Contrast: in.contrast(), Elements: in.barElements(), Light: in.area("light"), Dark: in.area("dark")}
	if in.err != nil {
		return analysed{}, in.err
	}
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	o.PixelUM = at.pixelUM
	b, err := sharpness.MeasureBars(at.Frame, o)
	if err != nil {
		return analysed{}, err
	}
	out := analysed{warnings: append(at.done, b.Warnings...)}
	figures := struct {
		Smallest  *float64  `json:"smallest_bar_um"` // null: not even the widest is resolved
		SmallestU *float64  `json:"smallest_bar_u_um"`
		Next      *float64  `json:"next_bar_um"` // the widest not resolved; null: all are
		Contrast  float64   `json:"contrast"`
		Formula   string    `json:"contrast_formula"`
		Elements  []barJSON `json:"elements"`
		Warnings  []string  `json:"warnings"`
	}{Contrast: b.Contrast, Formula: b.Formula, Warnings: nonNil(out.warnings)}
	const noU = "the width of the bar has no stated uncertainty; --size-u states one"
	if b.Resolved != nil {
		size := b.Resolved.SizeUM
		figures.Smallest, figures.SmallestU = &size.Value, size.U
		out.add(notebook.ResultResolvedUM, "smallest bar resolved", size, "µm", noU, report.Measured)
	} else {
		out.note("smallest bar resolved", "none of those named")
	}
	if b.Next != nil {
		figures.Next = &b.Next.SizeUM.Value
		out.note("not resolved", b.Next.SizeUM.Format(quantity.Micrometre))
	}
	out.results = append(out.results, notebook.Result{Name: notebook.ResultContrast, Label: "contrast that a bar must keep", Value: quantity.Exactly(b.Contrast), WhyNoU: "a chosen limit"})
	out.note("contrast", quantity.Fixed(b.Contrast, 3)+" to be kept; "+b.Formula)
	line := chart.Series{Name: "contrast, with its standard uncertainty", Points: true}
	for i, e := range b.Elements {
		resolved := b.Resolved != nil && e.SizeUM.Value >= b.Resolved.SizeUM.Value
		u, _ := e.Contrast.StandardU()
		figures.Elements = append(figures.Elements, barJSON{e.Label, e.SizeUM.Value, e.SizeUM.U, e.PeriodPx, e.Along, e.Bars, e.Gaps, e.Contrast.Value, finite(u), resolved})
		name := strings.TrimSpace(e.Label + " " + quantity.Fixed(e.SizeUM.Value, 4) + " µm")
		out.add(fmt.Sprintf("contrast_%d", i+1), "contrast of "+name, e.Contrast, "", "one row does not show its scatter", report.Measured)
		line.X, line.Y = append(line.X, e.SizeUM.Value), append(line.Y, e.Contrast.Value)
		line.LowY, line.HighY = append(line.LowY, e.Contrast.Value-u), append(line.HighY, e.Contrast.Value+u)
	}
	out.figures = figures
	out.draw = func() ([]derivedFile, error) {
		picture, err := chart.Lines(chart.LineChart{Title: s.title + ": contrast of bars", XLabel: "width of a bar / µm", YLabel: "contrast", Series: []chart.Series{line},
			HLines: []chart.Mark{{At: b.Contrast, Label: "to be kept: " + quantity.Fixed(b.Contrast, 3)}}})
		return []derivedFile{{"bars.png", picture}}, err
	}
	return out, nil
}

func scaleAnalysis() analysis {
	return analysis{
		name: "scale", short: "What a pixel sees of the object, from a known length or pitch",
		long: `From two points at a known distance, each read to --read-u (an assumption unless
given, or stated with the place itself: 12.5(2),40.0(2)), or from a pattern of known
pitch: lines, a grid, or dots in rows and columns. The pattern gives the scale along
rows and columns in the middle of the frame, its rotation, and the distortion: how
far a cubic polynomial through its places departs from an even scale. Where the two
scales differ, object_pixel_um is the larger.`,
		example: `  dieglow frame scale rule.npy --from 12.4,80.1 --until 243.7,82.0 --length "4.000(5) mm"
  dieglow frame scale grid.npy --pitch '100.0(2) um' --json`,
		flags: func(f *pflag.FlagSet) {
			textFlags(f, "from", "where the known length begins, x,y in pixels", "until", "where it ends", "length", "the known length, with its uncertainty",
				"read-u", "standard uncertainty of a coordinate read off the picture, in pixels; 0.3 unless given", "pitch", "distance from one mark of a pattern to the next, with its uncertainty")
		},
		run: runScale,
	}
}

// scaleJSON is what frame scale gives as JSON.
type scaleJSON struct {
	PixelUM       float64  `json:"object_pixel_um"`
	PixelUUM      *float64 `json:"object_pixel_u_um"`
	XUM           *float64 `json:"object_pixel_x_um"` // along the rows; null: not measured
	XUUM          *float64 `json:"object_pixel_x_u_um"`
	YUM           *float64 `json:"object_pixel_y_um"`
	YUUM          *float64 `json:"object_pixel_y_u_um"`
	RotationDeg   *float64 `json:"rotation_deg"` // clockwise against the rows
	RotationUDeg  *float64 `json:"rotation_u_deg"`
	ShearDeg      *float64 `json:"shear_deg"`
	DistortionPct *float64 `json:"distortion_percent"` // of half the diagonal
	QuadraticPct  *float64 `json:"distortion_quadratic_percent"`
	CubicPct      *float64 `json:"distortion_cubic_percent"`
	ResidualPx    *float64 `json:"fit_residual_px"`
	DistancePx    *float64 `json:"distance_px"` // of two points
	DistanceUPx   *float64 `json:"distance_u_px"`
	ReadUPx       *float64 `json:"read_u_px"`
	Method        string   `json:"method"`
	Warnings      []string `json:"warnings"`
}

func runScale(in *input, s subject) (analysed, error) {
	var pitch, length *quantity.Estimate
	in.estimate("pitch", quantity.Micrometre, &pitch)
	in.estimate("length", quantity.Micrometre, &length)
	_, from := in.given("from")
	_, until := in.given("until")
	if _, ok := in.given("bin"); ok {
		in.fail("bin", fault.Usagef("averaging blocks makes other pixels than the setup's").WithHint("measure the scale without it"))
	}
	switch {
	case in.err != nil:
		return analysed{}, in.err
	case pitch != nil && (from || until || length != nil):
		return analysed{}, fault.Usagef("a pitch and a length are both given").WithHint("give --pitch, or --from, --until and --length")
	case pitch == nil && !(from && until && length != nil):
		return analysed{}, fault.Usagef("what is of known size in the picture is not said").WithHint(`give --from 12.4,80.1 --until 243.7,82.0 --length "4.000(5) mm", or --pitch 100um`)
	}
	at, err := s.see()
	if err != nil {
		return analysed{}, err
	}
	if pitch != nil {
		return scaleOfPitch(at, *pitch)
	}
	return scaleOfLength(in, at, *length)
}

func scaleOfLength(in *input, at seen, length quantity.Estimate) (analysed, error) {
	reading, origin := sharpness.DefaultReadingPx, report.Assumed
	in.must("read-u", quantity.One, &reading)
	if _, ok := in.given("read-u"); ok {
		origin = report.Stated
	}
	point := func(flag string) sharpness.Point {
		p, u := at.point(in, flag)
		q := sharpness.Point{XPx: p.X, YPx: p.Y, UXPx: reading, UYPx: reading}
		if u.X > 0 || u.Y > 0 {
			q.UXPx, q.UYPx = u.X, u.Y
		}
		return q
	}
	from, until := point("from"), point("until")
	if in.err != nil {
		return analysed{}, in.err
	}
	l, err := sharpness.ScaleFromLength(from, until, length)
	if err != nil {
		return analysed{}, err
	}
	out := analysed{warnings: at.done}
	if length.U == nil {
		out.warnings = append(out.warnings, "the length has no stated uncertainty; only the reading's counts")
	}
	out.measured(notebook.ResultPixelUM, "object pixel", l.PixelUM, "µm")
	out.note("along", fmt.Sprintf("a line at %s degrees to the rows", quantity.Fixed(l.AngleDeg, 4)))
	out.measured("distance_px", "between the points", l.DistancePx, "px")
	out.lines = append(out.lines, [3]string{"reading", quantity.Fixed(reading, 2) + " px in each coordinate", origin})
	out.figures = scaleJSON{PixelUM: l.PixelUM.Value, PixelUUM: l.PixelUM.U, RotationDeg: &l.AngleDeg, DistancePx: &l.DistancePx.Value, DistanceUPx: l.DistancePx.U, ReadUPx: &reading,
		Method: "a known length between two points", Warnings: nonNil(out.warnings)}
	return out, nil
}

func scaleOfPitch(at seen, pitch quantity.Estimate) (analysed, error) {
	p, err := sharpness.MeasurePitch(at.Frame, pitch)
	if err != nil {
		return analysed{}, err
	}
	out := analysed{warnings: append(at.done, p.Warnings...)}
	if pitch.U == nil {
		out.warnings = append(out.warnings, "the pitch has no stated uncertainty; only that of the fit counts")
	}
	figures := scaleJSON{PixelUM: p.PixelUM.Value, PixelUUM: p.PixelUM.U, RotationDeg: &p.RotationDeg.Value, RotationUDeg: p.RotationDeg.U, ShearDeg: p.ShearDeg,
		DistortionPct: &p.DistortionPct, QuadraticPct: &p.QuadraticPct, CubicPct: &p.CubicPct, ResidualPx: &p.FitResidualPx, Method: "a pattern of known pitch", Warnings: nonNil(out.warnings)}
	out.measured(notebook.ResultPixelUM, "object pixel", p.PixelUM, "µm")
	if p.XUM != nil {
		figures.XUM, figures.XUUM = &p.XUM.Value, p.XUM.U
		out.measured("object_pixel_x_um", "along the rows", *p.XUM, "µm")
	}
	if p.YUM != nil {
		figures.YUM, figures.YUUM = &p.YUM.Value, p.YUM.U
		out.measured("object_pixel_y_um", "along the columns", *p.YUM, "µm")
	}
	out.measured("rotation_deg", "rotation", p.RotationDeg, "degrees")
	out.results = append(out.results, notebook.Result{Name: "distortion_percent", Label: "distortion", Value: quantity.Exactly(p.DistortionPct), Unit: "%", WhyNoU: "the fit's departure from an even scale"})
	out.lines = append(out.lines, [3]string{"distortion", fmt.Sprintf("%s %% of half the diagonal (quadratic %s, cubic %s)", quantity.Fixed(p.DistortionPct, 2), quantity.Fixed(p.QuadraticPct, 2), quantity.Fixed(p.CubicPct, 2)), report.Measured})
	out.figures = figures
	return out, nil
}
