package store

import (
	"bufio"
	"context"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"dieglow/catalog/fault"
)

// Each pragma is read back here by its number, on several connections at once:
// pragmas belong to a connection, not to the file.
func TestPragmasOfBothWaysIn(t *testing.T) {
	t.Parallel()
	_, dir := newNotebook(t)
	tests := []struct {
		name   string
		open   func(context.Context, string, Source) (*DB, error)
		pragma map[string]string
	}{
		{"writer", OpenWrite, map[string]string{
			"foreign_keys": "1", "journal_mode": "delete", "synchronous": "3", "trusted_schema": "0", "recursive_triggers": "1",
			"secure_delete": "1", "cell_size_check": "1", "busy_timeout": "5000", "query_only": "0", "application_id": "1682402423", "user_version": "3",
		}},
		{"reader", OpenRead, map[string]string{
			"foreign_keys": "1", "journal_mode": "delete", "trusted_schema": "0", "cell_size_check": "1", "busy_timeout": "5000", "query_only": "1",
		}},
	}
	for _, tt := range tests {
		db, err := tt.open(t.Context(), dir, testSource())
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		db.sql.SetMaxOpenConns(4)
		var ready, done sync.WaitGroup
		ready.Add(4)
		for range 4 {
			done.Go(func() {
				conn, err := db.sql.Conn(context.Background())
				ready.Done()
				if err != nil {
					t.Error(err)
					return
				}
				defer conn.Close()
				ready.Wait() // so that four connections are open
				for name, want := range tt.pragma {
					var got string
					if err := conn.QueryRowContext(context.Background(), "pragma "+name).Scan(&got); err != nil || got != want {
						t.Errorf("%s: %s = %s, %v, want %s", tt.name, name, got, err, want)
					}
				}
				// These have no pragma to read: a typo in double quotes is an error,
				// and the schema cannot be written as a table.
				if _, err := conn.ExecContext(context.Background(), `select "typo" from lens`); err == nil {
					t.Errorf("%s: a name in double quotes passes for a string", tt.name)
				}
				if _, err := conn.ExecContext(context.Background(), "pragma writable_schema = 1; update sqlite_schema set sql = sql"); err == nil {
					t.Errorf("%s: the schema can be written as a table", tt.name)
				}
			})
		}
		done.Wait()
	}
	var wrong = map[string]string{"foreign_keys": "0"}
	db := openRead(t, dir)
	if err := checkPragmas(t.Context(), db.sql, wrong); err == nil {
		t.Error("a pragma that did not take hold is not noticed")
	}
}

func TestReaderCannotWrite(t *testing.T) {
	t.Parallel()
	_, dir := newNotebook(t)
	before := tree(t, dir)
	db := openRead(t, dir)
	err := db.Update(t.Context(), "", func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "ge25"), Placement{})
		return err
	})
	if fault.KindOf(err) != fault.Other || !strings.Contains(err.Error(), "cannot be written") || fault.HintOf(err) == "" {
		t.Errorf("Update through the reader: %v", err)
	}
	for _, s := range []string{
		"delete from lens", "insert into project values (9, '', 0, 0, null, null)", "create table t (a)", "pragma user_version = 9",
		"pragma journal_mode = wal", "vacuum", "pragma query_only = 0; delete from record",
	} {
		if _, err := db.sql.Exec(s); err == nil && s != "pragma journal_mode = wal" {
			t.Errorf("the reader runs %q", s)
		}
	}
	if err := db.View(t.Context(), func(tx *Tx) error { return tx.exec("delete from record") }); err == nil {
		t.Error("a view of the reader deletes")
	}
	if !maps.Equal(tree(t, dir), before) {
		t.Error("the reader changed something")
	}
	mustVerify(t, db)
}

// A view through the writer may see, and changes nothing.
func TestViewOfWriterChangesNothing(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	before := tree(t, dir)
	if err := db.View(t.Context(), func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "ge25"), Placement{})
		return err
	}); err != nil {
		t.Log(err)
	}
	if !maps.Equal(tree(t, dir), before) {
		t.Error("a view changed something")
	}
}

func TestReadOnlyFiles(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	newWorld(t, db, 3)
	want := mustDump(t, db)
	at := copyNotebook(t, dir)
	if err := os.Chmod(filepath.Join(at, FileName), 0o444); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(at, 0o555); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(at, 0o755) })
	reads(t, at, want)
	if os.Geteuid() == 0 {
		t.Log("permissions do not bind root, so writing was not tried")
		return
	}
	refusesToWrite(t, at)
}

func TestReadOnlyMount(t *testing.T) {
	db, dir := newNotebook(t)
	newWorld(t, db, 3)
	want := mustDump(t, db)
	hot := interruptedCommit(t)
	for _, at := range []string{dir, hot} {
		if syscall.Mount(at, at, "", syscall.MS_BIND, "") != nil {
			t.Skip("no folder can be mounted here")
		}
		t.Cleanup(func() { _ = syscall.Unmount(at, syscall.MNT_DETACH) })
		if err := syscall.Mount("", at, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
			t.Skipf("no folder can be mounted read-only here: %v", err)
		}
	}
	reads(t, dir, want)
	refusesToWrite(t, dir)
	_, err := OpenRead(t.Context(), hot, testSource())
	if fault.KindOf(err) != fault.Other || !strings.Contains(err.Error(), "interrupted") || !strings.Contains(fault.HintOf(err), "copy the whole folder") {
		t.Errorf("an interrupted write on a read-only disk: %v, hint %q", err, fault.HintOf(err))
	}
	if _, err := Create(t.Context(), filepath.Join(dir, "new"), genesis(), testSource()); fault.KindOf(err) != fault.Other || fault.HintOf(err) == "" {
		t.Errorf("Create on a read-only disk: %v", err)
	}
}

func reads(t *testing.T, dir, want string) {
	t.Helper()
	db := openRead(t, dir)
	mustVerify(t, db)
	if got := mustDump(t, db); got != want {
		t.Error(firstDifference(want, got))
	}
	db.Close()
}

func refusesToWrite(t *testing.T, dir string) {
	t.Helper()
	db, err := OpenWrite(t.Context(), dir, testSource())
	if err == nil {
		defer db.Close()
		err = db.Update(t.Context(), "", func(tx *Tx) error {
			_, err := Add(tx, thinLens(t, "ro"), Placement{})
			return err
		})
	}
	if fault.KindOf(err) != fault.Other || fault.HintOf(err) == "" {
		t.Errorf("writing to a read-only place: %v, hint %q", err, fault.HintOf(err))
	}
}

// Another program may switch the file to a write-ahead log. Neither way in goes
// on with it: the notebook must be one file.
func TestWriteAheadLogIsNotUsed(t *testing.T) {
	t.Parallel()
	for name, open := range map[string]func(*testing.T, string) *DB{
		"read":  func(t *testing.T, dir string) *DB { return openRead(t, dir) },
		"write": func(t *testing.T, dir string) *DB { return openWrite(t, dir) },
	} {
		db, dir := newNotebook(t)
		newWorld(t, db, 4)
		want := mustDump(t, db)
		db.Close()
		conn := rawConn(t, dir)
		if got := column(t, conn, "pragma journal_mode = wal"); got[0] != "wal" {
			t.Fatalf("journal mode %v", got)
		}
		conn.Close()
		db = open(t, dir)
		var mode string
		if err := db.sql.QueryRow("pragma journal_mode").Scan(&mode); err != nil || mode != "delete" {
			t.Errorf("%s: journal mode %s, %v", name, mode, err)
		}
		if got := mustDump(t, db); got != want {
			t.Errorf("%s: %s", name, firstDifference(want, got))
		}
		mustVerify(t, db)
		for _, suffix := range []string{"-wal", "-shm"} {
			if _, err := os.Stat(filepath.Join(dir, FileName+suffix)); err == nil {
				t.Errorf("%s: %s is there", name, suffix)
			}
		}
	}
}

// interruptedCommit returns a notebook whose last change was cut short: the
// process died after writing to the file and before removing the journal.
func interruptedCommit(t *testing.T) (dir string) {
	t.Helper()
	_, dir = newNotebook(t)
	cmd := exec.Command(os.Args[0], "-test.run=^TestInterruptedCommit$")
	cmd.Env = append(os.Environ(), "DIEGLOW_TEST_INTERRUPT="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil || line != "spilled\n" {
		t.Fatalf("child says %q, %v", line, err)
	}
	_ = cmd.Process.Kill()
	_ = cmd.Wait()
	if info, err := os.Stat(filepath.Join(dir, FileName+"-journal")); err != nil || info.Size() == 0 {
		t.Fatalf("no journal was left: %v", err)
	}
	return dir
}

func TestInterruptedCommit(t *testing.T) {
	if dir := os.Getenv("DIEGLOW_TEST_INTERRUPT"); dir != "" {
		spill(t, dir)
		return
	}
	t.Parallel()
	dir := interruptedCommit(t)
	at := copyNotebook(t, dir)
	for _, open := range []func(testing.TB, string) *DB{openRead, openWrite} {
		db := open(t, copyNotebook(t, at))
		c := mustVerify(t, db)
		if c.Entries != 1 {
			t.Errorf("%d entries after the rollback, want 1", c.Entries)
		}
	}
	// Taken away from its journal, the file is in the middle of a change: that
	// must not pass.
	if err := os.Remove(filepath.Join(at, FileName+"-journal")); err != nil {
		t.Fatal(err)
	}
	db, err := OpenRead(t.Context(), at, testSource())
	if err != nil {
		return
	}
	defer db.Close()
	if c, err := db.Verify(t.Context()); err == nil && len(c.Problems) == 0 && c.Entries > 1 {
		t.Errorf("half a change verifies: %+v", c)
	}
}

// spill records with a cache so small that the file is written to before the
// commit, says so and waits to be killed.
func spill(t *testing.T, dir string) {
	db := openWrite(t, dir)
	if _, err := db.sql.Exec("pragma cache_size = 2"); err != nil {
		t.Fatal(err)
	}
	err := db.Update(t.Context(), "R. Tester", func(tx *Tx) error {
		for range 300 {
			if _, err := Add(tx, thinLens(t, ""), Placement{}); err != nil {
				return err
			}
		}
		os.Stdout.WriteString("spilled\n")
		select {}
	})
	t.Fatal(err)
}

// What is not a notebook is refused by both ways in and stays as it is.
func TestNotANotebook(t *testing.T) {
	t.Parallel()
	_, whole := newNotebook(t)
	raw := func(statements ...string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			conn := rawConn(t, dir)
			defer conn.Close()
			for _, s := range statements {
				if _, err := conn.Exec(s); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	write := func(content string) func(*testing.T, string) {
		return func(t *testing.T, dir string) {
			if err := os.WriteFile(filepath.Join(dir, FileName), []byte(content), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	tests := []struct {
		name string
		make func(*testing.T, string)
		kind fault.Kind
	}{
		{"newer", raw("pragma user_version = 4"), fault.TooNew},
		{"much newer, with a write-ahead log", raw("pragma user_version = 4000000", "pragma journal_mode = wal"), fault.TooNew},
		{"another program's", raw("pragma application_id = 1"), fault.Invalid},
		{"another program's, with a write-ahead log", raw("pragma application_id = 0", "pragma journal_mode = wal"), fault.Invalid},
		{"text", write("dear diary\n" + strings.Repeat("nothing happened today\n", 400)), fault.Invalid},
		{"a little text", write("x"), fault.Invalid},
		{"empty", write(""), fault.Invalid},
		{"only the header", write("SQLite format 3\x00"), fault.Invalid},
		{"a folder", func(t *testing.T, dir string) {
			path := filepath.Join(dir, FileName)
			if err := os.Remove(path); err != nil {
				t.Fatal(err)
			}
			if err := os.Mkdir(path, 0o755); err != nil {
				t.Fatal(err)
			}
		}, fault.Invalid},
		{"no file", func(t *testing.T, dir string) {
			if err := os.Remove(filepath.Join(dir, FileName)); err != nil {
				t.Fatal(err)
			}
		}, fault.NotFound},
		{"no folder", func(t *testing.T, dir string) {
			if err := os.RemoveAll(dir); err != nil {
				t.Fatal(err)
			}
		}, fault.NotFound},
	}
	for _, tt := range tests {
		dir := copyNotebook(t, whole)
		tt.make(t, dir)
		top := filepath.Dir(dir)
		before := tree(t, top)
		for way, open := range map[string]func(context.Context, string, Source) (*DB, error){"read": OpenRead, "write": OpenWrite} {
			db, err := open(t.Context(), dir, testSource())
			if err == nil {
				db.Close()
			}
			if fault.KindOf(err) != tt.kind || fault.HintOf(err) == "" {
				t.Errorf("%s, to %s: %v (hint %q), want kind %s", tt.name, way, err, fault.HintOf(err), tt.kind)
			}
			if !maps.Equal(tree(t, top), before) {
				t.Errorf("%s, to %s: something was changed", tt.name, way)
			}
		}
	}
}

func TestErrorsAreExplainedOnce(t *testing.T) {
	t.Parallel()
	_, dir := newNotebook(t)
	db := openRead(t, dir)
	_, err := db.Rebuild(t.Context())
	if n := strings.Count(err.Error(), "cannot be written"); n != 1 {
		t.Errorf("%q is said %d times", err, n)
	}
}
