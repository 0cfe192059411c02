// Package journal is the notebook's memory: entries in canonical bytes, each
// holding the hash of the one before it. It is pure; the store keeps the bytes.
//
// An entry never holds what a person wrote about their work. That is in the
// body, of which the entry keeps only a salted commitment, so that a body can be
// removed (an agreement may ask for it) without breaking the chain.
package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"

	"dieglow/catalog/fault"
)

// Version is the layout of the entries this package writes.
const Version = 1

// TimeLayout is the one layout of times in entries and in the store: UTC, three
// decimals always, so that text order is time order.
const TimeLayout = "2006-01-02T15:04:05.000Z"

// Hash is a SHA-256 digest.
type Hash [sha256.Size]byte

// String returns the digest in lower-case hexadecimal.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// ParseHash reads 64 hexadecimal digits. Fault Invalid otherwise.
func ParseHash(s string) (Hash, error) {
	var h Hash
	if len(s) != 2*len(h) {
		return h, fault.Invalidf("a hash has %d characters, not 64", len(s)).WithHint("copy the whole SHA-256 value, 64 hexadecimal digits")
	}
	if _, err := hex.Decode(h[:], []byte(s)); err != nil {
		return h, fault.Invalidf("%q is not a SHA-256 value", s).WithHint("copy the whole value, 64 hexadecimal digits")
	}
	return h, nil
}

// HashOf returns the hash of an entry's bytes: what the next entry's Prev must be.
func HashOf(line []byte) Hash { return sha256.Sum256(line) }

// SaltSize is the length of a body's salt in bytes.
const SaltSize = 16

// Commit returns the commitment to a body: SHA-256 over salt, then body. The
// salt keeps a guessable body (a part number) from being found by trial.
func Commit(salt [SaltSize]byte, body []byte) Hash {
	h := sha256.New()
	h.Write(salt[:])
	h.Write(body)
	return Hash(h.Sum(nil))
}

// File is a raw file an entry vouches for.
type File struct {
	SHA256 string `json:"sha256"` // 64 lower-case hexadecimal digits
	Size   int64  `json:"size"`   // bytes
}

// Entry is one change of the notebook.
type Entry struct {
	Body        Hash      // commitment to the body, see Commit
	ClockBackMS int64     // > 0: the machine's clock stood this much before the previous entry's
	Files       []File    // raw files first named by this entry, in the body's order
	Kind        string    // kind of record: "lens", "capture", ...
	Origin      string    // id of the notebook, so that entries of two cannot be mixed
	Prev        Hash      // hash of the previous entry; zero for the first
	Recorded    time.Time // the machine's time, UTC, whole milliseconds
	Revision    int       // 1 for a new record, then counting
	Scope       string    // "library", or the id of the project the record belongs to
	Seq         int64     // 1, 2, 3 ...
	Subject     string    // handle of the record: "lens-4"
	SubjectID   string    // UUID of the record
	Tool        string    // program and version that wrote the entry
	Who         string    // operator
}

// Canonical returns the entry's bytes in the JSON Canonicalization Scheme
// (RFC 8785): keys in order, no white space, integers only. These bytes are
// stored and hashed; nobody formats them again.
func (e Entry) Canonical() []byte {
	b := make([]byte, 0, 640)
	b = append(b, `{"body":"`...)
	b = hex.AppendEncode(b, e.Body[:])
	b = append(b, `","clock_back_ms":`...)
	b = strconv.AppendInt(b, e.ClockBackMS, 10)
	b = append(b, `,"files":[`...)
	for i, f := range e.Files {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, `{"sha256":`...)
		b = appendString(b, f.SHA256)
		b = append(b, `,"size":`...)
		b = strconv.AppendInt(b, f.Size, 10)
		b = append(b, '}')
	}
	b = append(b, `],"kind":`...)
	b = appendString(b, e.Kind)
	b = append(b, `,"origin":`...)
	b = appendString(b, e.Origin)
	b = append(b, `,"prev":"`...)
	b = hex.AppendEncode(b, e.Prev[:])
	b = append(b, `","recorded":"`...)
	b = e.Recorded.UTC().AppendFormat(b, TimeLayout)
	b = append(b, `","revision":`...)
	b = strconv.AppendInt(b, int64(e.Revision), 10)
	b = append(b, `,"scope":`...)
	b = appendString(b, e.Scope)
	b = append(b, `,"seq":`...)
	b = strconv.AppendInt(b, e.Seq, 10)
	b = append(b, `,"subject":`...)
	b = appendString(b, e.Subject)
	b = append(b, `,"subject_id":`...)
	b = appendString(b, e.SubjectID)
	b = append(b, `,"tool":`...)
	b = appendString(b, e.Tool)
	b = append(b, `,"v":`...)
	b = strconv.AppendInt(b, Version, 10)
	b = append(b, `,"who":`...)
	b = appendString(b, e.Who)
	return append(b, '}')
}

// appendString appends s as RFC 8785 (3.2.2.2) writes strings: only the quote,
// the backslash and control characters are escaped.
func appendString(b []byte, s string) []byte {
	const hexDigits = "0123456789abcdef"
	b = append(b, '"')
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c >= 0x20:
			b = append(b, c)
		case c == '\b':
			b = append(b, `\b`...)
		case c == '\t':
			b = append(b, `\t`...)
		case c == '\n':
			b = append(b, `\n`...)
		case c == '\f':
			b = append(b, `\f`...)
		case c == '\r':
			b = append(b, `\r`...)
		default:
			b = append(b, `\u00`...)
			b = append(b, hexDigits[c>>4], hexDigits[c&15])
		}
	}
	return append(b, '"')
}
