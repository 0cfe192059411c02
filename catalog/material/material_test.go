package material_test

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/quantity"
	"dieglow/testdata/vectors"
)

// vector is one published value.
type vector struct {
	input, source string
	want, relTol  float64
}

// published reads a table of vectors.
func published(t *testing.T, name string) (list []vector) {
	t.Helper()
	for _, c := range vectors.Rows(t, name) {
		want, err1 := strconv.ParseFloat(c[1], 64)
		tol, err2 := strconv.ParseFloat(c[2], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %q has no numbers", name, c)
		}
		list = append(list, vector{c[0], c[3], want, tol})
	}
	return list
}

// fields splits "germanium burnett 8um" and finds the material.
func fields(t *testing.T, input string) (m material.Material, set string, wavelengthUM float64, rest []string) {
	t.Helper()
	f := strings.Fields(input)
	m, err := material.Find(f[0])
	if err != nil {
		t.Fatal(err)
	}
	wavelengthUM, err = quantity.ParseValue(f[2], quantity.Micrometre)
	if err != nil {
		t.Fatal(err)
	}
	return m, f[1], wavelengthUM, f[3:]
}

func TestIndexMatchesPublishedDispersion(t *testing.T) {
	t.Parallel()
	covered := map[string]bool{}
	for _, v := range published(t, "refractive_index.tsv") {
		m, set, wavelengthUM, rest := fields(t, v.input)
		covered[m.Slug+" "+set] = true
		outside := len(rest) > 0
		if _, err := m.Index(wavelengthUM, material.IndexOptions{Dataset: set}); (err != nil) != outside {
			t.Errorf("%s: Index without Extrapolate: error %v, outside the range: %v", v.input, err, outside)
		}
		got, err := m.Index(wavelengthUM, material.IndexOptions{Dataset: set, Extrapolate: true})
		if err != nil {
			t.Errorf("%s: %v", v.input, err)
			continue
		}
		if math.Abs(got.N-v.want) > v.relTol*v.want {
			t.Errorf("%s: n = %.7f, want %v within %v (%s)", v.input, got.N, v.want, v.relTol, v.source)
		}
		if got.InRange == outside || got.Source == "" || got.Formula == "" {
			t.Errorf("%s: InRange %v, source %q, formula %q", v.input, got.InRange, got.Source, got.Formula)
		}
	}
	for _, m := range material.All() {
		for _, d := range m.Datasets {
			if !covered[m.Slug+" "+d.Name] {
				t.Errorf("%s %s has no published value to check against", m.Slug, d.Name)
			}
		}
	}
}

func TestAbsorptionMatchesPublishedTables(t *testing.T) {
	t.Parallel()
	for _, v := range published(t, "absorption_per_cm.tsv") {
		m, name, wavelengthUM, _ := fields(t, v.input)
		i := slices.IndexFunc(m.AbsorptionTables, func(a material.AbsorptionTable) bool { return a.Name == name })
		if i < 0 {
			t.Errorf("%s: no such table", v.input)
			continue
		}
		got, err := m.AbsorptionTables[i].At(wavelengthUM)
		if err != nil || math.Abs(got-v.want) > v.relTol*v.want {
			t.Errorf("%s: alpha = %v, %v, want %v within %v (%s)", v.input, got, err, v.want, v.relTol, v.source)
		}
		if i > 0 {
			continue
		}
		if alpha, source, err := m.Absorption(wavelengthUM); alpha != got || source == "" || err != nil {
			t.Errorf("%s: Absorption = %v, %q, %v, want the first table's %v", v.input, alpha, source, err, got)
		}
	}
}

func TestUnknownIsRefusedWithItsReason(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"ZnS", "polyethylene", "KBr", "NaCl", "CdTe"} {
		m, err := material.Find(name)
		if err != nil {
			t.Fatal(err)
		}
		_, _, err = m.Absorption(10)
		if fault.KindOf(err) != fault.Invalid || !strings.Contains(fault.HintOf(err), m.AbsorptionNote) || m.AbsorptionNote == "" {
			t.Errorf("%s: Absorption: error %v, hint %q, want Invalid with the reason", name, err, fault.HintOf(err))
		}
	}
	m, err := material.Find("Ge28Sb12Se60")
	if err != nil {
		t.Fatal(err)
	}
	if m.DnDT.PerK != nil || !strings.Contains(m.DnDT.Unknown, "conflict") {
		t.Errorf("Ge28Sb12Se60: dn/dT = %+v, want unknown because its sources conflict", m.DnDT)
	}
}

func TestIndexRefusals(t *testing.T) {
	t.Parallel()
	ge, err := material.Find("Ge")
	if err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name         string
		wavelengthUM float64
		opts         material.IndexOptions
		kind         fault.Kind
		hint         string
	}{
		{"above the range", 14.01, material.IndexOptions{}, fault.Invalid, "2um to 14um"},
		{"says how to extrapolate", 1.99, material.IndexOptions{}, fault.Invalid, "--extrapolate"},
		{"zero", 0, material.IndexOptions{Extrapolate: true}, fault.Invalid, "2um"},
		{"negative", -10, material.IndexOptions{Extrapolate: true}, fault.Invalid, "2um"},
		{"not a number", math.NaN(), material.IndexOptions{Extrapolate: true}, fault.Invalid, "2um"},
		{"infinite", math.Inf(1), material.IndexOptions{Extrapolate: true}, fault.Invalid, "2um"},
		{"at a pole", 27.42, material.IndexOptions{Extrapolate: true}, fault.Invalid, "2um"},
		{"no such set", 10, material.IndexOptions{Dataset: "nobody"}, fault.NotFound, "burnett"},
	}
	for _, tt := range tests {
		got, err := ge.Index(tt.wavelengthUM, tt.opts)
		if err == nil || fault.KindOf(err) != tt.kind || !strings.Contains(fault.HintOf(err), tt.hint) {
			t.Errorf("%s: Index = %v, error %v, hint %q, want %v with %q", tt.name, got.N, err, fault.HintOf(err), tt.kind, tt.hint)
		}
	}
	for _, end := range []float64{2, 14} {
		if got, err := ge.Index(end, material.IndexOptions{}); err != nil || !got.InRange {
			t.Errorf("Index(%v) = %+v, %v, want the end of the range to belong to it", end, got, err)
		}
	}
	// Burnett et al. (2016) state a standard uncertainty of 2e-5 to 8e-5.
	got, err := ge.Index(10, material.IndexOptions{})
	if err != nil || got.ULow == nil || *got.ULow != 2e-5 || got.UHigh == nil || *got.UHigh != 8e-5 {
		t.Errorf("Index(10) = %+v, %v, want the stated uncertainty", got, err)
	}
	if _, _, err := ge.Absorption(20); fault.KindOf(err) != fault.Invalid || !strings.Contains(fault.HintOf(err), "14.5um") {
		t.Errorf("Absorption(20): error %v, hint %q, want Invalid with the range", err, fault.HintOf(err))
	}
}

func TestFind(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"germanium": "germanium", "GE": "germanium", " Germanium ": "germanium", "ZnSe": "zinc-selenide", "zinc selenide": "zinc-selenide",
		"Zinc-Sulphide": "zinc-sulfide", "zns": "zinc-sulfide", "Si": "silicon", "gaas": "gallium-arsenide", "BaF₂": "barium-fluoride",
		"caf2": "calcium-fluoride", "KBr": "potassium-bromide", "NaCl": "sodium-chloride", "CdTe": "cadmium-telluride",
		"GE33AS12SE55": "ge33as12se55", "Ge28Sb12Se60": "ge28sb12se60", "As40Se60": "as40se60", "polythene": "polyethylene",
	} {
		if m, err := material.Find(name); err != nil || m.Slug != want {
			t.Errorf("Find(%q) = %q, %v, want %q", name, m.Slug, err, want)
		}
	}
	for name, hint := range map[string]string{
		"germaniun": "germanium", "zinc selenid": "zinc-selenide", "silicone": "silicon", "": "the materials are", "unobtainium": "the materials are",
		"\xff\xfe": "the materials are", strings.Repeat("x", 5000): "the materials are",
	} {
		_, err := material.Find(name)
		if fault.KindOf(err) != fault.NotFound || !strings.Contains(fault.HintOf(err), hint) || len(err.Error()) > 400 {
			t.Errorf("Find(%.20q): error %v, hint %q, want NotFound with %q", name, err, fault.HintOf(err), hint)
		}
	}
}

func TestEveryMaterialIsComplete(t *testing.T) {
	t.Parallel()
	all := material.All()
	if !slices.IsSortedFunc(all, func(a, b material.Material) int { return strings.Compare(a.Name, b.Name) }) {
		t.Error("All is not ordered by name")
	}
	owner := map[string]string{}
	for _, m := range all {
		for _, name := range append([]string{m.Slug, m.Formula}, m.Synonyms...) {
			name = strings.ToLower(name)
			if other := owner[name]; other != "" && other != m.Slug {
				t.Errorf("%q names both %s and %s", name, other, m.Slug)
			}
			owner[name] = m.Slug
		}
		if _, err := m.Dataset(""); err != nil || m.DefaultReason == "" {
			t.Errorf("%s: default data set: %v, reason %q", m.Slug, err, m.DefaultReason)
		}
		if len(m.AbsorptionTables) == 0 && m.AbsorptionNote == "" {
			t.Errorf("%s: no absorption and no reason", m.Slug)
		}
		if (m.DnDT.PerK == nil) == (m.DnDT.Unknown == "") || (m.DnDT.PerK != nil) == (m.DnDT.Source == "") {
			t.Errorf("%s: dn/dT = %+v, want a sourced figure or a reason", m.Slug, m.DnDT)
		}
		if len(m.Hazards) < 2 {
			t.Errorf("%s: %d hazards, want its own and the general one", m.Slug, len(m.Hazards))
		}
		for _, h := range m.Hazards {
			if h.Text == "" || h.Source == "" {
				t.Errorf("%s: hazard %+v lacks a text or a source", m.Slug, h)
			}
		}
		for _, d := range m.Datasets {
			if d.Source == "" || d.Temperature == "" || !(d.LowUM > 0 && d.LowUM < d.HighUM) {
				t.Errorf("%s %s: source %q, temperature %q, range %v to %v", m.Slug, d.Name, d.Source, d.Temperature, d.LowUM, d.HighUM)
			}
			inOrder(t, m.Slug+" "+d.Name, d.Table)
		}
		for _, a := range m.AbsorptionTables {
			inOrder(t, m.Slug+" "+a.Name, a.K)
		}
	}
}

func inOrder(t *testing.T, name string, rows []material.Row) {
	t.Helper()
	for i, r := range rows {
		if r.Value < 0 || i > 0 && r.WavelengthUM <= rows[i-1].WavelengthUM {
			t.Errorf("%s: row %d (%v) is out of order or negative", name, i, r)
		}
	}
}

func TestCallersCannotChangeTheTables(t *testing.T) {
	t.Parallel()
	for _, m := range material.All() {
		m.Datasets[0].LowUM = 99
		m.Hazards[0].Text = "harmless"
		if len(m.Datasets[0].Coefficients) > 0 {
			m.Datasets[0].Coefficients[0] = 99
		}
	}
	for _, m := range material.All() {
		if m.Datasets[0].LowUM == 99 || m.Hazards[0].Text == "harmless" || len(m.Datasets[0].Coefficients) > 0 && m.Datasets[0].Coefficients[0] == 99 {
			t.Errorf("%s was changed by a caller", m.Slug)
		}
	}
}
