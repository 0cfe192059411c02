package frame

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// FITS is read as the FITS Standard 4.0 (IAU FITS Working Group, 2018) has it:
// blocks of 2880 bytes, header cards of 80 characters, big endian samples.
const (
	fitsBlock     = 2880
	fitsCard      = 80
	fitsBlocksMax = 1000 // blocks of one header, 36,000 cards
	fitsUnitsMax  = 1000 // headers that are passed over before an image
)

// fitsHeader holds the cards of one header and data unit.
type fitsHeader struct {
	cards map[string]string
	data  int64 // offset of the data
}

// openFITS reads the primary image, or the first image extension when the
// primary header has no data. Row 0 is the row stored first.
func openFITS(in input, o Options) (Info, source, error) {
	at := int64(0)
	for unit := range fitsUnitsMax {
		if unit > 0 && at >= in.size {
			break
		}
		h, err := readFITSHeader(in, at)
		if err != nil {
			return Info{}, nil, err
		}
		axes, err := h.axes()
		if err != nil {
			return Info{}, nil, err
		}
		if h.isImage(unit) && len(axes) > 0 {
			return h.open(in, o, axes)
		}
		size, err := h.dataBytes(axes, in.size)
		if err != nil {
			return Info{}, nil, err
		}
		if h.cards["ZIMAGE"] == "T" {
			return Info{}, nil, fault.Invalidf("a FITS image with tile compression").WithHint("unpack it first: an uncompressed image is read")
		}
		at = h.data + size
	}
	return Info{}, nil, fault.Invalidf("the FITS file holds no image").WithHint("save the frames in the primary data or in an image extension")
}

// isImage says whether the unit holds an image and not a table.
func (h fitsHeader) isImage(unit int) bool {
	return unit == 0 || h.cards["XTENSION"] == "IMAGE"
}

// readFITSHeader reads cards up to END.
func readFITSHeader(in input, at int64) (fitsHeader, error) {
	h := fitsHeader{cards: map[string]string{}}
	buf := make([]byte, fitsBlock)
	for range fitsBlocksMax {
		if n, err := in.file.ReadAt(buf, at); n < fitsBlock {
			if err != io.EOF {
				return h, fault.Otherf("header not read").Because(err)
			}
			return h, fault.Invalidf("the FITS header is cut short").WithHint("copy or export the file again")
		}
		at += fitsBlock
		for card := range bytesChunks(buf) {
			key := strings.TrimRight(string(card[:8]), " ")
			if key == "END" {
				h.data = at
				return h, nil
			}
			if string(card[8:10]) != "= " {
				continue
			}
			if _, twice := h.cards[key]; !twice { // the first one counts
				h.cards[key] = fitsValue(string(card[10:]))
			}
		}
	}
	return h, fault.Invalidf("the FITS header has no END").WithHint("copy or export the file again")
}

// bytesChunks yields the cards of a block.
func bytesChunks(block []byte) func(func([]byte) bool) {
	return func(yield func([]byte) bool) {
		for i := 0; i+fitsCard <= len(block); i += fitsCard {
			if !yield(block[i : i+fitsCard]) {
				return
			}
		}
	}
}

// fitsValue returns the value of a card without quotation marks and comment.
func fitsValue(s string) string {
	s = strings.TrimLeft(s, " ")
	if !strings.HasPrefix(s, "'") {
		s, _, _ = strings.Cut(s, "/")
		return strings.TrimSpace(s)
	}
	var b strings.Builder
	for i := 1; i < len(s); i++ {
		if s[i] == '\'' {
			if i+1 >= len(s) || s[i+1] != '\'' {
				break
			}
			i++
		}
		b.WriteByte(s[i])
	}
	return strings.TrimRight(b.String(), " ")
}

func (h fitsHeader) integer(key string, absent int64) (int64, error) {
	s, ok := h.cards[key]
	if !ok {
		return absent, nil
	}
	v, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		return 0, fault.Invalidf("the FITS header has %s = %.40q, which is not a whole number", key, s).WithHint("export the file again")
	}
	return v, nil
}

func (h fitsHeader) float(key string, absent float64) (float64, error) {
	s, ok := h.cards[key]
	if !ok {
		return absent, nil
	}
	v, ok := number([]byte(strings.NewReplacer("D", "E", "d", "e").Replace(s)), '.')
	if !ok || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fault.Invalidf("the FITS header has %s = %.40q, which is not a number", key, s).WithHint("export the file again")
	}
	return v, nil
}

// axes returns the sizes of the axes, fastest first.
func (h fitsHeader) axes() ([]int64, error) {
	n, err := h.integer("NAXIS", -1)
	if err != nil {
		return nil, err
	}
	if n < 0 || n > 999 {
		return nil, fault.Invalidf("the FITS header has NAXIS = %d", n).WithHint("export the file again")
	}
	axes := make([]int64, n)
	for i := range axes {
		key := fmt.Sprintf("NAXIS%d", i+1)
		if axes[i], err = h.integer(key, -1); err != nil {
			return nil, err
		}
		if axes[i] < 0 {
			return nil, fault.Invalidf("the FITS header has no %s, or a negative one", key).WithHint("export the file again")
		}
	}
	return axes, nil
}

// dataBytes returns the padded size of the data of a unit that is passed over,
// |BITPIX|/8 x GCOUNT x (PCOUNT + product of the axes) (4.4.1.2), and refuses
// what is more than the file.
func (h fitsHeader) dataBytes(axes []int64, most int64) (int64, error) {
	bits, err1 := h.integer("BITPIX", 8)
	groups, err2 := h.integer("GCOUNT", 1)
	parameters, err3 := h.integer("PCOUNT", 0)
	for _, err := range [...]error{err1, err2, err3} {
		if err != nil {
			return 0, err
		}
	}
	size := 0.0
	if len(axes) > 0 {
		size = 1
		for _, a := range axes {
			size *= float64(a)
		}
		size = math.Abs(float64(bits)) / 8 * float64(groups) * (float64(parameters) + size)
	}
	if !(size >= 0 && size <= float64(most)) {
		return 0, fault.Invalidf("the FITS file is cut short: a unit before the image claims %.0f bytes", size).WithHint("copy or export the file again")
	}
	return (int64(size) + fitsBlock - 1) / fitsBlock * fitsBlock, nil
}

// open checks the image and makes its source.
func (h fitsHeader) open(in input, o Options, axes []int64) (Info, source, error) {
	for i, a := range axes {
		if i == 0 && a == 0 && len(axes) > 1 {
			return Info{}, nil, fault.Invalidf("a FITS file of random groups").WithHint("save the frames as a plain image or cube")
		}
		if i > 2 && a != 1 {
			return Info{}, nil, fault.Invalidf("a FITS image of %d axes", len(axes)).WithHint("save an image (columns, rows) or a cube (columns, rows, frames)")
		}
	}
	if len(axes) < 2 {
		return Info{}, nil, fault.Invalidf("a FITS image of one axis").WithHint("save an image (columns, rows) or a cube (columns, rows, frames)")
	}
	frames := int64(1)
	if len(axes) > 2 {
		frames = axes[2]
	}
	l, err := h.layout()
	if err != nil {
		return Info{}, nil, err
	}
	if err := checkSize(axes[0], axes[1], o.Limits); err != nil {
		return Info{}, nil, err
	}
	rest, err := checkHeld(in, h.data, axes[0]*axes[1]*int64(l.sample.Bytes()), frames)
	if err != nil {
		return Info{}, nil, err
	}
	info := Info{
		Format: FITS, Width: int(axes[0]), Height: int(axes[1]), Frames: int(frames), Sample: l.sample,
		ByteOrder: l.orderName(), Compression: "none", Saturation: l.saturation(), UnitText: h.cards["BUNIT"],
		Notes: []string{"row 0 is the row stored first, which programs for the sky draw at the bottom"},
	}
	if l.scaled {
		info.Notes = append(info.Notes, fmt.Sprintf("pixels are %g + %g x the stored integers (BZERO, BSCALE)", l.zero, l.scale))
	}
	if rest >= fitsBlock {
		info.Notes = append(info.Notes, fmt.Sprintf("%d bytes of further units follow the image and were not read", rest))
	}
	return info, &block{file: in.file, offset: h.data, frames: int(frames), layout: l}, nil
}

// layout reads BITPIX, BZERO, BSCALE and BLANK.
func (h fitsHeader) layout() (layout, error) {
	l := layout{bigEndian: true}
	bits, err := h.integer("BITPIX", 0)
	if err != nil {
		return l, err
	}
	samples := map[int64]Sample{8: Uint8, 16: Int16, 32: Int32, 64: Int64, -32: Float32, -64: Float64}
	sample, ok := samples[bits]
	if !ok {
		return l, fault.Invalidf("the FITS header has BITPIX = %d", bits).WithHint("save the frames with BITPIX 8, 16, 32, 64, -32 or -64")
	}
	l.sample = sample
	if l.scale, err = h.float("BSCALE", 1); err != nil {
		return l, err
	}
	if l.zero, err = h.float("BZERO", 0); err != nil {
		return l, err
	}
	l.scaled = l.scale != 1 || l.zero != 0
	if l.scale == 0 {
		return l, fault.Invalidf("the FITS header has BSCALE = 0, which makes all pixels equal").WithHint("export the file again")
	}
	if _, has := h.cards["BLANK"]; has && sample.Integer() {
		l.hasBlank = true
		if l.blank, err = h.integer("BLANK", 0); err != nil {
			return l, err
		}
	}
	return l, nil
}
