package frame

import (
	"encoding/binary"
	"fmt"
	"image"
	"image/png"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// textEncoder writes the shortest digits that read back to the same float64.
type textEncoder struct {
	w     *Writer
	sep   byte
	digit []byte
}

func (e *textEncoder) frame(f Frame) error {
	b := e.w.buf
	switch {
	case e.w.frames > 1 && !f.HasTime:
		b.WriteByte('\n')
	case e.w.frames == 1 && f.HasTime:
		fmt.Fprintf(b, "# size: %dx%d\ntime_s", f.Width, f.Height)
		for x := range f.Width {
			fmt.Fprintf(b, "%cx%d", e.sep, x)
		}
		b.WriteByte('\n')
	}
	for y := range f.Height {
		if f.HasTime {
			e.number(f.TimeS)
			b.WriteByte(e.sep)
		}
		for x := range f.Width {
			if x > 0 {
				b.WriteByte(e.sep)
			}
			e.number(f.Pixels[y*f.Width+x])
		}
		b.WriteByte('\n')
	}
	return nil // a failed write comes back from Flush
}

func (e *textEncoder) number(v float64) {
	if math.IsNaN(v) {
		e.w.buf.WriteString("nan")
		return
	}
	e.digit = strconv.AppendFloat(e.digit[:0], v, 'g', -1, 64)
	e.w.buf.Write(e.digit)
}

func (e *textEncoder) finish(int) error { return nil }

// npyEncoder writes version 1.0 with room in the header for the final shape.
type npyEncoder struct{ w *Writer }

const npyHeaderBytes = 128 // a multiple of 64, so that the data is aligned

func (e *npyEncoder) size() int {
	if e.w.o.Sample == Float32 {
		return 4
	}
	return 8
}

func (e *npyEncoder) frame(f Frame) error {
	if e.w.frames == 1 {
		e.w.buf.Write(e.header(1))
	}
	return e.w.floats(f.Pixels, false, e.size())
}

func (e *npyEncoder) header(frames int) []byte {
	shape := fmt.Sprintf("(%d, %d)", e.w.first.Height, e.w.first.Width)
	if frames > 1 {
		shape = fmt.Sprintf("(%d, %d, %d)", frames, e.w.first.Height, e.w.first.Width)
	}
	text := fmt.Sprintf("{'descr': '<f%d', 'fortran_order': False, 'shape': %s, }", e.size(), shape)
	text += strings.Repeat(" ", npyHeaderBytes-10-1-len(text)) + "\n"
	b := append([]byte(npyMagic), 1, 0)
	b = binary.LittleEndian.AppendUint16(b, uint16(len(text)))
	return append(b, text...)
}

func (e *npyEncoder) finish(frames int) error { return e.w.patch(e.header(frames), 0) }

// tiffEncoder writes a directory and one strip a page, all of one size, so that
// each directory can name the next before it is known whether there is one.
type tiffEncoder struct{ w *Writer }

const (
	tiffDirBytes = 128 // ten fields, padded
	tiffDirNext  = 2 + 10*12
)

// stride returns the distance from page to page, even as TIFF wants offsets.
func (e *tiffEncoder) stride() int64 {
	return tiffDirBytes + 4*int64(e.w.first.Width)*int64(e.w.first.Height)
}

func (e *tiffEncoder) frame(f Frame) error {
	if e.w.frames == 1 {
		e.w.buf.WriteString("II*\x00\x08\x00\x00\x00")
	}
	at := 8 + int64(e.w.frames-1)*e.stride()
	if at+e.stride() > math.MaxUint32 {
		return fault.Invalidf("%s: frame %d does not fit: a TIFF file ends at 4 GiB", e.w.path, f.Index).WithHint("write .npy or .fits")
	}
	le := binary.LittleEndian
	b := le.AppendUint16(nil, 10)
	field := func(tag uint16, v uint32) {
		b = le.AppendUint16(b, tag)
		b = le.AppendUint16(b, 4) // LONG
		b = le.AppendUint32(b, 1)
		b = le.AppendUint32(b, v)
	}
	short := func(tag uint16, v uint16) {
		b = le.AppendUint16(b, tag)
		b = le.AppendUint16(b, 3) // SHORT
		b = le.AppendUint32(b, 1)
		b = le.AppendUint16(b, v)
		b = le.AppendUint16(b, 0)
	}
	field(tagWidth, uint32(f.Width))
	field(tagHeight, uint32(f.Height))
	short(tagBits, 32)
	short(tagCompression, tiffPlain)
	short(tagPhotometric, 1)
	field(tagStripOffsets, uint32(at)+tiffDirBytes)
	short(tagSamplesPerPixel, 1)
	field(tagRowsPerStrip, uint32(f.Height))
	field(tagStripCounts, uint32(4*len(f.Pixels)))
	short(tagSampleFormat, 3)
	b = le.AppendUint32(b, uint32(at+e.stride()))
	e.w.buf.Write(append(b, 0, 0))
	return e.w.floats(f.Pixels, false, 4)
}

func (e *tiffEncoder) finish(frames int) error {
	return e.w.patch(make([]byte, 4), 8+int64(frames-1)*e.stride()+tiffDirNext)
}

// fitsEncoder writes one primary image or cube of BITPIX -32.
type fitsEncoder struct{ w *Writer }

func (e *fitsEncoder) frame(f Frame) error {
	if e.w.frames == 1 {
		e.w.buf.Write(e.header(1))
	}
	return e.w.floats(f.Pixels, true, 4)
}

func (e *fitsEncoder) header(frames int) []byte {
	var b strings.Builder
	card := func(key, value string) { fmt.Fprintf(&b, "%-8s= %20s%50s", key, value, "") }
	card("SIMPLE", "T")
	card("BITPIX", "-32")
	axes := []int{e.w.first.Width, e.w.first.Height}
	if frames > 1 {
		axes = append(axes, frames)
	}
	card("NAXIS", strconv.Itoa(len(axes)))
	for i, n := range axes {
		card(fmt.Sprintf("NAXIS%d", i+1), strconv.Itoa(n))
	}
	if u := e.w.o.Unit; u != Unstated {
		fmt.Fprintf(&b, "%-80s", fmt.Sprintf("BUNIT   = '%-8s'", u))
	}
	fmt.Fprintf(&b, "%-80s", "END")
	return []byte(fmt.Sprintf("%-*s", fitsBlock, b.String()))
}

func (e *fitsEncoder) finish(frames int) error {
	data := 4 * int64(frames) * int64(e.w.first.Width) * int64(e.w.first.Height)
	e.w.buf.Write(make([]byte, (fitsBlock-data%fitsBlock)%fitsBlock))
	return e.w.patch(e.header(frames), 0)
}

// pngEncoder writes one frame of whole counts.
type pngEncoder struct{ w *Writer }

func (e *pngEncoder) frame(f Frame) error {
	if e.w.frames > 1 {
		return fault.Invalidf("%s: a PNG holds one frame", e.w.path).WithHint("pick one with --index, or write .npy, .tif or .fits")
	}
	img := image.NewGray16(image.Rect(0, 0, f.Width, f.Height))
	for i, v := range f.Pixels {
		if !(v >= 0 && v <= math.MaxUint16) || v != math.Trunc(v) {
			return fault.Invalidf("%s: a PNG holds whole counts from 0 to 65535, and column %d, row %d is %g", e.w.path, i%f.Width, i/f.Width, v).
				WithHint("write .csv, .npy, .tif or .fits; frame show makes a picture")
		}
		binary.BigEndian.PutUint16(img.Pix[2*i:], uint16(v))
	}
	return png.Encode(e.w.buf, img)
}

func (e *pngEncoder) finish(int) error { return nil }
