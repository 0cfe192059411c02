package store

import (
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
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

// rawConn opens a connection that has none of the store's pragmas, as any
// other program would.
func rawConn(tb testing.TB, dir string, pragmas ...string) *sql.DB {
	tb.Helper()
	conn, err := sql.Open("sqlite", dsn(filepath.Join(dir, FileName), url.Values{"mode": {"rw"}, "_pragma": pragmas}))
	if err != nil {
		tb.Fatal(err)
	}
	conn.SetMaxOpenConns(1)
	tb.Cleanup(func() { conn.Close() })
	return conn
}

// edit runs statements on a notebook behind the store's back, with the triggers
// that guard the journal out of the way; they are put back afterwards.
func edit(tb testing.TB, dir string, statements ...string) {
	tb.Helper()
	conn := rawConn(tb, dir, "synchronous(0)")
	defer conn.Close()
	names := column(tb, conn, "select name from sqlite_schema where type = 'trigger' order by name")
	makers := column(tb, conn, "select sql from sqlite_schema where type = 'trigger' order by name")
	for i := range names {
		names[i] = "drop trigger " + names[i]
	}
	for _, s := range slices.Concat([]string{"begin"}, names, statements, makers, []string{"commit"}) {
		if _, err := conn.Exec(s); err != nil {
			tb.Fatalf("%s: %v", s, err)
		}
	}
}

func column(tb testing.TB, conn *sql.DB, query string) []string {
	tb.Helper()
	rows, err := conn.Query(query)
	if err != nil {
		tb.Fatal(err)
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			tb.Fatal(err)
		}
		out = append(out, s)
	}
	if err := rows.Err(); err != nil {
		tb.Fatal(err)
	}
	return out
}

// dump returns every row of every table as text.
func dump(ctx context.Context, conn *sql.DB) (string, error) {
	db := &Tx{ctx: ctx}
	var err error
	if db.tx, err = conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}); err != nil {
		return "", err
	}
	defer db.tx.Rollback()
	names, err := collect(db, "select name from sqlite_schema where type = 'table' and name not glob 'sqlite_*' order by name", nil, scanText)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for _, name := range names {
		fmt.Fprintf(&b, "== %s\n", name)
		lines, err := collect(db, "select * from "+name, nil, scanLine)
		if err != nil {
			return "", err
		}
		slices.Sort(lines)
		b.WriteString(strings.Join(lines, "\n") + "\n")
	}
	return b.String(), nil
}

func scanLine(rows *sql.Rows) (string, error) {
	names, err := rows.Columns()
	if err != nil {
		return "", err
	}
	values, dest := make([]any, len(names)), make([]any, len(names))
	for i := range values {
		dest[i] = &values[i]
	}
	err = rows.Scan(dest...)
	return fmt.Sprintf("%#v", values), err
}

func mustDump(tb testing.TB, db *DB) string {
	tb.Helper()
	s, err := dump(context.Background(), db.sql)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

// tree returns the files of a folder with their bytes.
func tree(tb testing.TB, dir string) map[string]string {
	tb.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		all[path] = d.Type().String()
		if d.Type().IsRegular() {
			b, err := os.ReadFile(path)
			all[path] += string(b)
			return err
		}
		return nil
	})
	if err != nil {
		tb.Fatal(err)
	}
	return all
}

// copyNotebook copies a closed or idle notebook into a folder of its own.
func copyNotebook(tb testing.TB, dir string) string {
	tb.Helper()
	to := filepath.Join(tb.TempDir(), "copy")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		tb.Fatal(err)
	}
	return to
}

func openRead(tb testing.TB, dir string) *DB {
	tb.Helper()
	db, err := OpenRead(context.Background(), dir, testSource())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { db.Close() })
	return db
}

func openWrite(tb testing.TB, dir string) *DB {
	tb.Helper()
	db, err := OpenWrite(context.Background(), dir, testSource())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { db.Close() })
	return db
}

func genesis() notebook.Genesis { return notebook.Genesis{Operator: "R. Tester"} }
