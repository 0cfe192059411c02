package store

import (
	"context"
	"errors"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"dieglow/catalog/fault"
)

// sqliteCode returns the extended SQLite result code in err's chain, 0 if none.
func sqliteCode(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code()
	}
	return 0
}

// explain turns an error of the database into one a person can act on. It is
// the only place where SQLite result codes are read.
func explain(err error) error {
	if err == nil {
		return nil
	}
	code := sqliteCode(err)
	if code == 0 {
		return err
	}
	switch code & 0xff {
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED:
		return fault.Busyf("another process is writing to the notebook").Because(err).WithHint("wait until it is done, then run the command again")
	case lib.SQLITE_READONLY:
		return fault.Otherf("the notebook cannot be written").Because(err).WithHint("check that the disk and the folder are writable; commands that only read work without")
	case lib.SQLITE_CANTOPEN:
		return fault.Otherf("the notebook cannot be opened").Because(err).WithHint("check that the file is there, and that its folder can be read and, for commands that record, written")
	case lib.SQLITE_FULL:
		return fault.Otherf("the disk is full; nothing was recorded").Because(err).WithHint("free some space, then run the command again")
	case lib.SQLITE_IOERR:
		return fault.Otherf("the disk reported an error; nothing was recorded").Because(err).WithHint("check the disk, then run dieglow verify")
	case lib.SQLITE_NOTADB:
		return fault.Invalidf("the file notebook.sqlite is not a notebook").Because(err).WithHint("choose the notebook's folder with --notebook DIR, or start one with dieglow init DIR")
	case lib.SQLITE_CORRUPT:
		return fault.Corruptf("the notebook file is damaged").Because(err).WithHint("keep the file as it is, and restore the last backup that verifies")
	}
	return err
}

// isHotJournal reports whether a read-only open failed because an interrupted
// write is still to be rolled back, which only a writer can do.
func isHotJournal(err error) bool {
	switch sqliteCode(err) {
	case lib.SQLITE_READONLY_ROLLBACK, lib.SQLITE_READONLY_RECOVERY, lib.SQLITE_READONLY_CANTLOCK, lib.SQLITE_CANTOPEN, lib.SQLITE_READONLY_CANTINIT:
		return true
	}
	return false
}

// interrupted reports whether err says that ctx was cancelled.
func interrupted(ctx context.Context, err error) bool {
	return ctx.Err() != nil && err != nil
}
