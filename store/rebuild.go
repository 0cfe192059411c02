package store

import (
	"context"

	"dieglow/catalog/fault"
	"dieglow/notebook/journal"
)

// Rebuild empties the projections and makes them anew from the journal, in one
// transaction. It returns how many entries were replayed. Fault Corrupt when the
// journal itself is damaged; then nothing is changed.
func (db *DB) Rebuild(ctx context.Context) (entries int64, err error) {
	err = db.Update(ctx, "", func(tx *Tx) error {
		tx.project = newProjector(tx.rid)
		for _, name := range tx.project.order {
			if err := tx.exec("delete from " + name); err != nil {
				return err
			}
		}
		var chain journal.Chain
		revisions := revisions{}
		return tx.eachEntry(func(s *stored) error {
			if s.entryErr != nil {
				return s.entryErr
			}
			if err := chain.Follow(s.entry, s.entryHash); err != nil {
				return err
			}
			if s.body == nil || s.commitment != s.entry.Body {
				return fault.Corruptf("entry %d (%s): its body is missing or is not the one it vouches for", s.entry.Seq, s.entry.Subject)
			}
			if s.recordErr != nil {
				return s.recordErr
			}
			if err := revisions.follow(s.entry); err != nil {
				return err
			}
			if s.entry.Revision == 1 {
				tx.rids[s.entry.SubjectID] = s.entry.Seq
			}
			entries = chain.Size
			return tx.apply(s.entry, s.record)
		})
	})
	if fault.KindOf(err) == fault.Corrupt {
		err = fault.Corruptf("the journal is damaged, so the tables cannot be made from it; nothing was changed").Because(err).
			WithHint("dieglow verify lists the damage; restore the last backup that verifies")
	}
	return entries, err
}
