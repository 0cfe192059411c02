package report

import (
	"dieglow/catalog"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
)

// Seal says which state of which notebook a document was made from.
type Seal struct {
	Origin  string `json:"origin"`  // id of the notebook
	Entries int64  `json:"entries"` // in its journal
	Head    string `json:"head"`    // hash of the last
	Tool    string `json:"tool"`
}

// SetupDossier is what a report on a setup is made from.
type SetupDossier struct {
	Setup     notebook.Record[catalog.Setup]   `json:"setup"`
	Camera    notebook.Record[catalog.Camera]  `json:"camera"`
	Lenses    []notebook.Record[catalog.Lens]  `json:"lenses"` // in the order of the stack
	FrozenBy  string                           `json:"frozen_by"`
	Resolved  []ResolvedFeature                `json:"resolved"`
	Revisions []notebook.Record[catalog.Setup] `json:"revisions"`
	Warnings  []string                         `json:"warnings"`
	Seal      Seal                             `json:"seal"`
}

// ResolvedFeature is one piece of evidence for what a setup resolves.
type ResolvedFeature struct {
	Outcome  notebook.Record[notebook.Outcome]  `json:"outcome"`
	Capture  notebook.Record[notebook.Capture]  `json:"capture"`
	Artefact *notebook.Record[catalog.Artefact] `json:"artefact"` // nil: a feature of the specimen
}

// CaptureDossier is what a report on a capture is made from.
type CaptureDossier struct {
	Capture     notebook.Record[notebook.Capture]     `json:"capture"`
	Specimen    *notebook.Record[notebook.Specimen]   `json:"specimen"`
	Artefact    *notebook.Record[catalog.Artefact]    `json:"artefact"`
	Setup       notebook.Record[catalog.Setup]        `json:"setup"`
	Camera      notebook.Record[catalog.Camera]       `json:"camera"`
	Instruments []notebook.Record[catalog.Instrument] `json:"instruments"`
	Findings    []notebook.Record[notebook.Finding]   `json:"findings"`
	Project     *notebook.Record[notebook.Project]    `json:"project"` // nil: library
	Outcomes    []notebook.Record[notebook.Outcome]   `json:"outcomes"`
	Seal        Seal                                  `json:"seal"`
}

// SpecimenDossier is what a report on a specimen is made from.
type SpecimenDossier struct {
	Specimen     notebook.Record[notebook.Specimen]      `json:"specimen"`
	Project      notebook.Record[notebook.Project]       `json:"project"`
	State        string                                  `json:"state"`
	CutFrom      string                                  `json:"cut_from"`
	Pieces       []notebook.Record[notebook.Specimen]    `json:"pieces"` // cut from it
	Preparations []notebook.Record[notebook.Preparation] `json:"preparations"`
	Custody      []notebook.Record[notebook.Custody]     `json:"custody"`
	Captures     []notebook.Record[notebook.Capture]     `json:"captures"`
	Findings     []notebook.Record[notebook.Finding]     `json:"findings"`
	Outcomes     []notebook.Record[notebook.Outcome]     `json:"outcomes"`
	Seal         Seal                                    `json:"seal"`
}

// ProjectDossier is what a report on a project is made from.
type ProjectDossier struct {
	Project     notebook.Record[notebook.Project]   `json:"project"`
	Specimens   []SpecimenDossier                   `json:"specimens"`
	Outcomes    []notebook.Record[notebook.Outcome] `json:"outcomes"`
	Expenses    []notebook.Record[notebook.Expense] `json:"expenses"`
	SpentTotals []quantity.Money                    `json:"spent_totals"`
	LossTotals  []quantity.Money                    `json:"loss_totals"`
	Seal        Seal                                `json:"seal"`
}

// LossesDossier is what a report on losses is made from.
type LossesDossier struct {
	Losses      []Loss           `json:"losses"`
	Totals      []quantity.Money `json:"totals"`       // one a currency, never converted
	WithoutCost int              `json:"without_cost"` // losses with no cost on record
	Seal        Seal             `json:"seal"`
}

// Loss is one specimen lost.
type Loss struct {
	Outcome  notebook.Record[notebook.Outcome]  `json:"outcome"`
	Specimen notebook.Record[notebook.Specimen] `json:"specimen"`
	Project  notebook.Record[notebook.Project]  `json:"project"`
}

// ResolvedDossier answers "which setup resolved this size?".
type ResolvedDossier struct {
	SizeUM    float64         `json:"size_um"`
	Evidence  []SetupEvidence `json:"evidence"`
	Predicted []SetupEvidence `json:"predicted_only"` // setups that optics says would, without evidence
	Seal      Seal            `json:"seal"`
}

// SetupEvidence is a setup with the feature that shows what it resolves; the
// feature is nil for one that is only predicted to.
type SetupEvidence struct {
	Setup   notebook.Record[catalog.Setup] `json:"setup"`
	Feature *ResolvedFeature               `json:"feature"`
}
