package frame

import (
	"bufio"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"io"

	"dieglow/catalog/fault"

	"golang.org/x/image/tiff/lzw"
)

// tiffPage is a page whose claims have been checked against the file.
type tiffPage struct {
	width, height int
	layout        layout
	compression   uint64
	predictor     uint64
	tileW, tileH  int  // of a tile, or of a strip
	tiled         bool // tiles are stored whole, the last strip is not
	offsets       []uint64
	counts        []uint64
	notes         []string
}

// tiffDecoder keeps what decoding reuses.
type tiffDecoder struct {
	tile, page []byte
	packed     *bufio.Reader
	inflate    io.ReadCloser
}

const (
	tiffPlain      = 1
	tiffLZW        = 5
	tiffDeflate    = 8
	tiffOldDeflate = 32946
)

func (p tiffPage) compressionName() string {
	switch p.compression {
	case tiffLZW:
		return "LZW"
	case tiffDeflate, tiffOldDeflate:
		return "Deflate"
	default:
		return "none"
	}
}

// pageReader reads fields and keeps the first error.
type pageReader struct {
	t   *tiffFile
	d   tiffDir
	err error
}

func (r *pageReader) get(tag uint16, absent uint64) uint64 {
	v, err := r.t.number(r.d, tag, absent)
	if err != nil && r.err == nil {
		r.err = err
	}
	return v
}

// readPage reads and checks a directory.
func (s *tiffSource) readPage(d tiffDir) (tiffPage, error) {
	r := pageReader{t: &s.tiffFile, d: d}
	return r.read(s.limits)
}

func (r *pageReader) read(limits Limits) (tiffPage, error) {
	w, h := r.get(tagWidth, 0), r.get(tagHeight, 0)
	p := tiffPage{compression: r.get(tagCompression, tiffPlain), predictor: r.get(tagPredictor, 1)}
	if err := r.sample(&p); err != nil {
		return p, err
	}
	if err := checkSize(int64(min(w, 1<<40)), int64(min(h, 1<<40)), limits); err != nil {
		return p, err
	}
	p.width, p.height = int(w), int(h)
	if err := r.coding(&p); err != nil {
		return p, err
	}
	return p, r.tiles(&p, limits)
}

// sample reads what a pixel is.
func (r *pageReader) sample(p *tiffPage) error {
	channels := r.get(tagSamplesPerPixel, 1)
	photometric := r.get(tagPhotometric, 1)
	if r.err == nil && (channels != 1 || photometric > 1) {
		return tiffBad("a TIFF picture in colour, not one number a pixel (%d channels, photometric interpretation %d)", channels, photometric)
	}
	bits, format := r.get(tagBits, 1), r.get(tagSampleFormat, 1)
	if r.err != nil {
		return r.err
	}
	samples := map[[2]uint64]Sample{
		{8, 1}: Uint8, {16, 1}: Uint16, {32, 1}: Uint32, {8, 2}: Int8, {16, 2}: Int16, {32, 2}: Int32,
		{32, 3}: Float32, {64, 3}: Float64, {8, 4}: Uint8, {16, 4}: Uint16, {32, 4}: Uint32,
	}
	s, ok := samples[[2]uint64{bits, format}]
	if !ok {
		return tiffBad("TIFF pixels of %d bits in sample format %d", bits, format)
	}
	p.layout = layout{sample: s, bigEndian: r.t.order == binary.BigEndian}
	if photometric == 0 {
		p.notes = append(p.notes, "the file wants its pictures drawn with white for zero; the numbers are as stored")
	}
	if s == Uint8 {
		p.notes = append(p.notes, "8 bits a pixel: most likely a picture made for the eye, whose numbers are grey levels and not what the detector gave")
	}
	if r.get(tagOrientation, 1) != 1 {
		p.notes = append(p.notes, "the file asks for its pictures to be turned or mirrored; rows and columns are as stored")
	}
	return r.err
}

// coding checks compression, predictor and bit order.
func (r *pageReader) coding(p *tiffPage) error {
	switch p.compression {
	case tiffPlain, tiffLZW, tiffDeflate, tiffOldDeflate:
	default:
		names := map[uint64]string{2: "CCITT", 3: "fax", 4: "fax", 6: "JPEG", 7: "JPEG", 32773: "PackBits", 34925: "LZMA", 50000: "Zstandard", 50001: "WebP"}
		return tiffBad("TIFF compression %d (%s) is not read", p.compression, names[p.compression])
	}
	if p.compression == tiffPlain {
		p.predictor = 1 // it belongs to LZW and Deflate
	}
	if p.predictor < 1 || p.predictor > 3 || p.predictor == 3 && p.layout.sample != Float32 && p.layout.sample != Float64 {
		return tiffBad("TIFF predictor %d for %s pixels is not read", p.predictor, p.layout.sample)
	}
	if order := r.get(tagFillOrder, 1); order != 1 && r.err == nil {
		return tiffBad("TIFF fill order %d is not read", order)
	}
	return r.err
}

// tiles reads where the strips or tiles are and checks that they can hold the
// page and lie in the file.
func (r *pageReader) tiles(p *tiffPage, limits Limits) error {
	offsets, counts := uint16(tagStripOffsets), uint16(tagStripCounts)
	tileW, tileH := uint64(p.width), min(r.get(tagRowsPerStrip, 1<<32-1), uint64(p.height))
	if _, ok := r.d.fields[tagTileWidth]; ok {
		p.tiled, offsets, counts = true, tagTileOffsets, tagTileCounts
		tileW, tileH = r.get(tagTileWidth, 0), r.get(tagTileHeight, 0)
	}
	if r.err != nil {
		return r.err
	}
	most := uint64(limits.MaxPixels)
	if tileW == 0 || tileH == 0 || tileW > most || tileH > most || tileW*tileH > most {
		return tiffBad("strips or tiles of %d x %d pixels", tileW, tileH)
	}
	p.tileW, p.tileH = int(tileW), int(tileH)
	n := p.across() * p.down()
	var err error
	if p.offsets, err = r.t.numbers(nil, r.d.fields[offsets], uint64(n)); err != nil {
		return err
	}
	if p.counts, err = r.t.numbers(nil, r.d.fields[counts], uint64(n)); err != nil {
		return err
	}
	if len(p.offsets) != n || len(p.counts) != n {
		return tiffBad("a TIFF page of %d strips or tiles names %d of them", n, min(len(p.offsets), len(p.counts)))
	}
	return p.checkHeld(r.t.in.size)
}

func (p *tiffPage) across() int { return (p.width + p.tileW - 1) / p.tileW }
func (p *tiffPage) down() int   { return (p.height + p.tileH - 1) / p.tileH }

// tileRows returns how many rows are stored in a strip or tile.
func (p *tiffPage) tileRows(down int) int {
	if p.tiled {
		return p.tileH
	}
	return min(p.tileH, p.height-down*p.tileH)
}

// checkHeld refuses a page whose strips lie outside the file or cannot hold it.
func (p *tiffPage) checkHeld(size int64) error {
	ratio, sum := uint64(lzwRatio), uint64(0)
	if p.compression == tiffPlain {
		ratio = 1
	}
	for i, n := range p.counts {
		if p.offsets[i] > uint64(size) || n > uint64(size)-p.offsets[i] {
			return tiffCut()
		}
		sum += n // no overflow: each is at most the size of the file
		want := uint64(p.tileW) * uint64(p.tileRows(i/p.across())) * uint64(p.layout.sample.Bytes())
		if n*ratio < want {
			return fault.Invalidf("strip or tile %d of the TIFF file claims %d bytes and cannot hold its %d", i, n, want).WithHint("copy or export the file again")
		}
	}
	if sum > uint64(size) {
		return tiffBad("the strips of the TIFF file overlap")
	}
	return nil
}

// decode fills dst with the pixels of a page.
func (s *tiffSource) decode(dst []float64, p tiffPage) error {
	c := &s.decoder
	size := p.layout.sample.Bytes()
	c.page = grow(c.page, len(dst)*size)
	c.tile = grow(c.tile, p.tileW*p.tileH*size)
	for i := range p.offsets {
		x, y := i%p.across()*p.tileW, i/p.across()*p.tileH
		rows := p.tileRows(i / p.across())
		tile := c.tile[:p.tileW*rows*size]
		if err := s.unpack(tile, p, i); err != nil {
			return err
		}
		unpredict(tile, p)
		width := min(p.tileW, p.width-x)
		for row := range min(rows, p.height-y) {
			copy(c.page[((y+row)*p.width+x)*size:][:width*size], tile[row*p.tileW*size:])
		}
	}
	plain := p.layout
	plain.bigEndian = false // unpredict has turned the bytes around
	return plain.decode(dst, c.page)
}

func grow(b []byte, n int) []byte {
	if cap(b) < n {
		return make([]byte, n)
	}
	return b[:n]
}

// unpack reads and decompresses one strip or tile.
func (s *tiffSource) unpack(dst []byte, p tiffPage, i int) error {
	c := &s.decoder
	if p.compression == tiffPlain {
		if _, err := s.in.file.ReadAt(dst, int64(p.offsets[i])); err != nil {
			return fault.Otherf("frame not read").Because(err)
		}
		return nil
	}
	packed := io.NewSectionReader(s.in.file, int64(p.offsets[i]), int64(p.counts[i]))
	err := c.expand(dst, packed, p.compression)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return fault.Invalidf("strip or tile %d of the TIFF file ends early", i).WithHint("copy or export the file again")
	}
	if err != nil {
		return fault.Invalidf("strip or tile %d of the TIFF file is damaged", i).WithHint("copy or export the file again").Because(err)
	}
	return nil
}

func (c *tiffDecoder) expand(dst []byte, packed io.Reader, compression uint64) error {
	if c.packed == nil {
		c.packed = bufio.NewReaderSize(packed, 64<<10)
	}
	r := c.packed
	r.Reset(packed)
	if compression == tiffLZW {
		l := lzw.NewReader(r, lzw.MSB, 8)
		defer l.Close()
		_, err := io.ReadFull(l, dst)
		return err
	}
	if c.inflate == nil {
		z, err := zlib.NewReader(r)
		if err != nil {
			return err
		}
		c.inflate = z
	} else if err := c.inflate.(zlib.Resetter).Reset(r, nil); err != nil {
		return err
	}
	_, err := io.ReadFull(c.inflate, dst)
	return err
}

// unpredict undoes the predictor and leaves little endian samples.
func unpredict(tile []byte, p tiffPage) {
	size := p.layout.sample.Bytes()
	if p.predictor == 3 {
		floatRows(tile, p.tileW*size, size)
		return
	}
	if p.layout.bigEndian {
		swap(tile, size)
	}
	if p.predictor != 2 {
		return
	}
	le := binary.LittleEndian
	for row := range len(tile) / (p.tileW * size) {
		b := tile[row*p.tileW*size:][:p.tileW*size]
		for i := size; i < len(b); i += size {
			switch size {
			case 1:
				b[i] += b[i-1]
			case 2:
				le.PutUint16(b[i:], le.Uint16(b[i:])+le.Uint16(b[i-2:]))
			case 4:
				le.PutUint32(b[i:], le.Uint32(b[i:])+le.Uint32(b[i-4:]))
			case 8:
				le.PutUint64(b[i:], le.Uint64(b[i:])+le.Uint64(b[i-8:]))
			}
		}
	}
}

// floatRows undoes the floating-point predictor: the bytes of a row are
// differences, sorted by their place in the number with the highest first.
func floatRows(tile []byte, rowBytes, size int) {
	plain := make([]byte, rowBytes)
	n := rowBytes / size
	for ; len(tile) >= rowBytes; tile = tile[rowBytes:] {
		row := tile[:rowBytes]
		for i := 1; i < rowBytes; i++ {
			row[i] += row[i-1]
		}
		for i := range n {
			for k := range size {
				plain[i*size+size-1-k] = row[k*n+i]
			}
		}
		copy(row, plain)
	}
}
