package frame

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"math"

	"dieglow/catalog/fault"
)

// textSource reads frames from delimited text, as ReadText reads one. A file
// with several frames is written in one of three ways:
//
//   - blocks of rows with a blank line between them;
//   - a first column time_s, and rows that share a time make a frame;
//   - a first column time_s and a frame a row, row by row from the top left,
//     when the size is stated, by the caller or by a comment "# size: 256x192".
//
// The column may also be called t_s, time_ms or t_ms, or have its unit in
// brackets. A time that runs backwards is refused.
type textSource struct {
	r      *bufio.Reader
	size   int64 // bytes in all, 0 when not known
	taken  int64 // bytes read
	start0 int64 // bytes read before the frame being read
	limits Limits
	line   int // lines read so far

	first  *Frame // read on opening and not handed out yet
	t      textReader
	held   []byte // the first row of the next block
	blank  int    // the blank line above it, 0 when there is none
	series *textSeries
	width  int
	height int
}

func newTextSource(r io.Reader, size int64, limits Limits) *textSource {
	s := &textSource{r: bufio.NewReaderSize(r, 64<<10), size: size, limits: limits, t: textReader{limits: limits}}
	if mark, _ := s.r.Peek(3); string(mark) == "\ufeff" {
		s.r.Discard(3) // as many bytes as Peek gave
	}
	return s
}

// openText reads the first frame, which tells the size of all.
func openText(in input, o Options) (Info, source, error) {
	s := newTextSource(io.NewSectionReader(in.file, 0, in.size), in.size, o.Limits)
	first, err := s.start(o)
	if err != nil {
		return Info{}, nil, err
	}
	s.first, s.width, s.height = &first, first.Width, first.Height
	info := Info{Format: Text, Width: first.Width, Height: first.Height, Frames: -1, HasTime: s.series != nil}
	if s.blank == 0 && (s.series == nil || s.series.held == nil) {
		info.Frames = 1
	}
	return info, s, nil
}

// start reads up to the first row, finds out how the frames are written, and
// reads the first one.
func (s *textSource) start(o Options) (Frame, error) {
	stated := [2]int{o.Width, o.Height}
	header := ""
	for {
		row, err := s.readLine()
		if errors.Is(err, io.EOF) {
			return Frame{}, errNoRows()
		}
		if err != nil {
			return Frame{}, err
		}
		if size, ok := sizeComment(row); ok && stated == [2]int{} {
			stated = size
		}
		if len(row) == 0 || isComment(row) {
			continue
		}
		if header == "" && isHeader(row) {
			header = string(bytes.TrimSpace(row))
			scale, timed, err := timeColumn(header, s.line)
			if err != nil {
				return Frame{}, err
			}
			if timed {
				s.series = &textSeries{perSecond: scale, stated: stated, last: math.Inf(-1)}
			}
			continue
		}
		var f Frame
		if s.series != nil {
			f, err = s.nextTimed(row, nil)
		} else {
			f, err = s.nextBlock(row, nil)
		}
		f.Header = header
		return f, err
	}
}

// readLine returns the next line without its end and trailing spaces. The line
// is valid until the next call; no line is longer than a frame may be.
func (s *textSource) readLine() ([]byte, error) {
	most := int64(s.limits.MaxPixels)*bytesAPixel + bytesBeside
	row, err := s.r.ReadSlice('\n')
	if errors.Is(err, bufio.ErrBufferFull) {
		long := bytes.Clone(row)
		for errors.Is(err, bufio.ErrBufferFull) && int64(len(long)) <= most {
			row, err = s.r.ReadSlice('\n')
			long = append(long, row...)
		}
		row = long
	}
	s.taken += int64(len(row))
	if s.taken-s.start0 > most {
		return nil, s.tooLong(most)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, fault.Otherf("frame not read").Because(err)
	}
	if len(row) == 0 {
		return nil, io.EOF
	}
	s.line++
	if err := checkEncoding(row, s.line); err != nil {
		return nil, err
	}
	row = bytes.TrimSuffix(row, []byte("\n"))
	return bytes.TrimRight(bytes.TrimSuffix(row, []byte("\r")), " "), nil
}

func (s *textSource) tooLong(most int64) error {
	return fault.Invalidf("longer than the %d bytes a frame of %d pixels may take", most, s.limits.MaxPixels).
		WithHint("check that the file is frames of numbers, with a blank line between them")
}

func (s *textSource) next(f *Frame) error {
	pixels := f.Pixels
	index := f.Index
	if s.first != nil {
		*f, s.first = *s.first, nil
		return nil
	}
	g, err := s.read(pixels)
	if err != nil {
		return err
	}
	if g.Width != s.width || g.Height != s.height {
		return fault.Invalidf("line %d: frame %d has %d x %d pixels, and frame 0 has %d x %d", s.line, index, g.Width, g.Height, s.width, s.height).
			WithHint("all frames of a file have one size: save others in a file of their own")
	}
	g.Index = index
	*f = g
	return nil
}

func (s *textSource) read(pixels []float64) (Frame, error) {
	s.start0 = s.taken
	if s.series != nil {
		return s.nextTimed(nil, pixels)
	}
	if s.blank == 0 {
		return Frame{}, errEnd
	}
	return s.nextBlock(s.held, pixels)
}

func (s *textSource) skip(n int) (int, error) {
	var f Frame
	for i := range n {
		if err := s.next(&f); err != nil {
			return i, err
		}
	}
	return n, nil
}

// nextBlock reads a block of rows, of which the first is given, up to the next
// blank line. The first row of the block after it is then in s.held.
func (s *textSource) nextBlock(row []byte, pixels []float64) (Frame, error) {
	s.t.line = s.line
	s.t.frame = Frame{Pixels: pixels[:0]}
	if err := s.t.start(row, s.size-s.taken); err != nil {
		return Frame{}, err
	}
	for s.blank = 0; ; {
		if err := s.t.readRow(row); err != nil {
			return Frame{}, err
		}
		blank := 0
		for {
			var err error
			row, err = s.readLine()
			if errors.Is(err, io.EOF) {
				return s.t.frame, nil
			}
			if err != nil {
				return Frame{}, err
			}
			if len(row) > 0 && !isComment(row) {
				break
			}
			if len(row) == 0 && blank == 0 {
				blank = s.line
			}
		}
		if blank > 0 {
			s.held, s.blank = append(s.held[:0], row...), blank
			return s.t.frame, nil
		}
		s.t.line = s.line
	}
}
