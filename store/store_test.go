package store

import (
	"testing"

	"dieglow/catalog"
)

func TestAddAmendGet(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	update(t, db, func(tx *Tx) error {
		l, err := Add(tx, thinLens(t, "ge25"), Placement{})
		if err != nil {
			return err
		}
		if l.Handle != "lens-1" || l.Revision != 1 || l.Seq != 2 {
			t.Errorf("added %+v", l.Meta)
		}
		b := l.Body
		b.Notes = "edge chipped"
		b.Condition = catalog.Damaged
		_, err = Amend(tx, l.Meta, b, "dropped")
		return err
	})
	err := db.View(t.Context(), func(tx *Tx) error {
		for name, revision := range map[string]int{"lens-1": 2, "GE25": 2, "ge25@1": 1, "lens-1@2": 2} {
			l, err := Get[catalog.Lens](tx, name)
			if err != nil {
				return err
			}
			if l.Revision != revision || (l.Body.Condition == catalog.Damaged) != (revision == 2) {
				t.Errorf("Get(%q) = %v, %s", name, l.Ref, l.Body.Condition)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	c := mustVerify(t, db)
	if c.Entries != 3 {
		t.Errorf("entries = %d, want 3", c.Entries)
	}
	if n, err := db.Rebuild(t.Context()); err != nil || n != 3 {
		t.Errorf("Rebuild = %d, %v", n, err)
	}
	mustVerify(t, db)
}
