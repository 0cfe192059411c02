package frame

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"strings"

	"dieglow/catalog/fault"
)

// readable names the formats that are read, for error texts.
const readable = "delimited text, .npy, TIFF, FITS or 16-bit grey PNG"

// foreign pairs the first bytes of formats that people try with their names.
var foreign = [...]struct{ magic, name string }{
	{"\xff\xd8\xff", "a JPEG picture"},
	{"\x89HDF", "an HDF5 file"},
	{"MATLAB 5.0", "a MAT file"},
	{"PK\x03\x04", "a zip archive or spreadsheet"},
	{"\x1f\x8b", "a gzip archive"},
	{"%PDF", "a PDF document"},
	{"GIF8", "a GIF picture"},
	{"RIFF", "a RIFF film or picture"},
	{"SQLite format 3", "an SQLite database"},
}

// known pairs the first bytes of a binary format with its reader.
var known = [...]struct {
	magic string
	open  func(input, Options) (Info, source, error)
}{
	{npyMagic, openNPY},
	{"II*\x00", openTIFF},
	{"MM\x00*", openTIFF},
	{"II+\x00", openTIFF},
	{"MM\x00+", openTIFF},
	{"SIMPLE  =", openFITS},
	{pngMagic, openPNG},
}

// input is an open file and its size in bytes.
type input struct {
	file io.ReaderAt
	size int64
}

// OpenStack opens the frame file at path, which it recognises by its content,
// or reads as options.Raw says. The header and what it claims are checked
// against the size of the file before any room is made for pixels.
//
// Fault NotFound when there is no file, Invalid when it is not a readable file
// of frames, Conflict when its size is not the one stated; the message begins
// with the path.
func OpenStack(path string, options Options) (*Stack, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fault.NotFoundf("no file %s", path).WithHint("check the path, or list its folder with ls")
	}
	if err != nil {
		return nil, fault.Otherf("frame not opened").Because(err)
	}
	if !info.Mode().IsRegular() {
		return nil, fault.Invalidf("%s is not a regular file", path).WithHint("name one frame file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.Otherf("frame not opened").Because(err)
	}
	if options.MaxPixels <= 0 {
		options.MaxPixels = DefaultMaxPixels
	}
	s := &Stack{file: f, path: path}
	s.info, s.src, err = open(input{f, info.Size()}, options)
	if err == nil {
		err = s.settle(options)
	}
	if err != nil {
		f.Close()
		return nil, named(path, err)
	}
	return s, nil
}

// open finds the reader by the first bytes.
func open(in input, options Options) (Info, source, error) {
	var buf [16]byte
	n, err := in.file.ReadAt(buf[:], 0)
	head := buf[:n]
	if err != nil && n == 0 && in.size > 0 {
		return Info{}, nil, fault.Otherf("frame not read").Because(err)
	}
	for _, k := range known {
		if !bytes.HasPrefix(head, []byte(k.magic)) {
			continue
		}
		if options.Raw != nil {
			return Info{}, nil, fault.Invalidf("begins like a file of another format and not like raw samples").
				WithHint("leave the raw layout away: the file says itself how it is stored")
		}
		return k.open(in, options)
	}
	if options.Raw != nil {
		return openRaw(in, options)
	}
	for _, k := range foreign {
		if bytes.HasPrefix(head, []byte(k.magic)) {
			return Info{}, nil, fault.Invalidf("is %s", k.name).WithHint("export the frame as %s", readable)
		}
	}
	return openText(in, options)
}

// settle compares the file with what was stated about it.
func (s *Stack) settle(o Options) error {
	if o.Width > 0 && o.Height > 0 && (s.info.Width != o.Width || s.info.Height != o.Height) {
		return fault.Conflictf("has %d x %d pixels, and %d x %d were stated", s.info.Width, s.info.Height, o.Width, o.Height).
			WithHint("leave the size away to take what the file says")
	}
	if o.Saturation != nil {
		if v := *o.Saturation; math.IsNaN(v) || math.IsInf(v, 0) {
			return fault.Invalidf("a saturation level of %g", v).WithHint("state the value from which a pixel is saturated, in the unit of the file")
		}
		level := *o.Saturation
		s.info.Saturation = &level
	}
	return nil
}

// named puts the path before the message of a fault: as the subject of its
// verb where it begins with one, else with a colon.
func named(path string, err error) error {
	var bad *fault.Error
	if !errors.As(err, &bad) {
		return err
	}
	c := *bad
	c.Msg = path + ": " + bad.Msg
	for _, verb := range [...]string{"is ", "has ", "says ", "begins "} {
		if strings.HasPrefix(bad.Msg, verb) {
			c.Msg = path + " " + bad.Msg
		}
	}
	return &c
}

// Open reads the frame of a file that holds exactly one, of any format that
// OpenStack reads without being told a layout. Faults as from OpenStack and
// Next; Invalid when there are more frames or every pixel is missing.
func Open(path string, limits Limits) (Frame, error) {
	f, _, err := OpenFrame(path, -1, Options{Limits: limits})
	return f, err
}

// OpenFrame reads one frame of a file: the one with the index, from 0, or the
// only one when index is -1. It also returns what the file says about itself.
// Fault NotFound when the file holds fewer frames; others as from Open.
func OpenFrame(path string, index int, options Options) (Frame, Info, error) {
	s, err := OpenStack(path, options)
	if err != nil {
		return Frame{}, Info{}, err
	}
	defer s.Close()
	if index < 0 && s.info.Frames != 1 {
		return Frame{}, s.info, s.several()
	}
	if err := s.Skip(index); err != nil {
		return Frame{}, s.info, err
	}
	f, err := s.Next(nil)
	if errors.Is(err, errEnd) {
		return Frame{}, s.info, fault.NotFoundf("%s has no frame %d: it holds %d, counted from 0", path, index, s.info.Frames).
			WithHint("pick one with --index, from 0 to %d", s.info.Frames-1)
	}
	if err == nil && f.MissingCount == len(f.Pixels) {
		err = named(path, errAllMissing())
	}
	return f, s.info, err
}

// several refuses to pick one of many frames for the reader.
func (s *Stack) several() error {
	if s.info.Frames < 0 { // text: count by reading on
		dst := make([]float64, 0, s.info.Width*s.info.Height)
		for {
			f, err := s.Next(dst)
			if errors.Is(err, errEnd) {
				break
			}
			if err != nil {
				return err
			}
			dst = f.Pixels
		}
	}
	return fault.Invalidf("%s holds %d frames, and one is wanted", s.path, s.info.Frames).
		WithHint("pick one with --index, from 0 to %d", s.info.Frames-1)
}

func errAllMissing() error {
	return fault.Invalidf("every pixel is missing (nan)").WithHint("export the frame again: it holds no measurement")
}

// checkSize refuses a frame without pixels or beyond the limit. The factors are
// compared before they are multiplied, so no claim overflows.
func checkSize(width, height int64, limits Limits) error {
	most := int64(limits.MaxPixels)
	if width <= 0 || height <= 0 {
		return fault.Invalidf("says its frames have %d x %d pixels", width, height).WithHint("export the frame again: width and height are at least 1")
	}
	if width > most || height > most || width*height > most {
		return fault.Invalidf("says its frames have %d x %d pixels, more than the %d allowed", width, height, most).
			WithHint("check that the file is a frame of a thermal camera")
	}
	return nil
}

// checkHeld refuses a file that is shorter than the frames it claims, and
// returns how many bytes are left behind them.
func checkHeld(in input, offset, frameBytes, frames int64) (int64, error) {
	left := in.size - offset
	if frames <= 0 {
		return 0, fault.Invalidf("says it holds %d frames", frames).WithHint("export the frames again: there is nothing in the file")
	}
	if left < 0 || left/frameBytes < frames {
		return 0, fault.Invalidf("is cut short: %d frames of %d bytes are claimed, and %d bytes are there", frames, frameBytes, max(0, left)).
			WithHint("copy or export the file again")
	}
	return left - frames*frameBytes, nil
}
