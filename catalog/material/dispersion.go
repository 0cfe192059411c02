package material

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"dieglow/catalog/fault"
)

// Form is how a data set gives the index. The numbers are those of the
// refractiveindex.info database (its note "Dispersion formulas"), whose
// coefficients the data sets carry in its order. L is the wavelength in µm.
type Form int

// The forms in use.
const (
	Tabulated  Form = 0 // linear interpolation between rows
	Sellmeier  Form = 1 // n² - 1 = C1 + Σ C2i L²/(L² - C2i+1²)
	Sellmeier2 Form = 2 // n² - 1 = C1 + Σ C2i L²/(L² - C2i+1)
	Mixed      Form = 4 // n² = C1 + C2 L^C3/(L² - C4^C5) + C6 L^C7/(L² - C8^C9)
	Herzberger Form = 7 // n = C1 + C2/(L² - 0.028) + C3/(L² - 0.028)² + C4 L² + C5 L⁴ + C6 L⁶
)

// String returns the formula as text.
func (f Form) String() string {
	switch f {
	case Tabulated:
		return "linear interpolation of a table"
	case Sellmeier:
		return "n^2 - 1 = C1 + sum C(2i) L^2/(L^2 - C(2i+1)^2)"
	case Sellmeier2:
		return "n^2 - 1 = C1 + sum C(2i) L^2/(L^2 - C(2i+1))"
	case Mixed:
		return "n^2 = C1 + C2 L^C3/(L^2 - C4^C5) + C6 L^C7/(L^2 - C8^C9)"
	case Herzberger:
		return "n = C1 + C2/(L^2 - 0.028) + C3/(L^2 - 0.028)^2 + C4 L^2 + C5 L^4 + C6 L^6"
	}
	return fmt.Sprintf("form %d", int(f))
}

// Row is one row of a table: a wavelength and a value there.
type Row struct {
	WavelengthUM float64 `json:"wavelength_um"`
	Value        float64 `json:"value"`
}

// Dataset is one published dispersion of a material.
type Dataset struct {
	Name         string    `json:"name"`
	Form         Form      `json:"form"`
	Coefficients []float64 `json:"coefficients,omitempty"`
	Table        []Row     `json:"table,omitempty"`
	LowUM        float64   `json:"low_um"` // stated range
	HighUM       float64   `json:"high_um"`
	Temperature  string    `json:"temperature"`           // as stated
	ULow         *float64  `json:"u_low,omitempty"`       // stated standard uncertainty of n, smallest over the range; nil: none stated
	UHigh        *float64  `json:"u_high,omitempty"`      // and largest
	RelativeTo   string    `json:"relative_to,omitempty"` // "air" where the source says so
	Source       string    `json:"source"`
}

// IndexOptions selects a data set and allows to leave its range.
type IndexOptions struct {
	Dataset     string // name of a data set; empty for the default
	Extrapolate bool   // give a figure outside the stated range too
}

// Index is a refractive index and where it comes from.
type Index struct {
	N          float64  `json:"n"`
	InRange    bool     `json:"in_range"` // false: extrapolated
	Dataset    string   `json:"dataset"`
	Formula    string   `json:"formula"`
	RangeUM    string   `json:"range_um"`
	ULow       *float64 `json:"u_low,omitempty"` // stated standard uncertainty over the range; nil: none stated
	UHigh      *float64 `json:"u_high,omitempty"`
	RelativeTo string   `json:"relative_to,omitempty"`
	Source     string   `json:"source"`
}

// Index returns the refractive index at a wavelength in µm.
//
// Fault NotFound when the material has no data set of that name; Invalid when
// the wavelength is not a finite number above zero, lies outside the stated
// range and Extrapolate is not set, or is so far outside that the formula gives
// no index between 1 and 10.
func (m Material) Index(wavelengthUM float64, opts IndexOptions) (Index, error) {
	d, err := m.Dataset(opts.Dataset)
	if err != nil {
		return Index{}, err
	}
	if !(wavelengthUM > 0) || math.IsInf(wavelengthUM, 0) {
		return Index{}, fault.Invalidf("the wavelength %g µm is not a finite number above zero", wavelengthUM).WithHint("type a wavelength from %s", d.rangeText())
	}
	inRange := wavelengthUM >= d.LowUM && wavelengthUM <= d.HighUM
	if !inRange && !opts.Extrapolate {
		return Index{}, fault.Invalidf("%g µm is outside the range of the index of %s by %s", wavelengthUM, m.Slug, d.Name).
			WithHint("type a wavelength from %s, another --dataset (%s), or --extrapolate to go beyond what was measured", d.rangeText(), strings.Join(m.datasetNames(), ", "))
	}
	n := d.n(wavelengthUM)
	if !(n >= 1 && n <= 10) {
		return Index{}, fault.Invalidf("the formula of %s for %s gives no index at %g µm", d.Name, m.Slug, wavelengthUM).WithHint("type a wavelength from %s", d.rangeText())
	}
	return Index{N: n, InRange: inRange, Dataset: d.Name, Formula: d.Form.String(), RangeUM: d.rangeText(),
		ULow: d.ULow, UHigh: d.UHigh, RelativeTo: d.RelativeTo, Source: d.Source}, nil
}

// Dataset returns the data set of that name, the default one for an empty name.
// Fault NotFound with the names there are.
func (m Material) Dataset(name string) (Dataset, error) {
	if name == "" {
		name = m.DefaultDataset
	}
	for _, d := range m.Datasets {
		if strings.EqualFold(d.Name, name) {
			return d, nil
		}
	}
	return Dataset{}, fault.NotFoundf("%s has no data set %.60q", m.Slug, name).WithHint("type one of %s", strings.Join(m.datasetNames(), ", "))
}

func (m Material) datasetNames() []string {
	var names []string
	for _, d := range m.Datasets {
		names = append(names, d.Name)
	}
	return names
}

func (d Dataset) rangeText() string { return fmt.Sprintf("%gum to %gum", d.LowUM, d.HighUM) }

// n evaluates the data set; NaN where the formula has no real root.
func (d Dataset) n(l float64) float64 {
	c, l2 := d.Coefficients, l*l
	switch d.Form {
	case Tabulated:
		return interpolate(d.Table, l)
	case Sellmeier, Sellmeier2:
		sum := 1 + c[0]
		for i := 1; i+1 < len(c); i += 2 {
			pole := c[i+1]
			if d.Form == Sellmeier {
				pole *= pole
			}
			sum += c[i] * l2 / (l2 - pole)
		}
		return math.Sqrt(sum)
	case Mixed:
		sum := c[0]
		for i := 1; i+3 < len(c); i += 4 {
			sum += c[i] * math.Pow(l, c[i+1]) / (l2 - math.Pow(c[i+2], c[i+3]))
		}
		return math.Sqrt(sum)
	case Herzberger:
		t := 1 / (l2 - 0.028)
		n := c[0] + c[1]*t + c[2]*t*t
		for i, power := 3, l2; i < len(c); i, power = i+1, power*l2 {
			n += c[i] * power
		}
		return n
	}
	return math.NaN()
}

// interpolate joins the rows on either side of l by a straight line, and goes
// on along the outermost one beyond the ends.
func interpolate(table []Row, l float64) float64 {
	i, _ := slices.BinarySearchFunc(table, l, func(r Row, l float64) int {
		switch {
		case r.WavelengthUM < l:
			return -1
		case r.WavelengthUM > l:
			return 1
		}
		return 0
	})
	i = min(max(i, 1), len(table)-1)
	a, b := table[i-1], table[i]
	return a.Value + (b.Value-a.Value)*(l-a.WavelengthUM)/(b.WavelengthUM-a.WavelengthUM)
}

// between returns pointers to a stated lowest and highest uncertainty.
func between(low, high float64) (*float64, *float64) { return &low, &high }
