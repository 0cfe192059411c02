package store

import (
	"encoding/json"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// Raw is one revision of a record of any kind, with its record as JSON.
type Raw struct {
	notebook.Meta
	Hash   string          // of its entry
	Record json.RawMessage // canonical
}

// GetRaw returns the record that name calls, of any kind; see Get for the names.
func (tx *Tx) GetRaw(name string) (Raw, error) {
	f, revision, err := tx.resolve(name, "")
	if err != nil {
		return Raw{}, err
	}
	return tx.raw(f.rid, revision)
}

// RawRevision returns one revision of a record by id; 0 stands for the newest.
func (tx *Tx) RawRevision(id string, revision int) (Raw, error) {
	rid, err := tx.rid(id)
	if err != nil {
		return Raw{}, err
	}
	return tx.raw(rid, revision)
}

func (tx *Tx) raw(rid int64, revision int) (Raw, error) {
	m, body, err := tx.read(rid, revision)
	if err != nil {
		return Raw{}, err
	}
	var e envelope[json.RawMessage]
	if err := json.Unmarshal(body, &e); err != nil {
		return Raw{}, fault.Corruptf("the body of %s cannot be read", m.Ref).Because(err)
	}
	var named struct {
		Name string `json:"name"`
	}
	if err := json.Unmarshal(e.Record, &named); err != nil {
		return Raw{}, fault.Corruptf("the body of %s cannot be read", m.Ref).Because(err)
	}
	m.Reason, m.Name = e.Reason, named.Name
	var hash []byte
	if _, err := tx.row("select hash from entry where seq = ?", []any{m.Seq}, &hash); err != nil {
		return Raw{}, err
	}
	return Raw{Meta: m, Hash: journal.Hash(hash).String(), Record: e.Record}, nil
}

// RestingOn returns the records whose newest revision refers to the record: its
// captures, outcomes, preparations, setups, and so on, in the order recorded.
func (tx *Tx) RestingOn(m notebook.Meta) ([]catalog.Ref, error) {
	rid, err := tx.rid(m.ID)
	if err != nil {
		return nil, err
	}
	rids, err := collect(tx, `select rid from (
	select rid from setup where camera_rid = ?1
	union select rid from setup_part where lens_rid = ?1
	union select rid from specimen where cut_from_rid = ?1
	union select rid from preparation where specimen_rid = ?1
	union select rid from custody where specimen_rid = ?1
	union select rid from capture where setup_rid = ?1 or specimen_rid = ?1 or artefact_rid = ?1
	union select rid from outcome where capture_rid = ?1 or specimen_rid = ?1
	union select rid from resolution where artefact_rid = ?1 or setup_rid = ?1
	union select rid from expense where part_rid = ?1
	union select rid from finding where capture_rid = ?1
	union select rid from record where project_rid = ?1 and rid <> ?1
) order by rid`, []any{rid}, scanInt)
	if err != nil {
		return nil, err
	}
	var out []catalog.Ref
	for _, r := range rids {
		m, _, err := tx.read(r, 0)
		if err != nil {
			return nil, err
		}
		out = append(out, m.Ref)
	}
	return out, nil
}

// FrozenBy returns the first capture that uses the setup's revision, which is
// then frozen: what the capture was taken with cannot change. False when none does.
func (tx *Tx) FrozenBy(setup catalog.Ref) (handleOf string, frozen bool, err error) {
	rid, err := tx.rid(setup.ID)
	if err != nil {
		return "", false, err
	}
	var number int
	frozen, err = tx.row("select r.number from capture c join record r on r.rid = c.rid where c.setup_rid = ? and c.setup_revision = ? order by c.rid limit 1",
		[]any{rid, setup.Revision}, &number)
	return handle(notebook.KindCapture, number), frozen, err
}

// Operator returns who records by default, as said when the notebook was made
// or last amended; "" none.
func (tx *Tx) Operator() (string, error) {
	g, err := Get[notebook.Genesis](tx, "notebook-1")
	return g.Body.Operator, err
}

// Seal returns the state of the journal: the notebook's id, how many entries
// there are, and the hash of the last.
func (tx *Tx) Seal() (origin string, entries int64, head string, err error) {
	var line, hash []byte
	if _, err := tx.row("select line, hash from entry order by seq desc limit 1", nil, &line, &hash); err != nil {
		return "", 0, "", err
	}
	e, err := journal.Parse(line)
	return e.Origin, e.Seq, journal.Hash(hash).String(), err
}

// CapturesOf returns the captures of a specimen, oldest first.
func (tx *Tx) CapturesOf(specimen string) ([]notebook.Record[notebook.Capture], error) {
	return of[notebook.Capture](tx, "select rid from capture where specimen_rid = ? order by rid", specimen)
}

// PreparationsOf returns the preparation steps of a specimen, in the order recorded.
func (tx *Tx) PreparationsOf(specimen string) ([]notebook.Record[notebook.Preparation], error) {
	return of[notebook.Preparation](tx, "select rid from preparation where specimen_rid = ? order by rid", specimen)
}

// CustodyOf returns the custody events of a specimen, in the order recorded.
func (tx *Tx) CustodyOf(specimen string) ([]notebook.Record[notebook.Custody], error) {
	return of[notebook.Custody](tx, "select rid from custody where specimen_rid = ? order by rid", specimen)
}

// PiecesOf returns the specimens cut from a specimen.
func (tx *Tx) PiecesOf(specimen string) ([]notebook.Record[notebook.Specimen], error) {
	return of[notebook.Specimen](tx, "select rid from specimen where cut_from_rid = ? order by rid", specimen)
}

// OutcomesOf returns the outcomes that rest on a capture or tell of the loss of a
// specimen, withdrawn ones included.
func (tx *Tx) OutcomesOf(id string) ([]notebook.Record[notebook.Outcome], error) {
	return of[notebook.Outcome](tx, `select rid from outcome where capture_rid = ?1 or specimen_rid = ?1
union select o.rid from outcome o join capture c on c.rid = o.capture_rid where c.specimen_rid = ?1
order by rid`, id)
}

// FindingsOf returns the findings computed from a capture, in the order recorded.
func (tx *Tx) FindingsOf(capture string) ([]notebook.Record[notebook.Finding], error) {
	return of[notebook.Finding](tx, "select rid from finding where capture_rid = ? order by rid", capture)
}

// FindingsWith returns the findings computed from captures made with a setup,
// whatever its revision, in the order recorded.
func (tx *Tx) FindingsWith(setup string) ([]notebook.Record[notebook.Finding], error) {
	return of[notebook.Finding](tx, "select f.rid from finding f join capture c on c.rid = f.capture_rid where c.setup_rid = ? order by f.rid", setup)
}

// ResolvedWith returns the standing outcomes that say what a setup resolved,
// whatever its revision, the finest first.
func (tx *Tx) ResolvedWith(setup string) ([]notebook.Record[notebook.Outcome], error) {
	return of[notebook.Outcome](tx, "select rid from resolution where setup_rid = ? and withdrawn = 0 order by feature_um, rid", setup)
}

// of returns the newest revisions of the records a query over a record's row id gives.
func of[T Body](tx *Tx, query, id string) ([]notebook.Record[T], error) {
	rid, err := tx.rid(id)
	if err != nil {
		return nil, err
	}
	rids, err := collect(tx, query, []any{rid}, scanInt)
	if err != nil {
		return nil, err
	}
	return getAll[T](tx, rids)
}
