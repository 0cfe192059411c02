package cli

import (
	"dieglow/catalog"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

// A dossier is the records a report is made from, gathered in one look at the
// notebook.

func (app *App) seal(tx *store.Tx) (report.Seal, error) {
	origin, entries, head, err := tx.Seal()
	return report.Seal{Origin: origin, Entries: entries, Head: head, Tool: app.Source.Tool}, err
}

func setupDossier(tx *store.Tx, r notebook.Record[catalog.Setup]) (d report.SetupDossier, err error) {
	d.Setup = r
	if d.Camera, err = store.GetRef[catalog.Camera](tx, r.Body.Camera); err != nil {
		return d, err
	}
	for _, seat := range r.Body.Stack {
		l, err := store.GetRef[catalog.Lens](tx, seat.Lens)
		if err != nil {
			return d, err
		}
		d.Lenses = append(d.Lenses, l)
	}
	if capture, frozen, err := tx.FrozenBy(r.Ref); err != nil {
		return d, err
	} else if frozen {
		d.FrozenBy = capture
	}
	outcomes, err := tx.ResolvedWith(r.ID)
	if err != nil {
		return d, err
	}
	for _, o := range outcomes {
		f, err := resolvedFeature(tx, o)
		if err != nil {
			return d, err
		}
		d.Resolved = append(d.Resolved, f)
	}
	if d.Revisions, err = store.History[catalog.Setup](tx, r.Meta); err != nil {
		return d, err
	}
	d.Warnings, err = setupWarnings(tx, r.Body)
	return d, err
}

func resolvedFeature(tx *store.Tx, o notebook.Record[notebook.Outcome]) (f report.ResolvedFeature, err error) {
	f.Outcome = o
	if f.Capture, err = store.Get[notebook.Capture](tx, o.Body.Capture.ID); err != nil {
		return f, err
	}
	f.Artefact, err = maybeRef[catalog.Artefact](tx, o.Body.Artefact)
	return f, err
}

// maybeRef reads the revision a reference names, nil for none.
func maybeRef[T store.Body](tx *store.Tx, ref *catalog.Ref) (*notebook.Record[T], error) {
	if ref == nil {
		return nil, nil
	}
	r, err := store.GetRef[T](tx, *ref)
	return &r, err
}

func captureDossier(tx *store.Tx, r notebook.Record[notebook.Capture]) (d report.CaptureDossier, err error) {
	d.Capture = r
	if d.Specimen, err = maybeRef[notebook.Specimen](tx, r.Body.Specimen); err != nil {
		return d, err
	}
	if d.Artefact, err = maybeRef[catalog.Artefact](tx, r.Body.Artefact); err != nil {
		return d, err
	}
	if d.Setup, err = store.GetRef[catalog.Setup](tx, r.Body.Setup); err != nil {
		return d, err
	}
	if d.Camera, err = store.GetRef[catalog.Camera](tx, d.Setup.Body.Camera); err != nil {
		return d, err
	}
	for _, ref := range r.Body.Instruments {
		i, err := store.GetRef[catalog.Instrument](tx, ref)
		if err != nil {
			return d, err
		}
		d.Instruments = append(d.Instruments, i)
	}
	if d.Findings, err = tx.FindingsOf(r.ID); err != nil {
		return d, err
	}
	if r.Scope != notebook.Library {
		p, err := store.Get[notebook.Project](tx, r.Scope)
		if err != nil {
			return d, err
		}
		d.Project = &p
	}
	d.Outcomes, err = tx.OutcomesOf(r.ID)
	return d, err
}

func specimenDossier(tx *store.Tx, r notebook.Record[notebook.Specimen]) (d report.SpecimenDossier, err error) {
	d.Specimen = r
	if d.Project, err = store.Get[notebook.Project](tx, r.Scope); err != nil {
		return d, err
	}
	if d.State, err = tx.SpecimenState(r.ID); err != nil {
		return d, err
	}
	parent, err := maybeRef[notebook.Specimen](tx, r.Body.CutFrom)
	if err != nil {
		return d, err
	}
	if parent != nil {
		d.CutFrom = parent.Label()
	}
	if d.Pieces, err = tx.PiecesOf(r.ID); err != nil {
		return d, err
	}
	if d.Preparations, err = tx.PreparationsOf(r.ID); err != nil {
		return d, err
	}
	if d.Custody, err = tx.CustodyOf(r.ID); err != nil {
		return d, err
	}
	if d.Captures, err = tx.CapturesOf(r.ID); err != nil {
		return d, err
	}
	for _, c := range d.Captures {
		found, err := tx.FindingsOf(c.ID)
		if err != nil {
			return d, err
		}
		d.Findings = append(d.Findings, found...)
	}
	d.Outcomes, err = tx.OutcomesOf(r.ID)
	return d, err
}

func projectDossier(tx *store.Tx, r notebook.Record[notebook.Project]) (d report.ProjectDossier, err error) {
	d.Project = r
	specimens, err := store.List[notebook.Specimen](tx, r.ID)
	if err != nil {
		return d, err
	}
	for _, s := range specimens {
		sd, err := specimenDossier(tx, s)
		if err != nil {
			return d, err
		}
		d.Specimens = append(d.Specimens, sd)
	}
	if d.Outcomes, err = tx.FindOutcomes("", r.ID); err != nil {
		return d, err
	}
	if d.Expenses, err = store.List[notebook.Expense](tx, r.ID); err != nil {
		return d, err
	}
	spent, lost := make(quantity.Totals), make(quantity.Totals)
	for _, e := range d.Expenses {
		if err := spent.Add(e.Body.Cost); err != nil {
			return d, err
		}
	}
	for _, o := range d.Outcomes {
		if o.Body.Result == notebook.Lost && o.Body.Cost != nil {
			if err := lost.Add(*o.Body.Cost); err != nil {
				return d, err
			}
		}
	}
	d.SpentTotals, d.LossTotals = spent.Sums(), lost.Sums()
	return d, nil
}

func lossesDossier(tx *store.Tx, project string) (d report.LossesDossier, err error) {
	d.Losses = []report.Loss{}
	if project != "" {
		p, err := store.Get[notebook.Project](tx, project)
		if err != nil {
			return d, err
		}
		project = p.ID
	}
	outcomes, err := tx.FindOutcomes(notebook.Lost, project)
	if err != nil {
		return d, err
	}
	totals := make(quantity.Totals)
	for _, o := range outcomes {
		l := report.Loss{Outcome: o}
		if l.Specimen, err = store.GetRef[notebook.Specimen](tx, *o.Body.Specimen); err != nil {
			return d, err
		}
		if l.Project, err = store.Get[notebook.Project](tx, o.Scope); err != nil {
			return d, err
		}
		if o.Body.Cost == nil {
			d.WithoutCost++
		} else if err := totals.Add(*o.Body.Cost); err != nil {
			return d, err
		}
		d.Losses = append(d.Losses, l)
	}
	d.Totals = totals.Sums()
	return d, nil
}

func resolvedDossier(tx *store.Tx, sizeUM float64) (d report.ResolvedDossier, err error) {
	d.SizeUM = sizeUM
	shown, err := tx.FindResolved(sizeUM)
	if err != nil {
		return d, err
	}
	evident := map[string]bool{}
	for _, s := range shown {
		setup, err := store.Get[catalog.Setup](tx, s.Setup)
		if err != nil {
			return d, err
		}
		o, err := store.Get[notebook.Outcome](tx, s.Outcome)
		if err != nil {
			return d, err
		}
		f, err := resolvedFeature(tx, o)
		if err != nil {
			return d, err
		}
		evident[setup.ID] = true
		d.Evidence = append(d.Evidence, report.SetupEvidence{Setup: setup, Feature: &f})
	}
	predicted, err := tx.FindPredicted(sizeUM)
	if err != nil {
		return d, err
	}
	for _, s := range predicted {
		setup, err := store.Get[catalog.Setup](tx, s.Setup)
		if err != nil {
			return d, err
		}
		if !evident[setup.ID] {
			d.Predicted = append(d.Predicted, report.SetupEvidence{Setup: setup})
		}
	}
	return d, nil
}
