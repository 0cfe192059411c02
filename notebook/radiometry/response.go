package radiometry

import (
	"bufio"
	"io"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// ResponsePoint is one line of a table of relative spectral responses.
type ResponsePoint struct {
	WavelengthUM float64
	Response     float64 // relative: only ratios count
}

// Bounds of a response table as a file.
const (
	maxResponsePoints = 100_000
	maxResponseLine   = 1000
)

// NewResponseBand returns the band of a table of responses, which is
// interpolated linearly and is 0 outside of the table. The largest response is
// scaled to 1. Fault Invalid, naming the line, unless there are two points or
// more, wavelengths rise from line to line within 0.1 µm to 1000 µm, and
// responses are finite, none below 0 and one above.
func NewResponseBand(points []ResponsePoint) (*Band, error) {
	if len(points) < 2 {
		return nil, fault.Invalidf("a response of %d points", len(points)).WithHint("give a wavelength in µm and a relative response on each of at least two lines")
	}
	var largest float64
	for i, p := range points {
		if err := p.validate(i, points); err != nil {
			return nil, err
		}
		largest = math.Max(largest, p.Response)
	}
	if largest == 0 {
		return nil, fault.Invalidf("a response that is 0 everywhere").WithHint("give the relative response of the camera, above 0 within its band")
	}
	var s []segment
	for i := len(points) - 1; i > 0; i-- {
		p, q := points[i-1], points[i]
		if p.Response == 0 && q.Response == 0 {
			continue
		}
		slope := (q.Response/largest - p.Response/largest) / (q.WavelengthUM - p.WavelengthUM)
		s = append(s, segment{p.WavelengthUM, q.WavelengthUM, p.Response/largest - slope*p.WavelengthUM, slope})
	}
	return newBand(s, true), nil
}

func (p ResponsePoint) validate(i int, points []ResponsePoint) error {
	switch {
	case !(p.WavelengthUM >= bandFloorUM && p.WavelengthUM <= bandCeilingUM):
		return fault.Invalidf("point %d of the response is at %g µm, outside %g µm to %g µm", i+1, p.WavelengthUM, bandFloorUM, float64(bandCeilingUM)).WithHint("give wavelengths in µm")
	case !(p.Response >= 0) || math.IsInf(p.Response, 0):
		return fault.Invalidf("point %d of the response is %g at %g µm, not a finite number of 0 or more", i+1, p.Response, p.WavelengthUM).WithHint("give relative responses from 0 up")
	case i > 0 && !(p.WavelengthUM > points[i-1].WavelengthUM):
		return fault.Invalidf("point %d of the response, at %g µm, does not lie above the one before it, at %g µm", i+1, p.WavelengthUM, points[i-1].WavelengthUM).WithHint("sort the table by wavelength and leave each in once")
	}
	return nil
}

// ReadResponse reads a table of responses: on each line a wavelength in µm and
// a relative response, divided by a comma, a semicolon or a tab, the same
// throughout. Empty lines and those that begin with # are left out, and so is a
// first line of names, which must not name another unit than µm. Fault Invalid
// with the line for anything else, and as NewResponseBand.
func ReadResponse(r io.Reader) (*Band, error) {
	var points []ResponsePoint
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, maxResponseLine), maxResponseLine)
	divider, heading := "", false
	n := 0
	for lines.Scan() {
		n++
		line := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if line == "" || line[0] == '#' {
			continue
		}
		if divider == "" {
			divider = dividerOf(line)
		}
		cells := strings.Split(line, divider)
		if divider == "" || len(cells) != 2 {
			return nil, lineFault(n, "%q is not a wavelength and a response", line)
		}
		p, err := parsePoint(n, cells)
		if err != nil && len(points) == 0 && !heading && isHeading(cells) {
			if heading, err = true, checkHeading(n, cells[0]); err == nil {
				continue
			}
		}
		if err != nil {
			return nil, err
		}
		if points = append(points, p); len(points) > maxResponsePoints {
			return nil, lineFault(n, "more than %d points", maxResponsePoints)
		}
		if last := len(points) - 1; last >= 0 {
			if err := points[last].validate(last, points); err != nil {
				return nil, lineFault(n, "not in order or out of range").Because(err)
			}
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fault.Invalidf("line %d of the response", n+1).Because(err).WithHint("give a text file of short lines: a wavelength in µm, a comma and a relative response")
	}
	return NewResponseBand(points)
}

// dividerOf finds what divides the two cells of a line.
func dividerOf(line string) string {
	for _, d := range []string{"\t", ";", ","} {
		if strings.Contains(line, d) {
			return d
		}
	}
	return ""
}

func lineFault(n int, format string, args ...any) *fault.Error {
	e := fault.Invalidf("line %d of the response: "+format, append([]any{n}, args...)...)
	return e.WithHint("write a wavelength in µm, a comma and a relative response on each line, for example 8.5,0.93")
}

func parsePoint(n int, cells []string) (ResponsePoint, error) {
	var v [2]float64
	for i, cell := range cells {
		cell = strings.TrimSpace(cell)
		if strings.Contains(cell, ",") {
			return ResponsePoint{}, lineFault(n, "%q has a comma in its number; the decimal sign is a point", cell)
		}
		f, err := strconv.ParseFloat(cell, 64)
		if err != nil || math.IsNaN(f) || math.IsInf(f, 0) || strings.ContainsAny(cell, "xX_") {
			return ResponsePoint{}, lineFault(n, "%q is not a number", cell)
		}
		v[i] = f
	}
	return ResponsePoint{WavelengthUM: v[0], Response: v[1]}, nil
}

// isHeading reports whether the cells are names: a letter first in each.
func isHeading(cells []string) bool {
	for _, cell := range cells {
		cell = strings.ToLower(strings.Trim(strings.TrimSpace(cell), `"`))
		if cell == "" || strings.ContainsAny(cell[:1], "0123456789+-.") || strings.HasPrefix(cell, "nan") || strings.HasPrefix(cell, "inf") {
			return false
		}
	}
	return true
}

// checkHeading refuses a first column that says it is not in µm.
func checkHeading(n int, name string) error {
	low := strings.ToLower(name)
	for _, unit := range []string{"nm", "nanomet", "mm", "cm", "ångstr", "angstr", "ev", "hz", "wavenumber"} {
		if strings.Contains(low, unit) {
			return lineFault(n, "the first column is called %q, and wavelengths are read in µm", strings.TrimSpace(name))
		}
	}
	return nil
}
