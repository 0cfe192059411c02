package store

import (
	"bytes"
	"slices"
	"strconv"
	"unicode/utf8"

	"github.com/gowebpki/jcs"

	"dieglow/catalog/fault"
)

// canonical puts what encoding/json wrote into the JSON Canonicalization Scheme
// (RFC 8785). It is jcs.Transform for the common case, several times as fast: it
// relies on its input being compact and valid, and leaves what is rare to jcs.
// Fault Invalid for a whole number that jcs would round.
func canonical(written []byte) ([]byte, error) {
	c := canonicaliser{in: bytes.TrimSuffix(written, []byte("\n")), out: make([]byte, 0, len(written)), members: make([]member, 0, 64)}
	c.value()
	switch {
	case c.err != nil:
		return nil, c.err
	case c.rare:
		return jcs.Transform(written)
	}
	return c.out, nil
}

type canonicaliser struct {
	in, out []byte
	at      int      // in in
	members []member // of the objects being read, the innermost last
	rare    bool     // something is left to jcs
	err     error
}

// member is one key of an object with its value, as they stand in out.
type member struct {
	key        []byte
	start, end int
}

// value copies one value.
func (c *canonicaliser) value() {
	switch c.in[c.at] {
	case '{':
		c.object()
	case '[':
		c.take()
		for c.in[c.at] != ']' {
			c.value()
			if c.in[c.at] == ',' {
				c.take()
			}
		}
		c.take()
	case '"':
		c.text()
	case 't', 'f', 'n':
		for c.at < len(c.in) && c.in[c.at] >= 'a' && c.in[c.at] <= 'z' {
			c.take()
		}
	default:
		c.number()
	}
}

// take copies one byte.
func (c *canonicaliser) take() {
	c.out = append(c.out, c.in[c.at])
	c.at++
}

// object copies an object and then puts its members in the order of their keys.
func (c *canonicaliser) object() {
	first, begin := len(c.members), len(c.out)+1
	c.take()
	for c.in[c.at] != '}' {
		start := len(c.out)
		key := c.text()
		for _, b := range key {
			// Keys are sorted as UTF-16, which is the order of bytes only in ASCII.
			c.rare = c.rare || b >= utf8.RuneSelf || b == '\\'
		}
		c.take()
		c.value()
		c.members = append(c.members, member{key, start, len(c.out)})
		if c.in[c.at] == ',' {
			c.at++
		}
	}
	c.at++
	members := c.members[first:]
	c.members = c.members[:first]
	unsorted := slices.Clone(c.out[begin:])
	slices.SortFunc(members, func(a, b member) int { return bytes.Compare(a.key, b.key) })
	c.out = c.out[:begin]
	for i, m := range members {
		if i > 0 {
			c.out = append(c.out, ',')
		}
		c.out = append(c.out, unsorted[m.start-begin:m.end-begin]...)
	}
	c.out = append(c.out, '}')
}

// text copies a string and returns what is between its quotes. Escapes that the
// scheme does not use are left to jcs.
func (c *canonicaliser) text() []byte {
	start := c.at
	for c.at++; c.in[c.at] != '"'; c.at++ {
		if c.in[c.at] != '\\' {
			continue
		}
		c.at++
		switch rest := c.in[c.at:]; rest[0] {
		case '"', '\\', 'b', 'f', 'n', 'r', 't':
		default:
			c.rare = c.rare || !bytes.HasPrefix(rest, []byte("u000")) && !bytes.HasPrefix(rest, []byte("u001"))
		}
	}
	c.at++
	c.out = append(c.out, c.in[start:c.at]...)
	return c.in[start+1 : c.at-1]
}

// number copies a number. encoding/json formats as the scheme does, except for
// negative zero and for integers that no float64 equals.
func (c *canonicaliser) number() {
	start, whole := c.at, true
	for ; c.at < len(c.in) && c.in[c.at] != ',' && c.in[c.at] != '}' && c.in[c.at] != ']'; c.at++ {
		whole = whole && c.in[c.at] != '.' && c.in[c.at] != 'e'
	}
	text := c.in[start:c.at]
	if whole && len(text) > 15 {
		f, err := strconv.ParseFloat(string(text), 64)
		if err != nil || strconv.FormatFloat(f, 'f', -1, 64) != string(text) {
			c.err = fault.Invalidf("the number %s is too large to be kept exactly", text).WithHint("give a smaller number; whole numbers are kept exactly up to %d", int64(1)<<53)
		}
	}
	c.rare = c.rare || string(text) == "-0"
	c.out = append(c.out, text...)
}
