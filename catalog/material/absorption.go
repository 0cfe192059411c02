package material

import (
	"math"

	"dieglow/catalog/fault"
)

// AbsorptionTable is a published extinction coefficient k.
type AbsorptionTable struct {
	Name   string `json:"name"`
	K      []Row  `json:"k"` // in order of wavelength
	Source string `json:"source"`
}

// Absorption returns the absorption coefficient alpha = 4 pi k/wavelength in 1/cm
// by linear interpolation of k in the material's first table, and its source. A
// zero means less than the table resolves, not that nothing is absorbed.
//
// Fault Invalid when nothing trustworthy is known of the material's absorption,
// or the table does not reach the wavelength; the hint says why or how far.
func (m Material) Absorption(wavelengthUM float64) (alphaPerCM float64, source string, err error) {
	if len(m.AbsorptionTables) == 0 {
		return 0, "", fault.Invalidf("the absorption of %s is not known", m.Slug).WithHint("%s; measure the part or take its maker's figure", m.AbsorptionNote)
	}
	table := m.AbsorptionTables[0]
	alphaPerCM, err = table.At(wavelengthUM)
	return alphaPerCM, table.Source, err
}

// At returns the absorption coefficient in 1/cm, as Material.Absorption does.
// Fault Invalid when the table does not reach the wavelength.
func (t AbsorptionTable) At(wavelengthUM float64) (alphaPerCM float64, err error) {
	low, high := t.RangeUM()
	if !(wavelengthUM >= low && wavelengthUM <= high) {
		return 0, fault.Invalidf("%g µm is outside the absorption table %s", wavelengthUM, t.Name).WithHint("type a wavelength from %gum to %gum", low, high)
	}
	const perUMInPerCM = 1e4
	return 4 * math.Pi * interpolate(t.K, wavelengthUM) / wavelengthUM * perUMInPerCM, nil
}

// RangeUM returns the first and last wavelength of the table.
func (t AbsorptionTable) RangeUM() (low, high float64) {
	return t.K[0].WavelengthUM, t.K[len(t.K)-1].WavelengthUM
}

// evenly makes rows from values at equal steps of wavelength, each times scale.
func evenly(firstUM, stepUM, scale float64, values []float64) []Row {
	rows := make([]Row, len(values))
	for i, v := range values {
		// Steps are decimal fractions: rounding to 0.1 nm takes their error away.
		rows[i] = Row{math.Round((firstUM+float64(i)*stepUM)*1e4) / 1e4, v * scale}
	}
	return rows
}

// byWavenumber makes rows from values at equal steps down in wavenumber, so up
// in wavelength, each times scale.
func byWavenumber(firstPerCM, stepPerCM, scale float64, values []float64) []Row {
	rows := make([]Row, len(values))
	for i, v := range values {
		rows[i] = Row{1e4 / (firstPerCM - float64(i)*stepPerCM), v * scale}
	}
	return rows
}
