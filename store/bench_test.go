package store

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// fillTables puts setups, captures and one resolved feature for every fifth
// capture straight into the tables, without a journal, which is quick enough for
// a million. Names and figures are consistent with one another.
func fillTables(tb testing.TB, db *DB, setups, captures int) {
	tb.Helper()
	update(tb, db, func(tx *Tx) error {
		const numbers = "with recursive n(i) as (select 1 union all select i + 1 from n where i < ?1) "
		for _, q := range []struct {
			sql  string
			args []any
		}{
			{numbers + "insert into record select 10 + i, printf('id-%d', 10 + i), 'setup', i, printf('s%d', i), printf('s%d', i), null, 1, 10 + i from n", []any{setups}},
			{numbers + "insert into setup select 10 + i, 1, 2, null, 10, 25, 20, -0.5, 24, 6, 4, 0.2, 30, 48, 48, '42.00 EUR' from n", []any{setups}},
			{numbers + "insert into record select ?2 + i, printf('id-%d', ?2 + i), 'capture', i, null, null, null, 1, ?2 + i from n", []any{captures, 10 + setups}},
			{numbers + "insert into capture select ?2 + i, null, 3, 11 + i / 5 % ?3, 1, 'check', printf('2026-%02d-%02d', 1 + i % 12, 1 + i % 28), i % 7 * 0.1, 296, null, '' from n", []any{captures, 10 + setups, setups}},
			{numbers + "insert into record select ?2 + i, printf('id-%d', ?2 + i), 'outcome', i, null, null, null, 1, ?2 + i from n", []any{captures / 5, 10 + setups + captures}},
			{numbers + "insert into outcome select ?2 + i, 'resolved', ?3 + 5 * i, null, 0, null, null, '2026-01-01', 0 from n", []any{captures / 5, 10 + setups + captures, 10 + setups}},
			{`insert into resolution select o.rid, c.setup_rid, 1, c.rid, null, 20 + (o.rid * 7919 + o.rid / 400 * 104729) % 2003 / 10.0, null, 'bond wire', '', 0, 0
from outcome o join capture c on c.rid = o.capture_rid`, nil},
		} {
			if _, err := tx.tx.ExecContext(tx.ctx, q.sql, q.args...); err != nil {
				return fmt.Errorf("%s: %w", q.sql, err)
			}
		}
		return nil
	})
}

// BenchmarkFindResolved compares with the sqlite3 shell given the same SQL.
func BenchmarkFindResolved(b *testing.B) {
	db, dir := newNotebook(b)
	fillTables(b, db, 400, 1_000_000)
	reader := openRead(b, dir)
	b.Run("store", func(b *testing.B) {
		for b.Loop() {
			err := reader.View(context.Background(), func(tx *Tx) error {
				got, err := tx.FindResolved(50)
				if len(got) != 400 {
					b.Fatalf("%d setups", len(got))
				}
				return err
			})
			if err != nil {
				b.Fatal(err)
			}
		}
	})
	question := strings.ReplaceAll(ResolvedSQL, "?1", "50")
	for name, script := range map[string]string{"shell": question + ";", "shell/start": "select count(*) from sqlite_schema;", "shell/10x": strings.Repeat(question+";", 11)} {
		b.Run(name, func(b *testing.B) {
			path, err := exec.LookPath("sqlite3")
			if err != nil {
				b.Skip("no sqlite3 to compare with")
			}
			for b.Loop() {
				cmd := exec.Command(path, "-readonly", filepath.Join(dir, FileName))
				cmd.Stdin = strings.NewReader(script)
				if out, err := cmd.Output(); err != nil {
					b.Fatalf("%v: %s", err, out)
				}
			}
		})
	}
}

// benchCapture returns a capture with every condition and one frame, and the
// placement that vouches for it; all captures share the frame's file.
func benchCapture(tb testing.TB, db *DB) (notebook.Capture, Placement) {
	tb.Helper()
	w := newWorld(tb, db, 1)
	ref, err := db.Files().Put(context.Background(), strings.NewReader("21.5,21.6\n21.7,21.8\n"))
	if err != nil {
		tb.Fatal(err)
	}
	of := func(v float64, stated string) *quantity.Estimate { return &quantity.Estimate{Value: v, Stated: stated} }
	averaged := 16
	return notebook.Capture{
		Purpose: notebook.Measurement, Specimen: &w.specimens[0].Ref, Setup: w.setups[0].Ref,
		PowerW: of(0.5, "500mW"), AmbientK: of(296.25, "23.1C"), ReflectedK: of(296.25, "23.1C"), Emissivity: of(0.95, "0.95"), EmissivityFrom: notebook.FromTable,
		SincePowerS: of(600, "10min"), DistanceMM: of(10.2, "10.2mm"), FocusMethod: "contrast, by eye", FramesAveraged: &averaged,
		Operator: "R. Tester", On: "2026-03-01T10:00:00.000Z",
		Frames: []notebook.FrameFile{{Name: "frame.csv", SHA256: ref.SHA256, Size: ref.Size, Unit: "degC", Width: 2, Height: 2, Min: 21.5, Max: 21.8, Mean: 21.65, MaxX: 1, MaxY: 1}},
		Notes:  "board on the stage, lid off",
	}, Placement{Project: w.projects[0].ID, Files: []journal.File{{SHA256: ref.SHA256, Size: ref.Size}}}
}

func addCaptures(tb testing.TB, db *DB, n int, c notebook.Capture, p Placement) {
	tb.Helper()
	update(tb, db, func(tx *Tx) error {
		for i := range n {
			c.PowerW = &quantity.Estimate{Value: float64(i) / 1000, Stated: "as set"}
			if _, err := Add(tx, c, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// BenchmarkAddOneCapture is one durable capture; most of it is waiting for the disk.
func BenchmarkAddOneCapture(b *testing.B) {
	db, _ := newNotebook(b)
	c, p := benchCapture(b, db)
	for b.Loop() {
		addCaptures(b, db, 1, c, p)
	}
}

// BenchmarkSyncs is the floor of BenchmarkAddOneCapture: what an empty durable
// transaction of the shape costs, two rows in two tables.
func BenchmarkSyncs(b *testing.B) {
	db, _ := newNotebook(b)
	if _, err := db.sql.Exec("create table one (a); create table two (a)"); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		update(b, db, func(tx *Tx) error {
			if err := tx.exec("insert into one values (1)"); err != nil {
				return err
			}
			return tx.exec("insert into two values (1)")
		})
	}
}

const bulk = 100_000

func BenchmarkBulkAdd100k(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		db, _ := newNotebook(b)
		c, p := benchCapture(b, db)
		b.StartTimer()
		addCaptures(b, db, bulk, c, p)
	}
}

func BenchmarkVerify100k(b *testing.B) {
	db, _ := newNotebook(b)
	c, p := benchCapture(b, db)
	addCaptures(b, db, bulk, c, p)
	defer cpuTime(b)()
	for b.Loop() {
		mustVerify(b, db)
	}
}

// cpuTime reports the processor time of the process beside the elapsed time,
// which on a busy machine says more.
func cpuTime(b *testing.B) (done func()) {
	used := func() int64 {
		var r syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
			b.Fatal(err)
		}
		return r.Utime.Nano() + r.Stime.Nano()
	}
	start := used()
	return func() { b.ReportMetric(float64(used()-start)/float64(b.N)/1e6, "cpu-ms/op") }
}

func BenchmarkRebuild100k(b *testing.B) {
	db, _ := newNotebook(b)
	c, p := benchCapture(b, db)
	addCaptures(b, db, bulk, c, p)
	for b.Loop() {
		if _, err := db.Rebuild(context.Background()); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpenRead(b *testing.B) {
	_, dir := newNotebook(b)
	for b.Loop() {
		db, err := OpenRead(context.Background(), dir, testSource())
		if err != nil {
			b.Fatal(err)
		}
		db.Close()
	}
}

// importSchema is the schema with what CSV, which knows neither bytes nor null,
// needs: bytes as text (hashes in hexadecimal), ” for null.
func importSchema(tb testing.TB, db *DB) string {
	tb.Helper()
	s := strings.Join(column(tb, db.sql, "select sql from sqlite_schema where sql is not null order by case type when 'table' then 0 when 'index' then 1 else 2 end, name"), ";\n") + ";\n"
	return strings.NewReplacer(
		"blob", "text", "length(hash) = 32", "length(hash) = 64", "length(salt) = 16", "length(salt) = 32",
		"where name_folded is not null", "where name_folded <> ''",
		"artefact_rid   integer,", "artefact_rid   any,", "(specimen_rid is null) <> (artefact_rid is null)", "(specimen_rid = '') <> (artefact_rid = '')",
		"project_rid integer,", "project_rid any,",
	).Replace(s)
}

// BenchmarkImport100k is what BenchmarkBulkAdd100k is measured against: the
// sqlite3 shell imports the same rows of the same six tables, with their
// indexes and triggers, from CSV.
func BenchmarkImport100k(b *testing.B) {
	path, err := exec.LookPath("sqlite3")
	if err != nil {
		b.Skip("no sqlite3 to compare with")
	}
	db, _ := newNotebook(b)
	c, p := benchCapture(b, db)
	addCaptures(b, db, bulk, c, p)
	schema, dir := importSchema(b, db), b.TempDir()
	script := "pragma foreign_keys = on;\nbegin;\n.mode csv\n"
	for table, columns := range map[string]string{
		"entry": "seq, cast(line as text), hex(hash)", "body": "seq, hex(salt), cast(bytes as text)",
		"record": "*", "revision": "*", "capture": "*", "capture_file": "*",
	} {
		key := map[bool]string{true: "seq", false: "rid"}[table == "entry" || table == "body"]
		where := fmt.Sprintf(" where %s > (select count(*) from entry) - %d order by 1", key, bulk)
		if table == "entry" || table == "body" {
			where = " order by 1"
		}
		writeCSV(b, db, filepath.Join(dir, table), "select "+columns+" from "+table+where)
	}
	// Entry by entry in turn the rows would be the same; by table they are
	// quicker to write, which favours the shell. The trigger that ties a body to
	// the newest entry would refuse that order and is left out.
	schema = strings.ReplaceAll(schema, "\n\tor new.seq is not (select max(seq) from entry)", "")
	for _, table := range []string{"entry", "body", "record", "revision", "capture", "capture_file"} {
		script += fmt.Sprintf(".import %q %s\n", filepath.Join(dir, table), table)
	}
	script += "commit;\nselect count(*) from entry join body using (seq); select count(*) from capture_file;\n"
	for n := 0; b.Loop(); n++ {
		b.StopTimer()
		fresh := filepath.Join(dir, fmt.Sprint("fresh", n))
		if out, err := exec.Command(path, fresh, schema).CombinedOutput(); err != nil {
			b.Fatalf("%v: %s", err, out)
		}
		b.StartTimer()
		cmd := exec.Command(path, "-bail", fresh)
		cmd.Stdin = strings.NewReader(script)
		var errs bytes.Buffer
		cmd.Stderr = &errs
		out, err := cmd.Output()
		if err != nil || errs.Len() > 0 || !strings.HasSuffix(string(out), fmt.Sprintf("\n%d\n", bulk)) && !strings.HasSuffix(string(out), fmt.Sprintf("\r\n%d\r\n", bulk)) {
			b.Fatalf("%v: %.300s %.300s", err, errs.String(), out)
		}
	}
}

func writeCSV(tb testing.TB, db *DB, path, query string) {
	tb.Helper()
	f, err := os.Create(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	rows, err := db.sql.Query(query)
	if err != nil {
		tb.Fatal(err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		tb.Fatal(err)
	}
	w := csv.NewWriter(f)
	values, dest, line := make([]*string, len(names)), make([]any, len(names)), make([]string, len(names))
	for i := range values {
		dest[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(dest...); err != nil {
			tb.Fatal(err)
		}
		for i, v := range values {
			line[i] = ""
			if v != nil {
				line[i] = *v
			}
		}
		if err := w.Write(line); err != nil {
			tb.Fatal(err)
		}
	}
	w.Flush()
	if err := w.Error(); err != nil {
		tb.Fatal(err)
	}
}
