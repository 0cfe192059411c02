package frame

import (
	"math"
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
	start := i
	var m uint64
	for i < len(b) && b[i]-'0' <= 9 {
		m = m*10 + uint64(b[i]-'0')
		i++
	}
	digits, decimals := i-start, 0
	if i < len(b) && b[i] == mark {
		i++
		start = i
		for i < len(b) && b[i]-'0' <= 9 {
			m = m*10 + uint64(b[i]-'0')
			i++
		}
		decimals = i - start
		digits += decimals
	}
	// 19 digits fit in 64 bits, so m has not wrapped around.
	if digits == 0 || digits > 19 || m >= 1<<53 {
		return 0, 0
	}
	v := float64(int64(m)) / pow10[decimals]
	if negative {
		v = -v
	}
	return v, i
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
