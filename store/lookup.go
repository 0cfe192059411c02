package store

import (
	"cmp"
	"database/sql"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// found is a record a name leads to.
type found struct {
	rid    int64
	kind   string
	number int
	latest int
}

func (f found) handle() string { return f.kind + "-" + strconv.Itoa(f.number) }

// Get returns the record of T's kind that name calls: a handle (lens-4), a given
// name, or an id, each with an optional revision (lens-4@2). Faults NotFound,
// Ambiguous, Invalid (a record of another kind).
func Get[T Body](tx *Tx, name string) (notebook.Record[T], error) {
	var zero T
	f, revision, err := tx.resolve(name, zero.Kind())
	if err != nil {
		return notebook.Record[T]{}, err
	}
	return getRevision[T](tx, f.rid, revision)
}

// GetRef returns the revision a reference names. Fault NotFound.
func GetRef[T Body](tx *Tx, ref catalog.Ref) (notebook.Record[T], error) {
	rid, err := tx.rid(ref.ID)
	if err != nil {
		return notebook.Record[T]{}, err
	}
	return getRevision[T](tx, rid, ref.Revision)
}

// getRevision reads one revision; 0 stands for the newest.
func getRevision[T Body](tx *Tx, rid int64, revision int) (notebook.Record[T], error) {
	m, raw, err := tx.read(rid, revision)
	if err != nil {
		return notebook.Record[T]{}, err
	}
	e, err := decode[T](raw)
	if err != nil {
		return notebook.Record[T]{}, err
	}
	m.Reason, m.Name = e.Reason, e.Record.Title()
	return notebook.Record[T]{Meta: m, Body: e.Record}, nil
}

// read returns what is stored of one revision; 0 stands for the newest.
func (tx *Tx) read(rid int64, revision int) (notebook.Meta, []byte, error) {
	var line, raw []byte
	var latest int
	ok, err := tx.row(`select e.line, b.bytes, r.revision
from record r
join revision v on v.rid = r.rid and v.revision = case ?2 when 0 then r.revision else ?2 end
join entry e on e.seq = v.seq
join body b on b.seq = v.seq
where r.rid = ?1`, []any{rid, revision}, &line, &raw, &latest)
	if err != nil {
		return notebook.Meta{}, nil, err
	}
	if !ok {
		return notebook.Meta{}, nil, fault.NotFoundf("there is no revision %d", revision).WithHint("leave the revision out for the newest")
	}
	e, err := journal.Parse(line)
	if err != nil {
		return notebook.Meta{}, nil, err
	}
	return notebook.Meta{
		Ref:  catalog.Ref{ID: e.SubjectID, Handle: e.Subject, Revision: e.Revision},
		Kind: e.Kind, Scope: e.Scope, Latest: latest, Seq: e.Seq, Recorded: e.Recorded, Who: e.Who, Files: e.Files,
	}, raw, nil
}

// List returns the newest revision of every record of T's kind, oldest first.
// project limits it to the records of one project; "" takes all.
func List[T Body](tx *Tx, project string) ([]notebook.Record[T], error) {
	var zero T
	var projectRID int64
	if project != "" {
		var err error
		if projectRID, err = tx.rid(project); err != nil {
			return nil, err
		}
	}
	rids, err := collect(tx, "select rid from record where kind = ?1 and (?2 = 0 or project_rid = ?2) order by number",
		[]any{zero.Kind(), projectRID}, scanInt)
	if err != nil {
		return nil, err
	}
	return getAll[T](tx, rids)
}

func getAll[T Body](tx *Tx, rids []int64) ([]notebook.Record[T], error) {
	out := make([]notebook.Record[T], 0, len(rids))
	for _, rid := range rids {
		r, err := getRevision[T](tx, rid, 0)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

func scanInt(rows *sql.Rows) (v int64, err error) { return v, rows.Scan(&v) }

// History returns every revision of a record, oldest first.
func History[T Body](tx *Tx, m notebook.Meta) ([]notebook.Record[T], error) {
	rid, err := tx.rid(m.ID)
	if err != nil {
		return nil, err
	}
	var out []notebook.Record[T]
	for revision := 1; revision <= m.Latest; revision++ {
		r, err := getRevision[T](tx, rid, revision)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// KindOf returns the kind of the record that name calls, whatever it is, with
// its canonical name: the handle, and the revision where one was given.
func (tx *Tx) KindOf(name string) (kind, canonical string, err error) {
	f, revision, err := tx.resolve(name, "")
	if err != nil {
		return "", "", err
	}
	if revision == 0 {
		return f.kind, f.handle(), nil
	}
	return f.kind, fmt.Sprintf("%s@%d", f.handle(), revision), nil
}

// resolve finds the record of a kind ("" for any) that name calls.
func (tx *Tx) resolve(name, kind string) (found, int, error) {
	base, revText, hasRev := strings.Cut(strings.TrimSpace(name), "@")
	revision := 0
	if hasRev {
		n, err := strconv.Atoi(revText)
		if err != nil || n < 1 || strconv.Itoa(n) != revText {
			return found{}, 0, fault.Invalidf("%q does not name a revision", name).WithHint("write %s@1, or %s for the newest", base, base)
		}
		revision = n
	}
	all, err := tx.candidates(base)
	if err != nil {
		return found{}, 0, err
	}
	var fit []found
	for _, f := range all {
		if kind == "" || f.kind == kind {
			fit = append(fit, f)
		}
	}
	what := cmp.Or(kind, "record")
	switch {
	case len(fit) > 1:
		var handles []string
		for _, f := range fit {
			handles = append(handles, f.handle())
		}
		return found{}, 0, fault.Ambiguousf("%q names more than one record: %s", base, strings.Join(handles, ", ")).WithHint("use the handle of the one you mean")
	case len(fit) == 0 && len(all) > 0:
		return found{}, 0, fault.Invalidf("%q is %s %s, where %s %s is wanted", base, article(all[0].kind), all[0].kind, article(what), what).WithHint("dieglow %s list shows what there is", listed(kind))
	case len(fit) == 0:
		return found{}, 0, fault.NotFoundf("no %s is called %q", what, base).WithHint("dieglow %s list shows what there is", listed(kind))
	case revision > fit[0].latest:
		return found{}, 0, fault.NotFoundf("%s has no revision %d; the newest is %d", fit[0].handle(), revision, fit[0].latest).WithHint("write %s for the newest", fit[0].handle())
	}
	return fit[0], revision, nil
}

// listed names a noun whose list verb helps when a kind was not found.
func listed(kind string) string {
	switch kind {
	case "", "preparation", "custody", "notebook":
		return "specimen"
	}
	return kind
}

func article(kind string) string {
	if strings.ContainsRune("aeio", rune(kind[0])) {
		return "an"
	}
	return "a"
}

// candidates returns the records a handle, an id or a name leads to.
func (tx *Tx) candidates(name string) ([]found, error) {
	if i := strings.LastIndexByte(name, '-'); i > 0 {
		if n, err := strconv.Atoi(name[i+1:]); err == nil && n > 0 && strconv.Itoa(n) == name[i+1:] && catalog.Kinds()[fold(name[:i])] {
			return collect(tx, handleSQL, []any{fold(name[:i]), n}, scanFound)
		}
	}
	named, err := collect(tx, nameSQL(), []any{fold(name)}, scanFound)
	if err != nil {
		return nil, err
	}
	id, err := uuid.Parse(name)
	if err != nil {
		return named, nil
	}
	// A name may look like an id: 32 hexadecimal digits, the first a letter.
	identified, err := collect(tx, idSQL, []any{id.String()}, scanFound)
	return append(identified, named...), err
}

const (
	foundColumns = "select rid, kind, number, revision from record where "
	handleSQL    = foundColumns + "kind = ? and number = ?"
	idSQL        = foundColumns + "id = ?"
)

// nameSQL looks a name up kind by kind, since the index of names begins with the kind.
func nameSQL() string {
	kinds := slices.Sorted(maps.Keys(catalog.Kinds()))
	return foundColumns + "kind in ('" + strings.Join(kinds, "', '") + "') and name_folded = ? order by kind, number"
}

func scanFound(rows *sql.Rows) (f found, err error) {
	return f, rows.Scan(&f.rid, &f.kind, &f.number, &f.latest)
}
