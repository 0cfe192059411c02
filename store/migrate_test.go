package store

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/migrations"
)

// later returns the steps there are with one more.
func later(t *testing.T, sql string) []migrations.Step {
	t.Helper()
	steps, err := migrations.Steps()
	if err != nil {
		t.Fatal(err)
	}
	n := len(steps) + 1
	return append(steps, migrations.Step{Number: n, Name: "later.sql", SQL: sql})
}

// copyBefore names the copy that is kept before the last of steps.
func copyBefore(steps []migrations.Step) string {
	return fmt.Sprintf("notebook.before-v%d.sqlite", len(steps))
}

// stepSQL rebuilds a table that has rows, and adds to another, in one step.
const stepSQL = `create table lens_new (rid integer primary key, material text not null, extra real) strict;
insert into lens_new select rid, material, diameter_mm from lens;
drop table lens;
alter table lens_new rename to lens;
alter table camera add column extra integer not null default 7;`

func TestMigrate(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	newWorld(t, db, 8).live(20)
	before := mustDump(t, db)
	steps := later(t, stepSQL)
	if err := db.migrate(t.Context(), steps); err != nil {
		t.Fatal(err)
	}
	var lenses, extra int
	if err := db.sql.QueryRow("select (select count(*) from lens where extra > 0), (select min(extra) from camera)").Scan(&lenses, &extra); err != nil || lenses == 0 || extra != 7 {
		t.Errorf("%d lenses, extra %d, %v", lenses, extra, err)
	}
	// A copy of what was there is kept, and is a notebook.
	kept := t.TempDir()
	name := filepath.Join(dir, copyBefore(steps))
	if err := os.Rename(name, filepath.Join(kept, FileName)); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(filepath.Join(kept, "files"), os.DirFS(filepath.Join(dir, "files"))); err != nil {
		t.Fatal(err)
	}
	old := openWrite(t, kept)
	if got := mustDump(t, old); got != before {
		t.Error(firstDifference(before, got))
	}
	mustVerify(t, old)
	// Again it does nothing, and keeps nothing.
	now := tree(t, dir)
	if err := db.migrate(t.Context(), steps); err != nil {
		t.Error(err)
	}
	if !maps.Equal(tree(t, dir), now) {
		t.Error("a second migration changed something")
	}
	// This program now finds a notebook newer than itself.
	for _, open := range []func() (*DB, error){
		func() (*DB, error) { return OpenRead(t.Context(), dir, testSource()) },
		func() (*DB, error) { return OpenWrite(t.Context(), dir, testSource()) },
	} {
		if _, err := open(); fault.KindOf(err) != fault.TooNew || fault.HintOf(err) == "" {
			t.Errorf("a newer notebook: %v", err)
		}
	}
	if !maps.Equal(tree(t, dir), now) {
		t.Error("refusing it changed something")
	}
}

// A copy kept before is older, and stays.
func TestMigrateLeavesAnOlderCopy(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	steps := later(t, "create table extra (a)")
	name := filepath.Join(dir, copyBefore(steps))
	if err := os.WriteFile(name, []byte("older"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := db.migrate(t.Context(), steps); err != nil {
		t.Fatal(err)
	}
	if b, err := os.ReadFile(name); err != nil || string(b) != "older" {
		t.Errorf("the copy holds %q, %v", b, err)
	}
}

func TestMigrationFailsInTheMiddle(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	newWorld(t, db, 9)
	before := mustDump(t, db)
	steps := later(t, "create table extra (a); delete from lens; insert into nowhere values (1)")
	err := db.migrate(t.Context(), steps)
	if err == nil || !strings.Contains(err.Error(), "migration later.sql") {
		t.Errorf("migrate: %v", err)
	}
	if got := mustDump(t, db); got != before {
		t.Error(firstDifference(before, got))
	}
	mustVerify(t, db)
	if v, err := db.version(t.Context()); err != nil || v != len(steps)-1 {
		t.Errorf("version %d, %v, want %d", v, err, len(steps)-1)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}

// Of several that find an older notebook at once, one migrates it.
func TestMigrateAtOnce(t *testing.T) {
	t.Parallel()
	first, dir := newNotebook(t)
	newWorld(t, first, 10)
	before := mustDump(t, first)
	dbs := []*DB{first, openWrite(t, dir), openWrite(t, dir), openWrite(t, dir)}
	steps := later(t, "create table extra (a integer) strict; insert into extra values (1)")
	var all sync.WaitGroup
	for _, db := range dbs {
		all.Go(func() {
			if err := db.migrate(t.Context(), steps); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if n := column(t, rawConn(t, dir), "select count(*) from extra"); n[0] != "1" {
		t.Errorf("the step was run %s times", n[0])
	}
	kept := t.TempDir()
	if err := os.Rename(filepath.Join(dir, copyBefore(steps)), filepath.Join(kept, FileName)); err != nil {
		t.Fatal(err)
	}
	if got := mustDump(t, openRead(t, kept)); got != before {
		t.Error("the copy kept is not of what was there: ", firstDifference(before, got))
	}
}

// The reader does not migrate; it says what to do.
func TestReaderOfAnOlderNotebook(t *testing.T) {
	t.Parallel()
	_, dir := newNotebook(t)
	if _, err := rawConn(t, dir).Exec("pragma user_version = 0"); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenRead(t.Context(), dir, testSource()); fault.KindOf(err) != fault.Conflict || fault.HintOf(err) == "" {
		t.Errorf("OpenRead of an older notebook: %v", err)
	}
}
