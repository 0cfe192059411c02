package store

import (
	"strings"
	"testing"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
)

// Whatever was recorded, the tables made while recording are those that the
// journal makes again.
func TestRebuildMakesTheSameTables(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		db, _ := newNotebook(t)
		w := newWorld(t, db, seed)
		w.live(90)
		before := mustDump(t, db)
		mustVerify(t, db)
		if _, err := db.Rebuild(t.Context()); err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		if after := mustDump(t, db); after != before {
			t.Errorf("seed %d: %s", seed, firstDifference(before, after))
		}
		mustVerify(t, db)
		w.live(10) // and recording goes on
		mustVerify(t, db)
	}
}

func firstDifference(a, b string) string {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(as), len(bs)) {
		if as[i] != bs[i] {
			return "before " + as[i] + "\nafter  " + bs[i]
		}
	}
	return "one dump is longer"
}

// Rebuild repairs tables, and only tables.
func TestRebuildRepairs(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	newWorld(t, db, 7).live(40)
	before := mustDump(t, db)
	edit(t, dir, "delete from record where kind = 'lens'", "update setup set predicted_um = 1", "insert into lens values (9999, 'zinc', 'thin', 1, null, null, null, 'usable')")
	if _, err := db.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after := mustDump(t, db); after != before {
		t.Error(firstDifference(before, after))
	}
	edit(t, dir, "update body set bytes = cast(bytes || x'20' as blob) where seq = 3")
	before = mustDump(t, db)
	_, err := db.Rebuild(t.Context())
	if fault.KindOf(err) != fault.Corrupt || fault.HintOf(err) == "" {
		t.Errorf("rebuild from an altered body: %v", err)
	}
	if after := mustDump(t, db); after != before {
		t.Errorf("a refused rebuild changed the tables: %s", firstDifference(before, after))
	}
}

// An amendment takes away what the revision before it put beside the record.
func TestAmendmentTakesAway(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	w := newWorld(t, db, 1)
	update(t, db, func(tx *Tx) error {
		setup := w.setups[0].Ref
		c, err := Add(tx, notebook.Capture{Purpose: notebook.Check, Artefact: &w.artefacts[0].Ref, Setup: setup,
			Attachments: []notebook.Attachment{{Name: "a"}, {Name: "b"}, {Name: "c"}}}, Placement{})
		if err != nil {
			return err
		}
		c.Body.Attachments = c.Body.Attachments[1:2]
		if _, err := Amend(tx, c.Meta, c.Body, "wrong files"); err != nil {
			return err
		}
		o, err := Add(tx, notebook.Outcome{Result: notebook.Resolved, FeatureUM: &quantity.Estimate{Value: 0.5}, Capture: &c.Ref, Setup: &setup, Feature: "wire"}, Placement{})
		if err != nil {
			return err
		}
		if got, err := tx.FindResolved(1); err != nil || len(got) != 1 {
			t.Errorf("FindResolved = %v, %v, want one setup", got, err)
		}
		_, err = Amend(tx, o.Meta, notebook.Outcome{Result: notebook.Inconclusive, Text: "it was dust"}, "looked again")
		if err != nil {
			return err
		}
		if got, err := tx.FindResolved(1); err != nil || len(got) != 0 {
			t.Errorf("FindResolved = %v, %v after the outcome was amended, want none", got, err)
		}
		names, err := collect(tx, "select name from capture_file where rid = ?", []any{c.Seq}, scanText)
		if err != nil || len(names) != 1 || names[0] != "b" {
			t.Errorf("files of the capture: %v, %v, want b", names, err)
		}
		return nil
	})
	before := mustDump(t, db)
	c, err := db.Verify(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range c.Problems { // the attachments above are not stored
		if p.Class != "file" {
			t.Errorf("verify: %+v", p)
		}
	}
	if _, err := db.Rebuild(t.Context()); err != nil {
		t.Fatal(err)
	}
	if after := mustDump(t, db); after != before {
		t.Error(firstDifference(before, after))
	}
}

func TestAmendWantsTheNewestRevision(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	var l notebook.Record[catalog.Lens]
	update(t, db, func(tx *Tx) (err error) {
		l, err = Add(tx, thinLens(t, "ge25"), Placement{})
		return err
	})
	amend := func(tx *Tx) error {
		_, err := Amend(tx, l.Meta, l.Body, "again")
		return err
	}
	update(t, db, amend)
	before := mustDump(t, db)
	// l is what another process might still hold from before the amendment.
	if err := db.Update(t.Context(), "", amend); fault.KindOf(err) != fault.Conflict {
		t.Errorf("amending a revision that is no longer the newest: %v, want a conflict", err)
	}
	err := db.Update(t.Context(), "", func(tx *Tx) error {
		l, err := Get[catalog.Lens](tx, "ge25")
		if err != nil {
			return err
		}
		_, err = Amend(tx, l.Meta, smallCamera(), "it was a camera")
		return err
	})
	if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), "lens-1 is a lens and cannot become a camera") {
		t.Errorf("amending a lens into a camera: %v", err)
	}
	if err := db.Update(t.Context(), "", func(tx *Tx) error {
		_, err := Amend(tx, l.Meta, l.Body, " \t")
		return err
	}); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
		t.Errorf("amending without a reason: %v", err)
	}
	if after := mustDump(t, db); after != before {
		t.Error(firstDifference(before, after))
	}
}
