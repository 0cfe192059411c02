// Package migrations holds the schema of the notebook as numbered steps. A
// released step is never edited; a change is a new one.
package migrations

import (
	"embed"
	"fmt"
	"io/fs"
)

//go:embed *.sql
var scripts embed.FS

// Step is one migration: running SQL takes a notebook from version Number-1 to Number.
type Step struct {
	Number int
	Name   string // file name
	SQL    string
}

// Steps returns the migrations in order. An error means that the files embedded
// are not numbered 1, 2, 3 ... without a gap.
func Steps() ([]Step, error) {
	names, err := fs.Glob(scripts, "*.sql")
	if err != nil {
		return nil, err
	}
	var steps []Step
	for i, name := range names { // Glob sorts by name
		var number int
		if _, err := fmt.Sscanf(name, "%04d_", &number); err != nil || number != i+1 {
			return nil, fmt.Errorf("migration %s does not have number %d", name, i+1)
		}
		sql, err := scripts.ReadFile(name)
		if err != nil {
			return nil, err
		}
		steps = append(steps, Step{Number: number, Name: name, SQL: string(sql)})
	}
	return steps, nil
}
