package cli

import (
	"fmt"
	"math"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook"
	"dieglow/notebook/hotspot"
	"dieglow/notebook/report"
)

// riseText prints a value of a frame with its unit.
func riseText(v float64, digits int, unit string) string {
	return strings.TrimSpace(quantity.Fixed(v, digits) + " " + unit)
}

func estimateText(e quantity.Estimate, unit string) string {
	return strings.TrimSpace(e.Number(quantity.One) + " " + unit)
}

// spotLines says how the spots were found.
func (s seen) spotLines(out spotsSeen, blur *quantity.Estimate) [][3]string {
	_, rise, _, _ := s.units()
	lines := [][3]string{{spotKind(out.Cold) + "s", s.howMany(out), report.Measured}}
	if out.Reference {
		over := "the reference"
		if s.refFrames > 1 {
			over += ", the mean of " + counted(s.refFrames, "frame")
		}
		lines = append(lines, [3]string{"rises", "over " + over, report.Measured},
			[3]string{"the frame as a whole", riseText(out.Background.Level, 3, rise) + " above the reference", report.Measured},
			[3]string{"moved since the reference", movedText(out), report.Measured})
	} else {
		lines = append(lines, [3]string{"rises", "over the background of the frame itself, since there is no reference; what differs in emissivity shows like what differs in temperature", report.Measured})
	}
	noise := riseText(out.Noise.SD, 3, rise) + " a pixel, " + out.Noise.From
	if out.Noise.CorrelatedPx > 1 {
		noise += fmt.Sprintf("; %s pixels share theirs", quantity.Fixed(out.Noise.CorrelatedPx, 2))
	}
	lines = append(lines, [3]string{"background", out.Background.Method, ""}, [3]string{"noise", noise, report.Measured},
		[3]string{"a spot", fmt.Sprintf("at least %s above %s standard deviations", counted(out.MinArea, "pixel"), quantity.Fixed(out.Threshold, 3)), ""})
	if out.Origin != "" {
		lines = append(lines, [3]string{"positions in µm from", out.Origin, ""}, [3]string{"object pixel", estimateText(*s.pixelUM, "µm"), out.PixelFrom})
	}
	if blur != nil {
		lines = append(lines, [3]string{"blur", estimateText(*blur, "px") + ", full width at half maximum; Gaussian spots under a Gaussian blur", report.Assumed})
	}
	for _, d := range out.Done {
		lines = append(lines, [3]string{"prepared", d, ""})
	}
	return lines
}

// noSpot is the fault of a frame without a spot.
func (s seen) noSpot(out spotsSeen) error {
	kind := spotKind(out.Cold)
	if out.Noise.From == hotspot.NoiseNone {
		return fault.Invalidf("there is no %s: every pixel has the same value", kind).WithHint("export the frame again, or name another --reference: it shows no difference")
	}
	text := fmt.Sprintf("there is no %s: the pixel that stands out most does so by %s standard deviations of the noise, and the threshold is %s", kind, quantity.Fixed(out.Highest, 2), quantity.Fixed(out.Threshold, 3))
	hint := "lower --threshold"
	if out.TooSmall > 0 {
		text += fmt.Sprintf("; %s above it left out as smaller than %s", counted(out.TooSmall, "group"), counted(out.MinArea, "pixel"))
		hint = "lower --min-area"
	}
	if !out.Reference {
		hint += ", add --reference FILE of the unpowered object"
	}
	if out.Cold {
		hint += ", or leave --cold out for hot spots"
	} else {
		hint += ", or add --cold for spots below the background"
	}
	return fault.Invalidf("%s", text).WithHint("%s", hint)
}

// howMany says how many spots there are, and where there is none, how near it was.
func (s seen) howMany(out spotsSeen) string {
	text := fmt.Sprint(len(out.Spots))
	if len(out.Spots) == 0 {
		text = fmt.Sprintf("none: the pixel that stands out most does so by %s standard deviations", quantity.Fixed(out.Highest, 3))
	}
	if out.TooSmall > 0 {
		text += fmt.Sprintf("; %s above the threshold left out as smaller than %s", counted(out.TooSmall, "group"), counted(out.MinArea, "pixel"))
	}
	return text
}

func movedText(out spotsSeen) string {
	m := out.Moved
	if !m.Checked {
		return "not known: " + m.Why
	}
	text := fmt.Sprintf("%s, %s px", quantity.With(m.DXPx, m.UXPx).Number(quantity.One), quantity.With(m.DYPx, m.UYPx).Number(quantity.One))
	if out.Aligned {
		text += "; the reference was moved along"
	}
	return text
}

// printSpots prints the spots and their distances as tables.
func (app *App) printSpots(out spotsSeen, s seen) error {
	if len(out.Spots) == 0 {
		return nil
	}
	tables := []term.Table{s.spotTable(out)}
	if len(out.Distances) > 0 {
		tables = append(tables, distanceTable(out))
	}
	return app.tables(tables...)
}

func (s seen) spotTable(out spotsSeen) term.Table {
	value, rise, _, _ := s.units()
	in := func(label, unit string) term.Column {
		if unit != "" {
			label += ", " + unit
		}
		return term.Column{Header: label, Align: term.Right}
	}
	t := term.Table{Columns: []term.Column{{Header: "spot", Align: term.Right}, in("x", "px"), in("y", "px")}}
	um, corrected := out.PixelUM != nil, false
	if um {
		t.Columns = append(t.Columns, in("x", "µm"), in("y", "µm"))
	}
	t.Columns = append(t.Columns, in("peak", value), in("rise", rise), in("fitted rise", rise), in("mean rise", rise), in("sigma", ""), in("area", "px"), in("width", "px"))
	for _, spot := range out.Spots {
		corrected = corrected || spot.Corrected != nil
	}
	if corrected {
		t.Columns = append(t.Columns, in("rise without blur (estimate)", rise), in("factor", ""))
	}
	t.Columns = append(t.Columns, term.Column{Header: "note"})
	for _, spot := range out.Spots {
		row := []string{fmt.Sprint(spot.Number), sureTo(spot.XPx, spot.UXPx), sureTo(spot.YPx, spot.UYPx)}
		if um {
			row = append(row, sureTo(*spot.XUM, *spot.UXUM), sureTo(*spot.YUM, *spot.UYUM))
		}
		fitted, width := "-", "-"
		if spot.Fit != nil {
			fitted, width = sureTo(*spot.FitRise, *spot.UFitRise), sureTo(spot.Fit.FWHMPx, spot.Fit.UFWHMPx)
		}
		row = append(row, sureTo(spot.Peak, spot.URise), sureTo(spot.Rise, spot.URise), fitted, sureTo(spot.MeanRise, spot.UMeanRise), quantity.Fixed(spot.Sigma, 3), fmt.Sprint(spot.AreaPx), width)
		if c := spot.Corrected; c != nil {
			row = append(row, sureTo(c.Rise, c.URise), sureTo(c.Factor, c.UFactor))
		} else if corrected {
			row = append(row, "-", "-")
		}
		t.Rows = append(t.Rows, append(row, spotNote(spot.Spot, out.Background)))
	}
	return t
}

// sureTo prints a value with its standard uncertainty, where there is one.
func sureTo(v, u float64) string {
	if !(u > 0) || math.IsInf(u, 0) {
		return quantity.Fixed(v, 6)
	}
	return quantity.With(v, u).Number(quantity.One)
}

// spotNote says what is odd about a spot.
func spotNote(s hotspot.Spot, b hotspot.Background) string {
	var out []string
	if s.SaturatedPx > 0 {
		out = append(out, fmt.Sprintf("%s saturated or cut off: peak and rise are %s limits", counted(s.SaturatedPx, "pixel"), limitWord(s)))
	}
	if s.MissingPx > 0 {
		out = append(out, fmt.Sprintf("%s missing in or beside it", counted(s.MissingPx, "pixel")))
	}
	if s.AtEdge {
		out = append(out, "reaches the edge of the frame")
	}
	if s.Fit != nil && b.SpanPx > 0 && s.Fit.FWHMPx > float64(b.SpanPx)/2 {
		out = append(out, "wide against the windows of the background, which then is uncertain")
	}
	if s.From == hotspot.FromCentroid {
		out = append(out, "no Gaussian fitted: place by centroid")
	}
	return strings.Join(out, "; ")
}

// limitWord says on which side a cut off spot's peak is known.
func limitWord(s hotspot.Spot) string {
	if s.LocalRise < 0 {
		return "upper"
	}
	return "lower"
}

func distanceTable(out spotsSeen) term.Table {
	t := term.Table{Columns: []term.Column{{Header: "from spot", Align: term.Right}, {Header: "to", Align: term.Right}, {Header: "distance, px", Align: term.Right}}}
	if out.PixelUM != nil {
		t.Columns = append(t.Columns, term.Column{Header: "µm", Align: term.Right})
	}
	for _, d := range out.Distances {
		row := []string{fmt.Sprint(d.From), fmt.Sprint(d.To), sureTo(d.DistancePx, d.UPx)}
		if d.UM != nil {
			row = append(row, sureTo(*d.UM, *d.UUM))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// mostResults is how many spots a finding lists; all are in its picture.
const mostResults = 20

// spotResults are what a finding records.
func (s seen) spotResults(out spotsSeen) []notebook.Result {
	value, rise, valueEnd, riseEnd := s.units()
	results := []notebook.Result{{Name: "spots", Label: spotKind(out.Cold) + "s found", Value: quantity.Exactly(float64(len(out.Spots))), WhyNoU: "a count"},
		{Name: "noise" + riseEnd, Label: "noise of a pixel", Value: quantity.Exactly(out.Noise.SD), Unit: rise, WhyNoU: out.Noise.From}}
	for i, spot := range out.Spots[:min(len(out.Spots), mostResults)] {
		add := func(name, label, unit string, v, u float64) {
			r := notebook.Result{Name: fmt.Sprintf("spot%d_%s", i+1, name), Label: fmt.Sprintf("spot %d, %s", i+1, label), Value: quantity.Exactly(v), Unit: unit}
			if u > 0 && !math.IsInf(u, 0) {
				r.Value = quantity.With(v, u)
			}
			results = append(results, r)
		}
		add("x_px", "column", "px", spot.XPx, spot.UXPx)
		add("y_px", "row", "px", spot.YPx, spot.UYPx)
		if spot.XUM != nil {
			add("x_um", "x from "+out.Origin, "µm", *spot.XUM, *spot.UXUM)
			add("y_um", "y from "+out.Origin, "µm", *spot.YUM, *spot.UYUM)
		}
		limit := ""
		if spot.SaturatedPx > 0 {
			limit = ", cut off: it is the " + limitWord(spot.Spot) + " limit"
		}
		add("peak"+valueEnd, "highest pixel, u of the noise alone"+limit, value, spot.Peak, spot.URise)
		add("rise"+riseEnd, "rise of that pixel over the "+out.RiseOver+", u of the noise alone"+limit, rise, spot.Rise, spot.URise)
		if spot.Fit != nil {
			add("fit_rise"+riseEnd, "rise of the fitted Gaussian", rise, *spot.FitRise, *spot.UFitRise)
			add("fwhm_px", "full width at half maximum", "px", spot.Fit.FWHMPx, spot.Fit.UFWHMPx)
		}
		if c := spot.Corrected; c != nil {
			add("corrected_rise"+riseEnd, c.Caveat(), rise, c.Rise, c.URise)
		}
	}
	return results
}
