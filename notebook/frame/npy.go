package frame

import (
	"encoding/binary"
	"fmt"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// The NPY format is described in NumPy Enhancement Proposal 1 ("A Simple File
// Format for NumPy Arrays") and, with version 3, in the reference of numpy.lib.format.
const (
	npyMagic     = "\x93NUMPY"
	npyHeaderMax = 64 << 10 // a header of plain numbers takes about 120 bytes
)

// openNPY reads the header of versions 1 to 3. Arrays have two axes (rows,
// columns) or three (frames, rows, columns).
func openNPY(in input, o Options) (Info, source, error) {
	h, offset, err := readNPYHeader(in)
	if err != nil {
		return Info{}, nil, err
	}
	l, err := npySample(h.descr)
	if err != nil {
		return Info{}, nil, err
	}
	shape := h.shape
	if len(shape) != 2 && len(shape) != 3 {
		return Info{}, nil, fault.Invalidf("the array has %d axes", len(shape)).
			WithHint("save an array with the axes (rows, columns) or (frames, rows, columns)")
	}
	frames := int64(1)
	if len(shape) == 3 {
		frames, shape = shape[0], shape[1:]
	}
	if h.fortran && frames != 1 {
		return Info{}, nil, fault.Invalidf("a stack in Fortran order, which keeps no frame together").
			WithHint("save numpy.ascontiguousarray(a)")
	}
	height, width := shape[0], shape[1]
	if err := checkSize(width, height, o.Limits); err != nil {
		return Info{}, nil, err
	}
	rest, err := checkHeld(in, offset, width*height*int64(l.sample.Bytes()), frames)
	if err != nil {
		return Info{}, nil, err
	}
	if rest > 0 {
		return Info{}, nil, fault.Invalidf("%d bytes follow the array that its header describes", rest).
			WithHint("save one array a file; a header of another shape also looks like this")
	}
	info := Info{
		Format: NPY, Width: int(width), Height: int(height), Frames: int(frames),
		Sample: l.sample, ByteOrder: l.orderName(), Compression: "none", Saturation: l.saturation(),
	}
	return info, &block{file: in.file, offset: offset, frames: int(frames), layout: l, transposed: h.fortran}, nil
}

// npyHeader is the dictionary of an array.
type npyHeader struct {
	descr   string
	fortran bool
	shape   []int64
}

func readNPYHeader(in input) (npyHeader, int64, error) {
	cut := func() error {
		return fault.Invalidf("the header of the array is cut short").WithHint("copy or export the file again")
	}
	var b [12]byte
	n, _ := in.file.ReadAt(b[:], 0)
	if n < 12 {
		return npyHeader{}, 0, cut()
	}
	length, start := int64(binary.LittleEndian.Uint16(b[8:])), int64(10)
	switch b[6] {
	case 1:
	case 2, 3:
		length, start = int64(binary.LittleEndian.Uint32(b[8:])), 12
	default:
		return npyHeader{}, 0, fault.Invalidf("version %d.%d of the array format is not read", b[6], b[7]).WithHint("save the array with numpy.save")
	}
	if start+length > in.size {
		return npyHeader{}, 0, cut()
	}
	if length > npyHeaderMax {
		return npyHeader{}, 0, fault.Invalidf("the header of the array takes %d bytes", length).WithHint("save the frames as a plain array of numbers")
	}
	text := make([]byte, length)
	if _, err := in.file.ReadAt(text, start); err != nil {
		return npyHeader{}, 0, fault.Otherf("header not read").Because(err)
	}
	h, err := parseNPYHeader(string(text))
	if err != nil {
		return npyHeader{}, 0, fault.Invalidf("the header of the array is not understood: %v", err).
			WithHint("save the frames with numpy.save as a plain array of numbers")
	}
	return h, start + length, nil
}

// npyParser reads the literal of a Python dictionary with the three keys.
type npyParser struct{ rest string }

func (p *npyParser) take(token string) bool {
	p.rest = strings.TrimLeft(p.rest, " \t\r\n")
	if !strings.HasPrefix(p.rest, token) {
		return false
	}
	p.rest = p.rest[len(token):]
	return true
}

// quoted reads a string in either kind of quotation mark, without escapes.
func (p *npyParser) quoted() (string, error) {
	for _, mark := range [...]string{"'", `"`} {
		if p.take(mark) {
			s, rest, ok := strings.Cut(p.rest, mark)
			if !ok || strings.Contains(s, `\`) {
				break
			}
			p.rest = rest
			return s, nil
		}
	}
	return "", fmt.Errorf("no quoted text at %.20q", p.rest)
}

func (p *npyParser) boolean() (bool, error) {
	if p.take("True") {
		return true, nil
	}
	if p.take("False") {
		return false, nil
	}
	return false, fmt.Errorf("neither True nor False at %.20q", p.rest)
}

// shape reads a tuple of at most 32 sizes, numpy's own limit.
func (p *npyParser) shape() ([]int64, error) {
	if !p.take("(") {
		return nil, fmt.Errorf("no shape at %.20q", p.rest)
	}
	sizes := []int64{}
	for !p.take(")") {
		if len(sizes) > 0 && !p.take(",") {
			return nil, fmt.Errorf("no comma at %.20q", p.rest)
		}
		if p.take(")") {
			break
		}
		end := 0
		for end < len(p.rest) && (p.rest[end] == ' ' || p.rest[end]-'0' <= 9) {
			end++
		}
		v, err := strconv.ParseInt(strings.TrimSpace(p.rest[:end]), 10, 64)
		if err != nil || len(sizes) == 32 {
			return nil, fmt.Errorf("no size at %.20q", p.rest)
		}
		p.rest = p.rest[end:]
		p.take("L") // as Python 2 wrote long integers
		sizes = append(sizes, v)
	}
	return sizes, nil
}

func parseNPYHeader(text string) (npyHeader, error) {
	p := npyParser{rest: text}
	var h npyHeader
	seen := map[string]bool{}
	if !p.take("{") {
		return h, fmt.Errorf("no dictionary at %.20q", p.rest)
	}
	for !p.take("}") {
		key, err := p.quoted()
		if err != nil {
			return h, err
		}
		if seen[key] || !p.take(":") {
			return h, fmt.Errorf("the key %q stands twice or has no value", key)
		}
		seen[key] = true
		switch key {
		case "descr":
			h.descr, err = p.quoted()
			if err != nil {
				err = fmt.Errorf("its elements are not plain numbers")
			}
		case "fortran_order":
			h.fortran, err = p.boolean()
		case "shape":
			h.shape, err = p.shape()
		default:
			err = fmt.Errorf("the key %q is not one of an array", key)
		}
		if err != nil {
			return h, err
		}
		p.take(",")
	}
	if strings.TrimSpace(p.rest) != "" || len(seen) != 3 {
		return h, fmt.Errorf("it is not a dictionary of descr, fortran_order and shape")
	}
	return h, nil
}

// npySample reads an element type such as <u2.
func npySample(descr string) (layout, error) {
	var l layout
	kinds := map[string]Sample{"u1": Uint8, "i1": Int8, "u2": Uint16, "i2": Int16, "u4": Uint32, "i4": Int32, "i8": Int64, "f4": Float32, "f8": Float64}
	if len(descr) == 3 && strings.ContainsRune("<>|=", rune(descr[0])) {
		if s, ok := kinds[descr[1:]]; ok && (s.Bytes() == 1 || descr[0] == '<' || descr[0] == '>') {
			l.sample, l.bigEndian = s, descr[0] == '>'
			return l, nil
		}
	}
	return l, fault.Invalidf("elements of type %q are not read", descr).WithHint("save the array as u1, i1, u2, i2, u4, i4, i8, f4 or f8")
}
