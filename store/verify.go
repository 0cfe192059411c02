package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/maphash"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/notebook"
	"dieglow/notebook/journal"
	"dieglow/store/files"
)

// Check is what Verify found.
type Check struct {
	Origin     string    `json:"origin"`      // id of the notebook
	Entries    int64     `json:"entries"`     // in the chain, up to the first break
	Head       string    `json:"head"`        // hash of the last of them
	ClockSteps int64     `json:"clock_steps"` // entries whose clock stood before the previous one's
	RawFiles   int       `json:"raw_files"`   // read and hashed
	RawBytes   int64     `json:"raw_bytes"`
	Rows       int64     `json:"rows"` // of the tables, compared with the replayed journal
	Problems   []Problem `json:"problems"`
	Notes      []string  `json:"notes"` // of no harm, such as a raw file no entry names
}

// Problem is one thing that is not as it was written.
type Problem struct {
	Class string `json:"class"` // journal, body, table, schema, file or database
	Text  string `json:"text"`
}

// Verify reads the whole notebook: it rehashes the chain and the raw files,
// replays the journal into memory, compares the result with the tables, and has
// SQLite check its file. Damage is reported in the result, not as an error.
func (db *DB) Verify(ctx context.Context) (Check, error) {
	var c Check
	err := db.View(ctx, func(tx *Tx) error {
		if err := tx.checkSchema(&c); err != nil {
			return err
		}
		lines, structure := []string(nil), make(chan error, 1)
		go func() {
			var err error
			lines, err = db.integrityCheck(ctx)
			structure <- err
		}()
		err := tx.checkContent(&c)
		serr := <-structure
		if fault.KindOf(explain(serr)) == fault.Busy { // a writer is waiting for this transaction to end
			lines, serr = collect(tx, integritySQL, nil, scanText)
		}
		for _, l := range lines {
			if l != "ok" {
				c.problem("database", "SQLite: %s", l)
			}
		}
		return cmp.Or(err, serr)
	})
	if code := sqliteCode(err); code != 0 && fault.KindOf(explain(err)) == fault.Corrupt {
		c.problem("database", "%v", err)
		return c, nil
	}
	return c, err
}

// checkContent compares the journal with itself, with the tables and with the raw files.
func (tx *Tx) checkContent(c *Check) error {
	before := len(c.Problems)
	r, err := tx.replay(c)
	if err != nil {
		return err
	}
	if err := tx.checkLooseBodies(c); err != nil {
		return err
	}
	if len(c.Problems) == before { // tables of a broken journal cannot agree with it
		if err := tx.compareTables(c, r); err != nil {
			return err
		}
	}
	return tx.db.checkFiles(tx.ctx, c, r.files)
}

func (c *Check) problem(class, format string, args ...any) {
	c.Problems = append(c.Problems, Problem{class, fmt.Sprintf(format, args...)})
}

const integritySQL = "pragma integrity_check"

// integrityCheck asks SQLite for the state of its own structures. It does so on
// a connection of its own, which takes a good part of Verify's work to another
// processor; Verify's transaction keeps the file as it is meanwhile.
func (db *DB) integrityCheck(ctx context.Context) ([]string, error) {
	conn, err := sql.Open("sqlite", readerDSN(filepath.Join(db.dir, FileName)))
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	conn.SetMaxOpenConns(1)
	// It reads most pages once, so that a large cache only costs.
	if _, err := conn.ExecContext(ctx, "pragma cache_size = -8192"); err != nil {
		return nil, err
	}
	tx, err := conn.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	return collect(&Tx{ctx: ctx, tx: tx}, integritySQL, nil, scanText)
}

// checkLooseBodies looks for what the replay does not see: bodies before the
// first or after the last entry. A gap between the two breaks the chain.
func (tx *Tx) checkLooseBodies(c *Check) error {
	loose, err := collect(tx, "select seq from body where seq < 1 or seq > (select coalesce(max(seq), 0) from entry)", nil, scanInt)
	for _, seq := range loose {
		c.problem("body", "body %d belongs to no entry", seq)
	}
	return err
}

func scanText(rows *sql.Rows) (s string, err error) { return s, rows.Scan(&s) }

// rowKey is the primary key of a projected row: the place of its table among the
// projections, and up to three integers.
type rowKey struct{ table, a, b, c int64 }

// last returns the last of the key's columns.
func (k *rowKey) last(keys int) *int64 { return []*int64{&k.a, &k.b, &k.c}[keys-1] }

// replayed is what the journal says the tables and the raw files must be.
type replayed struct {
	projector *projector
	rows      map[rowKey]uint64 // key -> digest of the row
	seed      maphash.Seed
	rids      map[string]int64
	revisions revisions
	files     map[string]files.Ref
}

// replay follows the journal from its first entry.
func (tx *Tx) replay(c *Check) (*replayed, error) {
	r := &replayed{rows: map[rowKey]uint64{}, seed: maphash.MakeSeed(), rids: map[string]int64{}, revisions: revisions{}, files: map[string]files.Ref{}}
	r.projector = newProjector(func(id string) (int64, error) {
		if rid, ok := r.rids[id]; ok {
			return rid, nil
		}
		return 0, fault.NotFoundf("no record has the id %s", id)
	})
	var chain journal.Chain
	err := tx.eachEntry(func(s *stored) error {
		e, err := s.entry, s.entryErr
		if err == nil {
			err = chain.Follow(e, s.entryHash)
		}
		if err != nil {
			c.problem("journal", "%v", err)
			return errStop
		}
		if e.ClockBackMS > 0 {
			c.ClockSteps++
		}
		for _, f := range e.Files {
			r.file(c, e, f.SHA256, f.Size)
		}
		r.take(c, e, s)
		return nil
	})
	if err != nil && !errors.Is(err, errStop) {
		return nil, err
	}
	c.Entries, c.Head, c.Origin = chain.Size, chain.Head.String(), chain.Origin
	if chain.Size == 0 && len(c.Problems) == 0 {
		c.problem("journal", "it is empty")
	}
	return r, nil
}

// errStop ends a replay at the first break, which has been noted as a problem.
var errStop = errors.New("the chain is broken")

// take checks one entry's body and adds what it projects.
func (r *replayed) take(c *Check, e journal.Entry, s *stored) {
	switch {
	case s.body == nil:
		c.problem("body", "entry %d (%s): its body is missing", e.Seq, e.Subject)
		return
	case s.commitment != e.Body:
		c.problem("body", "entry %d (%s): its body is not the one it vouches for", e.Seq, e.Subject)
		return
	case s.recordErr != nil:
		c.problem("body", "entry %d (%s): %v", e.Seq, e.Subject, s.recordErr)
		return
	}
	if err := r.revisions.follow(e); err != nil {
		c.problem("journal", "%v", err)
		return
	}
	if e.Revision == 1 {
		r.rids[e.SubjectID] = e.Seq
	}
	if capture, ok := s.record.(notebook.Capture); ok {
		for _, f := range capture.Frames {
			r.file(c, e, f.SHA256, f.Size)
		}
		for _, a := range capture.Attachments {
			r.file(c, e, a.SHA256, a.Size)
		}
	}
	rows, err := r.projector.rows(e, s.record)
	if err != nil {
		c.problem("journal", "entry %d (%s): %v", e.Seq, e.Subject, err)
		return
	}
	for _, row := range rows {
		key, digest := r.digest(row.table, row.values)
		if !row.gone {
			r.rows[key] = digest
			continue
		}
		for last := key.last(row.table.keys); ; *last++ {
			_, ok := r.rows[key]
			delete(r.rows, key)
			if !ok || row.table.keys == 1 {
				break
			}
		}
	}
}

// file notes a raw file that must be there.
func (r *replayed) file(c *Check, e journal.Entry, sha256 string, size int64) {
	if f, ok := r.files[sha256]; ok && f.Size != size {
		c.problem("journal", "entry %d (%s): the raw file %s has %d bytes here and %d in an earlier entry", e.Seq, e.Subject, sha256, size, f.Size)
	}
	r.files[sha256] = files.Ref{SHA256: sha256, Size: size}
}

// digest returns the key of a row and a digest of all its values.
func (r *replayed) digest(t *projectedTable, values []any) (rowKey, uint64) {
	key := rowKey{table: t.place}
	for i, part := range []*int64{&key.a, &key.b, &key.c} {
		if i < t.keys {
			*part, _ = values[i].(int64)
		}
	}
	var buf [512]byte
	b := buf[:0]
	for _, v := range values {
		switch v := v.(type) {
		case nil:
			b = append(b, 0)
		case int64:
			b = binary.LittleEndian.AppendUint64(append(b, 1), uint64(v))
		case float64:
			b = binary.LittleEndian.AppendUint64(append(b, 2), math.Float64bits(v+0)) // -0 is stored as 0
		case string:
			b = binary.LittleEndian.AppendUint64(append(b, 3), uint64(len(v)))
			b = append(b, v...)
		default:
			b = fmt.Appendf(append(b, 4), "%T %v", v, v)
		}
	}
	return key, maphash.Bytes(r.seed, b)
}

// compareTables reads every projection and compares it with the replay.
func (tx *Tx) compareTables(c *Check, r *replayed) error {
	for _, name := range r.projector.order {
		t := r.projector.tables[name]
		rows, err := tx.tx.QueryContext(tx.ctx, "select "+strings.Join(t.columns, ", ")+" from "+t.name)
		if err != nil {
			return err
		}
		err = r.compare(c, t, rows)
		if cerr := rows.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			return err
		}
	}
	lost := make([]int64, len(r.projector.order))
	for key := range r.rows {
		lost[key.table]++
	}
	for i, name := range r.projector.order {
		if n := lost[i]; n > 0 {
			c.problem("table", "%s lacks %d of the rows that the journal makes; dieglow rebuild makes the tables anew", name, n)
		}
	}
	return nil
}

func (r *replayed) compare(c *Check, t *projectedTable, rows *sql.Rows) error {
	values := make([]any, len(t.columns))
	dest := make([]any, len(t.columns))
	for i := range values {
		dest[i] = &values[i]
	}
	wrong := 0
	for rows.Next() {
		if err := rows.Scan(dest...); err != nil {
			return err
		}
		c.Rows++
		key, digest := r.digest(t, values)
		want, ok := r.rows[key]
		delete(r.rows, key)
		if ok && want == digest {
			continue
		}
		if wrong++; wrong <= 5 {
			c.problem("table", "%s: row %d differs from what the journal makes; dieglow rebuild makes the tables anew", t.name, key.a)
		}
	}
	if wrong > 5 {
		c.problem("table", "%s: and %d more rows", t.name, wrong-5)
	}
	return rows.Err()
}

// checkFiles rehashes every raw file an entry vouches for, and notes what else
// lies in the folder.
func (db *DB) checkFiles(ctx context.Context, c *Check, want map[string]files.Ref) error {
	hashes := make([]string, 0, len(want))
	for h := range want {
		hashes = append(hashes, h)
	}
	slices.Sort(hashes)
	for _, h := range hashes {
		err := db.files.Verify(ctx, want[h])
		if kind := fault.KindOf(err); kind == fault.Corrupt || kind == fault.Invalid {
			c.problem("file", "%v", err)
			continue
		}
		if err != nil {
			return err
		}
		c.RawFiles++
		c.RawBytes += want[h].Size
	}
	return db.files.Walk(func(f files.Found) error {
		switch _, named := want[f.Ref.SHA256]; {
		case f.Kind == files.Stored && named:
		case f.Kind == files.Stored:
			c.Notes = append(c.Notes, fmt.Sprintf("no entry names the raw file %s (left by an interrupted command)", f.Path))
		default:
			c.Notes = append(c.Notes, fmt.Sprintf("%s in the folder of raw files is not one of them", f.Path))
		}
		return nil
	})
}
