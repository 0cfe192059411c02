package store

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"testing"
)

// The answer to "which setup resolved this?" costs an index look-up a setup,
// whatever the number of captures, and whether or not someone ran ANALYZE.
func TestPlanOfResolved(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	fillTables(t, db, 20, 2000)
	var answers [][]ResolvedSetup
	for _, analyze := range []bool{false, true} {
		if analyze {
			if _, err := rawConn(t, dir).Exec("analyze"); err != nil {
				t.Fatal(err)
			}
		}
		// A connection reads the statistics when it reads the schema.
		plan := plan(t, openRead(t, dir), ResolvedSQL, 50.0)
		if strings.Count(plan, "INDEX resolution_strength (setup_rid=? AND strength=? AND feature_um<?)") != 3 {
			t.Errorf("analyzed %v: the index is not used:\n%s", analyze, plan)
		}
		for _, line := range strings.Split(plan, "\n") {
			if strings.HasPrefix(line, "SCAN") {
				t.Errorf("analyzed %v: %s", analyze, line)
			}
		}
		err := openRead(t, dir).View(t.Context(), func(tx *Tx) error {
			got, err := tx.FindResolved(50)
			answers = append(answers, got)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(answers[0]) == 0 || !slices.Equal(answers[0], answers[1]) {
		t.Errorf("answers differ: %v, %v", answers[0], answers[1])
	}
	// The same answer, asked naively.
	naive := column(t, db.sql, `select printf('setup-%d@1 %.17g', s.number, min(r.feature_um)) from resolution r join record s on s.rid = r.setup_rid
where r.withdrawn = 0 and r.feature_um <= 50 group by r.setup_rid order by min(r.feature_um), s.number`)
	if len(naive) != len(answers[0]) {
		t.Fatalf("%d setups, naively %d", len(answers[0]), len(naive))
	}
	for i, a := range answers[0] {
		if !strings.HasPrefix(naive[i], a.Setup+" ") || a.FeatureUM > 50 || i > 0 && a.FeatureUM < answers[0][i-1].FeatureUM {
			t.Errorf("answer %d is %+v, naively %s", i, a, naive[i])
		}
	}
	if mode := column(t, db.sql, "pragma integrity_check"); mode[0] != "ok" {
		t.Error(mode)
	}
}

// No question about one record reads a whole table.
func TestPlansOfLookups(t *testing.T) {
	t.Parallel()
	db, dir := newNotebook(t)
	fillTables(t, db, 20, 2000)
	reader := openRead(t, dir)
	for query, args := range map[string][]any{
		handleSQL: {"lens", 1},
		idSQL:     {"x"},
		nameSQL(): {"x"},
		"select id from record where kind = ? and name_folded = ?":                                                                            {"lens", "x"},
		"select coalesce(max(number), 0) from record where kind = ?":                                                                          {"capture"},
		"select line from entry order by seq desc limit 1":                                                                                    nil,
		"select r.number from capture c join record r on r.rid = c.rid where c.setup_rid = ? and c.setup_revision = ? order by c.rid limit 1": {11, 1},
	} {
		for _, line := range strings.Split(plan(t, reader, query, args...), "\n") {
			if strings.HasPrefix(line, "SCAN") && line != "SCAN entry" {
				t.Errorf("%s: %s", query, line)
			}
		}
	}
}

// plan returns the query plan, a step a line.
func plan(t *testing.T, db *DB, query string, args ...any) string {
	t.Helper()
	var lines []string
	err := db.View(context.Background(), func(tx *Tx) (err error) {
		lines, err = collect(tx, "explain query plan "+query, args, func(rows *sql.Rows) (detail string, err error) {
			var id, parent, unused int
			return detail, rows.Scan(&id, &parent, &unused, &detail)
		})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(lines, "\n")
}
