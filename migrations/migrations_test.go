package migrations_test

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	_ "modernc.org/sqlite"

	"dieglow/migrations"
)

var update = flag.Bool("update", false, "write the golden schema anew")

// TestReleasedStepsAreNeverEdited pins the bytes of every step: a notebook that
// has had one must have had the same one as every other. To change the schema,
// add a step and its line here.
func TestReleasedStepsAreNeverEdited(t *testing.T) {
	t.Parallel()
	pinned := []struct{ name, sha256 string }{
		{"0001_notebook.sql", "ab1bb53ce17ff24143efb03cdb1a6d85f1c11b43ac0db3316ab96357bc0ecd57"},
		{"0002_finding.sql", "fdbeafdc5c3fde97250775a119d365dcae0e37819b7f95814f73e3b1ea7e67bb"},
		{"0003_evidence.sql", "e5fcc9a5c42820938505070beeb3fa9144e5774d0119dd8ea04bc6439c59cbd1"},
	}
	steps, err := migrations.Steps()
	if err != nil {
		t.Fatal(err)
	}
	if len(steps) != len(pinned) {
		t.Fatalf("%d steps, %d pinned", len(steps), len(pinned))
	}
	for i, s := range steps {
		sum := sha256.Sum256([]byte(s.SQL))
		if s.Number != i+1 || s.Name != pinned[i].name || hex.EncodeToString(sum[:]) != pinned[i].sha256 {
			t.Errorf("step %d is %s with %x, want %s with %s", s.Number, s.Name, sum, pinned[i].name, pinned[i].sha256)
		}
		if strings.Contains(strings.ToLower(s.SQL), "begin;") || strings.Contains(strings.ToLower(s.SQL), "commit;") || strings.Contains(strings.ToLower(s.SQL), "user_version") {
			t.Errorf("step %s handles the transaction or the version itself", s.Name)
		}
	}
}

// The golden file shows what the schema is after all steps.
func TestSchema(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "x.sqlite")
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	steps, err := migrations.Steps()
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range steps {
		if _, err := db.ExecContext(context.Background(), s.SQL); err != nil {
			t.Fatalf("%s: %v", s.Name, err)
		}
	}
	rows, err := db.Query("select sql from sqlite_schema where sql is not null order by name")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var b strings.Builder
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		b.WriteString(s + ";\n")
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	for statement := range strings.SplitSeq(b.String(), ";\n") {
		if strings.HasPrefix(statement, "CREATE TABLE") && !strings.Contains(statement[strings.LastIndex(statement, ")"):], "strict") {
			t.Errorf("not strict: %s", statement)
		}
	}
	const golden = "testdata/schema.sql"
	if *update {
		if err := os.WriteFile(golden, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("the schema differs from %s; if that is meant, run go test ./migrations -update and read the difference", golden)
	}
}
