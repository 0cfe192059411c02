// Package heat turns temperatures into answers about heat: warm-up curves and
// what they settle at, rises per watt, thermal networks, spreading in a solid and
// in a plate, and how much power a part can still be given.
//
// Temperatures are in K or, where a name says so, rises in K; times in s, powers
// in W. Uncertainties are standard uncertainties.
package heat

import (
	"bufio"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// Series is a temperature against time.
type Series struct {
	TimeS []float64 // rising
	Temp  []float64 // in K or °C, as Unit says
	U     []float64 // standard uncertainties in K, one a reading; nil: not stated
	Unit  string    // degC or K

	TimeName, TempName string // of the columns it was read from
	Note               string // what the reader had to decide; "" nothing
}

// Columns say which columns of a table to read, by name or by number from 1.
// Empty texts take the first for the time, the next whose numbers change for the
// temperature, and none for the uncertainty.
type Columns struct{ Time, Temp, U string }

// Bounds of a series as a file.
const (
	maxReadings = 1_000_000
	maxLine     = 4000
	maxColumns  = 100
)

// ReadSeries reads a table: on each line a time in s and a temperature, divided
// by a tab, a semicolon, a comma or blanks, the same throughout. Empty lines and
// those that begin with # are left out; a first line may name the columns, and a
// name that holds another unit of time, or a temperature in °F, is refused.
// unit is degC, K, or "" for what the column's name says, else degC. Fault Invalid
// naming the line for anything else, and as Series.Validate.
func ReadSeries(r io.Reader, c Columns, unit string) (Series, error) {
	t, err := readTable(r)
	if err != nil {
		return Series{}, err
	}
	s := Series{Unit: unit}
	at, err := t.column(c.Time, "time", 0)
	if err != nil {
		return s, err
	}
	s.TimeName = t.name(at)
	if err := checkTimeName(s.TimeName); err != nil {
		return s, err
	}
	temp, err := t.temperature(c.Temp, at, &s)
	if err != nil {
		return s, err
	}
	s.TempName = t.name(temp)
	if s.Unit, err = unitOf(s.TempName, unit); err != nil {
		return s, err
	}
	s.TimeS, s.Temp = t.values(at), t.values(temp)
	if c.U != "" {
		u, err := t.column(c.U, "u", 0)
		if err != nil {
			return s, err
		}
		s.U = t.values(u)
	}
	return s, s.Validate()
}

// Validate checks that there are as many temperatures as times, the times rise,
// everything is finite, and uncertainties are above zero. Fault Invalid otherwise.
func (s Series) Validate() error {
	if len(s.TimeS) != len(s.Temp) || s.U != nil && len(s.U) != len(s.Temp) {
		return fault.Invalidf("%d times, %d temperatures and %d uncertainties", len(s.TimeS), len(s.Temp), len(s.U)).WithHint("give one of each a reading")
	}
	for i, t := range s.TimeS {
		switch {
		case math.IsNaN(t+s.Temp[i]) || math.IsInf(t+s.Temp[i], 0):
			return fault.Invalidf("reading %d is not finite", i+1).WithHint("leave the reading out")
		case i > 0 && t <= s.TimeS[i-1]:
			return fault.Invalidf("the time does not rise: %g s at reading %d comes after %g s", t, i+1, s.TimeS[i-1]).WithHint("sort the table by time in s and give each time once")
		case s.U != nil && !(s.U[i] > 0 && !math.IsInf(s.U[i], 0)):
			return fault.Invalidf("the uncertainty of reading %d is %g, not above zero", i+1, s.U[i]).WithHint("give a standard uncertainty in K for each reading, or leave the column out")
		}
	}
	return nil
}

// table is what a file of columns holds.
type table struct {
	names []string // nil: none given
	rows  [][]float64
}

func readTable(r io.Reader) (table, error) {
	var t table
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, maxLine), maxLine)
	divider := byte(0)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(strings.TrimPrefix(lines.Text(), "\ufeff"))
		if line == "" || line[0] == '#' {
			continue
		}
		if divider == 0 {
			divider = dividerOf(line)
		}
		cells := cellsOf(line, divider)
		row, bad := numbers(cells)
		switch {
		case bad >= 0 && t.rows == nil && t.names == nil && isHeading(cells):
			t.names = cells
			continue
		case bad >= 0:
			return t, lineFault(n, "%q is not a number", cells[bad])
		case len(row) < 2 || len(row) > maxColumns:
			return t, lineFault(n, "%d columns, where a time and a temperature are wanted", len(row))
		case t.rows != nil && len(row) != len(t.rows[0]) || t.names != nil && len(row) != len(t.names):
			return t, lineFault(n, "%d columns, unlike the line before", len(row))
		case len(t.rows) == maxReadings:
			return t, lineFault(n, "more than %d readings", maxReadings)
		}
		t.rows = append(t.rows, row)
	}
	if err := lines.Err(); err != nil {
		return t, fault.Invalidf("the series cannot be read").Because(err).WithHint("give a text file of short lines: a time in s, a comma and a temperature")
	}
	if len(t.rows) == 0 {
		return t, fault.Invalidf("there is no reading in the file").WithHint("give a text file with a time in s and a temperature on each line")
	}
	return t, nil
}

func dividerOf(line string) byte {
	for _, d := range []byte{'\t', ';', ','} {
		if strings.IndexByte(line, d) >= 0 {
			return d
		}
	}
	return ' '
}

func cellsOf(line string, divider byte) []string {
	if divider == ' ' {
		return strings.Fields(line)
	}
	cells := strings.Split(line, string(rune(divider)))
	for i, c := range cells {
		cells[i] = strings.Trim(strings.TrimSpace(c), `"`)
	}
	return cells
}

// numbers parses cells; bad is the first that is no finite number, -1 for none.
func numbers(cells []string) (row []float64, bad int) {
	for i, c := range cells {
		v, err := strconv.ParseFloat(c, 64)
		if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || strings.ContainsAny(c, "xXpP_") {
			return nil, i
		}
		row = append(row, v)
	}
	return row, -1
}

// isHeading reports whether no cell is a number.
func isHeading(cells []string) bool {
	for _, c := range cells {
		if _, err := strconv.ParseFloat(c, 64); err == nil {
			return false
		}
	}
	return true
}

func lineFault(n int, format string, args ...any) *fault.Error {
	e := fault.Invalidf(format, args...)
	return fault.Invalidf("line %d of the series", n).Because(e).WithHint("give a time in s and a temperature on each line, divided by commas, with a point as decimal sign")
}

func (t table) values(column int) []float64 {
	out := make([]float64, len(t.rows))
	for i, row := range t.rows {
		out[i] = row[column]
	}
	return out
}

// name returns a column's heading, "" without one.
func (t table) name(column int) string {
	if t.names == nil {
		return ""
	}
	return t.names[column]
}

// column finds a column by name or number; an empty text is the default.
func (t table) column(text, what string, byDefault int) (int, error) {
	if text == "" {
		return byDefault, nil
	}
	for i, name := range t.names {
		if strings.EqualFold(name, text) {
			return i, nil
		}
	}
	width := len(t.rows[0])
	n, err := strconv.Atoi(text)
	if err == nil && n >= 1 && n <= width {
		return n - 1, nil
	}
	e := fault.Invalidf("there is no column %q for the %s", text, what)
	if t.names == nil {
		return 0, e.WithHint("give its number, from 1 to %d", width)
	}
	return 0, e.WithHint("give its number, from 1 to %d, or one of the names %s", width, strings.Join(t.names, ", "))
}

// temperature finds the column of temperatures: the one named, else the first
// beside the time whose numbers change, since loggers put set values there too.
func (t table) temperature(text string, time int, s *Series) (int, error) {
	if text != "" {
		return t.column(text, "temperature", 0)
	}
	var first, passed []int
	for i := range t.rows[0] {
		if i == time {
			continue
		}
		if v := t.values(i); slices.Min(v) == slices.Max(v) {
			passed = append(passed, i)
			continue
		}
		first = append(first, i)
	}
	if len(first) == 0 {
		return passed[0], nil
	}
	label := func(i int) string {
		if n := t.name(i); n != "" {
			return n
		}
		return "column " + strconv.Itoa(i+1)
	}
	if len(t.rows[0]) > 2 {
		s.Note = "of " + strconv.Itoa(len(t.rows[0])) + " columns, " + label(first[0]) + " is taken for the temperature"
		if len(passed) > 0 && passed[0] < first[0] {
			s.Note += ", since " + label(passed[0]) + " does not change"
		}
	}
	return first[0], nil
}

// words splits a column's name at everything but letters and the degree sign.
func words(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r == 'µ' || r == '°')
	})
}

func checkTimeName(name string) error {
	for _, w := range words(name) {
		switch w {
		case "ms", "us", "µs", "min", "mins", "minutes", "h", "hours", "ns", "milliseconds":
			return fault.Invalidf("the time's column is called %q, and the time is read in s", name).WithHint("convert the column to seconds and name it time_s")
		}
	}
	return nil
}

// unitOf settles the unit of the temperatures from what was said and their name.
func unitOf(name, said string) (string, error) {
	named := ""
	for _, w := range words(name) {
		switch w {
		case "k", "kelvin":
			named = "K"
		case "c", "degc", "°c", "celsius":
			named = "degC"
		case "f", "degf", "°f", "fahrenheit":
			return "", fault.Invalidf("the temperature's column is called %q", name).WithHint("convert it to °C or K")
		}
	}
	switch {
	case said != "" && named != "" && said != named:
		return "", fault.Conflictf("the temperature's column is called %q, and its unit is said to be %s", name, said).WithHint("give --unit %s, or name another column", named)
	case said != "":
		return said, nil
	case named != "":
		return named, nil
	}
	return "degC", nil
}
