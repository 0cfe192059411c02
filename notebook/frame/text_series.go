package frame

import (
	"errors"
	"io"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// textSeries is the state of reading text with a time column.
type textSeries struct {
	perSecond float64 // how many of the column's unit make a second
	stated    [2]int  // columns and rows stated for a frame, 0 when not
	last      float64 // time of the frame before, s
	held      []float64
	heldAt    int // line of the row held
}

// sizeComment reads a comment "# size: 256x192".
func sizeComment(row []byte) ([2]int, bool) {
	rest, ok := strings.CutPrefix(strings.TrimSpace(string(row)), "#")
	if !ok {
		return [2]int{}, false
	}
	rest, ok = strings.CutPrefix(strings.ToLower(strings.TrimSpace(rest)), "size:")
	if !ok {
		return [2]int{}, false
	}
	left, right, ok := strings.Cut(strings.ReplaceAll(rest, " ", ""), "x")
	width, err1 := strconv.Atoi(left)
	height, err2 := strconv.Atoi(right)
	if !ok || err1 != nil || err2 != nil || width < 1 || height < 1 {
		return [2]int{}, false
	}
	return [2]int{width, height}, true
}

// timeColumn says whether the header names a time column first, and how many
// of its unit make a second. A column of time without a unit is refused, because the
// numbers below it would otherwise pass for pixels.
func timeColumn(header string, line int) (float64, bool, error) {
	end := strings.IndexAny(header, ",;\t")
	if end < 0 {
		return 0, false, nil
	}
	name := strings.ToLower(strings.Trim(header[:end], ` "'`))
	name = strings.NewReplacer(" [", "_", " (", "_", "[", "_", "(", "_", "]", "", ")", "").Replace(name)
	switch name {
	case "time_s", "t_s":
		return 1, true, nil
	case "time_ms", "t_ms":
		return 1000, true, nil
	}
	if header[:end] == "t" || strings.HasPrefix(name, "time") {
		return 0, false, fault.Invalidf("line %d: the column %q does not say its unit", line, header[:end]).
			WithHint("call it time_s or time_ms")
	}
	return 0, false, nil
}

// nextTimed reads the next frame of a series. The very first row is handed in.
func (s *textSource) nextTimed(row []byte, pixels []float64) (Frame, error) {
	if row != nil {
		if err := s.firstTimed(row); err != nil {
			return Frame{}, err
		}
	}
	q := s.series
	if q.held == nil {
		return Frame{}, errEnd
	}
	f := Frame{HasTime: true, TimeS: q.held[0] / q.perSecond, Pixels: append(pixels[:0], q.held[1:]...)}
	if !(f.TimeS >= q.last) {
		return Frame{}, fault.Invalidf("line %d: the time runs backwards, from %g s to %g s", q.heldAt, q.last, f.TimeS).
			WithHint("sort the frames by their time, or save what was taken after a reset of the clock in a file of its own")
	}
	q.last = f.TimeS
	columns := len(q.held) - 1
	if w, h := q.stated[0], q.stated[1]; w > 0 && columns == w*h {
		f.Width, f.Height = w, h
		return f, s.hold()
	}
	f.Width = columns
	time := q.held[0]
	for {
		f.Height++
		if f.Width*f.Height > s.limits.MaxPixels {
			return Frame{}, s.t.tooLarge()
		}
		if err := s.hold(); err != nil {
			return Frame{}, err
		}
		if q.held == nil || q.held[0] != time {
			break
		}
		f.Pixels = append(f.Pixels, q.held[1:]...)
	}
	return f, s.checkTimed(f)
}

// checkTimed refuses a row a frame without a size: N numbers have no shape.
func (s *textSource) checkTimed(f Frame) error {
	w, h := s.series.stated[0], s.series.stated[1]
	if w > 0 && (f.Width != w || f.Height != h) {
		return fault.Conflictf("line %d: the rows of one time make %d x %d pixels, and %d x %d were stated", s.line, f.Width, f.Height, w, h).
			WithHint("leave the size away, or give every frame one row of %d numbers", w*h)
	}
	if w == 0 && f.Height == 1 {
		return fault.Invalidf("line %d: one row of %d numbers has a time of its own, and the size of a frame is not stated", s.line, f.Width).
			WithHint("state columns and rows, such as --size 256x192, or put a comment such as # size: 256x192 above the header")
	}
	return nil
}

// firstTimed takes separator and width from the first row.
func (s *textSource) firstTimed(row []byte) error {
	s.t.line = s.line
	s.t.limits.MaxPixels++ // the time beside the pixels of a frame
	if err := s.t.start(row, 0); err != nil {
		return err
	}
	if s.t.frame.Width < 2 {
		return fault.Invalidf("line %d: a time without pixels", s.line).WithHint("put commas, semicolons or tabs between the numbers")
	}
	return s.readTimed(row)
}

// hold reads the next row into series.held; nil at the end.
func (s *textSource) hold() error {
	for {
		row, err := s.readLine()
		if errors.Is(err, io.EOF) {
			s.series.held = nil
			return nil
		}
		if err != nil {
			return err
		}
		if len(row) > 0 && !isComment(row) {
			return s.readTimed(row)
		}
	}
}

func (s *textSource) readTimed(row []byte) error {
	s.t.line = s.line
	s.t.frame.Pixels = s.t.frame.Pixels[:0]
	if err := s.t.readRow(row); err != nil {
		return err
	}
	s.series.held, s.series.heldAt = s.t.frame.Pixels, s.line
	if math.IsNaN(s.series.held[0]) {
		return fault.Invalidf("line %d: the time is missing", s.line).WithHint("give every row its time in the first column")
	}
	return nil
}
