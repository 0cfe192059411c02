package store

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// Body is what a record holds; each kind of record has its own type.
type Body interface {
	Kind() string
	Title() string // the given name, "" for none
	Validate() error
}

// envelope is the body as stored: the record, and why it was amended.
type envelope[T any] struct {
	Reason string `json:"reason"`
	Record T      `json:"record"`
}

// encode returns the canonical bytes of a body.
func encode(body Body, reason string) ([]byte, error) {
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(envelope[Body]{reason, body}); err != nil {
		return nil, fmt.Errorf("encode %s: %w", body.Kind(), err)
	}
	return canonical(buf.Bytes())
}

func decode[T Body](raw []byte) (envelope[T], error) {
	var e envelope[T]
	if err := json.Unmarshal(raw, &e); err != nil {
		return e, fault.Corruptf("a %s record cannot be read", e.Record.Kind()).Because(err)
	}
	return e, nil
}

// decodeKind decodes a body of any kind.
func decodeKind(kind string, raw []byte) (body Body, reason string, err error) {
	switch kind {
	case catalog.KindLens:
		return anyBody(decode[catalog.Lens](raw))
	case catalog.KindCamera:
		return anyBody(decode[catalog.Camera](raw))
	case catalog.KindArtefact:
		return anyBody(decode[catalog.Artefact](raw))
	case catalog.KindInstrument:
		return anyBody(decode[catalog.Instrument](raw))
	case catalog.KindSetup:
		return anyBody(decode[catalog.Setup](raw))
	case notebook.KindNotebook:
		return anyBody(decode[notebook.Genesis](raw))
	case notebook.KindProject:
		return anyBody(decode[notebook.Project](raw))
	case notebook.KindSpecimen:
		return anyBody(decode[notebook.Specimen](raw))
	case notebook.KindPreparation:
		return anyBody(decode[notebook.Preparation](raw))
	case notebook.KindCustody:
		return anyBody(decode[notebook.Custody](raw))
	case notebook.KindCapture:
		return anyBody(decode[notebook.Capture](raw))
	case notebook.KindOutcome:
		return anyBody(decode[notebook.Outcome](raw))
	case notebook.KindExpense:
		return anyBody(decode[notebook.Expense](raw))
	case notebook.KindFinding:
		return anyBody(decode[notebook.Finding](raw))
	}
	return nil, "", fault.Corruptf("kind %q is not known", kind)
}

func anyBody[T Body](e envelope[T], err error) (Body, string, error) {
	return e.Record, e.Reason, err
}

// Placement says where a new record belongs and which raw files it vouches for.
type Placement struct {
	Project string // id of the project; "" for the library
	Files   []journal.File
}

// Add records something new. It allots the handle and writes entry, body and
// projection. Fault Invalid from the body's own check, or Conflict when another
// record of the kind has the name, or the project is closed; only custody is
// still recorded then, since parts go back after the work.
func Add[T Body](tx *Tx, body T, p Placement) (notebook.Record[T], error) {
	if p.Project != "" && body.Kind() != notebook.KindCustody {
		if err := tx.checkOpen(p.Project); err != nil {
			return notebook.Record[T]{}, err
		}
	}
	id, err := tx.newID(body.Kind())
	if err != nil {
		return notebook.Record[T]{}, err
	}
	number, err := tx.nextNumber(body.Kind())
	if err != nil {
		return notebook.Record[T]{}, err
	}
	scope := p.Project
	switch {
	case body.Kind() == notebook.KindProject:
		scope = id
	case scope == "":
		scope = notebook.Library
	}
	m := notebook.Meta{
		Ref:  catalog.Ref{ID: id, Handle: body.Kind() + "-" + strconv.Itoa(number), Revision: 1},
		Kind: body.Kind(), Scope: scope, Files: p.Files,
	}
	return write(tx, m, body)
}

// checkOpen reports fault Conflict when the project is closed.
func (tx *Tx) checkOpen(project string) error {
	if tx.open[project] {
		return nil
	}
	var closed, number int
	var name string
	found, err := tx.row("select p.closed, r.number, coalesce(r.name, '') from record r join project p on p.rid = r.rid where r.id = ?", []any{project}, &closed, &number, &name)
	switch {
	case err != nil:
		return err
	case !found:
		return fault.NotFoundf("no project has the id %s", project)
	case closed != 0:
		return fault.Conflictf("the project %s is closed", label(notebook.KindProject, number, name)).
			WithHint("open a new project for new work; what is recorded can still be amended, and parts returned")
	}
	tx.open[project] = true
	return nil
}

// Amend records a new revision of m, which must be the newest, with its reason.
// Fault Conflict when m is not the newest revision, Invalid without a reason.
func Amend[T Body](tx *Tx, m notebook.Meta, body T, reason string) (notebook.Record[T], error) {
	if strings.TrimSpace(reason) == "" {
		return notebook.Record[T]{}, fault.Invalidf("an amendment needs its reason").WithHint(`give --reason "why"`)
	}
	if err := catalog.CheckText("reason", reason); err != nil {
		return notebook.Record[T]{}, err
	}
	if m.Revision != m.Latest {
		return notebook.Record[T]{}, notNewest(m, m.Latest)
	}
	// m may have been read in another transaction, or before another amendment.
	var kind string
	var latest int
	found, err := tx.row("select kind, revision from record where id = ?", []any{m.ID}, &kind, &latest)
	switch {
	case err != nil:
		return notebook.Record[T]{}, err
	case !found:
		return notebook.Record[T]{}, fault.NotFoundf("no record has the id %s", m.ID)
	case latest != m.Revision:
		return notebook.Record[T]{}, notNewest(m, latest)
	case kind != body.Kind() || kind != m.Kind:
		return notebook.Record[T]{}, fault.Invalidf("%s is %s %s and cannot become %s %s", m.Handle, article(kind), kind, article(body.Kind()), body.Kind())
	}
	m.Revision++
	m.Reason = reason
	return write(tx, m, body)
}

func notNewest(m notebook.Meta, latest int) error {
	return fault.Conflictf("%s is not the newest revision of %s, which is %d", m.Ref, m.Handle, latest).
		WithHint("amend %s, without a revision", m.Handle)
}

// write appends the revision described by m, whose Ref, Kind, Scope, Reason and
// Files are set.
func write[T Body](tx *Tx, m notebook.Meta, body T) (notebook.Record[T], error) {
	if err := body.Validate(); err != nil {
		return notebook.Record[T]{}, err
	}
	if err := tx.checkName(m, body.Title()); err != nil {
		return notebook.Record[T]{}, err
	}
	raw, err := encode(body, m.Reason)
	if err != nil {
		return notebook.Record[T]{}, err
	}
	e, err := tx.append(m, raw, body)
	if err != nil {
		tx.broken = cmp.Or(tx.broken, err)
		return notebook.Record[T]{}, err
	}
	m.Name, m.Latest, m.Seq, m.Recorded, m.Who = body.Title(), m.Revision, e.Seq, e.Recorded, e.Who
	return notebook.Record[T]{Meta: m, Body: body}, nil
}

func (tx *Tx) checkName(m notebook.Meta, name string) error {
	if name == "" {
		return nil
	}
	var id, handle string
	found, err := tx.row("select id, kind || '-' || number from record where kind = ? and name_folded = ?", []any{m.Kind, fold(name)}, &id, &handle)
	if err != nil {
		return err
	}
	if found && id != m.ID {
		return fault.Conflictf("%s is called %s already", handle, name).WithHint("choose another name, or amend %s", handle)
	}
	return nil
}

// fold makes names comparable without regard to case.
func fold(name string) string { return strings.ToLower(name) }

// newID makes an id: random for what may be shared, since a time-ordered one
// tells when it was made; time-ordered for the rest.
func (tx *Tx) newID(kind string) (string, error) {
	make := tx.db.source.NewV7
	switch kind {
	case catalog.KindLens, catalog.KindCamera, catalog.KindArtefact, catalog.KindInstrument, catalog.KindSetup:
		make = tx.db.source.NewV4
	}
	id, err := make()
	if err != nil {
		return "", fmt.Errorf("make an id: %w", err)
	}
	return id.String(), nil
}

func (tx *Tx) nextNumber(kind string) (int, error) {
	n, ok := tx.numbers[kind]
	if !ok {
		if _, err := tx.row("select coalesce(max(number), 0) from record where kind = ?", []any{kind}, &n); err != nil {
			return 0, err
		}
	}
	tx.numbers[kind] = n
	return n + 1, nil
}

// append writes one entry with its body and projects it.
func (tx *Tx) append(m notebook.Meta, raw []byte, body Body) (journal.Entry, error) {
	if err := tx.loadHead(m); err != nil {
		return journal.Entry{}, err
	}
	salt, err := tx.db.source.NewSalt()
	if err != nil {
		return journal.Entry{}, fmt.Errorf("make a salt: %w", err)
	}
	e := journal.Entry{
		Body: journal.Commit(salt, raw), Files: m.Files, Kind: m.Kind, Origin: tx.head.origin, Prev: tx.head.hash,
		Recorded: tx.now, Revision: m.Revision, Scope: m.Scope, Seq: tx.head.seq + 1,
		Subject: m.Handle, SubjectID: m.ID, Tool: tx.db.source.Tool, Who: tx.who,
	}
	if e.Seq > 1 {
		e.ClockBackMS = journal.ClockBackMS(journal.Entry{Recorded: tx.head.recorded}, e)
	}
	line := e.Canonical()
	hash := journal.HashOf(line)
	if err := tx.exec("insert into entry (seq, line, hash) values (?, ?, ?)", e.Seq, line, hash[:]); err != nil {
		return e, err
	}
	if err := tx.exec("insert into body (seq, salt, bytes) values (?, ?, ?)", e.Seq, salt[:], raw); err != nil {
		return e, err
	}
	tx.head.seq, tx.head.hash, tx.head.recorded = e.Seq, hash, e.Recorded
	if tx.project == nil {
		tx.project = newProjector(tx.rid)
	}
	if e.Revision == 1 {
		tx.rids[e.SubjectID] = e.Seq
		tx.numbers[m.Kind]++
	}
	return e, tx.apply(e, body)
}

// apply writes the projection of an entry.
func (tx *Tx) apply(e journal.Entry, body Body) error {
	rows, err := tx.project.rows(e, body)
	if err != nil {
		return err
	}
	for _, r := range rows {
		query := r.table.upsert
		if r.gone {
			query = r.table.remove
		}
		if err := tx.exec(query, r.values...); err != nil {
			return fmt.Errorf("project %s into %s: %w", e.Subject, r.table.name, err)
		}
	}
	return nil
}

// loadHead reads the end of the journal; the first record gives the notebook its id.
func (tx *Tx) loadHead(m notebook.Meta) error {
	if tx.head != nil {
		return nil
	}
	var line []byte
	found, err := tx.row("select line from entry order by seq desc limit 1", nil, &line)
	if err != nil {
		return err
	}
	if !found {
		tx.head = &head{origin: m.ID}
		return nil
	}
	last, err := journal.Parse(line)
	if err != nil {
		return err
	}
	tx.head = &head{seq: last.Seq, hash: journal.HashOf(line), origin: last.Origin, recorded: last.Recorded}
	return nil
}

// rid returns the row id of a record.
func (tx *Tx) rid(id string) (int64, error) {
	if rid, ok := tx.rids[id]; ok {
		return rid, nil
	}
	var rid int64
	found, err := tx.row("select rid from record where id = ?", []any{id}, &rid)
	if err != nil {
		return 0, err
	}
	if !found {
		return 0, fault.NotFoundf("no record has the id %s", id)
	}
	tx.rids[id] = rid
	return rid, nil
}
