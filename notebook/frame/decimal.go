package frame

import (
	"encoding/binary"
	"math"
	"math/bits"
	"strconv"
	"strings"
)

// pow10 holds the powers of ten that a float64 represents exactly.
var pow10 = [...]float64{
	1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// fixed reads a number without exponent from the start of b, with mark as the
// decimal mark, and returns how many bytes it took; 0 when there is none or
// when it is too long for this path. The digits are an integer below 2^53 and
// the divisor a power of ten up to 10^22: both are exact, so the one division
// rounds once, to the value strconv.ParseFloat gives (W. D. Clinger, "How to
// read floating point numbers accurately", PLDI 1990, doi:10.1145/93542.93557).
func fixed(b []byte, mark byte) (float64, int) {
	i := 0
	negative := false
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		i = 1
	}
	m, n := whole(b[i:], 0)
	i += n
	count, decimals := n, 0
	if i < len(b) && b[i] == mark {
		i++
		m, decimals = whole(b[i:], m)
		i += decimals
		count += decimals
	}
	// 19 digits fit in 64 bits, so m has not wrapped around.
	if count == 0 || count > 19 || m >= 1<<53 {
		return 0, 0
	}
	v := float64(int64(m)) / pow10[decimals]
	if negative {
		v = -v
	}
	return v, i
}

// Digits are read up to eight at once from a 64-bit word, the first in its
// lowest byte: after ^ zeros they are 0 to 9, and the first byte that is none
// shows in its highest bit.
const zeros = 0x3030303030303030

// noDigit has the highest bit of bytes up to the first that is no digit clear,
// and that of this one set. What is above says nothing.
func noDigit(w uint64) uint64 {
	const to128, top = 0x7676767676767676, 0x8080808080808080 // brings 10 to 128
	return (w + to128 | w) & top
}

func leadingDigits(w uint64) int { return bits.TrailingZeros64(noDigit(w)) / 8 }

// joined returns the number that eight digits make: three multiplications join
// neighbours, pairs and fours.
func joined(w uint64) uint64 {
	const lowest = 0x000000ff000000ff
	w = w*10 + w>>8
	return ((w&lowest)*(1_000_000<<32+100) + (w>>16&lowest)*(10_000<<32+1)) >> 32
}

// plainBytes is how many bytes are looked at from the start of a plain number.
const plainBytes = 24

// shape is how a plain number is written: a sign, that many whole digits, and
// that many decimals.
type shape struct{ sign, whole, decimals int }

// marks are the bytes behind a number and before its decimals.
type marks struct{ sep, decimal byte }

// shapeOf returns the shape of the number at the start of row, false when it is
// not plain: without a decimal mark, with more than eight digits, or with less
// than plainBytes to the end of the row.
func shapeOf(row []byte, m marks) (shape, bool) {
	var s shape
	if len(row) < plainBytes {
		return s, false
	}
	if row[0] == '-' {
		s.sign = 1
	}
	row = row[s.sign:]
	s.whole = leadingDigits(binary.LittleEndian.Uint64(row) ^ zeros)
	if s.whole == 0 || s.whole == 8 || row[s.whole] != m.decimal {
		return s, false
	}
	s.decimals = leadingDigits(binary.LittleEndian.Uint64(row[s.whole+1:]) ^ zeros)
	n := s.whole + s.decimals
	return s, s.decimals > 0 && n <= 8 && row[n+1] == m.sep
}

// plainCells reads plain numbers with a separator behind each from the start of row, and
// returns how many there were and how many bytes they took. Nearly all of a frame
// is such numbers; the last one of a row never is. Their values are those of fixed.
//
// Neighbours mostly have the same shape. Taking it for granted, and checking it
// beside the work, lets the processor begin a number before the last one is done.
func plainCells(dst []float64, row []byte, m marks) (cells, taken int) {
	for len(dst) > cells {
		s, ok := shapeOf(row[taken:], m)
		if !ok {
			break
		}
		n, took := sameShape(dst[cells:], row[taken:], s, m)
		cells, taken = cells+n, taken+took
	}
	return cells, taken
}

// sameShape is plainCells for numbers of one shape.
func sameShape(dst []float64, row []byte, s shape, m marks) (cells, taken int) {
	step := s.sign + s.whole + s.decimals + 2
	// The eight digits: zeros, then the whole digits, then the decimals.
	high, low := 64-8*s.whole-8*s.decimals, 64-8*s.decimals
	wholePart := uint64(1)<<low - 1
	divisor := pow10[s.decimals]
	if s.sign > 0 {
		divisor = -divisor
	}
	// The first byte that is no digit stands where the shape has it.
	wholeMask, wholeEnd := uint64(1)<<(8*s.whole+8)-1, uint64(0x80)<<(8*s.whole&63)
	decimalMask, decimalEnd := uint64(1)<<(8*s.decimals+8)-1, uint64(0x80)<<(8*s.decimals&63)
	markAt, sepAt := s.sign+s.whole, step-1
	i := 0
	for x := range dst {
		if len(row)-i < plainBytes {
			return x, i
		}
		// No place is above 10: & 15 spares the check of the index.
		b := (*[plainBytes]byte)(row[i:])
		w := binary.LittleEndian.Uint64(b[s.sign&1:]) ^ zeros
		f := binary.LittleEndian.Uint64(b[markAt&15+1:]) ^ zeros
		if noDigit(w)&wholeMask != wholeEnd || noDigit(f)&decimalMask != decimalEnd || b[markAt&15] != m.decimal || b[sepAt&15] != m.sep || s.sign > 0 && b[0] != '-' {
			return x, i
		}
		dst[x] = float64(int64(joined(w<<(high&63)&wholePart|f<<(low&63)))) / divisor
		i += step
	}
	return len(dst), i
}

// whole appends the digits at the start of b to m, and returns how many there
// were.
func whole(b []byte, m uint64) (uint64, int) {
	i := 0
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		m = m*10 + uint64(b[i]-'0')
	}
	return m, i
}

// number reads the whole of b as a decimal number, nan or inf, with the value
// strconv.ParseFloat gives; a number too large for a float64 reads as infinite.
// Hexadecimal floats and underscores, which strconv takes, are not numbers here.
func number(b []byte, mark byte) (float64, bool) {
	if v, n := fixed(b, mark); n > 0 && n == len(b) {
		return v, true
	}
	s := make([]byte, len(b))
	for i, c := range b {
		switch {
		case c == mark:
			c = '.'
		case c == '.':
			return 0, false
		case c-'0' > 9 && c != '+' && c != '-' && c != 'e' && c != 'E':
			return word(string(b))
		}
		s[i] = c
	}
	v, err := strconv.ParseFloat(string(s), 64)
	return v, err == nil || math.IsInf(v, 0)
}

// word reads nan, inf and infinity, in any case and with or without a sign.
func word(s string) (float64, bool) {
	sign := 1
	switch {
	case strings.HasPrefix(s, "-"):
		s, sign = s[1:], -1
	case strings.HasPrefix(s, "+"):
		s = s[1:]
	}
	switch strings.ToLower(s) {
	case "nan":
		return math.NaN(), true
	case "inf", "infinity":
		return math.Inf(sign), true
	}
	return 0, false
}
