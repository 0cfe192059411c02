package cli

import (
	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/store"
)

// pixelUM returns the object pixel. Fault Usage where it is not known.
func (s subject) pixelUM() (quantity.Estimate, error) {
	if s.pixel == nil {
		return quantity.Estimate{}, fault.Usagef("what one pixel sees of the object is not known").WithHint("give --pixel 25um, or --setup NAME")
	}
	return *s.pixel, nil
}

// statedPixel reads --pixel, or takes it from the setup of --setup.
func (app *App) statedPixel(cmd *cobra.Command, in *input, s *subject, sharp bool) error {
	in.estimate("pixel", quantity.Micrometre, &s.pixel)
	s.how = "stated"
	name, ok := in.given("setup")
	if in.err != nil || !ok || s.pixel != nil {
		return in.err
	}
	return app.view(cmd.Context(), func(tx *store.Tx) error {
		setup, err := store.Get[catalog.Setup](tx, name)
		if err != nil {
			return err
		}
		if err := s.pixelOf(tx, setup); err != nil || !sharp {
			return err
		}
		s.predictedBy(tx, setup)
		return nil
	})
}

// predictedSharpness is what exact rays predict in the middle of a setup's field.
type predictedSharpness struct {
	Setup       string            `json:"setup"`
	SmallestBar quantity.Estimate `json:"smallest_bar_um"` // at the contrast below
	Contrast    float64           `json:"contrast"`
	EdgeWidthUM *float64          `json:"edge_width_um"`
}

// predictedBy takes the prediction of a setup where its rays can be traced over the
// camera's band; where not, there is none to set beside the measurement.
func (s *subject) predictedBy(tx *store.Tx, setup notebook.Record[catalog.Setup]) {
	exact, err := exactOf(tx, setup, optics.DefaultContrast)
	if err != nil {
		return
	}
	p := predictedSharpness{Setup: setup.Ref.String(), SmallestBar: exact.bar(), Contrast: exact.Sharpness.Contrast}
	if c := exact.Sharpness.Points[0]; c.Tangential != nil {
		p.EdgeWidthUM = c.Tangential.EdgeWidthUM
	}
	s.predicted = &p
}

// pixelOf takes the object pixel of a setup: measured where it was, else predicted.
func (s *subject) pixelOf(tx *store.Tx, setup notebook.Record[catalog.Setup]) error {
	measured, err := measuredScale(tx, setup.Ref)
	if err != nil {
		return err
	}
	if measured != nil {
		s.pixel, s.how = &measured.Value, "measured, "+measured.Finding
		return nil
	}
	e := quantity.Exactly(setup.Body.Figures.ObjectPixelUM)
	if u, ok := setup.Body.Figures.Uncertainty("object_pixel_um"); ok {
		e.U = &u.U
	}
	s.pixel, s.how = &e, "predicted by "+setup.Ref.String()
	return nil
}
