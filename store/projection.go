package store

import (
	"strconv"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// projectedTable is a table made from the journal. Its first keys columns are its primary key.
type projectedTable struct {
	name    string
	place   int64 // among the projections
	columns []string
	keys    int
	upsert  string
	remove  string
}

// projectedRow is one row of a projection: nil, int64, float64 or string values.
// One that is gone has only its key; with it go the rows that follow it in the
// last column of the key, when that has several.
type projectedRow struct {
	table  *projectedTable
	values []any
	gone   bool
}

// projector turns entries into rows. The rows depend on nothing but the entry,
// its body and the row ids of records begun before, so that replaying the
// journal gives the same tables again.
type projector struct {
	rid    func(id string) (int64, error)
	tables map[string]*projectedTable
	order  []string
	out    []projectedRow
	err    error
}

func newProjector(rid func(string) (int64, error)) *projector {
	p := &projector{rid: rid, tables: map[string]*projectedTable{}}
	p.declare("record", 1, "rid id kind number name name_folded project_rid revision head_seq")
	p.declare("revision", 2, "rid revision seq")
	p.declare(catalog.KindLens, 1, "rid material form diameter_mm cost_minor cost_currency on_hand condition")
	p.declare(catalog.KindCamera, 1, "rid pixels_x pixels_y pitch_um band_low_um band_high_um focal_length_mm f_number cost_minor cost_currency condition")
	p.declare(catalog.KindArtefact, 1, "rid form smallest_um largest_um due_on condition")
	p.declare(catalog.KindInstrument, 1, "rid form serial due_on condition")
	p.declare(catalog.KindSetup, 2, "rid revision camera_rid focus_mm wavelength_um efl_mm working_distance_mm magnification object_pixel_um field_x_mm field_y_mm na_object rayleigh_um sampling_um predicted_um costs")
	p.declare("setup_part", 3, "rid revision position lens_rid lens_revision flipped gap_after_mm")
	p.declare(notebook.KindProject, 1, "rid client nda closed budget_minor budget_currency")
	p.declare(notebook.KindSpecimen, 1, "rid form beryllia cut_from_rid worth_minor worth_currency max_power_w max_temperature_k")
	p.declare(notebook.KindPreparation, 1, "rid specimen_rid step occurred")
	p.declare(notebook.KindCustody, 1, "rid specimen_rid event place occurred")
	p.declare(notebook.KindCapture, 1, "rid specimen_rid artefact_rid setup_rid setup_revision purpose occurred power_w ambient_k hottest_k missing")
	p.declare("capture_file", 2, "rid position sha256 size name")
	p.declare(notebook.KindOutcome, 1, "rid result capture_rid specimen_rid question cost_minor cost_currency occurred withdrawn")
	p.declare("resolution", 1, "rid setup_rid setup_revision capture_rid artefact_rid feature_um feature_u_um feature judged withdrawn strength")
	p.declare(notebook.KindFinding, 1, "rid capture_rid quantity value_k u_k")
	p.declare(notebook.KindExpense, 1, "rid cost_minor cost_currency occurred part_rid")
	return p
}

func (p *projector) declare(name string, keys int, columns string) {
	cols := strings.Fields(columns)
	var updates []string
	for _, c := range cols[keys:] {
		updates = append(updates, c+" = excluded."+c)
	}
	last := "="
	if keys > 1 {
		last = ">="
	}
	p.tables[name] = &projectedTable{
		place:  int64(len(p.order)),
		remove: "delete from " + name + " where " + strings.Join(cols[:keys-1], " = ? and ") + strings.Repeat(" = ? and ", min(1, keys-1)) + cols[keys-1] + " " + last + " ?",
		name:   name, columns: cols, keys: keys,
		upsert: "insert into " + name + " (" + strings.Join(cols, ", ") + ") values (?" + strings.Repeat(", ?", len(cols)-1) +
			") on conflict (" + strings.Join(cols[:keys], ", ") + ") do update set " + strings.Join(updates, ", "),
	}
	p.order = append(p.order, name)
}

// rows returns what the entry changes, in the order it is to be written. The
// slice is used again by the next call. Fault Corrupt when the entry refers to a
// record that is not there.
func (p *projector) rows(e journal.Entry, body Body) ([]projectedRow, error) {
	p.out, p.err = p.out[:0], nil
	rid := e.Seq
	if e.Revision > 1 {
		rid = p.ref(&catalog.Ref{ID: e.SubjectID}).(int64)
	}
	p.record(rid, e, body.Title())
	switch b := body.(type) {
	case catalog.Lens:
		p.lens(rid, b)
	case catalog.Camera:
		minor, currency := money(b.Cost)
		p.add(catalog.KindCamera, rid, int64(b.PixelsX), int64(b.PixelsY), b.PitchUM, b.BandLowUM, b.BandHighUM, b.FocalLengthMM.Value, b.FNumber, minor, currency, string(b.Condition))
	case catalog.Artefact:
		p.artefact(rid, b)
	case catalog.Instrument:
		p.instrument(rid, b)
	case catalog.Setup:
		p.setup(rid, e, b)
	case notebook.Project:
		minor, currency := money(b.Budget)
		p.add(notebook.KindProject, rid, b.Client, flag(b.NDA), flag(b.Closed), minor, currency)
	case notebook.Specimen:
		minor, currency := money(b.Worth)
		p.add(notebook.KindSpecimen, rid, b.Form, string(b.Beryllia), p.ref(b.CutFrom), minor, currency, optional(b.Limits.PowerW), optional(b.Limits.TemperatureK))
	case notebook.Preparation:
		p.add(notebook.KindPreparation, rid, p.ref(&b.Specimen), b.Step, string(b.On))
	case notebook.Custody:
		p.add(notebook.KindCustody, rid, p.ref(&b.Specimen), b.Event, b.Place, string(b.On))
	case notebook.Capture:
		p.capture(rid, e.Revision, b)
	case notebook.Outcome:
		p.outcome(rid, e.Revision, b)
	case notebook.Finding:
		var u any
		if b.ValueK != nil {
			u = optional(b.ValueK.U)
		}
		p.add(notebook.KindFinding, rid, p.ref(&b.Capture), b.Quantity, estimate(b.ValueK), u)
	case notebook.Expense:
		p.add(notebook.KindExpense, rid, b.Cost.Minor, b.Cost.Currency, string(b.On), p.ref(b.Part))
	}
	return p.out, p.err
}

func (p *projector) add(table string, values ...any) {
	p.out = append(p.out, projectedRow{table: p.tables[table], values: values})
}

// remove takes away what an earlier revision may have made.
func (p *projector) remove(revision int, table string, key ...any) {
	if revision > 1 {
		p.out = append(p.out, projectedRow{table: p.tables[table], values: key, gone: true})
	}
}

func (p *projector) record(rid int64, e journal.Entry, name string) {
	i := strings.LastIndexByte(e.Subject, '-')
	number, err := strconv.ParseInt(e.Subject[i+1:], 10, 64)
	if err != nil || i < 0 || e.Subject[:i] != e.Kind {
		p.fail(fault.Corruptf("entry %d: %q is not a handle of kind %s", e.Seq, e.Subject, e.Kind))
	}
	var given, folded, project any
	if name != "" {
		given, folded = name, fold(name)
	}
	switch {
	case e.Scope == e.SubjectID:
		project = rid
	case e.Scope != notebook.Library:
		project = p.ref(&catalog.Ref{ID: e.Scope})
	}
	p.add("record", rid, e.SubjectID, e.Kind, number, given, folded, project, int64(e.Revision), e.Seq)
	p.add("revision", rid, int64(e.Revision), e.Seq)
}

func (p *projector) lens(rid int64, l catalog.Lens) {
	minor, currency := money(l.Cost)
	var onHand any
	if l.OnHand != nil {
		onHand = int64(*l.OnHand)
	}
	p.add(catalog.KindLens, rid, l.Material, string(l.Form), l.DiameterMM, minor, currency, onHand, string(l.Condition))
}

func (p *projector) artefact(rid int64, a catalog.Artefact) {
	if len(a.Sizes) == 0 {
		p.fail(fault.Corruptf("an artefact without a size"))
		return
	}
	low, high := a.Sizes[0].SizeUM.Value, a.Sizes[0].SizeUM.Value
	for _, s := range a.Sizes {
		low, high = min(low, s.SizeUM.Value), max(high, s.SizeUM.Value)
	}
	p.add(catalog.KindArtefact, rid, a.Form, low, high, text(string(a.DueOn)), string(a.Condition))
}

func (p *projector) instrument(rid int64, in catalog.Instrument) {
	var due any
	if n := len(in.Calibrations); n > 0 {
		due = text(string(in.Calibrations[n-1].DueOn))
	}
	p.add(catalog.KindInstrument, rid, in.Form, in.Serial, due, string(in.Condition))
}

func (p *projector) setup(rid int64, e journal.Entry, s catalog.Setup) {
	f, revision := s.Figures, int64(e.Revision)
	p.add(catalog.KindSetup, rid, revision, p.ref(&s.Camera), optional(s.FocusMM), s.WavelengthUM, f.FocalLengthMM, f.WorkingDistanceMM, f.Magnification,
		f.ObjectPixelUM, f.FieldXMM, f.FieldYMM, f.NAObject, f.RayleighUM, f.SamplingUM, f.PredictedUM, costs(f.Costs))
	for i, seat := range s.Stack {
		p.add("setup_part", rid, revision, int64(i+1), p.ref(&seat.Lens), int64(seat.Lens.Revision), flag(seat.Flipped), seat.GapAfterMM.Value)
	}
}

func (p *projector) capture(rid int64, revision int, c notebook.Capture) {
	var hottest any
	for _, f := range c.Frames {
		if k, ok := f.MaxK(); ok && (hottest == nil || k > hottest.(float64)) {
			hottest = k
		}
	}
	p.add(notebook.KindCapture, rid, p.ref(c.Specimen), p.ref(c.Artefact), p.ref(&c.Setup), int64(c.Setup.Revision), c.Purpose, string(c.On),
		estimate(c.PowerW), estimate(c.AmbientK), hottest, strings.Join(c.Missing(), ", "))
	for i, f := range c.Frames {
		p.add("capture_file", rid, int64(i+1), f.SHA256, f.Size, f.Name)
	}
	for i, a := range c.Attachments {
		p.add("capture_file", rid, int64(len(c.Frames)+i+1), a.SHA256, a.Size, a.Name)
	}
	p.remove(revision, "capture_file", rid, int64(len(c.Frames)+len(c.Attachments)+1))
}

func (p *projector) outcome(rid int64, revision int, o notebook.Outcome) {
	minor, currency := money(o.Cost)
	p.add(notebook.KindOutcome, rid, o.Result, p.ref(o.Capture), p.ref(o.Specimen), int64(o.Question), minor, currency, string(o.On), flag(o.Withdrawn))
	switch {
	case o.Result != notebook.Resolved:
		p.remove(revision, "resolution", rid)
	case o.FeatureUM == nil || o.Setup == nil:
		p.fail(fault.Corruptf("a resolved feature without its size or setup"))
	default:
		p.add("resolution", rid, p.ref(o.Setup), int64(o.Setup.Revision), p.ref(o.Capture), p.ref(o.Artefact), o.FeatureUM.Value, optional(o.FeatureUM.U), o.Feature, o.HowJudged, flag(o.Withdrawn), int64(o.Strength()))
	}
}

// ref returns the row id of a record referred to, nil for none. A record that
// is not there makes the whole entry fail.
func (p *projector) ref(r *catalog.Ref) any {
	if r == nil {
		return nil
	}
	rid, err := p.rid(r.ID)
	if err != nil {
		p.fail(fault.Corruptf("an entry refers to %s %s, which is not recorded before it", r.Handle, r.ID))
		return int64(0)
	}
	return rid
}

func (p *projector) fail(err error) {
	if p.err == nil {
		p.err = err
	}
}

func flag(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func optional(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

func estimate(e *quantity.Estimate) any {
	if e == nil {
		return nil
	}
	return e.Value
}

func text(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func money(m *quantity.Money) (minor, currency any) {
	if m == nil {
		return nil, nil
	}
	return m.Minor, m.Currency
}

// costs prints totals, one a currency.
func costs(totals []quantity.Money) string {
	var parts []string
	for _, m := range totals {
		parts = append(parts, m.String())
	}
	return strings.Join(parts, ", ")
}
