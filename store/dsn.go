package store

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"

	"dieglow/catalog/fault"
)

// access is one of the two ways in.
type access int

const (
	forReading access = iota
	forWriting
)

func (a access) dsn(path string) string {
	if a == forWriting {
		return writerDSN(path, "rw")
	}
	return readerDSN(path)
}

// pragmas are those the way in relies on, as they read back.
func (a access) pragmas() map[string]string {
	if a == forWriting {
		return map[string]string{
			"foreign_keys": "1", "journal_mode": "delete", "synchronous": "3", "trusted_schema": "0",
			"recursive_triggers": "1", "secure_delete": "1", "cell_size_check": "1", "busy_timeout": "5000",
			"query_only": "0",
		}
	}
	return map[string]string{
		"foreign_keys": "1", "journal_mode": "delete", "query_only": "1", "trusted_schema": "0",
		"cell_size_check": "1", "busy_timeout": "5000",
	}
}

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

// readerDSN opens the file read-only in fact: mode=ro for the file, query_only
// for the statements. The journal mode is left alone, since setting it writes.
func readerDSN(path string) string {
	return dsn(path, url.Values{
		"mode": {"ro"}, "_busy_timeout": {"5000"}, "_query_only": {"1"}, "_foreign_keys": {"1"}, "_dqs": {"0"}, "_error_rc": {"1"},
		"_pragma": {"trusted_schema(0)", "cell_size_check(1)", "cache_size(-65536)"},
	})
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

// errWAL says that another program switched the notebook to a write-ahead log,
// which would split it over several files.
var errWAL = fault.Otherf("another program switched the notebook to a write-ahead log, and it cannot be written to switch it back").
	WithHint("copy the whole folder to a disk that can be written, and open it there")

// checkPragmas reads every pragma back: a misspelt one is ignored in silence.
func checkPragmas(ctx context.Context, conn *sql.DB, want map[string]string) error {
	for name, value := range want {
		var got string
		if err := conn.QueryRowContext(ctx, "pragma "+name).Scan(&got); err != nil {
			return err
		}
		switch {
		case got == value:
		case name == "journal_mode" && got == "wal":
			return errWAL
		default:
			return fmt.Errorf("pragma %s is %s, want %s", name, got, value)
		}
	}
	return nil
}
