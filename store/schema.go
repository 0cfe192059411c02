package store

import (
	"context"
	"database/sql"
	"slices"
	"strings"

	"dieglow/migrations"
)

// schemaObject is a table, index or trigger as the schema holds it.
type schemaObject struct {
	exact string // all that is said of it, with the types of the values
	name  string
}

// checkSchema compares the schema, triggers included, with the one this program makes.
func (tx *Tx) checkSchema(c *Check) error {
	got, err := tx.schema()
	if err != nil {
		return err
	}
	want, err := freshSchema(tx.ctx)
	if err != nil {
		return err
	}
	for _, o := range want {
		if !slices.Contains(got, o) {
			c.problem("schema", "missing or altered: %s", o.name)
		}
	}
	for _, o := range got {
		if !slices.Contains(want, o) {
			c.problem("schema", "not of this program: %s", o.name)
		}
	}
	return nil
}

// schema reads the schema, without what SQLite makes itself: indexes of
// constraints, and statistics.
func (tx *Tx) schema() ([]schemaObject, error) {
	return collect(tx, `select quote(type) || quote(name) || quote(tbl_name) || quote(sql), type || ' ' || name
from sqlite_schema
where not (type = 'index' and sql is null and name glob 'sqlite_autoindex_*')
	and not (type = 'table' and name in ('sqlite_stat1', 'sqlite_stat4'))
order by name`, nil, func(rows *sql.Rows) (o schemaObject, err error) {
		err = rows.Scan(&o.exact, &o.name)
		o.name = strings.ToValidUTF8(o.name, "?")
		return o, err
	})
}

// freshSchema returns the schema of a new notebook.
func freshSchema(ctx context.Context) ([]schemaObject, error) {
	mem, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	defer mem.Close()
	mem.SetMaxOpenConns(1)
	steps, err := migrations.Steps()
	if err != nil {
		return nil, err
	}
	tx, err := mem.BeginTx(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer tx.Rollback()
	for _, s := range steps {
		if _, err := tx.ExecContext(ctx, s.SQL); err != nil {
			return nil, err
		}
	}
	return (&Tx{ctx: ctx, tx: tx}).schema()
}
