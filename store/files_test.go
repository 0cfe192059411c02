package store

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"dieglow/notebook"
	"dieglow/notebook/journal"
)

func TestVerifyReadsRawFiles(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	w := newWorld(t, db, 1)
	ref, err := db.Files().Put(t.Context(), strings.NewReader("twenty-one point five"))
	if err != nil {
		t.Fatal(err)
	}
	update(t, db, func(tx *Tx) error {
		_, err := Add(tx, notebook.Capture{Purpose: notebook.Check, Artefact: &w.artefacts[0].Ref, Setup: w.setups[0].Ref,
			Attachments: []notebook.Attachment{{Name: "a", SHA256: ref.SHA256, Size: ref.Size}}},
			Placement{Files: []journal.File{{SHA256: ref.SHA256, Size: ref.Size}}})
		return err
	})
	whole := mustVerify(t, db)
	if whole.RawFiles == 0 || whole.RawBytes < ref.Size || len(whole.Notes) != 0 {
		t.Errorf("%+v", whole)
	}
	path := func(dir string) string { return filepath.Join(dir, "files", ref.SHA256[:2], ref.SHA256[2:]) }
	write := func(name, content string) func(string) error {
		return func(dir string) error {
			if err := os.Remove(path(dir)); err != nil {
				return err
			}
			return os.WriteFile(path(dir), []byte(content), 0o444)
		}
	}
	tests := []struct {
		name   string
		damage func(dir string) error
		says   string
	}{
		{"missing", func(dir string) error { return os.Remove(path(dir)) }, "is missing"},
		{"altered", write("altered", "twenty-one point six!"), "holds other bytes"},
		{"shorter", write("shorter", "twenty-one"), "has 10 bytes instead of 21"},
		{"empty", write("empty", ""), "has 0 bytes"},
		{"a folder", func(dir string) error {
			if err := os.Remove(path(dir)); err != nil {
				return err
			}
			return os.Mkdir(path(dir), 0o755)
		}, "is not a regular file"},
		{"all gone", func(dir string) error { return os.RemoveAll(filepath.Join(dir, "files")) }, "is missing"},
	}
	for _, tt := range tests {
		at := copyNotebook(t, dir)
		if err := tt.damage(at); err != nil {
			t.Fatal(err)
		}
		c, err := openRead(t, at).Verify(t.Context())
		if err != nil {
			t.Fatalf("%s: %v", tt.name, err)
		}
		if len(c.Problems) == 0 || c.Problems[0].Class != "file" || !strings.Contains(c.Problems[len(c.Problems)-1].Text+c.Problems[0].Text, tt.says) {
			t.Errorf("%s: %+v, want a problem of class file saying %q", tt.name, c.Problems, tt.says)
		}
	}
	// What an interrupted command left is no damage.
	at := copyNotebook(t, dir)
	for name, content := range map[string]string{"tmp-123": "half", "note.txt": "hello"} {
		if err := os.WriteFile(filepath.Join(at, "files", name), []byte(content), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	orphaned := openRead(t, at)
	if _, err := orphaned.Files().Put(t.Context(), strings.NewReader("no entry names this")); err != nil {
		t.Fatal(err)
	}
	if c := mustVerify(t, orphaned); len(c.Notes) != 3 {
		t.Errorf("notes %q, want three", c.Notes)
	}
}

// A body names the raw files as well; they are checked even if the entry does not
// list them.
func TestVerifyReadsFilesNamedByBodies(t *testing.T) {
	t.Parallel()
	db, _ := newNotebook(t)
	w := newWorld(t, db, 1)
	update(t, db, func(tx *Tx) error {
		_, err := Add(tx, notebook.Capture{Purpose: notebook.Check, Artefact: &w.artefacts[0].Ref, Setup: w.setups[0].Ref,
			Attachments: []notebook.Attachment{{Name: "a", SHA256: strings.Repeat("ab", 32), Size: 3}}}, Placement{})
		return err
	})
	if c, err := db.Verify(t.Context()); err != nil || len(c.Problems) != 1 || c.Problems[0].Class != "file" {
		t.Errorf("problems %+v, %v, want the missing file", c.Problems, err)
	}
}
