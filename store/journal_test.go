package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"dieglow/notebook/journal"
)

// Any program that opens the file is held by its triggers, whatever pragmas it
// sets and whatever way of replacing rows it tries.
func TestJournalIsAppendOnly(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	newWorld(t, db, 1)
	before := mustDump(t, db)
	statements := []string{
		"update entry set line = x'00' where seq = 2",
		"update entry set seq = 99 where seq = 3",
		"update or replace entry set seq = 2 where seq = 3",
		"update or ignore entry set line = x'00'",
		"delete from entry where seq = 2",
		"delete from entry",
		"insert or replace into entry select * from entry where seq = 2",
		"insert or replace into entry select seq, x'00', hash from entry where seq = 2",
		"insert or replace into entry select (select max(seq) + 1 from entry), line, hash from entry where seq = 2",
		"replace into entry select (select max(seq) from entry), line, zeroblob(32) from entry where seq = 2",
		"insert into entry select (select max(seq) + 2 from entry), line, zeroblob(32) from entry where seq = 2",
		"insert into entry values (0, x'00', zeroblob(32))",
		"insert into entry values (-1, x'00', zeroblob(32))",
		"insert into entry values (null, x'00', x'00')",
		"insert into entry select seq, line, zeroblob(32) from entry where seq = 2 on conflict (seq) do update set line = excluded.line",
		"update body set bytes = x'00' where seq = 2",
		"update body set seq = 99 where seq = 3",
		"delete from body where seq = 2",
		"delete from body",
		"insert or replace into body select seq, salt, x'00' from body where seq = 2",
		"insert or replace into body select seq, salt, bytes from body where seq = (select max(seq) from entry)",
		"insert or ignore into body values (99, zeroblob(16), x'00')",
		"insert into body values (99, zeroblob(16), x'00')",
		"insert into body values (null, zeroblob(16), x'00')",
	}
	for _, pragma := range []string{"recursive_triggers(0)", "recursive_triggers(1)", "foreign_keys(1)", "ignore_check_constraints(1)"} {
		conn := rawConn(t, dir, pragma)
		for _, s := range statements {
			if _, err := conn.Exec(s); err == nil {
				t.Errorf("%s: taken: %s", pragma, s)
			}
			if after := mustDump(t, db); after != before {
				t.Fatalf("%s: %s: %s", pragma, s, firstDifference(before, after))
			}
		}
		conn.Close()
	}
	mustVerify(t, db)
}

// Whoever drops the triggers can change anything; Verify says what does not
// agree, and of which class it is.
func TestVerifyFindsEdits(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	newWorld(t, db, 3).live(30)
	const last = "(select max(seq) from entry)"
	type edited struct {
		class string
		sql   []string
	}
	edits := []edited{
		{"journal", []string{"update entry set line = cast(replace(cast(line as text), 'R. Tester', 'R. Taster') as blob) where seq = 4"}},
		{"journal", []string{"update entry set hash = zeroblob(32) where seq = " + last}},
		{"journal", []string{"delete from entry where seq = 5", "delete from body where seq = 5"}},
		{"journal", []string{"update entry set seq = seq + 50 where seq = " + last, "update body set seq = seq + 50 where seq = " + last + " - 50"}},
		{"journal", []string{"delete from body", "delete from entry"}},
		{"body", []string{"update body set bytes = cast(replace(cast(bytes as text), 'ge', 'gf') as blob) where seq = 2"}},
		{"body", []string{"update body set salt = zeroblob(16) where seq = 3"}},
		{"body", []string{"delete from body where seq = 6"}},
		{"body", []string{"insert into body values (5000, zeroblob(16), x'00')"}},
		{"schema", []string{"drop index resolution_strength"}},
		{"schema", []string{"create table extra (a)"}},
		{"schema", []string{"create trigger sqlitexevil after insert on lens begin delete from lens; end"}},
		{"schema", []string{"alter table lens add column extra integer"}},
		{"schema", []string{"create view v as select 1"}},
	}
	for _, name := range newProjector(nil).order {
		edits = append(edits, edited{"table", []string{fmt.Sprintf("delete from %s where rid = (select max(rid) from %[1]s)", name)}})
		for _, c := range column(t, db.sql, fmt.Sprintf("select name || ' ' || type from pragma_table_info('%s')", name)) {
			c, kind, _ := strings.Cut(c, " ")
			value := map[string]string{"INTEGER": "coalesce(%s, 0) + 7", "REAL": "coalesce(%s, 0) + 1e-9", "TEXT": "coalesce(%s, '') || ' '"}[kind]
			edits = append(edits, edited{"table", []string{fmt.Sprintf("update or replace %s set %s = "+fmt.Sprintf(value, c)+
				" where rid = coalesce((select max(rid) from %[1]s where %[2]s is not null), (select max(rid) from %[1]s))", name, c)}})
		}
	}
	for _, e := range edits {
		at := copyNotebook(t, dir)
		edit(t, at, e.sql...)
		c, err := openRead(t, at).Verify(t.Context())
		if err != nil {
			t.Errorf("%s: %v", e.sql, err)
			continue
		}
		if len(c.Problems) == 0 || c.Problems[0].Class != e.class {
			t.Errorf("%s: problems %+v, want class %s", e.sql, c.Problems, e.class)
		}
	}
}

// The chain cannot show that its end was cut off, together with all that came of
// it: what is left is a whole, shorter notebook. What tells is the number of
// entries and the last hash, which Verify gives so that they can be compared
// with a copy kept elsewhere.
func TestVerifyGivesWhatShowsACutTail(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	update(t, db, func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "ge25"), Placement{})
		return err
	})
	shorter := mustVerify(t, db)
	update(t, db, func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "ge50"), Placement{})
		return err
	})
	longer := mustVerify(t, db)
	edit(t, dir, "delete from body where seq = 3", "delete from entry where seq = 3",
		"delete from record where rid = 3", "delete from revision where rid = 3", "delete from lens where rid = 3")
	cut := mustVerify(t, db)
	if cut.Entries != shorter.Entries || cut.Head != shorter.Head {
		t.Errorf("after the cut %d entries to %s, want %d to %s", cut.Entries, cut.Head, shorter.Entries, shorter.Head)
	}
	if longer.Entries != 3 || cut.Entries != 2 || longer.Head == cut.Head || len(longer.Head) != 64 || longer.Origin != cut.Origin {
		t.Errorf("nothing tells the cut notebook (%+v) from the whole one (%+v)", cut, longer)
	}
}

// A forger who writes a well-formed chain of his own gets no panic out of Verify
// and Rebuild, only an answer.
func TestForgedBodies(t *testing.T) {
	t.Parallel()
	bodies := []struct{ kind, body string }{
		{"artefact", `{"reason":"","record":{}}`},
		{"outcome", `{"reason":"","record":{"result":"resolved"}}`},
		{"capture", `{"reason":"","record":{"purpose":"check","frames":[{"sha256":"../../etc/passwd"}]}}`},
		{"setup", `{"reason":"","record":{"stack":[{}]}}`},
		{"lens", `null`}, {"lens", `{}`}, {"lens", `[]`}, {"lens", ``}, {"lens", `{"record":{"on_hand":1e99}}`},
		{"finding", `{}`}, {"", `{}`},
	}
	for _, b := range bodies {
		for _, revision := range []int{0, 1, 2} {
			db, dir := newNotebook(t)
			conn := rawConn(t, dir)
			var line []byte
			if err := conn.QueryRow("select line from entry").Scan(&line); err != nil {
				t.Fatal(err)
			}
			e, err := journal.Parse(line)
			if err != nil {
				t.Fatal(err)
			}
			e.Seq, e.Prev, e.Kind, e.Subject, e.Revision, e.SubjectID = 2, journal.HashOf(line), b.kind, b.kind+"-1", revision, "x"
			e.Body = journal.Commit([journal.SaltSize]byte{}, []byte(b.body))
			line = e.Canonical()
			hash := journal.HashOf(line)
			if _, err := conn.Exec("insert into entry values (2, ?, ?)", line, hash[:]); err != nil {
				t.Fatal(err)
			}
			if _, err := conn.Exec("insert into body values (2, zeroblob(16), ?)", []byte(b.body)); err != nil {
				t.Fatal(err)
			}
			c, err := db.Verify(context.Background())
			if err == nil && len(c.Problems) == 0 {
				t.Errorf("%s %s, revision %d: verifies", b.kind, b.body, revision)
			}
			_, _ = db.Rebuild(context.Background())
		}
	}
}

// With any one byte of the file changed, opening fails, Verify fails or reports,
// or the byte is one that holds nothing: the rows are what they were.
func TestFlippedBytes(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	update(t, db, func(tx *Tx) error {
		_, err := Add(tx, thinLens(t, "ge25"), Placement{})
		return err
	})
	want := mustDump(t, db)
	// Small pages make a small file, so that more of its bytes are tried.
	path := filepath.Join(t.TempDir(), FileName)
	if _, err := rawConn(t, dir, "page_size(512)").Exec("vacuum into ?", path); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	limit := 8 * time.Second
	if testing.Short() {
		limit = time.Second
	}
	count := map[string]int{}
	start := time.Now()
	for i, at := range spread(whole) {
		if time.Since(start) > limit {
			break
		}
		bytes := slices.Clone(whole)
		bytes[at] ^= []byte{0xff, 0x01, 0x03, 0x80}[i%4]
		if err := os.WriteFile(path, bytes, 0o644); err != nil {
			t.Fatal(err)
		}
		what := flipped(t, filepath.Dir(path), want)
		if count[what]++; what == "passed" {
			t.Errorf("byte %d changed from %#x to %#x: verifies with other rows", at, whole[at], bytes[at])
		}
	}
	t.Logf("%d bytes in the file: %v", len(whole), count)
}

// spread returns the places in the file in the order to try them: the header,
// then bytes that hold something, then the zeros, each from all over the file.
func spread(file []byte) []int {
	const stride = 7919 // prime, so that every place comes up once
	var used, zero []int
	header := make([]int, 100)
	for i := range header {
		header[i] = i
	}
	for i := range file {
		switch at := i * stride % len(file); {
		case at < len(header):
		case file[at] != 0:
			used = append(used, at)
		default:
			zero = append(zero, at)
		}
	}
	return slices.Concat(header, used, zero)
}

// flipped says what became of a notebook with a changed byte.
func flipped(t *testing.T, dir, want string) string {
	db, err := OpenRead(t.Context(), dir, testSource())
	if err != nil {
		return "not opened"
	}
	defer db.Close()
	c, err := db.Verify(t.Context())
	if err != nil {
		return "not verified"
	}
	if len(c.Problems) > 0 {
		return "reported"
	}
	if got, err := dump(t.Context(), db.sql); err != nil || got != want {
		t.Log(err, firstDifference(want, got))
		return "passed"
	}
	return "no effect"
}
