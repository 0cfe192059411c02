package frame

import (
	"bytes"
	"fmt"
	"io"
	"math"
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
	size := 0
	if known, ok := r.(interface{ Len() int }); ok {
		size = known.Len()
	}
	return readText(r, int64(size), limits)
}

// readText reads as ReadText; size is how many bytes to expect, 0 when unknown.
func readText(r io.Reader, size int64, limits Limits) (Frame, error) {
	if limits.MaxPixels <= 0 {
		limits.MaxPixels = DefaultMaxPixels
	}
	most := int64(limits.MaxPixels)*bytesAPixel + bytesBeside
	var b bytes.Buffer
	if size <= most {
		b.Grow(int(size) + bytes.MinRead)
		if _, err := b.ReadFrom(io.LimitReader(r, most+1)); err != nil {
			return Frame{}, fault.Otherf("frame not read").Because(err)
		}
	}
	if size > most || int64(b.Len()) > most {
		return Frame{}, fault.Invalidf("longer than the %d bytes a frame of %d pixels may take", most, limits.MaxPixels).
			WithHint("check that the file is one frame of numbers")
	}
	data := b.Bytes()
	if err := checkEncoding(data); err != nil {
		return Frame{}, err
	}
	t := textReader{data: bytes.TrimPrefix(data, []byte("\ufeff")), limits: limits, mark: '.'}
	return t.read()
}

// checkEncoding refuses what is not UTF-8 text, naming the line.
func checkEncoding(data []byte) error {
	const hint = "save the frame as UTF-8 text, with commas, semicolons or tabs between the numbers"
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return fault.Invalidf("the text is UTF-16").WithHint(hint)
	}
	bad := bytes.IndexByte(data, 0)
	if bad < 0 {
		if utf8.Valid(data) {
			return nil
		}
		for bad = 0; ; {
			r, n := utf8.DecodeRune(data[bad:])
			if r == utf8.RuneError && n <= 1 {
				break
			}
			bad += n
		}
	}
	line := bytes.Count(data[:bad], []byte("\n")) + 1
	return fault.Invalidf("line %d: not UTF-8 text (byte 0x%02x)", line, data[bad]).WithHint(hint)
}

// textReader is the state of one reading.
type textReader struct {
	data   []byte
	limits Limits
	line   int // of the line being read, from 1

	started  bool // the first row has been seen; sep and trailing hold
	sep      byte
	trailing bool // every row ends with a separator
	mark     byte // decimal mark
	marked   bool // a decimal mark has been seen, so mark holds
	blank    int  // first blank line after a row, 0 when none

	frame Frame
}

func (t *textReader) read() (Frame, error) {
	rest := t.data
	for len(rest) > 0 {
		t.line++
		row := rest
		if i := bytes.IndexByte(rest, '\n'); i >= 0 {
			row, rest = rest[:i], rest[i+1:]
		} else {
			rest = nil
		}
		row = bytes.TrimRight(bytes.TrimSuffix(row, []byte("\r")), " ")
		switch {
		case len(row) == 0:
			if t.started && t.blank == 0 {
				t.blank = t.line
			}
			continue
		case isComment(row):
			continue
		case !t.started && t.frame.Header == "" && isHeader(row):
			t.frame.Header = string(bytes.TrimSpace(row))
			continue
		}
		if t.blank > 0 {
			return Frame{}, fault.Invalidf("line %d: a blank line inside the frame", t.blank).
				WithHint("a text file holds one frame: take the blank line out, or save each frame in a file of its own")
		}
		if !t.started {
			if err := t.start(row, rest); err != nil {
				return Frame{}, err
			}
		}
		if err := t.readRow(row); err != nil {
			return Frame{}, err
		}
	}
	return t.finish()
}

func (t *textReader) finish() (Frame, error) {
	f := t.frame
	if !t.started {
		return Frame{}, fault.Invalidf("no rows of numbers").WithHint("write one row of the frame a line, with commas, semicolons or tabs between the numbers")
	}
	if f.MissingCount == len(f.Pixels) {
		return Frame{}, fault.Invalidf("every pixel is missing (nan)").WithHint("export the frame again: it holds no measurement")
	}
	return f, nil
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

// start takes separator and width from the first row and makes room for as many
// rows as there are lines left.
func (t *textReader) start(row, rest []byte) error {
	t.started = true
	t.sep = ','
	for _, sep := range [...]byte{';', '\t'} {
		if bytes.IndexByte(row, sep) >= 0 {
			t.sep = sep
		}
	}
	t.marked = t.sep == ','
	if t.trailing = row[len(row)-1] == t.sep; t.trailing {
		row = row[:len(row)-1]
	}
	t.frame.Width = bytes.Count(row, []byte{t.sep}) + 1
	if t.frame.Width > t.limits.MaxPixels {
		return t.tooLarge()
	}
	rows := min(bytes.Count(rest, []byte("\n"))+2, t.limits.MaxPixels/t.frame.Width)
	// A row takes at least two bytes a pixel, so the room is bounded by the file.
	rows = min(rows, len(t.data)/(2*t.frame.Width)+1)
	t.frame.Pixels = make([]float64, 0, rows*t.frame.Width)
	return nil
}

func (t *textReader) readRow(row []byte) error {
	if t.trailing && row[len(row)-1] == t.sep {
		row = row[:len(row)-1]
	}
	if len(t.frame.Pixels)+t.frame.Width > t.limits.MaxPixels {
		return t.tooLarge()
	}
	for x := 0; x < t.frame.Width; x++ {
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
		t.frame.Pixels = append(t.frame.Pixels, v)
		if n == len(row) {
			if x+1 < t.frame.Width {
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
	case t.line == 1 || len(t.frame.Pixels) < t.frame.Width:
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
