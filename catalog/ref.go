// Package catalog holds what the bench owns: lenses, cameras, artefacts of known
// size, instruments, and the setups made of them, with what makes each of them
// valid. It knows nothing of how they are stored or shown.
package catalog

import (
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"dieglow/catalog/fault"
)

// Ref names one revision of a record.
type Ref struct {
	ID       string `json:"id"`       // UUID
	Handle   string `json:"handle"`   // "lens-4"
	Revision int    `json:"revision"` // 1 and up
}

// String returns "lens-4@2".
func (r Ref) String() string {
	if r.Handle == "" {
		return ""
	}
	return r.Handle + "@" + strconv.Itoa(r.Revision)
}

// maxName and maxText bound what a person may type into one field, in bytes.
const (
	maxName = 60
	maxText = 4000
)

// CheckName reports whether a given name can be used to call the record kind: it
// is 1 to 60 bytes of letters, digits, '-', '_' and '.', begins with a letter and
// does not look like a handle ("lens-4"). Names are compared without regard to case.
// Fault Invalid otherwise.
func CheckName(kind, name string) error {
	bad := func(why string) error {
		return fault.Invalidf("the name %q %s", name, why).
			WithHint("use letters, digits, '-', '_' and '.', for example ge25-a")
	}
	if name == "" || len(name) > maxName {
		return bad("is empty or longer than 60 characters")
	}
	if !utf8.ValidString(name) {
		return bad("is not valid UTF-8")
	}
	for _, r := range name {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("-_.", r) {
			return bad("has a character that would need quoting")
		}
	}
	if first, _ := utf8.DecodeRuneInString(name); !unicode.IsLetter(first) {
		return bad("does not begin with a letter, so that it could be read as a number")
	}
	if f := strings.ToLower(name); f == "flipped" || f == "contact" || f == "plane" {
		return bad("is a word that a stack or a lens is described with")
	}
	if handleShaped(name) {
		return bad("looks like a handle, which the notebook allots itself")
	}
	return nil
}

// handleShaped reports whether s is letters, '-', digits: "lens-4".
func handleShaped(s string) bool {
	i := strings.LastIndexByte(s, '-')
	if i < 1 || i == len(s)-1 {
		return false
	}
	for _, r := range s[:i] {
		if !unicode.IsLetter(r) {
			return false
		}
	}
	for _, r := range s[i+1:] {
		if r < '0' || r > '9' {
			return false
		}
	}
	return Kinds()[strings.ToLower(s[:i])]
}

// Kinds returns the kinds of record a handle may begin with.
func Kinds() map[string]bool {
	kinds := map[string]bool{}
	for _, k := range []string{
		KindLens, KindCamera, KindArtefact, KindInstrument, KindSetup,
		"notebook", "project", "specimen", "preparation", "custody", "capture", "finding", "outcome", "expense",
	} {
		kinds[k] = true
	}
	return kinds
}

// The kinds of catalogue record.
const (
	KindLens       = "lens"
	KindCamera     = "camera"
	KindArtefact   = "artefact"
	KindInstrument = "instrument"
	KindSetup      = "setup"
)

// CheckText reports whether free text can be stored: valid UTF-8, at most 4000
// bytes, no control characters but tab and newline. Fault Invalid otherwise,
// naming the field.
func CheckText(field, s string) error {
	if !utf8.ValidString(s) {
		return fault.Invalidf("%s is not valid UTF-8", field).WithHint("type it again, or convert the text to UTF-8")
	}
	if len(s) > maxText {
		return fault.Invalidf("%s has %d bytes; at most %d are kept in a record", field, len(s), maxText).
			WithHint("keep the summary here and attach the rest as a file")
	}
	for _, r := range s {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return fault.Invalidf("%s holds the control character %q", field, r).WithHint("type it again without that character")
		}
	}
	return nil
}

// texts checks several text fields given as name, value pairs.
func texts(pairs ...string) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if err := CheckText(pairs[i], pairs[i+1]); err != nil {
			return err
		}
	}
	return nil
}

// When is a moment as a person states it: a day ("2026-03-01") or an instant in
// UTC ("2026-03-01T10:00:00.000Z"). Text order is time order. Empty: not stated.
type When string

const (
	dayLayout     = "2006-01-02"
	instantLayout = "2006-01-02T15:04:05.000Z"
)

// ParseWhen reads a day, an instant with its zone (RFC 3339), an instant without
// one, which is taken in zone local, or the word now. Fault Invalid otherwise.
func ParseWhen(s string, now time.Time, local *time.Location) (When, error) {
	s = strings.TrimSpace(s)
	if strings.EqualFold(s, "now") {
		return When(now.UTC().Format(instantLayout)), nil
	}
	if t, err := time.Parse(dayLayout, s); err == nil {
		return When(t.Format(dayLayout)), checkYear(s, t)
	}
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04Z07:00"} {
		if t, err := time.Parse(layout, s); err == nil {
			return When(t.UTC().Format(instantLayout)), checkYear(s, t)
		}
	}
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02 15:04"} {
		if t, err := time.ParseInLocation(layout, s, local); err == nil {
			return When(t.UTC().Format(instantLayout)), checkYear(s, t)
		}
	}
	return "", fault.Invalidf("%q is not a date or time", s).
		WithHint("type 2026-03-01, 2026-03-01T14:30, 2026-03-01T14:30+01:00 or now")
}

func checkYear(s string, t time.Time) error {
	if t.Year() < 1950 || t.Year() > 2200 {
		return fault.Invalidf("%q lies outside the years 1950 to 2200", s).WithHint("type the year with four digits, for example 2026-03-01")
	}
	return nil
}

// Check reports whether a stored When has one of its two layouts. Fault Invalid otherwise.
func (w When) Check() error {
	if w == "" {
		return nil
	}
	for _, layout := range []string{dayLayout, instantLayout} {
		if t, err := time.Parse(layout, string(w)); err == nil && t.Format(layout) == string(w) {
			return nil
		}
	}
	return fault.Invalidf("%q is not a stored date or time", string(w))
}

// String returns the moment to the minute for people: "2026-03-01 10:00 UTC".
func (w When) String() string {
	if t, err := time.Parse(instantLayout, string(w)); err == nil {
		return t.Format("2006-01-02 15:04 UTC")
	}
	return string(w)
}

// Day returns the day part.
func (w When) Day() string { return string(w[:min(len(w), len(dayLayout))]) }
