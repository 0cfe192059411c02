package cli

import (
	"cmp"
	"fmt"
	"math"

	"dieglow/catalog"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/report"
	"dieglow/store"
)

// measuredFigure is a figure of a setup as it was measured on an artefact.
type measuredFigure struct {
	Finding  string            `json:"finding"` // or the outcome
	Capture  catalog.Ref       `json:"capture"`
	Revision int               `json:"setup_revision"`
	Value    quantity.Estimate `json:"value_um"`
}

// measuredScale returns the newest scale measured with this revision of a setup
// on an artefact, nil where there is none.
func measuredScale(tx *store.Tx, setup catalog.Ref) (*measuredFigure, error) {
	return newestResult(tx, setup, notebook.ResultPixelUM)
}

func newestResult(tx *store.Tx, setup catalog.Ref, name string) (*measuredFigure, error) {
	findings, err := tx.FindingsWith(setup.ID)
	if err != nil {
		return nil, err
	}
	var newest *measuredFigure
	for _, f := range findings {
		r, ok := f.Body.Result(name)
		if !ok {
			continue
		}
		c, err := store.GetRef[notebook.Capture](tx, f.Body.Capture)
		if err != nil {
			return nil, err
		}
		if c.Body.Artefact == nil || c.Body.Setup.Revision != setup.Revision {
			continue // a scale taken on a specimen is no check, one of another revision is not of this stack
		}
		newest = &measuredFigure{f.Handle, c.Ref, c.Body.Setup.Revision, r.Value}
	}
	return newest, nil
}

// comparison sets a measured figure beside the predicted one.
type comparison struct {
	Figure      string            `json:"figure"`
	Measured    quantity.Estimate `json:"measured_um"`
	Predicted   quantity.Estimate `json:"predicted_um"`
	From        string            `json:"from"`
	InStandardU *float64          `json:"difference_in_standard_uncertainties"` // null where an uncertainty is missing
	Warning     string            `json:"warning"`
}

// farApart is how many standard uncertainties count as a contradiction.
const farApart = 2

// compare sets the two beside each other; otherwise says what to think of a
// difference that their uncertainties do not explain.
func compare(figure, otherwise string, m measuredFigure, predicted quantity.Estimate) comparison {
	c := comparison{Figure: figure, Measured: m.Value, Predicted: predicted, From: m.Finding + ", " + m.Capture.String()}
	um, okm := m.Value.StandardU()
	up, okp := predicted.StandardU()
	if !okm || !okp {
		return c
	}
	n := math.Abs(m.Value.Value-predicted.Value) / quantity.RootSumSquare(um, up)
	c.InStandardU = &n
	if n > farApart {
		c.Warning = fmt.Sprintf("measured and predicted %s differ by %s standard uncertainties: %s", figure, quantity.Fixed(n, 2), otherwise)
	}
	return c
}

// comparisons returns what was measured of a setup revision beside its prediction.
// exact is what exact rays say, nil where that is not wanted or cannot be had.
func comparisons(tx *store.Tx, r notebook.Record[catalog.Setup], exact *exactSetup) ([]comparison, error) {
	var out []comparison
	scale, err := measuredScale(tx, r.Ref)
	if err != nil {
		return nil, err
	}
	pixel := figureEstimate(r.Body.Figures, "object_pixel_um", r.Body.Figures.ObjectPixelUM)
	if exact != nil {
		pixel = exact.estimate("object_pixel_um", exact.Sharpness.ObjectPixelUM)
	}
	if scale != nil {
		out = append(out, compare("object pixel", "check the gaps, the lenses and the camera's focus against the record", *scale, pixel))
	}
	bar, err := newestResult(tx, r.Ref, notebook.ResultResolvedUM)
	if err != nil || bar == nil || exact == nil {
		return out, err
	}
	return append(out, compare("smallest bar", "the prediction takes the camera's own lens as perfect and the specimen at best focus, and the measured uncertainty is of the frame's noise alone", *bar, exact.bar())), nil
}

// measuredBeside is comparisons for a sheet: exact rays are traced only where a
// measured resolution asks for them.
func measuredBeside(tx *store.Tx, r notebook.Record[catalog.Setup]) ([]comparison, error) {
	bar, err := newestResult(tx, r.Ref, notebook.ResultResolvedUM)
	if err != nil || bar == nil {
		list, err2 := comparisons(tx, r, nil)
		return list, cmp.Or(err, err2)
	}
	exact, err := exactOf(tx, r, optics.DefaultContrast)
	if err != nil {
		return comparisons(tx, r, nil)
	}
	return exact.Measured, nil
}

// figureEstimate is a predicted figure with its uncertainty.
func figureEstimate(f catalog.Figures, key string, v float64) quantity.Estimate {
	e := quantity.Exactly(v)
	if u, ok := f.Uncertainty(key); ok {
		e.U = &u.U
	}
	return e
}

// comparisonFacts prints comparisons as lines of a sheet.
func comparisonFacts(list []comparison) []report.Fact {
	var out []report.Fact
	for _, c := range list {
		apart := "difference not judged: an uncertainty is missing"
		if c.InStandardU != nil {
			apart = quantity.Fixed(*c.InStandardU, 2) + " standard uncertainties from the predicted " + c.Predicted.Format(quantity.Micrometre)
		}
		out = append(out, report.Fact{Label: c.Figure, Value: c.Measured.Format(quantity.Micrometre) + " (" + c.From + "), " + apart, Origin: report.Measured})
		if c.Warning != "" {
			out = append(out, report.Fact{Label: "warning", Value: c.Warning})
		}
	}
	return out
}
