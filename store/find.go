package store

import (
	"cmp"
	"database/sql"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/notebook"
)

// ResolvedSQL answers "which setup resolved this?": for each setup its strongest
// evidence for a feature not above ?1 micrometres, of that the smallest feature.
// Measured evidence comes before a judgement on an artefact, and that before a
// statement. Each setup costs at most three look-ups in an index that holds setup,
// strength and size together, whatever the number of captures.
const ResolvedSQL = `select s.number, coalesce(s.name, ''), r.setup_revision, r.feature_um, r.feature_u_um, r.feature, r.judged, r.strength,
	coalesce(a.name, 'artefact-' || a.number, ''), c.number, v.occurred, o.number, p.costs
from record s
cross join resolution r on r.rid = coalesce(
	(select x.rid from resolution x where x.setup_rid = s.rid and x.withdrawn = 0 and x.strength = 2 and x.feature_um <= ?1 order by x.feature_um, x.rid limit 1),
	(select x.rid from resolution x where x.setup_rid = s.rid and x.withdrawn = 0 and x.strength = 1 and x.feature_um <= ?1 order by x.feature_um, x.rid limit 1),
	(select x.rid from resolution x where x.setup_rid = s.rid and x.withdrawn = 0 and x.strength = 0 and x.feature_um <= ?1 order by x.feature_um, x.rid limit 1))
join setup p on p.rid = r.setup_rid and p.revision = r.setup_revision
join record c on c.rid = r.capture_rid
join capture v on v.rid = r.capture_rid
join record o on o.rid = r.rid
left join record a on a.rid = r.artefact_rid
where s.kind = 'setup'
order by r.strength desc, r.feature_um, s.number`

// ResolvedSetup is a setup with the evidence of the smallest feature it resolved.
type ResolvedSetup struct {
	Setup     string       `json:"setup"` // handle with revision
	Name      string       `json:"name"`
	FeatureUM float64      `json:"feature_um"`
	UUM       *float64     `json:"feature_u_um"` // standard uncertainty; null: not evaluated
	On        string       `json:"on"`           // artefact, or the feature in words
	Judged    string       `json:"judged"`       // how; "" not recorded
	KnownBy   string       `json:"known_by"`     // measured, on an artefact, or by statement
	Capture   string       `json:"capture"`
	When      catalog.When `json:"when"` // of the capture; "" not recorded
	Outcome   string       `json:"outcome"`
	Costs     string       `json:"costs"` // of the setup's parts
}

// FindResolved returns the setups shown to resolve a feature of featureUM or
// less, the finest first. Withdrawn outcomes do not count.
func (tx *Tx) FindResolved(featureUM float64) ([]ResolvedSetup, error) {
	return collect(tx, ResolvedSQL, []any{featureUM}, func(rows *sql.Rows) (ResolvedSetup, error) {
		var s ResolvedSetup
		var setup, revision, strength, capture, outcome int
		var feature, artefact string
		err := rows.Scan(&setup, &s.Name, &revision, &s.FeatureUM, &s.UUM, &feature, &s.Judged, &strength, &artefact, &capture, &s.When, &outcome, &s.Costs)
		s.Setup = catalog.Ref{Handle: handle(catalog.KindSetup, setup), Revision: revision}.String()
		s.Capture, s.Outcome = handle(notebook.KindCapture, capture), handle(notebook.KindOutcome, outcome)
		s.On = strings.TrimSuffix(artefact+": "+feature, ": ")
		if artefact == "" {
			s.On = feature
		}
		s.KnownBy = notebook.Strength(strength).String()
		return s, err
	})
}

func handle(kind string, number int) string { return found{kind: kind, number: number}.handle() }

// PredictedSetup is a setup with what optics says it can resolve.
type PredictedSetup struct {
	Setup             string  `json:"setup"`
	Name              string  `json:"name"`
	PredictedUM       float64 `json:"predicted_um"` // the larger of the two limits
	RayleighUM        float64 `json:"rayleigh_um"`
	SamplingUM        float64 `json:"sampling_um"`
	WorkingDistanceMM float64 `json:"working_distance_mm"`
	FieldXMM          float64 `json:"field_x_mm"`
	FieldYMM          float64 `json:"field_y_mm"`
	Costs             string  `json:"costs"`
}

// FindPredicted returns the setups, in their newest revision, whose predicted
// limits are not above featureUM, the finest first.
func (tx *Tx) FindPredicted(featureUM float64) ([]PredictedSetup, error) {
	return collect(tx, `select r.number, coalesce(r.name, ''), r.revision, s.predicted_um, s.rayleigh_um, s.sampling_um, s.working_distance_mm, s.field_x_mm, s.field_y_mm, s.costs
from record r join setup s on s.rid = r.rid and s.revision = r.revision
where r.kind = 'setup' and s.predicted_um <= ?
order by s.predicted_um, r.number`, []any{featureUM}, func(rows *sql.Rows) (PredictedSetup, error) {
		var s PredictedSetup
		var number, revision int
		err := rows.Scan(&number, &s.Name, &revision, &s.PredictedUM, &s.RayleighUM, &s.SamplingUM, &s.WorkingDistanceMM, &s.FieldXMM, &s.FieldYMM, &s.Costs)
		s.Setup = catalog.Ref{Handle: handle(catalog.KindSetup, number), Revision: revision}.String()
		return s, err
	})
}

// Range is a closed interval; a nil end is open.
type Range struct{ Low, High *float64 }

// CaptureFilter narrows FindCaptures. Zero fields do not narrow.
type CaptureFilter struct {
	Project, Specimen, Setup, Artefact string // what the person typed
	Purpose                            string
	From, To                           catalog.When // days; captures without a stated time are left out
	PowerW, AmbientK, HottestK         Range
	OnlyGaps                           bool // only captures with conditions not recorded
	Limit                              int  // 0: all
}

// FoundCapture is one capture as a list shows it.
type FoundCapture struct {
	Capture   string       `json:"capture"`
	Purpose   string       `json:"purpose"`
	Subject   string       `json:"subject"` // specimen or artefact, by its name or handle
	Setup     string       `json:"setup"`
	When      catalog.When `json:"when"` // "" not recorded
	PowerW    *float64     `json:"power_w"`
	AmbientK  *float64     `json:"ambient_k"`
	HottestK  *float64     `json:"hottest_apparent_k"` // apparent, as the camera says
	NotStated string       `json:"not_recorded"`       // conditions, "" none
}

// condition is a piece of a where clause with its arguments.
type condition struct {
	sql  string
	args []any
}

func (f CaptureFilter) conditions(tx *Tx) ([]condition, error) {
	var out []condition
	for _, ref := range []struct{ name, kind, sql string }{
		{f.Project, notebook.KindProject, "r.project_rid = ?"},
		{f.Specimen, notebook.KindSpecimen, "c.specimen_rid = ?"},
		{f.Setup, catalog.KindSetup, "c.setup_rid = ?"},
		{f.Artefact, catalog.KindArtefact, "c.artefact_rid = ?"},
	} {
		if ref.name == "" {
			continue
		}
		at, revision, err := tx.resolve(ref.name, ref.kind)
		if err != nil {
			return nil, err
		}
		out = append(out, condition{ref.sql, []any{at.rid}})
		if ref.kind == catalog.KindSetup && revision > 0 {
			out = append(out, condition{"c.setup_revision = ?", []any{revision}})
		}
	}
	if f.Purpose != "" {
		out = append(out, condition{"c.purpose = ?", []any{f.Purpose}})
	}
	if f.From != "" {
		out = append(out, condition{"c.occurred >= ?", []any{string(f.From)}})
	}
	if f.To != "" {
		// A day means all of it: "2026-03-01" sorts before "2026-03-01T...".
		out = append(out, condition{"c.occurred <> '' and c.occurred < ?", []any{string(f.To) + "~"}})
	}
	for _, r := range []struct {
		column string
		Range
	}{{"c.power_w", f.PowerW}, {"c.ambient_k", f.AmbientK}, {"c.hottest_k", f.HottestK}} {
		if r.Low != nil {
			out = append(out, condition{r.column + " >= ?", []any{*r.Low}})
		}
		if r.High != nil {
			out = append(out, condition{r.column + " <= ?", []any{*r.High}})
		}
	}
	if f.OnlyGaps {
		out = append(out, condition{"c.missing <> ''", nil})
	}
	return out, nil
}

// FindCaptures returns the captures that fit, in the order they were recorded,
// and how many fit in all, whatever the limit.
func (tx *Tx) FindCaptures(f CaptureFilter) (list []FoundCapture, total int, err error) {
	conditions, err := f.conditions(tx)
	if err != nil {
		return nil, 0, err
	}
	where, args := "", []any{}
	for i, c := range conditions {
		where += [...]string{"\nwhere ", "\n\tand "}[min(i, 1)] + c.sql
		args = append(args, c.args...)
	}
	const from = "\nfrom capture c join record r on r.rid = c.rid"
	if _, err := tx.row("select count(*)"+from+where, args, &total); err != nil {
		return nil, 0, err
	}
	limit := -1
	if f.Limit > 0 {
		limit = f.Limit
	}
	list, err = collect(tx, `select r.number, c.purpose, s.kind, s.number, coalesce(s.name, ''), u.number, c.setup_revision, c.occurred, c.power_w, c.ambient_k, c.hottest_k, c.missing`+
		from+`
join record s on s.rid = coalesce(c.specimen_rid, c.artefact_rid)
join record u on u.rid = c.setup_rid`+where+`
order by c.rid limit ?`, append(args, limit), scanCapture)
	return list, total, err
}

func scanCapture(rows *sql.Rows) (FoundCapture, error) {
	var c FoundCapture
	var number, subject, setup, revision int
	var kind, name string
	err := rows.Scan(&number, &c.Purpose, &kind, &subject, &name, &setup, &revision, &c.When, &c.PowerW, &c.AmbientK, &c.HottestK, &c.NotStated)
	c.Capture = handle(notebook.KindCapture, number)
	c.Subject = cmp.Or(name, handle(kind, subject))
	c.Setup = catalog.Ref{Handle: handle(catalog.KindSetup, setup), Revision: revision}.String()
	return c, err
}

// label is a record's name and handle, or its handle.
func label(kind string, number int, name string) string {
	return notebook.Meta{Ref: catalog.Ref{Handle: handle(kind, number)}, Name: name}.Label()
}

// The states of a specimen.
const (
	Held     = "held"
	Returned = "returned"
	Lost     = "lost"
)

// SpecimenFilter narrows FindSpecimens. Zero fields do not narrow.
type SpecimenFilter struct {
	Project, Form, State string
}

// FoundSpecimen is one specimen as a list shows it.
type FoundSpecimen struct {
	Specimen string `json:"specimen"` // handle
	Name     string `json:"name"`
	Project  string `json:"project"`
	Form     string `json:"form"`
	State    string `json:"state"` // held, returned or lost
	Place    string `json:"place"` // of the last custody event, "" none
	Captures int    `json:"captures"`
	Beryllia string `json:"beryllia"`
}

// specimenState is what became of specimen s: a loss that was not withdrawn
// outweighs any custody event.
const specimenState = `case
	when exists (select 1 from outcome o where o.specimen_rid = s.rid and o.result = 'lost' and o.withdrawn = 0) then 'lost'
	when (select event from custody x where x.specimen_rid = s.rid order by x.rid desc limit 1) = 'returned' then 'returned'
	else 'held' end`

// FindSpecimens returns the specimens that fit, in the order they were recorded.
func (tx *Tx) FindSpecimens(f SpecimenFilter) ([]FoundSpecimen, error) {
	switch f.State {
	case "", Held, Returned, Lost:
	default:
		return nil, fault.Invalidf("%q is not a state of a specimen", f.State).WithHint("use --state held, returned or lost")
	}
	var project int64
	if f.Project != "" {
		p, _, err := tx.resolve(f.Project, notebook.KindProject)
		if err != nil {
			return nil, err
		}
		project = p.rid
	}
	return collect(tx, `select * from (
	select r.number, coalesce(r.name, ''), p.number, coalesce(p.name, ''), s.form, `+specimenState+` state,
		coalesce((select place from custody x where x.specimen_rid = s.rid order by x.rid desc limit 1), ''),
		(select count(*) from capture c where c.specimen_rid = s.rid), s.beryllia
	from specimen s join record r on r.rid = s.rid join record p on p.rid = r.project_rid
	where (?1 = 0 or r.project_rid = ?1) and (?2 = '' or s.form = ?2)
	order by s.rid)
where ?3 = '' or state = ?3`, []any{project, f.Form, f.State}, func(rows *sql.Rows) (FoundSpecimen, error) {
		var s FoundSpecimen
		var number, projectNumber int
		var projectName string
		err := rows.Scan(&number, &s.Name, &projectNumber, &projectName, &s.Form, &s.State, &s.Place, &s.Captures, &s.Beryllia)
		s.Specimen = handle(notebook.KindSpecimen, number)
		s.Project = label(notebook.KindProject, projectNumber, projectName)
		return s, err
	})
}

// SpecimenState returns whether the specimen is held, returned or lost.
func (tx *Tx) SpecimenState(id string) (string, error) {
	var state string
	_, err := tx.row("select "+specimenState+" from record s where s.id = ?", []any{id}, &state)
	return state, err
}

// FindOutcomes returns the outcomes that stand, not withdrawn, oldest first:
// all, or those with a result, within a project when project is an id.
func (tx *Tx) FindOutcomes(result, project string) ([]notebook.Record[notebook.Outcome], error) {
	var rid int64
	if project != "" {
		var err error
		if rid, err = tx.rid(project); err != nil {
			return nil, err
		}
	}
	rids, err := collect(tx, `select o.rid from outcome o join record r on r.rid = o.rid
where o.withdrawn = 0 and (?1 = '' or o.result = ?1) and (?2 = 0 or r.project_rid = ?2)
order by o.rid`, []any{result, rid}, scanInt)
	if err != nil {
		return nil, err
	}
	return getAll[notebook.Outcome](tx, rids)
}
