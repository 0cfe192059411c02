// Package vectors holds published values for tests, a table each: input, want,
// rel_tol and source.
package vectors

import (
	"embed"
	"strings"
	"testing"
)

//go:embed *.tsv
var tables embed.FS

// Rows returns the lines of a table without its heading, each of four columns.
func Rows(t testing.TB, name string) [][]string {
	t.Helper()
	text, err := tables.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimRight(string(text), "\n"), "\n")[1:]
	rows := make([][]string, len(lines))
	for i, line := range lines {
		if rows[i] = strings.Split(line, "\t"); len(rows[i]) != 4 {
			t.Fatalf("%s: %q has %d columns, want 4", name, line, len(rows[i]))
		}
	}
	if len(rows) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return rows
}
