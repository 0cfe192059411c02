package store

import (
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/notebook"
)

func TestCreateWhereSomethingIs(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	mustVerify(t, db)
	_, foreign := newNotebook(t)
	if _, err := rawConn(t, foreign).Exec("pragma application_id = 7"); err != nil {
		t.Fatal(err)
	}
	_, newer := newNotebook(t)
	if _, err := rawConn(t, newer).Exec("pragma user_version = 99"); err != nil {
		t.Fatal(err)
	}
	text := t.TempDir()
	if err := os.WriteFile(filepath.Join(text, FileName), []byte("dear diary"), 0o644); err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if err := os.Mkdir(filepath.Join(folder, FileName), 0o755); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte("x"), 0o644); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name, dir string
		first     notebook.Genesis
		kind      fault.Kind
		says      string
	}{
		{"a notebook", dir, genesis(), fault.Conflict, "there is a notebook"},
		{"a newer notebook", newer, genesis(), fault.Conflict, "there is a notebook"},
		{"another program's file", foreign, genesis(), fault.Conflict, "in the way"},
		{"a text file", text, genesis(), fault.Conflict, "in the way"},
		{"a folder", folder, genesis(), fault.Conflict, "in the way"},
		{"a file where the folder should be", file, genesis(), fault.Other, "cannot"},
		{"a file where a folder above should be", filepath.Join(file, "a", "b"), genesis(), fault.Other, "cannot"},
		{"nothing, but a bad name", filepath.Join(t.TempDir(), "new", "deep"), notebook.Genesis{Operator: "a\x00b"}, fault.Invalid, "control character"},
	}
	for _, tt := range tests {
		top := filepath.Dir(tt.dir)
		if strings.HasPrefix(tt.name, "a file where a folder above") {
			top = filepath.Dir(file)
		}
		if strings.HasPrefix(tt.name, "nothing") {
			top = filepath.Dir(filepath.Dir(tt.dir))
		}
		before := tree(t, top)
		_, err := Create(t.Context(), tt.dir, tt.first, testSource())
		if fault.KindOf(err) != tt.kind || fault.HintOf(err) == "" || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v (hint %q), want kind %s saying %q", tt.name, err, fault.HintOf(err), tt.kind, tt.says)
		}
		if !maps.Equal(tree(t, top), before) {
			t.Errorf("%s: something was changed", tt.name)
		}
	}
	mustVerify(t, db)
}

// A failure in the middle leaves nothing, not even the folders made for it.
func TestCreateFailsInTheMiddle(t *testing.T) {
	t.Parallel()
	top := t.TempDir()
	source := testSource()
	source.NewSalt = func() (s [16]byte, err error) { return s, fmt.Errorf("no randomness") }
	if _, err := Create(t.Context(), filepath.Join(top, "a", "b"), genesis(), source); err == nil || !strings.Contains(err.Error(), "no randomness") {
		t.Errorf("Create: %v", err)
	}
	if all := tree(t, top); len(all) != 1 {
		t.Errorf("left behind: %v", all)
	}
}

func TestCreateTakesAnEmptyFilesPlace(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, FileName)
	if err := os.WriteFile(path, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	source := testSource()
	source.NewSalt = func() (s [16]byte, err error) { return s, fmt.Errorf("no randomness") }
	if _, err := Create(t.Context(), dir, genesis(), source); err == nil {
		t.Fatal("no error")
	}
	if all := tree(t, dir); len(all) != 2 || all[path] != "----------" {
		t.Errorf("after a failure: %q", all)
	}
	db, err := Create(t.Context(), dir, genesis(), testSource())
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	mustVerify(t, db)
}

// Of many that make a notebook in one place at once, one does; the others say
// that there is one.
func TestCreateAtOnce(t *testing.T) {
	t.Parallel()
	for _, empty := range []bool{false, true} {
		dir := t.TempDir()
		if empty {
			if err := os.WriteFile(filepath.Join(dir, FileName), nil, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		var all sync.WaitGroup
		made := make(chan string, 8)
		for range 8 {
			all.Go(func() {
				db, err := Create(t.Context(), dir, genesis(), testSource())
				if err == nil {
					made <- mustVerify(t, db).Origin
					db.Close()
				} else if fault.KindOf(err) != fault.Conflict {
					t.Errorf("Create: %v", err)
				}
			})
		}
		all.Wait()
		close(made)
		if len(made) != 1 {
			t.Fatalf("%d of 8 made a notebook, want 1", len(made))
		}
		if c := mustVerify(t, openRead(t, dir)); c.Origin != <-made {
			t.Error("the notebook is not the one that was made")
		}
		if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
			t.Errorf("left in the folder: %v, %v", entries, err)
		}
	}
}

const createDir = "DIEGLOW_TEST_CREATE_DIR"

// TestCreateKilled kills Create at every call that changes something. There is
// then a whole notebook or none, and in the second case Create can be run again.
func TestCreateKilled(t *testing.T) {
	if dir := os.Getenv(createDir); dir != "" {
		if _, err := Create(t.Context(), dir, genesis(), testSource()); err != nil {
			t.Fatal(err)
		}
		os.Exit(0)
	}
	path := outside(t, "strace")
	for _, empty := range []bool{false, true} {
		for _, calls := range []string{"pwrite64", "fsync,fdatasync", "unlink,unlinkat", "link,linkat"} {
			t.Run(fmt.Sprint(calls, empty), func(t *testing.T) {
				t.Parallel()
				whole := 0
				for n := 1; n < 300; n++ {
					dir := t.TempDir()
					if empty {
						if err := os.WriteFile(filepath.Join(dir, FileName), nil, 0o644); err != nil {
							t.Fatal(err)
						}
					}
					line := append(strace(path, calls, "signal=SIGKILL", n), os.Args[0], "-test.run=^TestCreateKilled$")
					cmd := exec.Command(line[0], line[1:]...)
					cmd.Env = append(os.Environ(), createDir+"="+dir, "GOMAXPROCS=1")
					killed := cmd.Run()
					db, err := Create(t.Context(), dir, genesis(), testSource())
					if fault.KindOf(err) == fault.Conflict {
						whole++
						db, err = OpenWrite(t.Context(), dir, testSource())
					}
					if err != nil {
						t.Fatalf("%s %d: %v", calls, n, err)
					}
					mustVerify(t, db)
					db.Close()
					if killed == nil {
						t.Logf("killed at %d calls, %d times after the notebook was whole", n-1, whole-1)
						return
					}
				}
			})
		}
	}
}
