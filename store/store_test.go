package store

import (
	"context"
	"crypto/rand"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"

	"dieglow/catalog"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// testSource has a clock that moves on by a second at every transaction.
func testSource() Source {
	now := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	return Source{
		Now:   func() time.Time { now = now.Add(time.Second); return now },
		NewV4: uuid.NewRandom, NewV7: uuid.NewV7,
		NewSalt: func() (s [journal.SaltSize]byte, err error) { _, err = rand.Read(s[:]); return s, err },
		Tool:    "dieglow test",
	}
}

func newNotebook(tb testing.TB) (*DB, string) {
	tb.Helper()
	dir := filepath.Join(tb.TempDir(), "nb #1?%20") // characters that would end a careless file URI
	db, err := Create(context.Background(), dir, notebook.Genesis{Operator: "R. Tester"}, testSource())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { db.Close() })
	return db, dir
}

func update(tb testing.TB, db *DB, f func(*Tx) error) {
	tb.Helper()
	if err := db.Update(context.Background(), "R. Tester", f); err != nil {
		tb.Fatal(err)
	}
}

func mustVerify(tb testing.TB, db *DB) Check {
	tb.Helper()
	c, err := db.Verify(context.Background())
	if err != nil {
		tb.Fatal(err)
	}
	for _, p := range c.Problems {
		tb.Errorf("verify: %s: %s", p.Class, p.Text)
	}
	return c
}

func estimateOf(tb testing.TB, s string, unit quantity.Unit) *quantity.Estimate {
	tb.Helper()
	e, err := quantity.Parse(s, unit)
	if err != nil {
		tb.Fatal(err)
	}
	return &e
}

func thinLens(tb testing.TB, name string) catalog.Lens {
	return catalog.Lens{
		Name: name, Material: "germanium", Form: catalog.Thin, FocalLengthMM: estimateOf(tb, "25mm", quantity.Millimetre), FocalWavelengthUM: 10,
		DiameterMM: 12.7, Condition: catalog.Usable, Cost: &quantity.Money{Minor: 4200, Currency: "EUR"},
	}
}

func smallCamera() catalog.Camera {
	return catalog.Camera{
		Name: "cam-a", PixelsX: 256, PixelsY: 192, PitchUM: 12, BandLowUM: 8, BandHighUM: 14,
		FocalLengthMM: quantity.Exactly(4), FNumber: 1.1, Condition: catalog.Usable,
	}
}

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
