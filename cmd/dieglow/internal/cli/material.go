package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/material"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
)

func newMaterial(app *App) *cobra.Command {
	list := &cobra.Command{
		Use:   "list",
		Short: "List the built-in infrared materials",
		Long: `Index and absorption are at 10 µm; ~0 is less than the source's table resolves.
The range of the index is rounded to two digits. The hazards are cut short:
material show gives them whole, and the data sheet of the part and the rules of
the site come before both.`,
		Example: `  dieglow material list
  dieglow material list --json`,
		Args: args(),
		RunE: func(*cobra.Command, []string) error {
			var out []materialSheet
			t := term.Table{Columns: []term.Column{{Header: "name"}, {Header: "formula"}, {Header: "index at 10 µm", Align: term.Right}, {Header: "range, µm"},
				{Header: "absorbs at 10 µm, /cm", Align: term.Right}, {Header: "dn/dT, 1e-6/K", Align: term.Right}, {Header: "hazards"}}}
			for _, m := range material.All() {
				out = append(out, newMaterialSheet(m))
				t.Rows = append(t.Rows, materialRow(m))
			}
			return app.emit(out, func() error { return app.screen().Table(t) })
		},
	}
	show := &cobra.Command{
		Use:   "show NAME",
		Short: "Show everything held about a material, with its sources",
		Long:  "NAME is a name of the list, a chemical formula or another usual name. Where\nnothing trustworthy is known, it says so and why.",
		Example: `  dieglow material show germanium
  dieglow material show ZnSe --json`,
		Args: args("the material's name"),
		RunE: func(_ *cobra.Command, args []string) error {
			m, err := material.Find(args[0])
			if err != nil {
				return err
			}
			return app.emit(newMaterialSheet(m), func() error { return app.tables(materialTables(m)...) })
		},
	}
	return newGroup("material", "Infrared materials: index, absorption, hazards, with sources",
		"What is published about the materials of infrared lenses and windows. The data\nare built in; no notebook is needed.",
		"  dieglow material list\n  dieglow material show germanium", list, show)
}

// materialSheet is a material as JSON: its data with the formulas spelled out
// and its absorption at a few wavelengths.
type materialSheet struct {
	material.Material
	Datasets   []datasetSheet      `json:"datasets"` // in place of the embedded ones
	Absorption []absorptionAtPoint `json:"absorption"`
}

type datasetSheet struct {
	material.Dataset
	Dispersion string `json:"dispersion"`
}

// absorptionAtPoint is what one table says at one wavelength.
type absorptionAtPoint struct {
	Table        string  `json:"table"`
	WavelengthUM float64 `json:"wavelength_um"`
	PerCM        float64 `json:"per_cm"` // 0: less than the table resolves
}

// sampledUM are the wavelengths in µm that absorption is shown at.
func sampledUM() []float64 { return []float64{7, 8, 9, 10, 11, 12, 13, 14} }

func newMaterialSheet(m material.Material) materialSheet {
	s := materialSheet{Material: m, Absorption: []absorptionAtPoint{}}
	for _, d := range m.Datasets {
		s.Datasets = append(s.Datasets, datasetSheet{d, d.Form.String()})
	}
	for _, t := range m.AbsorptionTables {
		for _, um := range sampledUM() {
			if alpha, err := t.At(um); err == nil { // outside the table there is no figure
				s.Absorption = append(s.Absorption, absorptionAtPoint{t.Name, um, alpha})
			}
		}
	}
	return s
}

const unknown = "unknown"

func materialRow(m material.Material) []string {
	const at = 10 // µm
	n, reach, absorbs, dndt := unknown, "", unknown, unknown
	if index, err := m.Index(at, material.IndexOptions{}); err == nil {
		n = fmt.Sprintf("%.3f", index.N)
	}
	if d, err := m.Dataset(""); err == nil {
		reach = quantity.Fixed(d.LowUM, 2) + " to " + quantity.Fixed(d.HighUM, 2)
	}
	if alpha, _, err := m.Absorption(at); err == nil {
		absorbs = absorptionText(alpha)
	}
	if m.DnDT.PerK != nil {
		dndt = quantity.Fixed(*m.DnDT.PerK*1e6, 4)
	}
	return []string{m.Slug, m.Formula, n, reach, absorbs, dndt, shortHazards(m.Hazards)}
}

// absorptionText prints an absorption coefficient in 1/cm. Zero in a table means
// less than it resolves.
func absorptionText(perCM float64) string {
	if perCM == 0 {
		return "~0"
	}
	return quantity.Fixed(perCM, 3)
}

// shortHazards gives the first clause of each caution of the material itself; the
// last one holds for every material.
func shortHazards(all []material.Hazard) string {
	var short []string
	for _, h := range all[:max(len(all)-1, 0)] {
		text := h.Text
		for _, end := range []string{". ", "; ", ": ", ", ", " ("} {
			text, _, _ = strings.Cut(text, end)
		}
		short = append(short, strings.TrimSuffix(text, "."))
	}
	return strings.Join(short, "; ")
}

// materialTables lays out everything held about a material.
func materialTables(m material.Material) []term.Table {
	about := term.Table{Columns: []term.Column{{Header: m.Name}, {Header: m.Formula}}}
	add := func(label, value string) { about.Rows = append(about.Rows, []string{label, value}) }
	add("called", strings.Join(append([]string{m.Slug}, m.Synonyms...), ", "))
	add("default data set", m.DefaultDataset+": "+m.DefaultReason)
	if index, err := m.Index(10, material.IndexOptions{}); err == nil {
		add("index at 10 µm", quantity.Fixed(index.N, indexDigits)+" by "+index.Dataset)
	}
	if m.DnDT.PerK != nil {
		add("dn/dT", quantity.Fixed(*m.DnDT.PerK*1e6, 4)+"e-6 /K; "+m.DnDT.Source)
	} else {
		add("dn/dT", unknown+": "+m.DnDT.Unknown)
	}
	switch {
	case len(m.AbsorptionTables) == 0:
		add("absorption", unknown+": "+m.AbsorptionNote)
	case m.AbsorptionNote != "":
		add("absorption", m.AbsorptionNote)
	}
	for _, note := range m.Notes {
		add("note", note)
	}
	tables := []term.Table{about}
	for _, d := range m.Datasets {
		tables = append(tables, datasetTable(d, d.Name == m.DefaultDataset))
	}
	if len(m.AbsorptionTables) > 0 {
		tables = append(tables, absorptionTables(m)...)
	}
	hazards := term.Table{Columns: []term.Column{{Header: "hazard"}, {Header: "source"}}}
	for _, h := range m.Hazards {
		hazards.Rows = append(hazards.Rows, []string{h.Text, h.Source})
	}
	return append(tables, hazards)
}

func datasetTable(d material.Dataset, isDefault bool) term.Table {
	name := d.Name
	if isDefault {
		name += ", the default"
	}
	t := term.Table{Columns: []term.Column{{Header: "data set"}, {Header: name}}}
	add := func(label, value string) { t.Rows = append(t.Rows, []string{label, value}) }
	add("formula", d.Form.String())
	var values []string
	for i, c := range d.Coefficients {
		values = append(values, fmt.Sprintf("C%d = %v", i+1, c))
	}
	if len(values) > 0 {
		add("coefficients", strings.Join(values, ", ")+"; L in µm")
	}
	values = nil
	for _, r := range d.Table {
		values = append(values, fmt.Sprintf("%v µm %v", r.WavelengthUM, r.Value))
	}
	if len(values) > 0 {
		add("wavelength, index", strings.Join(values, "; "))
	}
	add("range", rangeText(d.LowUM, d.HighUM))
	add("temperature", d.Temperature)
	add("standard uncertainty", uncertaintyText(d.ULow, d.UHigh))
	relative := d.RelativeTo
	if relative == "" {
		relative = "not stated by the source"
	}
	add("relative to", relative)
	add("source", d.Source)
	return t
}

// absorptionTables gives the coefficients at a few wavelengths, a column for each
// published table, and where those are from.
func absorptionTables(m material.Material) []term.Table {
	t := term.Table{Columns: []term.Column{{Header: "absorption at", Align: term.Right}}}
	sources := term.Table{Columns: []term.Column{{Header: "absorption table"}, {Header: "reach"}, {Header: "source"}}}
	for _, a := range m.AbsorptionTables {
		low, high := a.RangeUM()
		t.Columns = append(t.Columns, term.Column{Header: a.Name, Align: term.Right})
		sources.Rows = append(sources.Rows, []string{a.Name, rangeText(low, high), a.Source})
	}
	sources.Rows[0][0] += ", the one used"
	for _, um := range sampledUM() {
		row := []string{quantity.Fixed(um, 6) + " µm"}
		for _, a := range m.AbsorptionTables {
			text := "-"
			if alpha, err := a.At(um); err == nil {
				text = absorptionText(alpha) + " /cm"
			}
			row = append(row, text)
		}
		if slices.ContainsFunc(row[1:], func(s string) bool { return s != "-" }) {
			t.Rows = append(t.Rows, row)
		}
	}
	return []term.Table{t, sources}
}
