package frame

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"dieglow/catalog/fault"
)

// writable names the endings that Create takes, for error texts.
const writable = ".csv, .tsv, .npy, .tif, .fits or .png"

// Output says how frames are to be written.
type Output struct {
	// Sample is Float64 or Float32, of .npy only; Decimal, the zero value, stands
	// for Float64. .tif and .fits hold Float32, .png holds Uint16.
	Sample  Sample
	Unit    Unit // written where the format has a place for it; .png is for Counts or Unstated
	Replace bool // write over a file that is there
}

// encoder writes the frames of one format.
type encoder interface {
	// frame appends a frame; the first one settles the size.
	frame(f Frame) error
	// finish completes the file, which has that many frames. What it corrects at
	// the beginning it writes through the file, behind the buffer.
	finish(frames int) error
}

// Writer writes a file of frames. The file appears under its name when Commit
// succeeds; until then it is a temporary one beside it, which Close removes.
type Writer struct {
	path    string
	o       Output
	file    *os.File
	buf     *bufio.Writer
	enc     encoder
	frames  int
	first   Frame // size and time of the first frame
	lastS   float64
	settled bool // the temporary file is gone
	err     error
}

// Create begins a file of frames in the format that the ending of its name says:
//
//	.csv, .tsv    text, every float64 exactly; a stack as blocks with a blank line
//	              between them, or with a first column time_s when its frames have times
//	.npy          f8 exactly, or f4 (relative error 6e-8)
//	.tif, .tiff   32-bit float pages (relative error 6e-8)
//	.fits, .fit   32-bit float image or cube (relative error 6e-8)
//	.png          16 bits, one frame of whole counts from 0 to 65535
//
// Fault Invalid for another ending, Conflict when the file is there already.
func Create(path string, o Output) (*Writer, error) {
	w := &Writer{path: path, o: o}
	if o.Sample != Decimal && o.Sample != Float32 && o.Sample != Float64 {
		return nil, fault.Invalidf("frames are not written as %s", o.Sample).WithHint("f4 or f8")
	}
	ending := strings.ToLower(filepath.Ext(path))
	if o.Sample != Decimal && ending != ".npy" {
		return nil, fault.Invalidf("%s: the sample can be chosen for .npy only", path).WithHint("leave it away: .tif and .fits hold f4, text holds every digit")
	}
	if err := w.absent(); err != nil {
		return nil, err
	}
	if err := w.choose(ending); err != nil {
		return nil, err
	}
	name := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%08x", filepath.Base(path), rand.Uint32()))
	file, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, fault.Otherf("%s not written", path).Because(err)
	}
	w.file = file
	w.buf.Reset(file)
	return w, nil
}

// absent refuses to write over a file unless told to.
func (w *Writer) absent() error {
	if _, err := os.Lstat(w.path); !w.o.Replace && !errors.Is(err, fs.ErrNotExist) {
		return fault.Conflictf("%s is there already", w.path).WithHint("add --replace to write over it, or name another file")
	}
	return nil
}

func (w *Writer) choose(ending string) error {
	w.buf = bufio.NewWriterSize(nil, 256<<10)
	switch ending {
	case ".csv":
		w.enc = &textEncoder{w: w, sep: ','}
	case ".tsv":
		w.enc = &textEncoder{w: w, sep: '\t'}
	case ".npy":
		w.enc = &npyEncoder{w: w}
	case ".tif", ".tiff":
		w.enc = &tiffEncoder{w: w}
	case ".fits", ".fit":
		w.enc = &fitsEncoder{w: w}
	case ".png":
		if w.o.Unit == DegC || w.o.Unit == Kelvin {
			return fault.Invalidf("%s: a PNG holds whole counts, and these are temperatures in %s", w.path, w.o.Unit).
				WithHint("write .csv, .npy, .tif or .fits; frame show makes a picture")
		}
		w.enc = &pngEncoder{w: w}
	default:
		return fault.Invalidf("%s: the ending %q is none of a format that is written", w.path, ending).WithHint("end the name in %s", writable)
	}
	return nil
}

// Write appends a frame. All frames have the size of the first, all have a time
// or none has. Fault Invalid when they do not, when a pixel is infinite or
// beyond 1e30, or when the format cannot hold the numbers.
func (w *Writer) Write(f Frame) error {
	if w.err == nil {
		w.err = w.write(f)
	}
	return w.err
}

func (w *Writer) write(f Frame) error {
	f.Index = w.frames
	if f.Width < 1 || f.Height < 1 || len(f.Pixels) != f.Width*f.Height {
		return fault.Invalidf("frame %d has %d pixels for %d x %d", f.Index, len(f.Pixels), f.Width, f.Height)
	}
	if w.frames == 0 {
		w.first = Frame{Width: f.Width, Height: f.Height, HasTime: f.HasTime}
	}
	if f.Width != w.first.Width || f.Height != w.first.Height || f.HasTime != w.first.HasTime {
		return fault.Invalidf("frame %d has another size than the first, or only one of them has a time", f.Index).
			WithHint("write frames of one size into a file, with times for all or for none")
	}
	if w.frames > 0 && f.HasTime && !(f.TimeS > w.lastS) {
		return fault.Invalidf("frame %d is at %g s, and the one before at %g s", f.Index, f.TimeS, w.lastS).WithHint("sort the frames by their time")
	}
	if err := f.tally(nil); err != nil {
		return err
	}
	w.lastS = f.TimeS
	w.frames++
	return w.disk(w.enc.frame(f))
}

// disk names the file in an error that is none of ours.
func (w *Writer) disk(err error) error {
	var ours *fault.Error
	if err == nil || errors.As(err, &ours) {
		return err
	}
	return fault.Otherf("%s not written", w.path).Because(err)
}

// Commit completes the file and gives it its name. Fault Invalid when no frame
// was written, Conflict when a file of the name has appeared meanwhile.
func (w *Writer) Commit() error {
	if w.err == nil && w.frames == 0 {
		w.err = fault.Invalidf("%s: no frame to write", w.path).WithHint("check that the source holds frames")
	}
	if w.err == nil {
		w.err = w.disk(w.commit())
	}
	if w.err != nil {
		w.Close()
	}
	return w.err
}

func (w *Writer) commit() error {
	if err := w.enc.finish(w.frames); err != nil {
		return err
	}
	if err := w.buf.Flush(); err != nil {
		return err
	}
	if err := w.file.Sync(); err != nil {
		return err
	}
	if err := w.absent(); err != nil {
		return err
	}
	if err := w.file.Close(); err != nil {
		return err
	}
	if err := os.Rename(w.file.Name(), w.path); err != nil {
		return err
	}
	w.settled = true
	w.err = fault.Otherf("%s is complete", w.path)
	return nil
}

// Close removes what was written unless Commit succeeded. It is meant to be
// deferred.
func (w *Writer) Close() error {
	if w.settled {
		return nil
	}
	w.settled = true
	w.file.Close() // its error does not matter: the file goes away
	return os.Remove(w.file.Name())
}

// patch writes over what is already in the file.
func (w *Writer) patch(b []byte, offset int64) error {
	if err := w.buf.Flush(); err != nil {
		return err
	}
	_, err := w.file.WriteAt(b, offset)
	return err
}

// floats appends the pixels as 32-bit or 64-bit floats.
func (w *Writer) floats(pixels []float64, bigEndian bool, size int) error {
	var b [8]byte
	for _, v := range pixels {
		bits := math.Float64bits(v)
		if size == 4 {
			bits = uint64(math.Float32bits(float32(v)))
		}
		for i := range size {
			shift := 8 * i
			if bigEndian {
				shift = 8 * (size - 1 - i)
			}
			b[i] = byte(bits >> shift)
		}
		if _, err := w.buf.Write(b[:size]); err != nil {
			return err
		}
	}
	return nil
}
