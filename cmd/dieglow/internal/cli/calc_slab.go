package cli

import (
	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

func newCalcSlab(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "slab",
		Short: "Transmission of a bare plate, with multiple reflections and absorption",
		Long: `Light at normal incidence through a bare plate in air. Reflections within it add
up without interference, which holds for a band, or for a plate that is not even
to a fraction of the wavelength.

--material takes index and absorption at --wavelength from published tables, and
is refused where nothing trustworthy is known; --index and --absorption replace
either.`,
		Example: `  dieglow calc slab --index 4.004 --absorption 0.02/cm --thickness 3mm
  dieglow calc slab --material germanium --wavelength 10um --thickness 3mm --explain`,
		Args: args(),
		RunE: func(cmd *cobra.Command, _ []string) error { return runCalcSlab(app, cmd) },
	}
	indexFlags(cmd)
	textFlags(cmd.Flags(), "index", "refractive index", "absorption", "absorption coefficient, 0.02/cm", "thickness", "thickness")
	return cmd
}

// slabFigures is what calc slab gives as JSON.
type slabFigures struct {
	optics.Light
	Index            float64  `json:"index"`
	IndexSource      string   `json:"index_source"`
	IndexInRange     *bool    `json:"index_in_range"` // false: extrapolated; null where it was stated
	AbsorptionPerCM  float64  `json:"absorption_per_cm"`
	AbsorptionSource string   `json:"absorption_source"`
	ThicknessMM      float64  `json:"thickness_mm"`
	WavelengthUM     *float64 `json:"wavelength_um"`
}

func runCalcSlab(app *App, cmd *cobra.Command) error {
	in := app.input(cmd)
	f, err := in.slab()
	if err != nil {
		return err
	}
	s := optics.Slab{Index: f.Index, AbsorptionPerCM: f.AbsorptionPerCM, ThicknessMM: f.ThicknessMM}
	if f.Light, err = s.Light(); err != nil {
		return err
	}
	percent := func(v float64) string { return quantity.Fixed(v*100, 5) + " %" }
	from := f.IndexSource
	if f.IndexInRange != nil && !*f.IndexInRange {
		from = "EXTRAPOLATED, a guess: " + from
	}
	return showFigures(app, in, "plate in air", f, [][3]string{
		{"transmission", percent(f.Transmission), "computed"}, {"reflection", percent(f.Reflection), "computed"}, {"absorption", percent(f.Absorption), "computed"},
		{"index", quantity.Fixed(f.Index, indexDigits), from},
		{"absorption coefficient", quantity.Fixed(f.AbsorptionPerCM, 5) + " /cm", f.AbsorptionSource},
		{"thickness", quantity.Fixed(f.ThicknessMM, 6) + " mm", asStated},
	}, s.Explain)
}

// slab reads the flags of calc slab.
func (in *input) slab() (slabFigures, error) {
	f := slabFigures{IndexSource: asStated, AbsorptionSource: asStated, WavelengthUM: in.optional("wavelength", quantity.Micrometre)}
	index, absorption, thickness := in.optional("index", quantity.One), in.optional("absorption", quantity.PerCentimetre), in.lengthMM("thickness")
	_, hasMaterial := in.given("material")
	_, hasDataset := in.given("dataset")
	switch {
	case in.err != nil:
		return f, in.err
	case thickness == nil:
		return f, fault.Usagef("--thickness is needed").WithHint("add --thickness 3mm")
	case !hasMaterial && index == nil:
		return f, fault.Usagef("--index or --material is needed").WithHint("add --index 4.004 and --absorption 0.02/cm, or --material germanium --wavelength 10um")
	case !hasMaterial && absorption == nil:
		return f, fault.Usagef("--absorption is needed").WithHint("add --absorption 0.02/cm, or 0/cm for none; or take it from --material germanium --wavelength 10um")
	case hasMaterial && index != nil && absorption != nil:
		return f, fault.Usagef("--index and --absorption leave nothing to take from --material").WithHint("leave out --material, or one of the others")
	case hasMaterial && f.WavelengthUM == nil:
		return f, fault.Usagef("the figures of a material need a wavelength").WithHint("add --wavelength 10um")
	case hasDataset && (!hasMaterial || index != nil):
		return f, fault.Usagef("--dataset gives the index of a --material").WithHint("leave out --dataset, or give --material without --index")
	}
	f.ThicknessMM = *thickness
	if index != nil {
		f.Index = *index
	}
	if absorption != nil {
		f.AbsorptionPerCM = *absorption
	}
	if !hasMaterial {
		return f, nil
	}
	return f, in.slabMaterial(&f, index == nil, absorption == nil)
}

// slabMaterial looks up what was not stated.
func (in *input) slabMaterial(f *slabFigures, wantIndex, wantAbsorption bool) error {
	if wantIndex {
		_, n, err := in.index(*f.WavelengthUM)
		if err != nil {
			return err
		}
		f.Index, f.IndexSource, f.IndexInRange = n.N, n.Source, &n.InRange
	}
	if !wantAbsorption {
		return nil
	}
	name, _ := in.given("material")
	m, err := material.Find(name)
	if err != nil {
		return err
	}
	f.AbsorptionPerCM, f.AbsorptionSource, err = m.Absorption(*f.WavelengthUM)
	return err
}
