package journal

import (
	"bytes"
	"encoding/json"
	"strconv"
	"time"
	"unicode/utf8"

	"dieglow/catalog/fault"
)

// Parse reads an entry's bytes and refuses any that are not exactly what
// Canonical writes: an unknown or repeated key, other spacing, a later version.
// Since only one spelling is allowed, it walks the bytes in their one order.
// Fault Corrupt, or TooNew for a later version.
func Parse(line []byte) (Entry, error) {
	if !utf8.Valid(line) {
		return Entry{}, fault.Corruptf("entry is not valid UTF-8")
	}
	var e Entry
	w := walker{rest: line}
	e.Body = w.hash(`{"body":`)
	e.ClockBackMS = w.integer(`,"clock_back_ms":`)
	w.literal(`,"files":[`)
	for !w.failed && !bytes.HasPrefix(w.rest, []byte("]")) {
		if len(e.Files) > 0 {
			w.literal(",")
		}
		var f File
		f.SHA256 = w.text(`{"sha256":`)
		f.Size = w.integer(`,"size":`)
		w.literal("}")
		e.Files = append(e.Files, f)
	}
	e.Kind = w.text(`],"kind":`)
	e.Origin = w.text(`,"origin":`)
	e.Prev = w.hash(`,"prev":`)
	recorded := w.text(`,"recorded":`)
	e.Revision = int(w.integer(`,"revision":`))
	e.Scope = w.text(`,"scope":`)
	e.Seq = w.integer(`,"seq":`)
	e.Subject = w.text(`,"subject":`)
	e.SubjectID = w.text(`,"subject_id":`)
	e.Tool = w.text(`,"tool":`)
	version := w.integer(`,"v":`)
	if !w.failed && version > Version {
		return Entry{}, fault.TooNewf("entry %d has layout %d, this program knows %d", e.Seq, version, Version).
			WithHint("use the newer dieglow that wrote it")
	}
	e.Who = w.text(`,"who":`)
	w.literal("}")
	if w.failed || len(w.rest) > 0 {
		return Entry{}, fault.Corruptf("entry is not what this program writes, from %q on", head(w.rest))
	}
	var err error
	if e.Recorded, err = time.Parse(TimeLayout, recorded); err != nil {
		return Entry{}, fault.Corruptf("entry %d has no time", e.Seq)
	}
	if !bytes.Equal(e.Canonical(), line) { // an escape or a number spelt another way
		return Entry{}, fault.Corruptf("entry %d is not in canonical form", e.Seq)
	}
	return e, nil
}

// walker reads values from the front of an entry; after the first that is not
// there, failed is set and every further read gives nothing.
type walker struct {
	rest   []byte
	failed bool
}

func (w *walker) literal(s string) {
	after, ok := bytes.CutPrefix(w.rest, []byte(s))
	if !ok {
		w.failed = true
		return
	}
	if !w.failed {
		w.rest = after
	}
}

func (w *walker) text(key string) string {
	w.literal(key)
	if w.failed || len(w.rest) == 0 || w.rest[0] != '"' {
		w.failed = true
		return ""
	}
	escaped := false
	for i := 1; i < len(w.rest); i++ {
		switch w.rest[i] {
		case '\\':
			escaped = true
			i++
		case '"':
			quoted := w.rest[:i+1]
			w.rest = w.rest[i+1:]
			if !escaped {
				return string(quoted[1 : len(quoted)-1])
			}
			var s string
			if json.Unmarshal(quoted, &s) != nil {
				w.failed = true
			}
			return s
		}
	}
	w.failed = true
	return ""
}

func (w *walker) hash(key string) Hash {
	h, err := ParseHash(w.text(key))
	if err != nil {
		w.failed = true
	}
	return h
}

func (w *walker) integer(key string) int64 {
	w.literal(key)
	n := 0
	for n < len(w.rest) && (w.rest[n] >= '0' && w.rest[n] <= '9' || w.rest[n] == '-') {
		n++
	}
	v, err := strconv.ParseInt(string(w.rest[:n]), 10, 64)
	if w.failed || err != nil {
		w.failed = true
		return 0
	}
	w.rest = w.rest[n:]
	return v
}

// head returns the first few bytes of b, for an error text.
func head(b []byte) []byte { return b[:min(len(b), 24)] }
