package notebook

import (
	"time"

	"dieglow/catalog"
	"dieglow/notebook/journal"
)

// Library is the scope of what the bench owns, which no project owns.
const Library = "library"

// Meta is what the notebook knows of one revision of a record.
type Meta struct {
	catalog.Ref
	Kind     string         `json:"kind"`
	Name     string         `json:"name"`
	Scope    string         `json:"scope"`  // "library" or the project's id
	Latest   int            `json:"latest"` // newest revision there is
	Seq      int64          `json:"seq"`    // of its entry in the journal
	Recorded time.Time      `json:"recorded"`
	Who      string         `json:"who"`
	Reason   string         `json:"reason"` // of an amendment
	Files    []journal.File `json:"-"`      // raw files its entry vouches for
}

// Label is how people call the record: its name and handle, or its handle.
func (m Meta) Label() string {
	if m.Name == "" {
		return m.Handle
	}
	return m.Name + " (" + m.Handle + ")"
}

// Record is one revision of a record.
type Record[T any] struct {
	Meta
	Body T `json:"record"`
}
