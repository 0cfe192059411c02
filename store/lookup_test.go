package store

import (
	"strings"
	"testing"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
)

func TestLookup(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	var lens notebook.Record[catalog.Lens]
	update(t, db, func(tx *Tx) (err error) {
		for _, name := range []string{"ge25", "Größe.1", "abcdef0123456789abcdef0123456789", "lens-ge", "lens-4x"} {
			if lens, err = Add(tx, thinLens(t, name), Placement{}); err != nil {
				return err
			}
		}
		if lens, err = Amend(tx, lens.Meta, lens.Body, "looked closer"); err != nil {
			return err
		}
		c := smallCamera()
		c.Name = "GE25" // of another kind: no conflict
		_, err = Add(tx, c, Placement{})
		return err
	})
	tests := []struct {
		name   string
		handle string // with revision, "" for an error
		kind   fault.Kind
		says   string
	}{
		{"lens-1", "lens-1@1", 0, ""},
		{"LENS-1", "lens-1@1", 0, ""},
		{" ge25 ", "lens-1@1", 0, ""},
		{"GE25", "lens-1@1", 0, ""},
		{"GRÖSSE.1", "", fault.NotFound, `no lens is called "GRÖSSE.1"`},
		{"GRÖßE.1", "lens-2@1", 0, ""},
		{"ABCDEF0123456789abcdef0123456789", "lens-3@1", 0, ""},
		{"lens-ge", "lens-4@1", 0, ""},
		{"lens-4x", "lens-5@2", 0, ""},
		{"lens-4x@1", "lens-5@1", 0, ""},
		{"lens-5@2", "lens-5@2", 0, ""},
		{lens.ID, "lens-5@2", 0, ""},
		{strings.ToUpper(lens.ID) + "@1", "lens-5@1", 0, ""},
		{"lens-5@3", "", fault.NotFound, "lens-5 has no revision 3; the newest is 2"},
		{"lens-5@0", "", fault.Invalid, "does not name a revision"},
		{"lens-5@-1", "", fault.Invalid, "does not name a revision"},
		{"lens-5@+1", "", fault.Invalid, "does not name a revision"},
		{"lens-5@01", "", fault.Invalid, "does not name a revision"},
		{"lens-5@", "", fault.Invalid, "does not name a revision"},
		{"lens-5@1@1", "", fault.Invalid, "does not name a revision"},
		{"lens-5@99999999999999999999", "", fault.Invalid, "does not name a revision"},
		{"lens-6", "", fault.NotFound, `no lens is called "lens-6"`},
		{"lens-+1", "", fault.NotFound, ""},
		{"lens-01", "", fault.NotFound, ""},
		{"lens-0", "", fault.NotFound, ""},
		{"lens-99999999999999999999", "", fault.NotFound, ""},
		{"lens-", "", fault.NotFound, ""},
		{"-1", "", fault.NotFound, ""},
		{"", "", fault.NotFound, `no lens is called ""`},
		{"@", "", fault.Invalid, ""},
		{"%", "", fault.NotFound, ""},
		{"ge2_", "", fault.NotFound, ""},
		{"ge25' or '1'='1", "", fault.NotFound, ""},
		{"\xff\x00", "", fault.NotFound, ""},
		{"camera-1", "", fault.Invalid, `"camera-1" is a camera, where a lens is wanted`},
		{"notebook-1", "", fault.Invalid, "a notebook, where a lens is wanted"},
		{"6f1c8a52-9a58-4b0e-8a53-1f0d3a8a8f11", "", fault.NotFound, ""},
	}
	err := db.View(t.Context(), func(tx *Tx) error {
		for _, tt := range tests {
			l, err := Get[catalog.Lens](tx, tt.name)
			if tt.handle != "" {
				if err != nil || l.String() != tt.handle || l.Latest < l.Revision {
					t.Errorf("Get(%q) = %s, %v, want %s", tt.name, l.Ref, err, tt.handle)
				}
				continue
			}
			if fault.KindOf(err) != tt.kind || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("Get(%q): %v (hint %q), want kind %s saying %q", tt.name, err, fault.HintOf(err), tt.kind, tt.says)
			}
		}
		if _, err := Get[catalog.Artefact](tx, "lens-1"); err == nil || !strings.Contains(err.Error(), "is a lens, where an artefact is wanted") {
			t.Errorf("a lens for an artefact: %v", err)
		}
		if _, _, err := tx.KindOf("ge25"); fault.KindOf(err) != fault.Ambiguous || !strings.Contains(err.Error(), "camera-1, lens-1") {
			t.Errorf("a name of two kinds: %v", err)
		}
		for name, want := range map[string]string{"lens-5": "lens lens-5", "Lens-4x@1": "lens lens-5@1", lens.ID: "lens lens-5"} {
			kind, canonical, err := tx.KindOf(name)
			if got := kind + " " + canonical; err != nil || got != want {
				t.Errorf("KindOf(%q) = %s, %v, want %s", name, got, err, want)
			}
		}
		history, err := History[catalog.Lens](tx, lens.Meta)
		if err != nil || len(history) != 2 || history[0].Reason != "" || history[1].Reason != "looked closer" {
			t.Errorf("History = %+v, %v", history, err)
		}
		first, err := GetRef[catalog.Lens](tx, history[0].Ref)
		if err != nil || first.Revision != 1 || first.Latest != 2 {
			t.Errorf("GetRef = %+v, %v", first.Meta, err)
		}
		if _, err := GetRef[catalog.Lens](tx, catalog.Ref{ID: "x"}); fault.KindOf(err) != fault.NotFound {
			t.Errorf("GetRef of nothing: %v", err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// A name given up by an amendment is free again, and the record no longer goes by it.
func TestNamesMoveOn(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	update(t, db, func(tx *Tx) error {
		l, err := Add(tx, thinLens(t, "ge25"), Placement{})
		if err != nil {
			return err
		}
		l.Body.Name = "ge25-old"
		if l, err = Amend(tx, l.Meta, l.Body, "replaced"); err != nil {
			return err
		}
		l.Body.Name = "GE25-old" // its own, spelt another way
		if l, err = Amend(tx, l.Meta, l.Body, "spelling"); err != nil {
			return err
		}
		if _, err := Add(tx, thinLens(t, "ge25"), Placement{}); err != nil {
			return err
		}
		for name, want := range map[string]string{"ge25": "lens-2@1", "ge25-OLD": "lens-1@3"} {
			if got, err := Get[catalog.Lens](tx, name); err != nil || got.String() != want {
				t.Errorf("Get(%q) = %s, %v, want %s", name, got.Ref, err, want)
			}
		}
		return nil
	})
	if _, err := db.Rebuild(t.Context()); err != nil {
		t.Error(err)
	}
	mustVerify(t, db)
}
