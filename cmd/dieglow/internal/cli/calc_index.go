package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/report"
)

func newCalcIndex(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "index",
		Short: "Refractive index of a material at a wavelength",
		Long: `Gives the index by one published data set, with its source. Outside the range
that the source states it is refused, unless --extrapolate is given: then the
figure is a guess and marked as one.`,
		Example: `  dieglow calc index --material germanium --wavelength 10um
  dieglow calc index --material Ge --wavelength 10um --dataset li-293k --json
  dieglow calc index --material germanium --wavelength 16um --extrapolate`,
		Args: args(),
	}
	indexFlags(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return runCalcIndex(app, cmd) }
	return cmd
}

// indexFlags declares what selects an index.
func indexFlags(cmd *cobra.Command) {
	textFlags(cmd.Flags(),
		"material", "material, see dieglow material list", "wavelength", "wavelength in vacuum, for example 10um",
		"dataset", "data set of the material; without it its default")
	cmd.Flags().Bool("extrapolate", false, "allow a wavelength outside the data set's range")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
}

// calcIndex is what calc index gives as JSON.
type calcIndex struct {
	Material     string               `json:"material"`
	WavelengthUM float64              `json:"wavelength_um"`
	N            float64              `json:"n"`
	InRange      bool                 `json:"in_range"` // false: extrapolated
	Dataset      string               `json:"dataset"`
	Formula      string               `json:"formula"`
	RangeUM      [2]float64           `json:"range_um"`
	Temperature  string               `json:"temperature"`
	ULow         *float64             `json:"u_low"` // stated standard uncertainty, smallest over the range; null: none stated, or extrapolated
	UHigh        *float64             `json:"u_high"`
	RelativeTo   *string              `json:"relative_to"` // null: not stated
	Source       string               `json:"source"`
	Explain      []optics.Explanation `json:"explain,omitempty"`
}

func runCalcIndex(app *App, cmd *cobra.Command) error {
	in := app.input(cmd)
	for _, need := range [][2]string{{"material", "germanium"}, {"wavelength", "10um"}} {
		if _, ok := in.given(need[0]); !ok {
			return fault.Usagef("calc index needs --%s", need[0]).WithHint("add --%s %s", need[0], need[1])
		}
	}
	wavelength := in.optional("wavelength", quantity.Micrometre)
	if in.err != nil {
		return in.err
	}
	m, index, err := in.index(*wavelength)
	if err != nil {
		return err
	}
	d, err := m.Dataset(index.Dataset)
	if err != nil {
		return err
	}
	out := calcIndex{Material: m.Slug, WavelengthUM: *wavelength, N: index.N, InRange: index.InRange, Dataset: d.Name, Formula: index.Formula,
		RangeUM: [2]float64{d.LowUM, d.HighUM}, Temperature: d.Temperature, Source: index.Source}
	if index.InRange {
		out.ULow, out.UHigh = index.ULow, index.UHigh
	}
	if index.RelativeTo != "" {
		out.RelativeTo = &index.RelativeTo
	}
	var explain bool
	if in.flag("explain", &explain); explain {
		e, err := explainIndex(m.Slug, index, *wavelength)
		if err != nil {
			return err
		}
		out.Explain = []optics.Explanation{e}
	}
	return app.emit(out, func() error { return out.print(app) })
}

// index looks up the index that --material, --dataset and --extrapolate select.
func (in *input) index(wavelengthUM float64) (material.Material, material.Index, error) {
	name, _ := in.given("material")
	m, err := material.Find(name)
	if err != nil {
		return m, material.Index{}, err
	}
	var opts material.IndexOptions
	opts.Dataset, _ = in.given("dataset")
	in.flag("extrapolate", &opts.Extrapolate)
	index, err := m.Index(wavelengthUM, opts)
	return m, index, err
}

func (i calcIndex) print(app *App) error {
	t := term.Table{Columns: []term.Column{{Header: i.Material}, {Header: quantity.Fixed(i.WavelengthUM, 10) + " µm"}}}
	add := func(label, value string) { t.Rows = append(t.Rows, []string{label, value}) }
	add("index", quantity.Fixed(i.N, indexDigits))
	if !i.InRange {
		add("EXTRAPOLATED", "the wavelength is outside what was measured; the figure is a guess")
		add("standard uncertainty", "not known outside the range")
	} else {
		add("standard uncertainty", uncertaintyText(i.ULow, i.UHigh))
	}
	add("data set", i.Dataset)
	add("range", rangeText(i.RangeUM[0], i.RangeUM[1]))
	add("temperature", i.Temperature)
	add("relative to", orNotStated(i.RelativeTo))
	add("source", i.Source)
	if err := app.tables(t); err != nil || i.Explain == nil {
		return err
	}
	fmt.Fprintln(app.Out)
	return app.screen().Markdown(report.Explanations("How the index comes about", i.Explain))
}

func rangeText(lowUM, highUM float64) string {
	return quantity.Fixed(lowUM, 6) + " µm to " + quantity.Fixed(highUM, 6) + " µm"
}

func uncertaintyText(low, high *float64) string {
	if low == nil || high == nil {
		return "not stated by the source"
	}
	return quantity.Fixed(*low, 3) + " to " + quantity.Fixed(*high, 3) + " over the range"
}

func orNotStated(s *string) string {
	if s == nil {
		return "not stated by the source"
	}
	return *s
}
