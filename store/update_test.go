package store

import (
	"context"
	"errors"
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
)

// A change that fails, wherever it does, leaves every byte as it was.
func TestFailedUpdateChangesNothing(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	w := newWorld(t, db, 5)
	update(t, db, func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "ge25"), Placement{})
		return err
	})
	boom := errors.New("boom")
	tests := []struct {
		name string
		do   func(*Tx) error
		kind fault.Kind
		says string
	}{
		{"an invalid record", func(tx *Tx) error {
			l := thinLens(t, "ge50")
			l.DiameterMM = -1
			_, err := Add(tx, l, Placement{})
			return err
		}, fault.Invalid, "diameter"},
		{"a name taken", func(tx *Tx) error {
			_, err := Add(tx, thinLens(t, "GE25"), Placement{})
			return err
		}, fault.Conflict, "is called GE25 already"},
		{"an error after a record", func(tx *Tx) error {
			if _, err := Add(tx, thinLens(t, "ge50"), Placement{}); err != nil {
				return err
			}
			return boom
		}, fault.Other, "boom"},
		{"a name taken by an amendment", func(tx *Tx) error {
			l, err := Add(tx, thinLens(t, "ge50"), Placement{})
			if err != nil {
				return err
			}
			l.Body.Name = "ge25"
			_, err = Amend(tx, l.Meta, l.Body, "renamed")
			return err
		}, fault.Conflict, "is called ge25 already"},
		{"a reference to nothing", func(tx *Tx) error {
			_, err := Add(tx, notebook.Custody{Specimen: catalog.Ref{ID: "x", Handle: "specimen-99"}, Event: notebook.Moved, Place: "here"}, Placement{})
			return err
		}, fault.Corrupt, "specimen-99"},
		{"a reference to nothing, overlooked", func(tx *Tx) error {
			_, _ = Add(tx, notebook.Custody{Specimen: catalog.Ref{ID: "x", Handle: "specimen-99"}, Event: notebook.Moved, Place: "here"}, Placement{})
			return nil
		}, fault.Corrupt, "specimen-99"},
		{"an id taken", func(tx *Tx) error {
			tx.db.source.NewV4 = func() (id uuid.UUID, err error) {
				copy(id[:], w.db.Dir()) // the same twice
				return id, nil
			}
			for range 2 {
				if _, err := Add(tx, thinLens(t, ""), Placement{}); err != nil {
					return err
				}
			}
			return nil
		}, fault.Other, "UNIQUE"},
	}
	before := tree(t, dir)
	for _, tt := range tests {
		err := db.Update(t.Context(), "", tt.do)
		if err == nil || fault.KindOf(err) != tt.kind || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v, want kind %s saying %q", tt.name, err, tt.kind, tt.says)
		}
		if after := tree(t, dir); !maps.Equal(after, before) {
			t.Errorf("%s: something was changed", tt.name)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	err := db.Update(ctx, "", func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "late"), Placement{})
		cancel()
		return err
	})
	if err == nil || !maps.Equal(tree(t, dir), before) {
		t.Errorf("a cancelled update: %v, or it changed something", err)
	}
	mustVerify(t, db)
}

// A record that was refused and left out does not use up a number.
func TestRefusedRecordTakesNoNumber(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	update(t, db, func(tx *Tx) error {
		bad := thinLens(t, "")
		bad.DiameterMM = -1
		if _, err := Add(tx, bad, Placement{}); fault.KindOf(err) != fault.Invalid {
			t.Errorf("a lens of negative diameter: %v", err)
		}
		for _, want := range []string{"lens-1", "lens-2"} {
			l, err := Add(tx, thinLens(t, ""), Placement{})
			if err != nil || l.Handle != want {
				t.Errorf("%s, %v, want %s", l.Handle, err, want)
			}
		}
		return nil
	})
	mustVerify(t, db)
}

// Whoever waits longer than the timeout for another writer is told so.
func TestBusy(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	other := rawConn(t, dir)
	if _, err := other.Exec("begin exclusive"); err != nil {
		t.Fatal(err)
	}
	reader := func() error { // its first statement already waits
		conn, err := OpenRead(t.Context(), dir, testSource())
		if err == nil {
			conn.Close()
		}
		return err
	}
	writer := func() error {
		return db.Update(t.Context(), "", func(tx *Tx) error {
			_, err := Add(tx, thinLens(t, "ge25"), Placement{})
			return err
		})
	}
	if _, err := db.sql.Exec("pragma busy_timeout = 50"); err != nil {
		t.Fatal(err)
	}
	if err := writer(); fault.KindOf(err) != fault.Busy || fault.HintOf(err) == "" {
		t.Errorf("Update while another process writes: %v, want fault Busy", err)
	}
	time.AfterFunc(200*time.Millisecond, func() {
		if _, err := other.Exec("rollback"); err != nil {
			t.Error(err)
		}
	})
	if err := reader(); err != nil { // waits until the other is done
		t.Errorf("OpenRead while another process is about to be done: %v", err)
	}
	if err := writer(); err != nil {
		t.Error(err)
	}
	mustVerify(t, db)
}

// A clock set back is noted in the entry; nothing is refused and the order stays.
func TestClockSetBack(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	at := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)
	for _, step := range []time.Duration{time.Hour, -8766 * time.Hour, 0, time.Nanosecond, 87660 * time.Hour, -time.Millisecond} {
		at = at.Add(step)
		db.source.Now = func() time.Time { return at }
		update(t, db, func(tx *Tx) error {
			l, err := Add(tx, thinLens(t, ""), Placement{})
			if !l.Recorded.Equal(at.Truncate(time.Millisecond)) {
				t.Errorf("recorded %v, want %v", l.Recorded, at)
			}
			return err
		})
	}
	if c := mustVerify(t, db); c.ClockSteps != 2 || c.Entries != 7 {
		t.Errorf("%d clock steps in %d entries, want 2 in 7", c.ClockSteps, c.Entries)
	}
}
