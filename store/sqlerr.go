package store

import (
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
	code := sqliteCode(err)
	if code == 0 || explained(err) {
		return err
	}
	switch code {
	case lib.SQLITE_READONLY_ROLLBACK, lib.SQLITE_READONLY_RECOVERY, lib.SQLITE_READONLY_CANTLOCK:
		return fault.Otherf("a change was interrupted and has to be undone, but the notebook cannot be written").Because(err).
			WithHint("copy the whole folder, notebook.sqlite-journal included, to a disk that can be written, and open it there")
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
		return fault.Otherf("the disk reported an error").Because(err).WithHint("check the disk, then see with dieglow verify what was recorded")
	case lib.SQLITE_NOTADB:
		return fault.Invalidf("the file notebook.sqlite is not a notebook").Because(err).WithHint("choose the notebook's folder with --notebook DIR, or start one with dieglow init DIR")
	case lib.SQLITE_CORRUPT:
		return fault.Corruptf("the notebook file is damaged").Because(err).WithHint("keep the file as it is, and restore the last backup that verifies")
	}
	return err
}

// explained reports whether a fault stands in err's chain already.
func explained(err error) bool {
	var f *fault.Error
	return errors.As(err, &f)
}

// needsWriter reports whether a read-only open failed because of something that
// opening for writing puts right: an interrupted write still to be rolled back,
// or a write-ahead log.
func needsWriter(err error) bool {
	switch sqliteCode(err) {
	case lib.SQLITE_READONLY_ROLLBACK, lib.SQLITE_READONLY_RECOVERY, lib.SQLITE_READONLY_CANTLOCK, lib.SQLITE_CANTOPEN, lib.SQLITE_READONLY_CANTINIT:
		return true
	}
	return errors.Is(err, errWAL)
}
