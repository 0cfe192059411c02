package term

import (
	"fmt"
	"io"
	"strings"

	"github.com/rivo/uniseg"
)

// Align says on which side of a column its cells stand.
type Align int

// The alignments. Cells of a right-aligned column are never wrapped.
const (
	Left  Align = iota // words
	Right              // numbers
)

// Column is the head of a column.
type Column struct {
	Header string
	Align  Align
}

// Table is a header and rows of cells.
type Table struct {
	Columns []Column
	Rows    [][]string // each with as many cells as there are columns
}

// gap stands between columns.
const gap = "  "

// Table writes t. On a terminal the columns are aligned and long text is
// wrapped between words so that the table fits the width; no number, unit or
// other word is cut, and a number stays on the line of its unit. A table that
// cannot fit is written as records, a line "header: value" for each cell. In a
// pipe cells are separated by tabs and the header is the first line.
//
// The error is that of the writer, or says that a row is not as long as the
// header.
func (s Screen) Table(t Table) error {
	t, err := t.clean()
	if err != nil {
		return err
	}
	if !s.tty {
		_, err := io.WriteString(s.out, t.tabs())
		return err
	}
	_, err = io.WriteString(s.out, t.layout(s.width, s.colour))
	return err
}

// clean returns a copy with nothing in it that a terminal would act on.
func (t Table) clean() (Table, error) {
	c := Table{Columns: make([]Column, len(t.Columns)), Rows: make([][]string, len(t.Rows))}
	for i, col := range t.Columns {
		c.Columns[i] = Column{Header: oneLine(col.Header), Align: col.Align}
	}
	for y, row := range t.Rows {
		if len(row) != len(t.Columns) {
			return Table{}, fmt.Errorf("table row %d has %d cells for %d columns", y+1, len(row), len(t.Columns))
		}
		c.Rows[y] = make([]string, len(row))
		for x, cell := range row {
			c.Rows[y][x] = strings.TrimRight(strings.ReplaceAll(Clean(cell), "\t", " "), " \n")
		}
	}
	return c, nil
}

func oneLine(s string) string {
	return strings.NewReplacer("\n", " ", "\t", " ").Replace(Clean(s))
}

func (t Table) tabs() string {
	var b strings.Builder
	for x, col := range t.Columns {
		if x > 0 {
			b.WriteByte('\t')
		}
		b.WriteString(col.Header)
	}
	b.WriteByte('\n')
	for _, row := range t.Rows {
		for x, cell := range row {
			if x > 0 {
				b.WriteByte('\t')
			}
			b.WriteString(oneLine(cell))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// layout draws the table for a terminal of the given width.
func (t Table) layout(width int, colour bool) string {
	if len(t.Columns) == 0 {
		return ""
	}
	widths, ok := t.fit(width)
	if !ok {
		return t.records(width)
	}
	var b strings.Builder
	header := make([][]string, len(t.Columns))
	for x, col := range t.Columns {
		header[x] = wrap(col.Header, widths[x])
	}
	t.line(&b, header, widths, colour)
	for x, w := range widths {
		if x > 0 {
			b.WriteString(gap)
		}
		b.WriteString(strings.Repeat("─", w))
	}
	b.WriteByte('\n')
	for _, row := range t.Rows {
		cells := make([][]string, len(row))
		for x, cell := range row {
			cells[x] = t.wrapCell(x, cell, widths[x])
		}
		t.line(&b, cells, widths, false)
	}
	return b.String()
}

// line writes one row, whose cells may have several lines each.
func (t Table) line(b *strings.Builder, cells [][]string, widths []int, bold bool) {
	lines := 1
	for _, c := range cells {
		lines = max(lines, len(c))
	}
	for y := range lines {
		pending := 0 // blanks not written yet, so that none end a line
		for x, c := range cells {
			if x > 0 {
				pending += len(gap)
			}
			text := ""
			if y < len(c) {
				text = c[y]
			}
			pad := widths[x] - uniseg.StringWidth(text)
			if t.Columns[x].Align == Right {
				pending, pad = pending+pad, 0
			}
			if text != "" {
				b.WriteString(strings.Repeat(" ", pending))
				pending = 0
				if bold {
					text = "\x1b[1m" + text + "\x1b[0m"
				}
				b.WriteString(text)
			}
			pending += pad
		}
		b.WriteByte('\n')
	}
}

// fit returns the width of each column so that the table is at most width wide,
// and false when no wrapping makes it so.
func (t Table) fit(width int) ([]int, bool) {
	widths, least := make([]int, len(t.Columns)), make([]int, len(t.Columns))
	total := len(gap) * (len(t.Columns) - 1)
	for x, col := range t.Columns {
		widths[x], least[x] = uniseg.StringWidth(col.Header), widest(words(col.Header))
		for _, row := range t.Rows {
			w := widest(strings.Split(row[x], "\n"))
			widths[x] = max(widths[x], w)
			if col.Align == Left {
				w = widest(words(row[x]))
			}
			least[x] = max(least[x], w)
		}
		total += widths[x]
	}
	for ; total > width; total-- {
		at := -1
		for x := range widths {
			if widths[x] > least[x] && (at < 0 || widths[x] > widths[at]) {
				at = x
			}
		}
		if at < 0 {
			return nil, false
		}
		widths[at]--
	}
	return widths, true
}

// records writes a line for each cell and a blank line between rows. Long text
// goes on, indented, between words.
func (t Table) records(width int) string {
	var b strings.Builder
	for y, row := range t.Rows {
		if y > 0 {
			b.WriteByte('\n')
		}
		for x, cell := range row {
			lines := t.wrapCell(x, strings.TrimRight(t.Columns[x].Header+": "+cell, " "), width-len(gap))
			b.WriteString(strings.Join(lines, "\n"+gap))
			b.WriteByte('\n')
		}
	}
	return b.String()
}

func (t Table) wrapCell(x int, cell string, width int) []string {
	if t.Columns[x].Align == Right {
		return strings.Split(cell, "\n")
	}
	return wrap(cell, width)
}

func widest(parts []string) int {
	w := 0
	for _, p := range parts {
		w = max(w, uniseg.StringWidth(p))
	}
	return w
}
