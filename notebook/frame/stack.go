package frame

import (
	"errors"
	"io"
	"math"
	"os"

	"dieglow/catalog/fault"
)

// Format is a kind of file.
type Format string

// The formats that are read.
const (
	Text Format = "text"
	NPY  Format = "npy"
	TIFF Format = "tiff"
	FITS Format = "fits"
	PNG  Format = "png"
	Raw  Format = "raw"
)

// Info is what a file says about the frames in it.
type Info struct {
	Format        Format
	Width, Height int // pixels, the same in every frame

	// Frames is how many frames the file holds, -1 while that is not known: the
	// end of a text file with more than one frame is known once it is reached.
	Frames int

	Sample      Sample
	ByteOrder   string // "little endian" or "big endian", empty where it means nothing
	Compression string // "none", "LZW", "Deflate"
	HasTime     bool   // every frame has a time

	// Saturation is the value from which a pixel counts as saturated: the
	// highest of an integer sample unless another was stated; nil when there is none.
	Saturation *float64

	UnitText string   // what the file itself calls its unit (FITS BUNIT), empty when it does not
	Notes    []string // what a careful reader of the numbers has to know, one sentence each
}

// Options says how a file is to be read. The zero value takes what the file says.
type Options struct {
	Limits

	// Width and Height are needed for a raw file and for text with one frame a
	// row. A file of another size is refused with fault Conflict.
	Width, Height int

	Raw        *RawSamples // the file is nothing but samples, stored like this
	Saturation *float64    // level from which a pixel counts as saturated, in the unit of the file
}

// source yields the frames of an open file in order.
type source interface {
	// next fills in the pixels of f, in what f.Pixels has room for where that
	// does, and the time where there is one. It returns errEnd after the last frame.
	next(f *Frame) error
	// skip passes over n frames, or as many as there are, and says how many.
	skip(n int) (int, error)
}

// errEnd is io.EOF as a source returns it: the file ended where it should.
var errEnd = io.EOF

// Stack is an open file of frames, read one by one. It is for one goroutine.
type Stack struct {
	info  Info
	src   source
	file  *os.File
	path  string
	index int
	err   error
}

// Info returns what is known about the file so far.
func (s *Stack) Info() Info { return s.info }

// Next reads the next frame. Its pixels may lie in dst when that has room, so
// that a loop which hands back frame.Pixels allocates once; the frame is then
// valid until the next call. After the last frame the error is io.EOF itself.
//
// Fault Invalid, naming the file and where in it, when a pixel is infinite or
// beyond 1e30, the file ends early, frames differ in size or a time runs
// backwards. NaN is a missing pixel and is counted.
func (s *Stack) Next(dst []float64) (Frame, error) {
	if s.err != nil {
		return Frame{}, s.err
	}
	f := Frame{Width: s.info.Width, Height: s.info.Height, Pixels: dst, Index: s.index}
	err := s.src.next(&f)
	if err == nil {
		err = f.tally(s.info.Saturation)
	}
	switch {
	case err == nil:
		s.index++
		return f, nil
	case errors.Is(err, io.EOF):
		s.info.Frames = s.index
		s.err = io.EOF
	default:
		s.err = named(s.path, err)
	}
	return Frame{}, s.err
}

// Skip passes over n frames without decoding them where the format allows.
// Errors come as from Next; passing over the end is none, Next then says io.EOF.
func (s *Stack) Skip(n int) error {
	if s.err != nil || n <= 0 {
		return s.errUnlessEnd()
	}
	passed, err := s.src.skip(n)
	s.index += passed
	if err != nil && !errors.Is(err, io.EOF) {
		s.err = named(s.path, err)
	}
	return s.errUnlessEnd()
}

func (s *Stack) errUnlessEnd() error {
	if errors.Is(s.err, io.EOF) {
		return nil
	}
	return s.err
}

// Close closes the file. It never hides an error of Next.
func (s *Stack) Close() error { return s.file.Close() }

// room gives f.Pixels its length, anew where it has no room.
func (f *Frame) room() {
	n := f.Width * f.Height
	if cap(f.Pixels) < n {
		f.Pixels = make([]float64, n)
	}
	f.Pixels = f.Pixels[:n]
}

// tally counts missing and saturated pixels and refuses what is no measurement.
func (f *Frame) tally(level *float64) error {
	f.Saturation = level
	f.MissingCount, f.SaturatedCount = 0, 0
	limit := math.Inf(1)
	if level != nil {
		limit = *level
	}
	for i, v := range f.Pixels {
		if math.Abs(v) <= maxMagnitude {
			if v >= limit {
				f.SaturatedCount++
			}
			continue
		}
		if math.IsNaN(v) {
			f.MissingCount++
			continue
		}
		what := "is infinite"
		if !math.IsInf(v, 0) {
			what = "is larger than any temperature or count"
		}
		return fault.Invalidf("frame %d, column %d, row %d (all from 0): %g %s", f.Index, i%f.Width, i/f.Width, v, what).
			WithHint("write nan for a missing pixel; a wrong byte order also gives such numbers")
	}
	return nil
}
