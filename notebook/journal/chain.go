package journal

import (
	"dieglow/catalog/fault"
)

// Chain follows entries in order and checks that each one continues the last.
// The zero value stands before the first entry.
type Chain struct {
	Size   int64  // entries seen so far
	Head   Hash   // hash of the last one
	Origin string // notebook id, from the first entry
	last   Entry
}

// Read checks that the bytes of the entry with sequence number seq have the hash
// stored with them, and reads them. Fault Corrupt, naming the number, or TooNew.
func Read(seq int64, line, stored []byte) (Entry, Hash, error) {
	h := HashOf(line)
	if string(stored) != string(h[:]) {
		return Entry{}, h, fault.Corruptf("entry %d: its bytes do not have the hash stored with them (edited or damaged)", seq)
	}
	e, err := Parse(line)
	return e, h, err
}

// Follow moves on to the next entry, as Read gave it with its hash. Fault
// Corrupt, naming the sequence number, when a number is missing or repeated, the
// link to the previous entry is broken, or the entry belongs to another notebook.
func (c *Chain) Follow(e Entry, h Hash) error {
	want := c.Size + 1
	switch {
	case e.Seq != want:
		return fault.Corruptf("entry %d: found entry %d in its place (entries missing or out of order)", want, e.Seq)
	case e.Prev != c.Head:
		return fault.Corruptf("entry %d: does not follow from entry %d (one of the two was edited or replaced)", want, c.Size)
	case c.Size > 0 && e.Origin != c.Origin:
		return fault.Corruptf("entry %d: belongs to another notebook", want)
	case c.Size > 0 && e.ClockBackMS != ClockBackMS(c.last, e):
		return fault.Corruptf("entry %d: its clock flag contradicts its time", want)
	}
	c.Size, c.Head, c.Origin, c.last = e.Seq, h, e.Origin, e
	return nil
}

// ClockBackMS returns by how many milliseconds the later entry's clock stands
// before the earlier one's, or 0. The order of entries is their sequence, so a
// clock that was set back is noted and nothing is refused.
func ClockBackMS(earlier, later Entry) int64 {
	return max(0, earlier.Recorded.Sub(later.Recorded).Milliseconds())
}
