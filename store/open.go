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
	"net/url"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"github.com/google/uuid"
	_ "modernc.org/sqlite" // the driver
	lib "modernc.org/sqlite/lib"

	"dieglow/catalog/fault"
	"dieglow/migrations"
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

// OpenRead opens a notebook for reading only; nothing in it is changed, and it
// may lie on media that cannot be written. Faults NotFound, Invalid (not a
// notebook), TooNew.
func OpenRead(ctx context.Context, dir string, source Source) (*DB, error) {
	db, err := open(ctx, dir, source, forReading)
	if err == nil || !needsWriter(err) {
		return db, explain(err)
	}
	// A write was interrupted, or another program switched the journal mode.
	// Opening for writing puts both right, if the place can be written; if not,
	// the first error says why the notebook is unreadable.
	writer, werr := open(ctx, dir, source, forWriting)
	if werr != nil {
		return nil, explain(err)
	}
	if err := writer.Close(); err != nil {
		return nil, explain(err)
	}
	db, err = open(ctx, dir, source, forReading)
	return db, explain(err)
}

// OpenWrite opens a notebook for recording and brings an older one up to date,
// keeping a copy of it first. Faults NotFound, Invalid (not a notebook), TooNew, Busy.
func OpenWrite(ctx context.Context, dir string, source Source) (*DB, error) {
	db, err := open(ctx, dir, source, forWriting)
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

func open(ctx context.Context, dir string, source Source, way access) (*DB, error) {
	path := filepath.Join(dir, FileName)
	if info, err := os.Stat(path); errors.Is(err, os.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return nil, fault.NotFoundf("there is no notebook in %s", dir).WithHint("name its folder with --notebook DIR, or start one with dieglow init DIR")
	} else if err != nil {
		return nil, fault.Otherf("cannot look into %s", dir).Because(err)
	} else if !info.Mode().IsRegular() || info.Size() == 0 {
		return nil, notANotebook(path)
	}
	if err := recognise(ctx, path); err != nil {
		return nil, err
	}
	conn, err := sql.Open("sqlite", way.dsn(path))
	if err != nil {
		return nil, err
	}
	conn.SetMaxOpenConns(1)
	db := &DB{sql: conn, dir: dir, source: source, files: files.Open(dir)}
	if err := db.identify(ctx, way); err != nil {
		conn.Close()
		return nil, err
	}
	return db, nil
}

func notANotebook(path string) *fault.Error {
	return fault.Invalidf("%s is not a notebook", path).WithHint("name the notebook's folder with --notebook DIR, or start one with dieglow init DIR")
}

// recognise refuses the file of another program, and a later notebook, before
// it is opened in earnest: that would already touch it (a journal mode set, an
// interrupted write rolled back, files made beside it). What cannot be read this
// way is left to the opening in earnest.
func recognise(ctx context.Context, path string) error {
	conn, err := sql.Open("sqlite", dsn(path, url.Values{"mode": {"ro"}, "immutable": {"1"}}))
	if err != nil {
		return err
	}
	defer conn.Close()
	appID, version, err := header(ctx, conn)
	switch {
	case sqliteCode(err)&0xff == lib.SQLITE_NOTADB:
		return notANotebook(path).Because(err)
	case err != nil:
		return nil
	}
	return checkHeader(path, appID, version)
}

// header reads the two marks in the file's header.
func header(ctx context.Context, conn *sql.DB) (appID, version int, err error) {
	err = conn.QueryRowContext(ctx, "select application_id, user_version from pragma_application_id, pragma_user_version").Scan(&appID, &version)
	return appID, version, err
}

func checkHeader(path string, appID, version int) error {
	if appID != ApplicationID {
		return fault.Invalidf("%s is a database of another program, not a notebook", path).
			WithHint("name the notebook's folder with --notebook DIR, or start one with dieglow init DIR")
	}
	steps, err := migrations.Steps()
	if err != nil {
		return err
	}
	if version > len(steps) {
		return fault.TooNewf("the notebook has version %d; this program knows up to %d", version, len(steps)).WithHint("use the newer dieglow that wrote it; nothing was changed")
	}
	return nil
}

// identify checks that the file is a notebook of a version this program knows
// and that every pragma took hold.
func (db *DB) identify(ctx context.Context, way access) error {
	appID, version, err := header(ctx, db.sql)
	if err != nil {
		return err
	}
	if err := checkHeader(filepath.Join(db.dir, FileName), appID, version); err != nil {
		return err
	}
	if steps, err := migrations.Steps(); err != nil {
		return err
	} else if version < len(steps) && way == forReading {
		return fault.Conflictf("the notebook has version %d, this program reads version %d", version, len(steps)).WithHint("run dieglow rebuild once, which brings it up to date and keeps a copy")
	}
	return checkPragmas(ctx, db.sql, way.pragmas())
}

// Close closes the notebook.
func (db *DB) Close() error { return db.sql.Close() }

// Dir returns the notebook's folder.
func (db *DB) Dir() string { return db.dir }

// Files returns the raw files.
func (db *DB) Files() files.Store { return db.files }
