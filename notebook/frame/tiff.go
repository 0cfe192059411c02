package frame

import (
	"encoding/binary"
	"fmt"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// TIFF is read as the TIFF 6.0 specification (Aldus, 1992), its Technical Note
// 3 (floating-point predictor) and the BigTIFF layout (8-byte offsets) have it.
const (
	tiffEntriesMax = 4096 // fields of one page
	// lzwRatio is more than the LZW of TIFF can expand: a 12-bit code stands for
	// fewer than 4096 bytes. Deflate stays below it.
	lzwRatio = 4096
)

// The fields that matter.
const (
	tagSubfile         = 254
	tagWidth           = 256
	tagHeight          = 257
	tagBits            = 258
	tagCompression     = 259
	tagPhotometric     = 262
	tagFillOrder       = 266
	tagDescription     = 270
	tagStripOffsets    = 273
	tagOrientation     = 274
	tagSamplesPerPixel = 277
	tagRowsPerStrip    = 278
	tagStripCounts     = 279
	tagPredictor       = 317
	tagTileWidth       = 322
	tagTileHeight      = 323
	tagTileOffsets     = 324
	tagTileCounts      = 325
	tagSampleFormat    = 339
)

// tiffFile is an open file and its layout.
type tiffFile struct {
	in    input
	order binary.ByteOrder
	big   bool
	buf   []byte
}

// tiffField is one entry of a page's directory.
type tiffField struct {
	tag, kind uint16
	count     uint64
	value     [8]byte // the value itself when it fits, else its offset
}

// tiffDir is a page's directory: the last entry of a tag counts.
type tiffDir struct {
	fields map[uint16]tiffField
	next   uint64
}

func tiffCut() error {
	return fault.Invalidf("the TIFF file is cut short").WithHint("copy or export the file again")
}

func tiffBad(format string, args ...any) error {
	return fault.Invalidf(format, args...).WithHint("save the frames as grey TIFF pages of 16-bit integers or 32-bit floats, uncompressed, LZW or Deflate")
}

// at returns n bytes at an offset, valid until the next call.
func (t *tiffFile) at(offset uint64, n int) ([]byte, error) {
	if offset > uint64(t.in.size) || uint64(n) > uint64(t.in.size)-offset {
		return nil, tiffCut()
	}
	if len(t.buf) < n {
		t.buf = make([]byte, n)
	}
	if _, err := t.in.file.ReadAt(t.buf[:n], int64(offset)); err != nil {
		return nil, fault.Otherf("frame not read").Because(err)
	}
	return t.buf[:n], nil
}

// header returns the offset of the first directory.
func (t *tiffFile) header() (uint64, error) {
	b, err := t.at(0, 8)
	if err != nil {
		return 0, err
	}
	t.order = binary.LittleEndian
	if b[0] == 'M' {
		t.order = binary.BigEndian
	}
	if t.order.Uint16(b[2:]) == 42 {
		return uint64(t.order.Uint32(b[4:])), nil
	}
	t.big = true
	if t.order.Uint16(b[4:]) != 8 || t.order.Uint16(b[6:]) != 0 {
		return 0, tiffBad("a BigTIFF file with offsets of %d bytes", t.order.Uint16(b[4:]))
	}
	if b, err = t.at(8, 8); err != nil {
		return 0, err
	}
	return t.order.Uint64(b), nil
}

// dir reads the directory at an offset.
func (t *tiffFile) dir(offset uint64) (tiffDir, error) {
	countSize, fieldSize, nextSize := 2, 12, 4
	if t.big {
		countSize, fieldSize, nextSize = 8, 20, 8
	}
	b, err := t.at(offset, countSize)
	if err != nil {
		return tiffDir{}, err
	}
	n := uint64(t.order.Uint16(b))
	if t.big {
		n = t.order.Uint64(b)
	}
	if n == 0 || n > tiffEntriesMax {
		return tiffDir{}, tiffBad("a TIFF page with %d fields", n)
	}
	if b, err = t.at(offset+uint64(countSize), int(n)*fieldSize+nextSize); err != nil {
		return tiffDir{}, err
	}
	d := tiffDir{fields: make(map[uint16]tiffField, n)}
	for range n {
		f := tiffField{tag: t.order.Uint16(b), kind: t.order.Uint16(b[2:])}
		if t.big {
			f.count = t.order.Uint64(b[4:])
			copy(f.value[:], b[12:20])
		} else {
			f.count = uint64(t.order.Uint32(b[4:]))
			copy(f.value[:4], b[8:12])
		}
		d.fields[f.tag] = f
		b = b[fieldSize:]
	}
	if t.big {
		d.next = t.order.Uint64(b)
	} else {
		d.next = uint64(t.order.Uint32(b))
	}
	return d, nil
}

// kindBytes returns the size of a field type, 0 for one that is not a whole
// number or text.
func kindBytes(kind uint16) int {
	switch kind {
	case 1, 2: // BYTE, ASCII
		return 1
	case 3: // SHORT
		return 2
	case 4, 13: // LONG, IFD
		return 4
	case 16, 18: // LONG8, IFD8
		return 8
	}
	return 0
}

// raw returns the bytes of a field of at most most values.
func (t *tiffFile) raw(f tiffField, most uint64) ([]byte, error) {
	size := kindBytes(f.kind)
	if size == 0 || f.count == 0 || f.count > most {
		return nil, tiffBad("TIFF field %d has type %d and %d values", f.tag, f.kind, f.count)
	}
	n := int(f.count) * size
	inline := 4
	if t.big {
		inline = 8
	}
	if n <= inline {
		return f.value[:n], nil
	}
	if t.big {
		return t.at(t.order.Uint64(f.value[:]), n)
	}
	return t.at(uint64(t.order.Uint32(f.value[:])), n)
}

// numbers appends the whole numbers of a field to dst.
func (t *tiffFile) numbers(dst []uint64, f tiffField, most uint64) ([]uint64, error) {
	b, err := t.raw(f, most)
	if err != nil {
		return nil, err
	}
	size := kindBytes(f.kind)
	for ; len(b) >= size; b = b[size:] {
		switch size {
		case 1:
			dst = append(dst, uint64(b[0]))
		case 2:
			dst = append(dst, uint64(t.order.Uint16(b)))
		case 4:
			dst = append(dst, uint64(t.order.Uint32(b)))
		case 8:
			dst = append(dst, t.order.Uint64(b))
		}
	}
	return dst, nil
}

// number returns the first value of a field, or absent when it is not there.
func (t *tiffFile) number(d tiffDir, tag uint16, absent uint64) (uint64, error) {
	f, ok := d.fields[tag]
	if !ok {
		return absent, nil
	}
	v, err := t.numbers(nil, f, 1)
	if err != nil {
		return 0, err
	}
	return v[0], nil
}

// tiffSource walks the pages that are frames.
type tiffSource struct {
	tiffFile
	at0      uint64 // the directory to be read next, 0 at the end
	page     tiffPage
	limits   Limits
	decoder  tiffDecoder
	position int // frame that comes next
}

// openTIFF reads the first page, and counts the others by their directories.
func openTIFF(in input, o Options) (Info, source, error) {
	s := &tiffSource{tiffFile: tiffFile{in: in}, limits: o.Limits}
	first, err := s.header()
	if err != nil {
		return Info{}, nil, err
	}
	frames, reduced, err := s.count(first)
	if err != nil {
		return Info{}, nil, err
	}
	if frames == 0 {
		return Info{}, nil, tiffBad("a TIFF file without a page at full size")
	}
	s.at0 = first
	d, err := s.seek()
	if err != nil {
		return Info{}, nil, err
	}
	p, err := s.readPage(d)
	if err != nil {
		return Info{}, nil, err
	}
	s.at0, s.page = first, p
	info := Info{
		Format: TIFF, Width: p.width, Height: p.height, Frames: frames, Sample: p.layout.sample,
		ByteOrder: p.layout.orderName(), Compression: p.compressionName(), Saturation: p.layout.saturation(), Notes: p.notes,
	}
	if reduced > 0 {
		info.Notes = append(info.Notes, fmt.Sprintf("%d pages are reduced copies or masks and were left out", reduced))
	}
	return info, s, s.checkDescription(d, frames)
}

// count walks the chain of directories. A chain that comes back to itself is
// found in constant memory (R. P. Brent, "An improved Monte Carlo factorization
// algorithm", BIT 20, 1980, section 2).
func (s *tiffSource) count(first uint64) (frames, reduced int, err error) {
	anchor, steps, limit := uint64(0), 0, 1
	for at := first; at != 0; {
		if at == anchor {
			return 0, 0, tiffBad("the pages of the TIFF file form a circle")
		}
		if steps++; steps == limit {
			anchor, steps, limit = at, 0, 2*limit
		}
		d, err := s.dir(at)
		if err != nil {
			return 0, 0, err
		}
		sub, err := s.number(d, tagSubfile, 0)
		if err != nil {
			return 0, 0, err
		}
		if isReduced(sub) {
			reduced++
		} else {
			frames++
		}
		at = d.next
	}
	return frames, reduced, nil
}

// isReduced says whether NewSubfileType marks a reduced copy or a mask.
func isReduced(subfile uint64) bool { return subfile&(1|4) != 0 }

// seek returns the directory of the next frame and moves past it.
func (s *tiffSource) seek() (tiffDir, error) {
	for s.at0 != 0 {
		d, err := s.dir(s.at0)
		if err != nil {
			return d, err
		}
		s.at0 = d.next
		sub, err := s.number(d, tagSubfile, 0)
		if err != nil || !isReduced(sub) {
			return d, err
		}
	}
	return tiffDir{}, errEnd
}

func (s *tiffSource) skip(n int) (int, error) {
	for i := range n {
		if _, err := s.seek(); err != nil {
			return i, err
		}
		s.position++
	}
	return n, nil
}

func (s *tiffSource) next(f *Frame) error {
	d, err := s.seek()
	if err != nil {
		return err
	}
	p, err := s.readPage(d)
	if err != nil {
		return err
	}
	if p.width != f.Width || p.height != f.Height || p.layout != s.page.layout {
		return fault.Invalidf("page %d has %d x %d %s pixels, and page 0 has %d x %d %s", s.position, p.width, p.height, p.layout.sample, f.Width, f.Height, s.page.layout.sample).
			WithHint("all pages of a stack have one size and one type: save others in a file of their own")
	}
	s.position++
	f.room()
	return s.decode(f.Pixels, p)
}

// checkDescription refuses a file that says it holds more frames than it has
// pages: some programs append the rest of a stack without directories, and
// reading one page would lose it silently.
func (s *tiffSource) checkDescription(d tiffDir, frames int) error {
	f, ok := d.fields[tagDescription]
	if !ok || f.kind != 2 || f.count > 1<<16 {
		return nil
	}
	b, err := s.raw(f, 1<<16)
	if err != nil {
		return err
	}
	for line := range strings.Lines(string(b)) {
		v, ok := strings.CutPrefix(strings.TrimSpace(line), "images=")
		if n, err := strconv.Atoi(v); ok && err == nil && n > frames {
			return tiffBad("the TIFF file says it holds %d images and has %d pages", n, frames)
		}
	}
	if strings.Contains(string(b), `"truncated": true`) {
		return tiffBad("the TIFF file says that it keeps frames without pages")
	}
	return nil
}
