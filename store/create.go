package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"dieglow/catalog/fault"
	"dieglow/migrations"
	"dieglow/notebook"
	"dieglow/store/files"
)

// Create makes a notebook in dir, which must not hold one, with its first
// entry. On failure nothing is left behind. Fault Conflict when there is one
// already, or another file of its name.
//
// The notebook is made under another name and then given its own in one step,
// so that neither a kill nor a second Create leaves half of one.
func Create(ctx context.Context, dir string, first notebook.Genesis, source Source) (*DB, error) {
	if err := first.Validate(); err != nil {
		return nil, err
	}
	path := filepath.Join(dir, FileName)
	empty, err := vacant(ctx, dir, source)
	if err != nil {
		return nil, err
	}
	made, err := makeDirs(dir)
	if err == nil && empty {
		err = create(ctx, path, first, source) // where someone put an empty file
	} else if err == nil {
		err = createAside(ctx, path, first, source)
	}
	if err != nil {
		for i := len(made) - 1; i >= 0; i-- {
			os.Remove(made[i])
		}
		return nil, explain(err)
	}
	return OpenWrite(ctx, dir, source)
}

// vacant reports whether a notebook can be made in dir, and whether an empty
// file stands in its place. Fault Conflict when something else does.
func vacant(ctx context.Context, dir string, source Source) (empty bool, err error) {
	path := filepath.Join(dir, FileName)
	info, err := os.Lstat(path)
	if errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fault.Otherf("cannot look into %s", dir).Because(err).WithHint("name a folder that can be read and written")
	}
	if info.Mode().IsRegular() && info.Size() == 0 {
		return true, nil
	}
	db, err := OpenRead(ctx, dir, source)
	if err == nil {
		db.Close()
	}
	if info, serr := os.Lstat(path); serr == nil && info.Mode().IsRegular() && info.Size() == 0 {
		return true, nil // what an interrupted Create had begun was rolled back
	}
	if fault.KindOf(err) == fault.Invalid {
		return false, fault.Conflictf("%s is in the way, and is not a notebook", path).WithHint("name another folder, or move the file away")
	}
	return false, taken(dir)
}

func taken(dir string) error {
	return fault.Conflictf("there is a notebook in %s already", dir).WithHint("use it with --notebook %s, or name another folder", dir)
}

// createAside makes the notebook under a name of its own and moves it to path.
func createAside(ctx context.Context, path string, first notebook.Genesis, source Source) error {
	dir := filepath.Dir(path)
	temp, err := os.CreateTemp(dir, ".notebook-*.new")
	if err != nil {
		return fault.Otherf("cannot write in the folder %s", dir).Because(err).WithHint("name a folder in a place that can be written")
	}
	aside := temp.Name()
	defer os.Remove(aside + "-journal")
	defer os.Remove(aside)
	if err := errors.Join(temp.Chmod(0o644), temp.Close()); err != nil {
		return err
	}
	if err := create(ctx, aside, first, source); err != nil {
		return err
	}
	err = nameOnce(aside, path)
	if errors.Is(err, fs.ErrExist) {
		return taken(dir)
	}
	if err != nil {
		return err
	}
	return syncFolder(dir)
}

// create makes the tables and the first entry in the database at path, which
// must be empty, in one transaction. Fault Conflict when it is not.
func create(ctx context.Context, path string, first notebook.Genesis, source Source) error {
	conn, err := sql.Open("sqlite", writerDSN(path, "rwc"))
	if err != nil {
		return err
	}
	conn.SetMaxOpenConns(1)
	defer conn.Close()
	if err := checkPragmas(ctx, conn, forWriting.pragmas()); err != nil {
		return err
	}
	steps, err := migrations.Steps()
	if err != nil {
		return err
	}
	dir := filepath.Dir(path)
	db := &DB{sql: conn, dir: dir, source: source, files: files.Open(dir)}
	return db.Update(ctx, first.Operator, func(tx *Tx) error {
		var tables int
		if _, err := tx.row("select count(*) from sqlite_schema", nil, &tables); err != nil {
			return err
		}
		if tables > 0 {
			return taken(dir)
		}
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
	err = os.Mkdir(dir, 0o777)
	if err == nil {
		made = append(made, dir)
		err = syncFolder(filepath.Dir(dir))
	}
	if err != nil {
		return made, fault.Otherf("cannot make the folder %s", dir).Because(err).WithHint("name a folder in a place that can be written")
	}
	return made, nil
}

// nameOnce gives the file at temp the name final, or fails with fs.ErrExist when
// that is taken. The link does so in one step; a file system without links gets
// a look and a rename.
func nameOnce(temp, final string) error {
	err := os.Link(temp, final)
	switch {
	case errors.Is(err, syscall.EPERM), errors.Is(err, syscall.ENOTSUP), errors.Is(err, syscall.ENOSYS):
		if _, err := os.Lstat(final); err == nil {
			return fs.ErrExist
		}
		return os.Rename(temp, final)
	case err != nil:
		return err
	}
	return os.Remove(temp)
}

// syncFolder brings the names in a folder to the disk.
func syncFolder(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	// Some network file systems have no sync for folders and order names themselves.
	if err := f.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, syscall.ENOTSUP) {
		return err
	}
	return nil
}
