package frame

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"

	"dieglow/catalog/fault"
)

// refuses opens the bytes and compares the error; it also checks that little
// memory was taken on the way.
func refuses(t *testing.T, name string, data []byte, o Options, want string) {
	t.Helper()
	path := put(t, "f.bin", data)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	frames, _, err := all(path, o)
	runtime.ReadMemStats(&after)
	if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), want) || fault.HintOf(err) == "" {
		t.Errorf("%s: %d frames, %v (%v), want %q (invalid) with a hint", name, len(frames), err, fault.KindOf(err), want)
	}
	if took := after.TotalAlloc - before.TotalAlloc; took > 2<<20 {
		t.Errorf("%s: took %d bytes to refuse %d", name, took, len(data))
	}
}

// TestNPYRefuses is not parallel: it measures memory.
func TestNPYRefuses(t *testing.T) {
	tests := []struct {
		name, in, want string
	}{
		{"10 GB in a kilobyte", npyText("<u2", "False", 100_000, 192, 256) + strings.Repeat("x", 1000), "is cut short: 100000 frames of 98304 bytes are claimed, and 1000 bytes are there"},
		{"a size that overflows", npyText("<u2", "False", 1<<62, 4, 1), "is cut short"},
		{"a product that overflows", npyText("<f8", "False", 1<<40, 1<<40), "pixels, more than the 4194304 allowed"},
		{"zero rows", npyText("<u2", "False", 0, 4), "says its frames have 4 x 0 pixels"},
		{"zero frames", npyText("<u2", "False", 0, 4, 4), "says it holds 0 frames"},
		{"a negative size", npyText("<u2", "False", -4, 4), "no size at"},
		{"truncated", npyText("<f8", "False", 2, 2) + "abcdefgh", "is cut short: 1 frames of 32 bytes are claimed, and 8 bytes are there"},
		{"bytes behind", npyText("<u1", "False", 2, 2) + "abcde", "1 bytes follow the array"},
		{"one axis", npyText("<u2", "False", 4) + "abcdefgh", "the array has 1 axes"},
		{"four axes", npyText("<u1", "False", 1, 1, 1, 1) + "a", "the array has 4 axes"},
		{"Fortran stack", npyText("<u1", "True", 2, 1, 1) + "ab", "a stack in Fortran order"},
		{"complex", npyText("<c8", "False", 1, 1) + "abcdefgh", `elements of type "<c8" are not read`},
		{"half", npyText("<f2", "False", 1, 1) + "ab", `elements of type "<f2" are not read`},
		{"records", "\x93NUMPY\x01\x00\x40\x00" + fmt.Sprintf("%-64s", "{'descr': [('a', '<u2')], 'fortran_order': False, 'shape': (1,1)}"), "its elements are not plain numbers"},
		{"no native order", npyText("=u2", "False", 1, 1) + "ab", `elements of type "=u2" are not read`},
		{"version 4", "\x93NUMPY\x04\x00\x10\x00\x00\x00{}", "version 4.0"},
		{"a header longer than the file", "\x93NUMPY\x02\x00\xff\xff\xff\xff{}", "the header of the array is cut short"},
		{"no dictionary", "\x93NUMPY\x01\x00\x02\x00[]", "no dictionary"},
		{"a key twice", "\x93NUMPY\x01\x00\x26\x00{'shape': (1, 1), 'shape': (1, 1)     }", "stands twice"},
	}
	for _, tt := range tests {
		refuses(t, tt.name, []byte(tt.in), Options{}, tt.want)
	}
}

func TestRaw(t *testing.T) {
	data := []byte{1, 2, 3, 4, 5, 6, 7, 8}
	raw, err := ParseRaw("U16BE")
	if err != nil {
		t.Fatal(err)
	}
	frames, info, err := all(put(t, "f.raw", data), Options{Raw: &raw, Width: 2, Height: 1})
	if err != nil || len(frames) != 2 || frames[1].Pixels[1] != 0x0708 || info.ByteOrder != "big endian" || len(info.Notes) != 0 {
		t.Errorf("%v, %+v, %v; want two frames of big endian samples", frames, info, err)
	}
	if raw, err = ParseRaw("u16"); err != nil {
		t.Fatal(err)
	}
	frames, info, err = all(put(t, "f.raw", data), Options{Raw: &raw, Width: 4, Height: 1})
	if err != nil || frames[0].Pixels[3] != 0x0807 || len(info.Notes) != 1 {
		t.Errorf("%v, %+v, %v; want little endian samples and a note", frames, info, err)
	}
	refuses(t, "a part of a frame", data, Options{Raw: &raw, Width: 3, Height: 1}, "its 8 bytes are not a whole number of frames of 3 x 1 u16 pixels, 6 bytes each")
	refuses(t, "empty", nil, Options{Raw: &raw, Width: 3, Height: 1}, "are not a whole number of frames")
	refuses(t, "no size", data, Options{Raw: &raw}, "a raw file does not say its size")
	refuses(t, "a size that overflows", data, Options{Raw: &raw, Width: math.MaxInt, Height: math.MaxInt}, "more than the 4194304 allowed")
	refuses(t, "a file with a header", []byte(npyText("<u2", "False", 1, 4)+"abcdefgh"), Options{Raw: &raw, Width: 4, Height: 1}, "begins like a file of another format")
	for _, s := range []string{"", "u8", "u16me", "f64le", "le"} {
		if _, err := ParseRaw(s); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("ParseRaw(%q): %v, want fault Invalid with a hint", s, err)
		}
	}
}

// greyPNG draws a ramp with the standard library.
func greyPNG(bits, width, height int) []byte {
	var img image.Image
	if bits == 16 {
		g := image.NewGray16(image.Rect(0, 0, width, height))
		for i := range width * height {
			g.SetGray16(i%width, i/width, color.Gray16{Y: uint16(1000 * i)})
		}
		img = g
	} else {
		g := image.NewGray(image.Rect(0, 0, width, height))
		for i := range width * height {
			g.SetGray(i%width, i/width, color.Gray{Y: uint8(i)})
		}
		img = g
	}
	var b bytes.Buffer
	png.Encode(&b, img) // into memory: no error
	return b.Bytes()
}

func TestPNG(t *testing.T) {
	frames, info, err := all(put(t, "f.png", greyPNG(16, 3, 2)), Options{})
	if err != nil || !slices.Equal(frames[0].Pixels, []float64{0, 1000, 2000, 3000, 4000, 5000}) || info.Sample != Uint16 || len(info.Notes) != 0 {
		t.Errorf("%v, %+v, %v", frames, info, err)
	}
	frames, info, err = all(put(t, "f.png", greyPNG(8, 3, 2)), Options{})
	if err != nil || frames[0].Pixels[5] != 5 || info.Sample != Uint8 || len(info.Notes) != 1 || *info.Saturation != 255 {
		t.Errorf("%v, %+v, %v; want counts and a note", frames, info, err)
	}
	var b bytes.Buffer
	png.Encode(&b, image.NewRGBA(image.Rect(0, 0, 2, 2)))
	refuses(t, "colour", b.Bytes(), Options{}, "a PNG picture in colour")
	small := greyPNG(16, 3, 2)
	refuses(t, "truncated", small[:len(small)-20], Options{}, "the PNG picture is damaged")
	refuses(t, "only a header", small[:20], Options{}, "the PNG picture is cut short")
	large := bytes.Clone(small)
	binary.BigEndian.PutUint32(large[16:], 2000)
	binary.BigEndian.PutUint32(large[20:], 2000)
	refuses(t, "8 MB in a hundred bytes", large, Options{}, "2000 x 2000 pixels cannot be in")
	binary.BigEndian.PutUint32(large[20:], 1<<31)
	refuses(t, "a size that overflows", large, Options{}, "more than the 4194304 allowed")
	zero := bytes.Clone(small)
	binary.BigEndian.PutUint32(zero[16:], 0)
	refuses(t, "zero", zero, Options{}, "0 x 2 pixels")
}

// fitsFile makes a header of cards and data behind it.
func fitsFile(data []byte, cards ...string) []byte {
	var b strings.Builder
	for _, c := range append(cards, "END") {
		fmt.Fprintf(&b, "%-80s", c)
	}
	head := fmt.Sprintf("%-*s", (b.Len()+fitsBlock-1)/fitsBlock*fitsBlock, b.String())
	return append([]byte(head), append(data, make([]byte, (fitsBlock-len(data)%fitsBlock)%fitsBlock)...)...)
}

func fitsSamples() [][]byte {
	simple := "SIMPLE  =                    T"
	return [][]byte{
		fitsFile([]byte{0, 1, 0, 2}, simple, "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 2", "NAXIS2  = 1", "BZERO   = 3.2768D4 / unsigned", "BLANK   = 2"),
		append(fitsFile(nil, simple, "BITPIX  = 8", "NAXIS   = 0"),
			fitsFile([]byte{0, 0, 0, 0, 0x3f, 0x80, 0, 0}, "XTENSION= 'IMAGE   '", "BITPIX  = -32", "NAXIS   = 3", "NAXIS1  = 1", "NAXIS2  = 1", "NAXIS3  = 2", "BUNIT   = 'K''s'")...),
	}
}

func TestFITS(t *testing.T) {
	samples := fitsSamples()
	frames, info, err := all(put(t, "f.fits", samples[0]), Options{})
	if err != nil || !slices.EqualFunc(frames[0].Pixels, []float64{32769, math.NaN()}, same) || *info.Saturation != 65535 {
		t.Errorf("%v, %+v, %v", frames, info, err)
	}
	frames, info, err = all(put(t, "f.fits", samples[1]), Options{})
	if err != nil || len(frames) != 2 || frames[1].Pixels[0] != 1 || info.UnitText != "K's" {
		t.Errorf("%v, %+v, %v", frames, info, err)
	}
	simple := "SIMPLE  =                    T"
	tests := []struct {
		name, want string
		in         []byte
	}{
		{"a claim of 10 GB", "is cut short: 100000 frames of 98304 bytes are claimed, and 2880 bytes are there", fitsFile([]byte{1}, simple, "BITPIX  = 16", "NAXIS   = 3", "NAXIS1  = 256", "NAXIS2  = 192", "NAXIS3  = 100000")},
		{"a size that overflows", "more than the 4194304 allowed", fitsFile(nil, simple, "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 9223372036854775807", "NAXIS2  = 3")},
		{"zero", "4 x 0 pixels", fitsFile(nil, simple, "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 4", "NAXIS2  = 0")},
		{"random groups", "random groups", fitsFile(nil, simple, "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 0", "NAXIS2  = 4")},
		{"one axis", "one axis", fitsFile(nil, simple, "BITPIX  = 16", "NAXIS   = 1", "NAXIS1  = 4")},
		{"four axes", "4 axes", fitsFile(nil, simple, "BITPIX  = 16", "NAXIS   = 4", "NAXIS1  = 1", "NAXIS2  = 1", "NAXIS3  = 1", "NAXIS4  = 2")},
		{"no NAXIS2", "no NAXIS2", fitsFile(nil, simple, "BITPIX  = 16", "NAXIS   = 2", "NAXIS1  = 4")},
		{"an unknown BITPIX", "BITPIX = 12", fitsFile(nil, simple, "BITPIX  = 12", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1")},
		{"a scale of zero", "BSCALE = 0", fitsFile([]byte{1}, simple, "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1", "BSCALE  = 0")},
		{"a scale that is no number", "is not a number", fitsFile([]byte{1}, simple, "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1", "NAXIS2  = 1", "BSCALE  = nan")},
		{"no image", "holds no image", fitsFile(nil, simple, "BITPIX  = 8", "NAXIS   = 0")},
		{"a table that claims more than the file", "a unit before the image claims", append(fitsFile(nil, simple, "BITPIX  = 8", "NAXIS   = 0"), fitsFile(nil, "XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 1000000000", "NAXIS2  = 1000000000")...)},
		{"tile compression", "tile compression", append(fitsFile(nil, simple, "BITPIX  = 8", "NAXIS   = 0"), fitsFile(nil, "XTENSION= 'BINTABLE'", "BITPIX  = 8", "NAXIS   = 2", "NAXIS1  = 0", "NAXIS2  = 0", "ZIMAGE  = T")...)},
		{"a header cut short", "the FITS header is cut short", samples[0][:400]},
		{"no end", "the FITS header is cut short", bytes.ReplaceAll(samples[0], []byte("END"), []byte("ENX"))},
	}
	for _, tt := range tests {
		refuses(t, tt.name, tt.in, Options{}, tt.want)
	}
}

// tiffPageOf makes a file of one page: the fields in order, all LONG or SHORT,
// and the data where StripOffsets (left 0) is to point.
func tiffPageOf(order binary.AppendByteOrder, data []byte, fields ...[2]uint32) []byte {
	b := []byte("II")
	if order.String() == "BigEndian" {
		b = []byte("MM")
	}
	b = order.AppendUint32(order.AppendUint16(b, 42), 8)
	b = order.AppendUint16(b, uint16(len(fields)))
	end := uint32(8 + 2 + 12*len(fields) + 4)
	for _, f := range fields {
		b = order.AppendUint32(order.AppendUint16(order.AppendUint16(b, uint16(f[0])), 4), 1)
		if f[0] == tagStripOffsets || f[0] == tagTileOffsets {
			f[1] += end
		}
		b = order.AppendUint32(b, f[1])
	}
	return append(order.AppendUint32(b, 0), data...)
}

func deflated(b []byte) []byte {
	var out bytes.Buffer
	w := zlib.NewWriter(&out)
	w.Write(b) // into memory: no error
	w.Close()
	return out.Bytes()
}

func basicFields(width, height, bits, bytes uint32, more ...[2]uint32) [][2]uint32 {
	return append([][2]uint32{{tagWidth, width}, {tagHeight, height}, {tagBits, bits}, {tagStripOffsets, 0}, {tagStripCounts, bytes}}, more...)
}

// floatPredicted is one row of the floats 1 and 2 (0x3f800000, 0x40000000) as
// Technical Note 3 wants it: the highest bytes of all first, then differences.
func floatPredicted() []byte { return []byte{0x3f, 1, 0x40, 0x80, 0, 0, 0, 0} }

func tiffSamples() [][]byte {
	p := deflated(floatPredicted())
	n := uint32(len(p))
	return [][]byte{
		tiffPageOf(binary.LittleEndian, []byte{1, 0, 2, 0}, basicFields(2, 1, 16, 4)...),
		tiffPageOf(binary.BigEndian, []byte{0, 1, 0, 2}, basicFields(2, 1, 16, 4)...),
		tiffPageOf(binary.LittleEndian, p, basicFields(2, 1, 32, n, [2]uint32{tagCompression, 8}, [2]uint32{tagPredictor, 3}, [2]uint32{tagSampleFormat, 3})...),
		tiffPageOf(binary.BigEndian, p, basicFields(2, 1, 32, n, [2]uint32{tagCompression, 8}, [2]uint32{tagPredictor, 3}, [2]uint32{tagSampleFormat, 3})...),
		// LZW of 1, 2 as one byte each (codes of 9 bits: clear, 1, 2, end).
		tiffPageOf(binary.LittleEndian, []byte{0x80, 0x00, 0x40, 0x50, 0x10}, basicFields(2, 1, 8, 5, [2]uint32{tagCompression, 5})...),
	}
}

func TestTIFFSamples(t *testing.T) {
	for i, b := range tiffSamples() {
		frames, info, err := all(put(t, "f.tif", b), Options{})
		if err != nil || !slices.Equal(frames[0].Pixels, []float64{1, 2}) {
			t.Errorf("sample %d: %v, %+v, %v; want 1, 2", i, frames, info, err)
		}
	}
}

func TestTIFFRefuses(t *testing.T) {
	le, be := binary.LittleEndian, binary.BigEndian
	circle := tiffPageOf(le, []byte{1, 0}, basicFields(1, 1, 16, 2)...)
	le.PutUint32(circle[8+2+12*5:], 8)
	tests := []struct {
		name, want string
		in         []byte
	}{
		{"10 GB in a kilobyte", "cut short", tiffPageOf(be, make([]byte, 1000), basicFields(2000, 2000, 16, 8_000_000)...)},
		{"a strip that cannot hold it", "claims 4 bytes and cannot hold its 8000000", tiffPageOf(be, make([]byte, 1000), basicFields(2000, 2000, 16, 4)...)},
		{"packed data that cannot hold it", "cannot hold its", tiffPageOf(le, make([]byte, 100), basicFields(2000, 2000, 16, 100, [2]uint32{tagCompression, 5})...)},
		{"a size that overflows", "more than the 4194304 allowed", tiffPageOf(le, nil, basicFields(1<<31, 1<<31, 16, 0)...)},
		{"zero", "0 x 1 pixels", tiffPageOf(le, []byte{1, 0}, basicFields(0, 1, 16, 2)...)},
		{"many tiny strips", "names 1 of them", tiffPageOf(le, []byte{1, 0}, basicFields(1, 1000, 16, 2, [2]uint32{tagRowsPerStrip, 1})...)},
		{"no rows a strip", "strips or tiles of 1 x 0 pixels", tiffPageOf(le, []byte{1, 0}, basicFields(1, 1, 16, 2, [2]uint32{tagRowsPerStrip, 0})...)},
		{"a circle of pages", "form a circle", circle},
		{"colour", "in colour", tiffPageOf(le, make([]byte, 6), basicFields(1, 1, 16, 6, [2]uint32{tagSamplesPerPixel, 3})...)},
		{"palette", "photometric interpretation 3", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 16, 2, [2]uint32{tagPhotometric, 3})...)},
		{"12 bits", "pixels of 12 bits", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 12, 2)...)},
		{"half floats", "16 bits in sample format 3", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 16, 2, [2]uint32{tagSampleFormat, 3})...)},
		{"JPEG", "compression 7 (JPEG)", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 16, 2, [2]uint32{tagCompression, 7})...)},
		{"an unknown predictor", "predictor 7", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 16, 2, [2]uint32{tagCompression, 8}, [2]uint32{tagPredictor, 7})...)},
		{"a float predictor on integers", "predictor 3 for u16", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 16, 2, [2]uint32{tagCompression, 8}, [2]uint32{tagPredictor, 3})...)},
		{"damaged Deflate", "is damaged", tiffPageOf(le, make([]byte, 9), basicFields(1, 1, 16, 9, [2]uint32{tagCompression, 8})...)},
		{"Deflate that ends early", "ends early", tiffPageOf(le, deflated([]byte{1}), basicFields(1, 1, 16, uint32(len(deflated([]byte{1}))), [2]uint32{tagCompression, 8})...)},
		{"no first page", "without a page", []byte("II*\x00\x00\x00\x00\x00")},
		{"a first page outside", "cut short", []byte("II*\x00\xff\xff\xff\xff")},
		{"a directory cut short", "cut short", tiffSamples()[0][:30]},
		{"only a reduced copy", "without a page", tiffPageOf(le, make([]byte, 2), basicFields(1, 1, 16, 2, [2]uint32{tagSubfile, 1})...)},
	}
	for _, tt := range tests {
		refuses(t, tt.name, tt.in, Options{}, tt.want)
	}
}

// TestTIFFPagesOfAnotherSize follows a chain of two pages that differ.
func TestTIFFPagesOfAnotherSize(t *testing.T) {
	first := tiffPageOf(binary.LittleEndian, []byte{1, 0, 2, 0}, basicFields(2, 1, 16, 4)...)
	second := tiffPageOf(binary.LittleEndian, nil, basicFields(1, 2, 16, 4)...)[8:]
	binary.LittleEndian.PutUint32(first[8+2+12*5:], uint32(len(first)))
	binary.LittleEndian.PutUint32(second[2+12*3+8:], 8+2+12*5+4)
	refuses(t, "pages of two sizes", append(first, second...), Options{}, "page 1 has 1 x 2 u16 pixels, and page 0 has 2 x 1 u16")
}
