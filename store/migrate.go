package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"dieglow/migrations"
)

// migrate runs the steps the notebook has not had, each in its own immediate
// transaction in which the version is read again, since another process may
// have run it meanwhile. A copy of the notebook is kept before the first step.
func (db *DB) migrate(ctx context.Context, steps []migrations.Step) error {
	version, err := db.version(ctx)
	if err != nil || version >= len(steps) {
		return err
	}
	if err := db.keepCopy(ctx, version); err != nil {
		return err
	}
	for _, s := range steps {
		if err := db.step(ctx, s); err != nil {
			return fmt.Errorf("migration %s: %w", s.Name, err)
		}
	}
	return nil
}

func (db *DB) version(ctx context.Context) (v int, err error) {
	err = db.sql.QueryRowContext(ctx, "pragma user_version").Scan(&v)
	return v, err
}

func (db *DB) step(ctx context.Context, s migrations.Step) error {
	tx, err := db.sql.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	var version int
	if err := tx.QueryRowContext(ctx, "pragma user_version").Scan(&version); err != nil {
		return err
	}
	if version >= s.Number {
		return nil
	}
	if _, err := tx.ExecContext(ctx, s.SQL); err != nil {
		return err
	}
	if _, err := tx.ExecContext(ctx, fmt.Sprintf("pragma user_version = %d", s.Number)); err != nil {
		return err
	}
	return tx.Commit()
}

// keepCopy writes notebook.before-vN.sqlite beside the notebook. One that is
// there already is older and is left: VACUUM INTO refuses to overwrite.
func (db *DB) keepCopy(ctx context.Context, version int) error {
	path := filepath.Join(db.dir, fmt.Sprintf("notebook.before-v%d.sqlite", version+1))
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	temp, err := os.MkdirTemp(db.dir, ".before-*")
	if err != nil {
		return fmt.Errorf("keep a copy before migrating: %w", err)
	}
	defer os.RemoveAll(temp)
	partial := filepath.Join(temp, FileName)
	if _, err := db.sql.ExecContext(ctx, "vacuum into ?", partial); err != nil {
		return fmt.Errorf("keep a copy before migrating: %w", err)
	}
	// Another process may have kept one meanwhile, and migrated: then ours is of
	// the new version and worth nothing.
	if err := nameOnce(partial, path); err != nil && !errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("keep a copy before migrating: %w", err)
	}
	return syncFolder(db.dir)
}
