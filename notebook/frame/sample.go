package frame

import (
	"encoding/binary"
	"io"
	"math"

	"dieglow/catalog/fault"
)

// Sample is how a file stores one pixel.
type Sample int

// The samples that the readers take. Decimal is a number written out in text.
const (
	Decimal Sample = iota
	Uint8
	Int8
	Uint16
	Int16
	Uint32
	Int32
	Int64
	Float32
	Float64
)

// String returns the sample's short name: u for unsigned and i for signed
// integers, f for floating point, and the number of bits.
func (s Sample) String() string {
	names := [...]string{"decimal", "u8", "i8", "u16", "i16", "u32", "i32", "i64", "f32", "f64"}
	if s < 0 || int(s) >= len(names) {
		return "unknown"
	}
	return names[s]
}

// Bytes returns the stored size of a sample, 0 for Decimal.
func (s Sample) Bytes() int {
	switch s {
	case Uint8, Int8:
		return 1
	case Uint16, Int16:
		return 2
	case Uint32, Int32, Float32:
		return 4
	case Int64, Float64:
		return 8
	default:
		return 0
	}
}

// Integer says whether the sample is a whole number of bounded size, so that
// its largest value means saturation.
func (s Sample) Integer() bool { return s >= Uint8 && s <= Int64 }

// highest returns the largest stored value of an integer sample.
func (s Sample) highest() float64 {
	bits := 8 * s.Bytes()
	switch s {
	case Int8, Int16, Int32, Int64:
		bits--
	}
	return math.Ldexp(1, bits) - 1
}

// layout is how the numbers of a binary file are to be understood.
type layout struct {
	sample    Sample
	bigEndian bool

	// A pixel is zero + scale*stored where scaled is set (FITS BZERO and BSCALE).
	scaled      bool
	scale, zero float64
	// An integer equal to blank is a missing pixel where hasBlank is set.
	hasBlank bool
	blank    int64
}

func (l layout) orderName() string {
	switch {
	case l.sample.Bytes() < 2:
		return ""
	case l.bigEndian:
		return "big endian"
	default:
		return "little endian"
	}
}

// saturation returns the value at which the integers of the file end, or nil.
func (l layout) saturation() *float64 {
	if !l.sample.Integer() || l.scaled && !(l.scale > 0) {
		return nil
	}
	v := l.sample.highest()
	if l.scaled {
		v = l.zero + l.scale*v
	}
	return &v
}

// swap turns every sample of b around, from one byte order to the other.
func swap(b []byte, size int) {
	switch size {
	case 2:
		for i := 0; i+2 <= len(b); i += 2 {
			b[i], b[i+1] = b[i+1], b[i]
		}
	case 4:
		for i := 0; i+4 <= len(b); i += 4 {
			binary.LittleEndian.PutUint32(b[i:], binary.BigEndian.Uint32(b[i:]))
		}
	case 8:
		for i := 0; i+8 <= len(b); i += 8 {
			binary.LittleEndian.PutUint64(b[i:], binary.BigEndian.Uint64(b[i:]))
		}
	}
}

// decode turns stored samples into pixels; src holds len(dst) samples and is
// overwritten when it has to be turned around. A 64-bit integer that a float64
// cannot hold exactly is refused.
func (l layout) decode(dst []float64, src []byte) error {
	if l.bigEndian {
		swap(src, l.sample.Bytes())
	}
	if err := l.plain(dst, src); err != nil {
		return err
	}
	if l.hasBlank {
		blank := float64(l.blank)
		for i, v := range dst {
			if v == blank {
				dst[i] = math.NaN()
			}
		}
	}
	if l.scaled {
		for i, v := range dst {
			dst[i] = l.zero + l.scale*v
		}
	}
	return nil
}

// plain decodes little endian samples without scale.
func (l layout) plain(dst []float64, src []byte) error {
	src = src[:len(dst)*l.sample.Bytes()]
	le := binary.LittleEndian
	switch l.sample {
	case Uint8:
		for i := range dst {
			dst[i] = float64(src[i])
		}
	case Int8:
		for i := range dst {
			dst[i] = float64(int8(src[i]))
		}
	case Uint16:
		for i := range dst {
			dst[i] = float64(le.Uint16(src[2*i:]))
		}
	case Int16:
		for i := range dst {
			dst[i] = float64(int16(le.Uint16(src[2*i:])))
		}
	case Uint32:
		for i := range dst {
			dst[i] = float64(le.Uint32(src[4*i:]))
		}
	case Int32:
		for i := range dst {
			dst[i] = float64(int32(le.Uint32(src[4*i:])))
		}
	case Float32:
		for i := range dst {
			dst[i] = float64(math.Float32frombits(le.Uint32(src[4*i:])))
		}
	case Float64:
		for i := range dst {
			dst[i] = math.Float64frombits(le.Uint64(src[8*i:]))
		}
	case Int64:
		for i := range dst {
			v := int64(le.Uint64(src[8*i:]))
			if v > 1<<53 || v < -1<<53 {
				return fault.Invalidf("pixel %d is %d, beyond the integers a float64 holds exactly", i, v).
					WithHint("save the frames as f8, or check that they are frames")
			}
			dst[i] = float64(v)
		}
	}
	return nil
}

// block reads frames that lie one behind the other in a file, as NPY, FITS and
// raw files keep them. The file has been checked to hold all of them.
type block struct {
	file       io.ReaderAt
	offset     int64 // of the first frame
	frames     int
	layout     layout
	transposed bool // one frame, stored column by column
	at         int  // the next frame
	buf        []byte
}

func (b *block) next(f *Frame) error {
	if b.at >= b.frames {
		return errEnd
	}
	f.room()
	n := len(f.Pixels) * b.layout.sample.Bytes()
	if len(b.buf) < n {
		b.buf = make([]byte, n)
	}
	if _, err := b.file.ReadAt(b.buf[:n], b.offset+int64(b.at)*int64(n)); err != nil {
		return fault.Otherf("frame %d not read", b.at).Because(err)
	}
	b.at++
	if !b.transposed {
		return b.layout.decode(f.Pixels, b.buf[:n])
	}
	columns := make([]float64, len(f.Pixels))
	if err := b.layout.decode(columns, b.buf[:n]); err != nil {
		return err
	}
	for x := range f.Width {
		for y := range f.Height {
			f.Pixels[y*f.Width+x] = columns[x*f.Height+y]
		}
	}
	return nil
}

func (b *block) skip(n int) (int, error) {
	n = min(n, b.frames-b.at)
	b.at += n
	return n, nil
}
