// Package store keeps a notebook: one SQLite file and a folder of raw files.
//
// The journal tables are the truth; all other tables are projections of it,
// written in the same transaction and remade by Rebuild. This is the only room
// that knows SQL.
package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/google/uuid"
	_ "modernc.org/sqlite" // the driver

	"dieglow/catalog/fault"
	"dieglow/migrations"
	"dieglow/notebook"
	"dieglow/notebook/journal"
	"dieglow/store/files"
)

// FileName is the database file within a notebook's folder.
const FileName = "notebook.sqlite"

// ApplicationID marks a SQLite file as a notebook of this program ("dGlw").
const ApplicationID = 0x64476c77

// Source is where the store gets what differs from run to run.
type Source struct {
	Now     func() time.Time
	NewV4   func() (uuid.UUID, error) // ids of library records, which must not tell when they were made
	NewV7   func() (uuid.UUID, error) // ids of notebook records
	NewSalt func() ([journal.SaltSize]byte, error)
	Tool    string // program and version, noted in every entry
}

// DB is an open notebook.
type DB struct {
	sql    *sql.DB
	dir    string
	source Source
	files  files.Store
}

// Create makes a notebook in dir, which must not hold one, with its first
// entry. On failure nothing is left behind. Fault Conflict when there is one
// already.
func Create(ctx context.Context, dir string, first notebook.Genesis, source Source) (*DB, error) {
	if err := first.Validate(); err != nil {
		return nil, err
	}
	path := filepath.Join(dir, FileName)
	if info, err := os.Stat(path); err == nil && info.Size() > 0 {
		return nil, fault.Conflictf("there is a notebook in %s already", dir).WithHint("use it with --notebook %s, or name another folder", dir)
	} else if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, fault.Otherf("cannot look into %s", dir).Because(err)
	}
	made, err := makeDirs(dir)
	if err != nil {
		return nil, fault.Otherf("cannot make the folder %s", dir).Because(err).WithHint("name a folder in a place that can be written")
	}
	db, err := create(ctx, dir, first, source)
	if err != nil {
		os.Remove(path)
		os.Remove(path + "-journal")
		for i := len(made) - 1; i >= 0; i-- {
			os.Remove(made[i])
		}
		return nil, err
	}
	return db, nil
}

func create(ctx context.Context, dir string, first notebook.Genesis, source Source) (*DB, error) {
	conn, err := sql.Open("sqlite", writerDSN(filepath.Join(dir, FileName), "rwc"))
	if err != nil {
		return nil, err
	}
	conn.SetMaxOpenConns(1)
	db := &DB{sql: conn, dir: dir, source: source, files: files.Open(dir)}
	fail := func(err error) (*DB, error) {
		conn.Close()
		return nil, explain(err)
	}
	steps, err := migrations.Steps()
	if err != nil {
		return fail(err)
	}
	if err := checkPragmas(ctx, conn, writerPragmas()); err != nil {
		return fail(err)
	}
	err = db.Update(ctx, first.Operator, func(tx *Tx) error {
		for _, s := range steps {
			if _, err := tx.tx.ExecContext(ctx, s.SQL); err != nil {
				return fmt.Errorf("migration %s: %w", s.Name, err)
			}
		}
		if _, err := tx.tx.ExecContext(ctx, fmt.Sprintf("pragma application_id = %d; pragma user_version = %d", ApplicationID, len(steps))); err != nil {
			return err
		}
		_, err := Add(tx, first, Placement{})
		return err
	})
	if err != nil {
		return fail(err)
	}
	return db, nil
}

// makeDirs is os.MkdirAll that returns the folders it made, outermost first.
func makeDirs(dir string) (made []string, err error) {
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		return nil, nil
	}
	if parent := filepath.Dir(dir); parent != dir {
		if made, err = makeDirs(parent); err != nil {
			return made, err
		}
	}
	if err := os.Mkdir(dir, 0o777); err != nil {
		return made, err
	}
	return append(made, dir), nil
}

// OpenRead opens a notebook for reading only; nothing in it is changed, and it
// may lie on media that cannot be written. Faults NotFound, Invalid (not a
// notebook), TooNew.
func OpenRead(ctx context.Context, dir string, source Source) (*DB, error) {
	db, err := open(ctx, dir, source, readerDSN, readerPragmas())
	if err == nil || !isHotJournal(err) {
		return db, explain(err)
	}
	// A write was interrupted. Opening for writing rolls it back, if the place
	// can be written; if not, the first error says why the notebook is unreadable.
	writer, werr := open(ctx, dir, source, func(path string) string { return writerDSN(path, "rw") }, writerPragmas())
	if werr != nil {
		return nil, explain(err)
	}
	writer.Close()
	db, err = open(ctx, dir, source, readerDSN, readerPragmas())
	return db, explain(err)
}

// OpenWrite opens a notebook for recording and brings an older one up to date,
// keeping a copy of it first. Faults NotFound, Invalid (not a notebook), TooNew, Busy.
func OpenWrite(ctx context.Context, dir string, source Source) (*DB, error) {
	db, err := open(ctx, dir, source, func(path string) string { return writerDSN(path, "rw") }, writerPragmas())
	if err != nil {
		return nil, explain(err)
	}
	steps, err := migrations.Steps()
	if err == nil {
		err = db.migrate(ctx, steps)
	}
	if err != nil {
		db.Close()
		return nil, explain(err)
	}
	return db, nil
}

func open(ctx context.Context, dir string, source Source, dsn func(path string) string, pragmas map[string]string) (*DB, error) {
	path := filepath.Join(dir, FileName)
	if info, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, fault.NotFoundf("there is no notebook in %s", dir).WithHint("name its folder with --notebook DIR, or start one with dieglow init DIR")
	} else if err != nil {
		return nil, fault.Otherf("cannot look into %s", dir).Because(err)
	} else if info.IsDir() || info.Size() == 0 {
		return nil, fault.Invalidf("%s is not a notebook", path).WithHint("name the notebook's folder with --notebook DIR, or start one with dieglow init DIR")
	}
	conn, err := sql.Open("sqlite", dsn(path))
	if err != nil {
		return nil, err
	}
	conn.SetMaxOpenConns(1)
	db := &DB{sql: conn, dir: dir, source: source, files: files.Open(dir)}
	if err := db.identify(ctx, pragmas); err != nil {
		conn.Close()
		return nil, err
	}
	return db, nil
}

// identify checks that the file is a notebook of a version this program knows
// and that every pragma took hold.
func (db *DB) identify(ctx context.Context, pragmas map[string]string) error {
	var appID, version int
	if err := db.sql.QueryRowContext(ctx, "select application_id, user_version from pragma_application_id, pragma_user_version").Scan(&appID, &version); err != nil {
		return err
	}
	if appID != ApplicationID {
		return fault.Invalidf("%s is a database of another program, not a notebook", filepath.Join(db.dir, FileName)).
			WithHint("name the notebook's folder with --notebook DIR, or start one with dieglow init DIR")
	}
	steps, err := migrations.Steps()
	if err != nil {
		return err
	}
	switch readOnly := pragmas["query_only"] == "1"; {
	case version > len(steps):
		return fault.TooNewf("the notebook has version %d; this program knows up to %d", version, len(steps)).WithHint("use the newer dieglow that wrote it; nothing was changed")
	case version < len(steps) && readOnly:
		return fault.Conflictf("the notebook has version %d, this program reads version %d", version, len(steps)).WithHint("run dieglow rebuild once, which brings it up to date and keeps a copy")
	}
	return checkPragmas(ctx, db.sql, pragmas)
}

// Close closes the notebook.
func (db *DB) Close() error { return db.sql.Close() }

// Dir returns the notebook's folder.
func (db *DB) Dir() string { return db.dir }

// Files returns the raw files.
func (db *DB) Files() files.Store { return db.files }

// writerDSN asks for a rollback journal and synchronous=EXTRA: a lab record
// outweighs a millisecond, and the notebook must survive being copied as one
// file. mode is "rw", or "rwc" to create.
func writerDSN(path, mode string) string {
	return dsn(path, url.Values{
		"mode": {mode}, "_busy_timeout": {"5000"}, "_foreign_keys": {"1"}, "_journal_mode": {"DELETE"},
		"_synchronous": {"EXTRA"}, "_txlock": {"immediate"}, "_defensive": {"1"}, "_dqs": {"0"}, "_error_rc": {"1"},
		"_pragma": {"trusted_schema(0)", "recursive_triggers(1)", "secure_delete(1)", "cell_size_check(1)", "cache_size(-65536)"},
	})
}

func writerPragmas() map[string]string {
	return map[string]string{
		"foreign_keys": "1", "journal_mode": "delete", "synchronous": "3", "trusted_schema": "0",
		"recursive_triggers": "1", "secure_delete": "1", "cell_size_check": "1", "busy_timeout": "5000",
	}
}

// readerDSN opens the file read-only in fact: mode=ro for the file, query_only
// for the statements. The journal mode is left alone, since setting it writes.
func readerDSN(path string) string {
	return dsn(path, url.Values{
		"mode": {"ro"}, "_busy_timeout": {"5000"}, "_query_only": {"1"}, "_foreign_keys": {"1"}, "_dqs": {"0"}, "_error_rc": {"1"},
		"_pragma": {"trusted_schema(0)", "cell_size_check(1)", "cache_size(-65536)"},
	})
}

func readerPragmas() map[string]string {
	return map[string]string{"foreign_keys": "1", "query_only": "1", "trusted_schema": "0", "cell_size_check": "1", "busy_timeout": "5000"}
}

// dsn builds a file: URI, in which every odd character of the path is escaped:
// a bare path would let "?" and "#" end the name.
func dsn(path string, q url.Values) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = path
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: q.Encode()}
	return u.String()
}

// checkPragmas reads every pragma back: a misspelt one is ignored in silence.
func checkPragmas(ctx context.Context, conn *sql.DB, want map[string]string) error {
	for name, value := range want {
		var got any
		if err := conn.QueryRowContext(ctx, "pragma "+name).Scan(&got); err != nil {
			return err
		}
		if s := fmt.Sprint(got); s != value {
			if b, ok := got.(int64); ok {
				s = strconv.FormatInt(b, 10)
			}
			if s != value {
				return fmt.Errorf("pragma %s is %s, want %s", name, s, value)
			}
		}
	}
	return nil
}
