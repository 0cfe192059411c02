package frame

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"unicode"
	"unicode/utf8"

	"dieglow/catalog/fault"
)

// Limits bounds what a reader takes from one file. The zero value stands for
// DefaultMaxPixels.
type Limits struct {
	MaxPixels int // most pixels in a frame, more than 0
}

// DefaultMaxPixels is four times a 1024 x 1024 detector.
const DefaultMaxPixels = 4 << 20

const (
	// bytesAPixel is room for a number as numpy.savetxt writes it by default
	// ("-1.234567890123456789e+01" and a separator), rounded up.
	bytesAPixel = 32
	// bytesBeside is room for comments and a header.
	bytesBeside = 64 << 10
	// textRowsAhead is for how many rows room is made before they are read.
	textRowsAhead = 512
	// maxMagnitude is beyond any temperature or count; below it sums and
	// squares over a frame stay finite.
	maxMagnitude = 1e30
)

// spreadsheetErrors begin with # and are damaged cells, not comments.
var spreadsheetErrors = [...]string{"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NUM!", "#NAME?", "#NULL!"}

// ReadText reads one frame from delimited text in UTF-8: a row a line, with
// commas, semicolons or tabs between the numbers. Between semicolons or tabs
// the decimal mark may be a comma. Lines that begin with # are comments; one
// header line without any number may stand before the first row; a byte order
// mark, CR LF line ends, blank lines around the frame and a separator at the
// end of every row are taken. nan marks a missing pixel.
//
// Fault Invalid, naming line and column (both from 1), for anything else: no
// rows, rows of different length, cells that are empty, infinite or no number,
// mixed separators or decimal marks, or more pixels than the limit.
func ReadText(r io.Reader, limits Limits) (Frame, error) {
	if limits.MaxPixels <= 0 {
		limits.MaxPixels = DefaultMaxPixels
	}
	size := 0
	if known, ok := r.(interface{ Len() int }); ok {
		size = known.Len()
	}
	s := newTextSource(r, int64(size), limits)
	f, err := s.start(Options{})
	switch {
	case err != nil:
		return Frame{}, err
	case s.blank > 0:
		return Frame{}, fault.Invalidf("line %d: a blank line inside the frame", s.blank).
			WithHint("take the blank line out, or save each frame in a file of its own")
	case s.series != nil:
		return Frame{}, fault.Invalidf("a time column above a single frame").WithHint("leave the time column out")
	case f.MissingCount == len(f.Pixels):
		return Frame{}, errAllMissing()
	}
	return f, nil
}

// checkEncoding refuses a line that is not UTF-8 text.
func checkEncoding(row []byte, line int) error {
	const hint = "save the frame as UTF-8 text, with commas, semicolons or tabs between the numbers; raw samples need --raw and --size"
	if line == 1 && (bytes.HasPrefix(row, []byte("\xff\xfe")) || bytes.HasPrefix(row, []byte("\xfe\xff"))) {
		return fault.Invalidf("the text is UTF-16").WithHint(hint)
	}
	bad := bytes.IndexByte(row, 0)
	if bad < 0 {
		if utf8.Valid(row) {
			return nil
		}
		for bad = 0; ; {
			r, n := utf8.DecodeRune(row[bad:])
			if r == utf8.RuneError && n <= 1 {
				break
			}
			bad += n
		}
	}
	return fault.Invalidf("line %d: not UTF-8 text (byte 0x%02x)", line, row[bad]).WithHint(hint)
}

// textReader turns rows into pixels.
type textReader struct {
	limits   Limits
	line     int // of the row being read, from 1
	sep      byte
	trailing bool // every row ends with a separator
	mark     byte // decimal mark
	marked   bool // a decimal mark has been seen, so mark holds
	frame    Frame
}

func errNoRows() error {
	return fault.Invalidf("no rows of numbers").WithHint("write one row of the frame a line, with commas, semicolons or tabs between the numbers")
}

func isComment(row []byte) bool {
	row = bytes.TrimLeft(row, " \t")
	if len(row) == 0 || row[0] != '#' {
		return false
	}
	for _, e := range spreadsheetErrors {
		if bytes.HasPrefix(row, []byte(e)) {
			return false
		}
	}
	return true
}

// isHeader says whether the line is words only: it holds a letter and not one
// cell, however it is separated and quoted, that is a number. So a damaged
// first row of numbers is never taken for a header.
func isHeader(row []byte) bool {
	if bytes.IndexFunc(row, unicode.IsLetter) < 0 {
		return false
	}
	cells := bytes.FieldsFunc(row, func(r rune) bool { return r == ',' || r == ';' || r == '\t' })
	for _, c := range cells {
		c = bytes.Trim(c, ` "'`)
		if _, ok := number(c, '.'); ok {
			return false
		}
	}
	return true
}

// start takes separator and width from the first row. left is how many bytes
// follow: a row takes about as many as the first.
func (t *textReader) start(row []byte, left int64) error {
	t.sep = ','
	for _, sep := range [...]byte{';', '\t'} {
		if bytes.IndexByte(row, sep) >= 0 {
			t.sep = sep
		}
	}
	t.marked, t.mark = t.sep == ',', '.'
	rows := int(min(max(0, left)/int64(len(row)+1)+2, textRowsAhead))
	if t.trailing = row[len(row)-1] == t.sep; t.trailing {
		row = row[:len(row)-1]
	}
	t.frame.Width = bytes.Count(row, []byte{t.sep}) + 1
	if t.frame.Width > t.limits.MaxPixels {
		return t.tooLarge()
	}
	rows = min(rows, t.limits.MaxPixels/t.frame.Width)
	t.frame.Pixels = slices.Grow(t.frame.Pixels, rows*t.frame.Width)
	return nil
}

func (t *textReader) readRow(row []byte) error {
	if t.trailing && row[len(row)-1] == t.sep {
		row = row[:len(row)-1]
	}
	if len(t.frame.Pixels)+t.frame.Width > t.limits.MaxPixels {
		return t.tooLarge()
	}
	at := len(t.frame.Pixels)
	t.frame.Pixels = slices.Grow(t.frame.Pixels, t.frame.Width)[:at+t.frame.Width]
	pixels := t.frame.Pixels[at:]
	x := 0
	if t.marked {
		var n int
		x, n = plainCells(pixels, row, marks{t.sep, t.mark})
		row = row[n:]
	}
	for ; x < len(pixels); x++ {
		v, n := fixed(row, t.mark)
		plain := n > 0 && (n == len(row) || row[n] == t.sep)
		// A number with a decimal mark goes the careful way until the mark is settled.
		if !plain || !t.marked && bytes.IndexByte(row[:n], t.mark) >= 0 {
			if n = bytes.IndexByte(row, t.sep); n < 0 {
				n = len(row)
			}
			var err error
			if v, err = t.cell(row[:n], x+1); err != nil {
				return err
			}
		}
		pixels[x] = v
		if n == len(row) {
			if x+1 < len(pixels) {
				return t.ragged(x + 1)
			}
			t.frame.Height++
			return nil
		}
		row = row[n+1:]
	}
	return t.ragged(t.frame.Width + 1 + bytes.Count(row, []byte{t.sep}))
}

func (t *textReader) ragged(columns int) error {
	return fault.Invalidf("line %d has %d columns, the first row has %d", t.line, columns, t.frame.Width).
		WithHint("every row of a frame has the same number of columns; write nan for a missing pixel")
}

// cell reads one cell the careful way: spaces around it, exponents, nan, and
// the decimal mark when it is still open.
func (t *textReader) cell(raw []byte, column int) (float64, error) {
	c := bytes.Trim(raw, " ")
	if i := bytes.IndexAny(c, ".,"); i >= 0 && (c[i] == '.' || t.sep != ',') {
		if t.marked && c[i] != t.mark {
			return 0, t.bad(column, c, "uses another decimal mark than the cells before it",
				"use one decimal mark, without marks between thousands")
		}
		if _, ok := number(c, c[i]); ok {
			t.mark, t.marked = c[i], true
		}
	}
	v, ok := number(c, t.mark)
	switch {
	case !ok:
		return 0, t.notNumber(column, c)
	case math.IsInf(v, 0):
		return 0, t.bad(column, c, "is infinite", "write nan for a missing pixel")
	case math.Abs(v) > maxMagnitude:
		return 0, t.bad(column, c, "is larger than any temperature or count", "write nan for a missing pixel")
	case math.IsNaN(v):
		t.frame.MissingCount++
	}
	return v, nil
}

// notNumber says what is most likely wrong with a cell that is no number.
func (t *textReader) notNumber(column int, c []byte) error {
	switch {
	case len(c) == 0:
		return t.bad(column, c, "is empty", "write nan for a missing pixel")
	case bytes.ContainsAny(c, ",;\t"):
		return t.bad(column, c, "mixes separators or decimal marks",
			"put one of comma, semicolon or tab between all numbers; decimal commas need semicolons or tabs")
	case bytes.ContainsAny(c, `"'`):
		return t.bad(column, c, "is quoted", "save the numbers without quotation marks; decimal commas need semicolons or tabs between the numbers")
	case bytes.ContainsAny(c, " \r"):
		return t.bad(column, c, "is not one number", "put a comma, semicolon or tab between the numbers and one row a line")
	case t.line == 1 || t.frame.Height == 0:
		return t.bad(column, c, "is not a number", "one header line may stand above the rows if no cell of it is a number; begin other lines of text with #")
	default:
		return t.bad(column, c, "is not a number", "write nan for a missing pixel; begin lines of text with #")
	}
}

func (t *textReader) bad(column int, c []byte, what, hint string) error {
	shown := ""
	if len(c) > 0 {
		if r := []rune(string(c)); len(r) > 40 {
			c = []byte(string(r[:40]) + "…")
		}
		shown = fmt.Sprintf("%q ", c)
	}
	return fault.Invalidf("line %d, column %d: %s%s", t.line, column, shown, what).WithHint("%s", hint)
}

func (t *textReader) tooLarge() error {
	return fault.Invalidf("line %d: more than %d pixels", t.line, t.limits.MaxPixels).
		WithHint("check that the file is one frame; split a sequence into files of one frame each")
}
