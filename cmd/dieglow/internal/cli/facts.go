package cli

import (
	"dieglow/catalog"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

// factsOf returns the facts about one revision of a record of any kind.
func factsOf(tx *store.Tx, ref catalog.Ref, kind string) ([]report.Fact, error) {
	switch kind {
	case catalog.KindLens:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[catalog.Lens]) ([]report.Fact, error) {
			return report.Lens(r.Body), nil
		})
	case catalog.KindCamera:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[catalog.Camera]) ([]report.Fact, error) {
			return report.Camera(r.Body), nil
		})
	case catalog.KindArtefact:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[catalog.Artefact]) ([]report.Fact, error) {
			return report.Artefact(r.Body), nil
		})
	case catalog.KindInstrument:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[catalog.Instrument]) ([]report.Fact, error) {
			return report.Instrument(r.Body, ""), nil
		})
	case catalog.KindSetup:
		return factsBy(tx, ref, setupFacts)
	case notebook.KindProject:
		return factsBy(tx, ref, projectFacts)
	case notebook.KindSpecimen:
		return factsBy(tx, ref, specimenFacts)
	case notebook.KindCapture:
		return factsBy(tx, ref, captureFacts)
	case notebook.KindPreparation:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[notebook.Preparation]) ([]report.Fact, error) {
			return report.PreparationFacts(r.Body), nil
		})
	case notebook.KindCustody:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[notebook.Custody]) ([]report.Fact, error) {
			return report.CustodyFacts(r.Body), nil
		})
	case notebook.KindOutcome:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[notebook.Outcome]) ([]report.Fact, error) {
			return report.OutcomeFacts(r), nil
		})
	case notebook.KindFinding:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[notebook.Finding]) ([]report.Fact, error) {
			return report.FindingFacts(r.Body), nil
		})
	case notebook.KindExpense:
		return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[notebook.Expense]) ([]report.Fact, error) {
			return report.ExpenseFacts(r.Body), nil
		})
	}
	return factsBy(tx, ref, func(_ *store.Tx, r notebook.Record[notebook.Genesis]) ([]report.Fact, error) {
		return report.GenesisFacts(r.Body), nil
	})
}

func factsBy[T store.Body](tx *store.Tx, ref catalog.Ref, facts func(*store.Tx, notebook.Record[T]) ([]report.Fact, error)) ([]report.Fact, error) {
	r, err := store.GetRef[T](tx, ref)
	if err != nil {
		return nil, err
	}
	return facts(tx, r)
}

func projectFacts(tx *store.Tx, r notebook.Record[notebook.Project]) ([]report.Fact, error) {
	d, err := projectDossier(tx, r)
	return report.ProjectFacts(d), err
}

func specimenFacts(tx *store.Tx, r notebook.Record[notebook.Specimen]) ([]report.Fact, error) {
	d, err := specimenDossier(tx, r)
	return report.SpecimenFacts(d), err
}

func captureFacts(tx *store.Tx, r notebook.Record[notebook.Capture]) ([]report.Fact, error) {
	d, err := captureDossier(tx, r)
	return report.CaptureFacts(d), err
}
