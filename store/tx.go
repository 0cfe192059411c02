package store

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"dieglow/notebook/journal"
	"dieglow/store/files"
)

// Tx is one look at, or one change of, the notebook. It is the only way in.
type Tx struct {
	ctx   context.Context
	db    *DB
	tx    *sql.Tx
	who   string
	now   time.Time // one instant for everything recorded in it
	stmts map[string]*sql.Stmt

	// What appending needs to know, read once and then kept up to date.
	head    *head
	numbers map[string]int   // kind -> highest number allotted
	rids    map[string]int64 // record id -> rid
	project *projector
	broken  error // the first failed write: what it left half done must not be committed

	open  map[string]bool // projects found open
	fresh []files.Ref     // raw files stored for the entries of this transaction
}

// Keep stores a raw file for an entry of this transaction. If the transaction
// fails the file goes again: the write lock is held from before it was stored
// until after that, so nobody else can have come to rely on it. Faults as
// files.Store.PutFile.
func (tx *Tx) Keep(path string) (journal.File, error) {
	ref, fresh, err := tx.db.files.PutFile(tx.ctx, path)
	if err != nil {
		return journal.File{}, err
	}
	if fresh {
		tx.fresh = append(tx.fresh, ref)
	}
	return journal.File{SHA256: ref.SHA256, Size: ref.Size}, nil
}

// RawPath returns where a raw file lies, once its bytes have been checked; it is
// only to be read. Faults as files.Store.Verify.
func (tx *Tx) RawPath(sha256 string, size int64) (string, error) {
	return tx.db.files.Path(tx.ctx, files.Ref{SHA256: sha256, Size: size})
}

// discard takes back the raw files stored for a transaction that failed. One
// that cannot be taken back is harmless: verify notes it.
func (tx *Tx) discard() {
	for _, ref := range tx.fresh {
		_ = tx.db.files.Discard(ref)
	}
}

// head is the end of the journal.
type head struct {
	seq      int64
	hash     journal.Hash
	origin   string
	recorded time.Time
}

// Update runs f in one immediate transaction and commits it; any error rolls
// everything back. who is the operator noted in the entries f makes.
func (db *DB) Update(ctx context.Context, who string, f func(*Tx) error) error {
	return db.run(ctx, who, f, true)
}

// View runs f in one transaction that sees a single state of the notebook.
func (db *DB) View(ctx context.Context, f func(*Tx) error) error {
	return db.run(ctx, "", f, false)
}

func (db *DB) run(ctx context.Context, who string, f func(*Tx) error, write bool) error {
	sqlTx, err := db.sql.BeginTx(ctx, &sql.TxOptions{ReadOnly: !write})
	if err != nil {
		return explain(err)
	}
	defer sqlTx.Rollback()
	tx := &Tx{
		ctx: ctx, db: db, tx: sqlTx, who: who, now: db.source.Now().UTC().Truncate(time.Millisecond),
		stmts: map[string]*sql.Stmt{}, numbers: map[string]int{}, rids: map[string]int64{}, open: map[string]bool{},
	}
	if err := f(tx); err != nil {
		tx.discard()
		return explain(err)
	}
	if !write {
		return nil
	}
	if tx.broken != nil {
		tx.discard()
		return explain(tx.broken)
	}
	return explain(sqlTx.Commit())
}

// Now returns the instant everything in this transaction is recorded at.
func (tx *Tx) Now() time.Time { return tx.now }

// stmt prepares a statement once a transaction.
func (tx *Tx) stmt(query string) (*sql.Stmt, error) {
	if s, ok := tx.stmts[query]; ok {
		return s, nil
	}
	s, err := tx.tx.PrepareContext(tx.ctx, query)
	if err != nil {
		return nil, err
	}
	tx.stmts[query] = s
	return s, nil
}

func (tx *Tx) exec(query string, args ...any) error {
	s, err := tx.stmt(query)
	if err != nil {
		return err
	}
	_, err = s.ExecContext(tx.ctx, args...)
	return err
}

// row runs a query for one row and reports whether there was one.
func (tx *Tx) row(query string, args []any, dest ...any) (bool, error) {
	s, err := tx.stmt(query)
	if err != nil {
		return false, err
	}
	err = s.QueryRowContext(tx.ctx, args...).Scan(dest...)
	if errors.Is(err, sql.ErrNoRows) {
		return false, nil
	}
	return err == nil, err
}

// collect reads all rows of a query before anything else is asked: with one
// connection a statement in the middle of another would wait for ever.
func collect[T any](tx *Tx, query string, args []any, scan func(*sql.Rows) (T, error)) ([]T, error) {
	rows, err := tx.tx.QueryContext(tx.ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}
