package store

import (
	"context"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/notebook/journal"
)

// CompareNoted checks that the journal continues what someone noted earlier, as
// "ENTRIES:HEAD", and adds a problem to c when it does not. Fault Invalid when
// the note cannot be read.
func (db *DB) CompareNoted(ctx context.Context, c *Check, noted string) error {
	sizeText, headText, ok := strings.Cut(strings.TrimSpace(noted), ":")
	size, err := strconv.ParseInt(sizeText, 10, 64)
	if !ok || err != nil || size < 1 {
		return fault.Invalidf("%q is not a number of entries and a head", noted).WithHint("write them as dieglow verify prints them: ENTRIES:HEAD")
	}
	head, err := journal.ParseHash(strings.ToLower(headText))
	if err != nil {
		return err
	}
	var hash []byte
	var found bool
	err = db.View(ctx, func(tx *Tx) error {
		found, err = tx.row("select hash from entry where seq = ?", []any{size}, &hash)
		return err
	})
	switch {
	case err != nil:
		return err
	case !found:
		c.problem("journal", "it has %d entries, fewer than the %d noted: the newest were cut off, or this is an older copy", c.Entries, size)
	case string(hash) != string(head[:]):
		c.problem("journal", "entry %d is not the one noted: the journal was written anew, or this is another notebook", size)
	}
	return nil
}
