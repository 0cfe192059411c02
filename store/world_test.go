package store

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"testing"

	"dieglow/catalog"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// world records things at random, but the same ones for the same seed, and
// remembers what it has to refer to.
type world struct {
	tb        testing.TB
	rng       *rand.Rand
	db        *DB
	serial    int
	lenses    []notebook.Record[catalog.Lens]
	cameras   []notebook.Record[catalog.Camera]
	artefacts []notebook.Record[catalog.Artefact]
	meters    []notebook.Record[catalog.Instrument]
	setups    []notebook.Record[catalog.Setup]
	projects  []notebook.Record[notebook.Project]
	specimens []notebook.Record[notebook.Specimen]
	steps     []notebook.Record[notebook.Preparation]
	moves     []notebook.Record[notebook.Custody]
	captures  []notebook.Record[notebook.Capture]
	findings  []notebook.Record[notebook.Finding]
	outcomes  []notebook.Record[notebook.Outcome]
	expenses  []notebook.Record[notebook.Expense]
}

// newWorld begins with one of everything.
func newWorld(tb testing.TB, db *DB, seed uint64) *world {
	tb.Helper()
	w := &world{tb: tb, rng: rand.New(rand.NewPCG(seed, 1)), db: db}
	update(tb, db, func(tx *Tx) error {
		for _, record := range w.recorders() {
			if err := record(tx); err != nil {
				return err
			}
		}
		return nil
	})
	return w
}

// recorders returns what can happen, in an order in which each finds what it needs.
func (w *world) recorders() []func(*Tx) error {
	return []func(*Tx) error{
		w.lens, w.camera, w.artefact, w.meter, w.setup, w.project, w.specimen, w.step, w.move, w.capture, w.finding, w.outcome, w.expense,
	}
}

// live lets n things happen in transactions of a few each.
func (w *world) live(n int) {
	w.tb.Helper()
	for n > 0 {
		some := 1 + w.rng.IntN(6)
		n -= some
		update(w.tb, w.db, func(tx *Tx) error {
			for range some {
				if err := pick(w, w.recorders())(tx); err != nil {
					return err
				}
			}
			return nil
		})
	}
}

func pick[T any](w *world, from []T) T { return from[w.rng.IntN(len(from))] }

func refOf[T any](w *world, from []notebook.Record[T]) *catalog.Ref {
	r := pick(w, from).Ref
	return &r
}

// put adds body, or one time in three amends a record of the kind with it.
func put[T Body](w *world, tx *Tx, all *[]notebook.Record[T], body T, p Placement) error {
	if len(*all) > 0 && w.rng.IntN(3) == 0 {
		i := w.rng.IntN(len(*all))
		m := (*all)[i].Meta
		m.Files = p.Files
		r, err := Amend(tx, m, body, fmt.Sprintf("seen anew, %d", w.serial))
		(*all)[i] = r
		return err
	}
	r, err := Add(tx, body, p)
	*all = append(*all, r)
	return err
}

// name is new every time, or empty.
func (w *world) name() string {
	w.serial++
	if w.rng.IntN(3) == 0 {
		return ""
	}
	return fmt.Sprintf("%s%d", pick(w, []string{"ge", "Big", "größe-", "x.y_"}), w.serial)
}

func (w *world) money() *quantity.Money {
	if w.rng.IntN(3) == 0 {
		return nil
	}
	return &quantity.Money{Minor: w.rng.Int64N(1e6), Currency: pick(w, []string{"EUR", "USD", "JPY"})}
}

func (w *world) when() catalog.When {
	return pick(w, []catalog.When{"", "2026-03-01", "2026-03-01T10:00:00.000Z", "2026-02-11"})
}

func (w *world) maybe(v float64) *float64 {
	if w.rng.IntN(2) == 0 {
		return nil
	}
	v *= 1 + w.rng.Float64()
	return &v
}

func (w *world) estimate(v float64) *quantity.Estimate {
	if w.rng.IntN(3) == 0 {
		return nil
	}
	return &quantity.Estimate{Value: v * (1 + w.rng.Float64()/10), U: w.maybe(0.01)}
}

func (w *world) lens(tx *Tx) error {
	l := thinLens(w.tb, w.name())
	l.Cost, l.DiameterMM = w.money(), 5+20*w.rng.Float64()
	if n := w.rng.IntN(4); n > 0 {
		l.OnHand = &n
	}
	l.Notes = pick(w, []string{"", "a \"quoted\" note\n\twith <tags> & \u2028", "µ"})
	return put(w, tx, &w.lenses, l, Placement{})
}

func (w *world) camera(tx *Tx) error {
	c := smallCamera()
	c.Name, c.Cost, c.PitchUM = w.name(), w.money(), 10+10*w.rng.Float64()
	return put(w, tx, &w.cameras, c, Placement{})
}

func (w *world) artefact(tx *Tx) error {
	a := catalog.Artefact{Name: w.name(), Form: "wire", DueOn: w.when(), Condition: catalog.Usable}
	for range 1 + w.rng.IntN(3) {
		a.Sizes = append(a.Sizes, catalog.Size{SizeUM: quantity.Exactly(10 + 90*w.rng.Float64())})
	}
	return put(w, tx, &w.artefacts, a, Placement{})
}

func (w *world) meter(tx *Tx) error {
	in := catalog.Instrument{Name: w.name(), Form: "meter", Serial: "S-1", Condition: catalog.Usable}
	if w.rng.IntN(2) == 0 {
		in.Calibrations = []catalog.Calibration{{On: "2025-01-01", DueOn: "2027-01-01"}}
	}
	return put(w, tx, &w.meters, in, Placement{})
}

func (w *world) setup(tx *Tx) error {
	s := catalog.Setup{Name: w.name(), Camera: pick(w, w.cameras).Ref, WavelengthUM: 10, FocusMM: w.maybe(300)}
	for range 1 + w.rng.IntN(3) {
		s.Stack = append(s.Stack, catalog.Seat{Lens: pick(w, w.lenses).Ref, Flipped: w.rng.IntN(2) == 0, GapAfterMM: quantity.Exactly(2)})
	}
	s.Figures = catalog.Figures{
		FocalLengthMM: 25, WorkingDistanceMM: 20, Magnification: -0.5, ObjectPixelUM: 24, FieldXMM: 6, FieldYMM: 4, NAObject: 0.2,
		RayleighUM: 30, SamplingUM: 48, PredictedUM: 48 * (1 + w.rng.Float64()), Costs: []quantity.Money{{Minor: 4200, Currency: "EUR"}},
	}
	return put(w, tx, &w.setups, s, Placement{})
}

func (w *world) project(tx *Tx) error {
	p := notebook.Project{Name: fmt.Sprintf("P%d", w.serial), NDA: w.rng.IntN(2) == 0, Questions: []string{"where does the power go?"}, Budget: w.money()}
	w.serial++
	return put(w, tx, &w.projects, p, Placement{})
}

func (w *world) specimen(tx *Tx) error {
	s := notebook.Specimen{
		Name: w.name(), Form: "bare-die", Beryllia: notebook.Possible, Worth: w.money(),
		Limits: notebook.Limits{PowerW: w.maybe(1), TemperatureK: w.maybe(300), Source: "data sheet"},
	}
	if len(w.specimens) > 0 && w.rng.IntN(3) == 0 {
		s.CutFrom = refOf(w, w.specimens)
	}
	return put(w, tx, &w.specimens, s, Placement{Project: pick(w, w.projects).ID})
}

func (w *world) step(tx *Tx) error {
	p := notebook.Preparation{Specimen: pick(w, w.specimens).Ref, Step: "inspect", Method: "by eye", Person: "R.", On: w.when()}
	return put(w, tx, &w.steps, p, Placement{Project: w.projects[0].ID})
}

func (w *world) move(tx *Tx) error {
	c := notebook.Custody{Specimen: pick(w, w.specimens).Ref, Event: pick(w, []string{notebook.Moved, notebook.Returned}), Place: "bench 2", On: w.when()}
	return put(w, tx, &w.moves, c, Placement{Project: w.projects[0].ID})
}

func (w *world) capture(tx *Tx) error {
	c := notebook.Capture{
		Purpose: notebook.Measurement, Specimen: refOf(w, w.specimens), Setup: pick(w, w.setups).Ref,
		PowerW: w.estimate(0.5), AmbientK: w.estimate(296), On: w.when(), FocusMethod: "by eye",
	}
	if w.rng.IntN(3) == 0 {
		c.Purpose, c.Specimen, c.Artefact = notebook.Check, nil, refOf(w, w.artefacts)
	}
	p := Placement{Project: w.projects[0].ID}
	for range w.rng.IntN(4) {
		w.serial++
		ref, err := w.db.Files().Put(tx.ctx, bytes.NewReader(fmt.Appendf(nil, "frame %d of %p", w.serial, w)))
		if err != nil {
			return err
		}
		p.Files = append(p.Files, journal.File{SHA256: ref.SHA256, Size: ref.Size})
		if w.rng.IntN(2) == 0 {
			c.Frames = append(c.Frames, notebook.FrameFile{Name: "f.csv", SHA256: ref.SHA256, Size: ref.Size, Unit: pick(w, []string{"degC", "counts"}), Width: 256, Height: 192, Min: 20, Max: 50 + w.rng.Float64()})
		} else {
			c.Attachments = append(c.Attachments, notebook.Attachment{Name: "a.txt", SHA256: ref.SHA256, Size: ref.Size})
		}
	}
	return put(w, tx, &w.captures, c, p)
}

func (w *world) finding(tx *Tx) error {
	f := notebook.Finding{
		Capture: pick(w, w.captures).Ref, Quantity: notebook.ApparentTemperature, WhyNot: "no emissivity is recorded",
		ValueK: &quantity.Estimate{Value: 300 + 50*w.rng.Float64(), U: w.maybe(0.5)}, RawFiles: []string{}, Program: "test",
	}
	return put(w, tx, &w.findings, f, Placement{Project: w.projects[0].ID})
}

func (w *world) outcome(tx *Tx) error {
	capture := pick(w, w.captures)
	o := notebook.Outcome{Result: notebook.Resolved, Capture: &capture.Ref, Setup: &capture.Body.Setup, On: w.when(), Feature: "bond wire", Withdrawn: w.rng.IntN(4) == 0}
	switch w.rng.IntN(4) {
	case 0:
		o = notebook.Outcome{Result: notebook.Lost, Specimen: refOf(w, w.specimens), Because: "supply limit", Cost: w.money()}
	case 1:
		o = notebook.Outcome{Result: notebook.Answer, Question: 1, Text: "in the left driver", Capture: &capture.Ref}
	case 2:
		o.Artefact = refOf(w, w.artefacts)
		fallthrough
	default:
		o.FeatureUM = &quantity.Estimate{Value: 20 + 100*w.rng.Float64(), U: w.maybe(0.5)}
	}
	return put(w, tx, &w.outcomes, o, Placement{Project: w.projects[0].ID})
}

func (w *world) expense(tx *Tx) error {
	e := notebook.Expense{What: "lenses", Cost: quantity.Money{Minor: 100, Currency: "EUR"}, On: w.when()}
	if w.rng.IntN(2) == 0 {
		e.Part = refOf(w, w.lenses)
	}
	return put(w, tx, &w.expenses, e, Placement{})
}
