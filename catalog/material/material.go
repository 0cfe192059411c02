// Package material holds what is published about the infrared materials that
// lenses, windows and cover films are made of: dispersion, absorption, the
// change of index with temperature, and hazards, each with its source. Where
// nothing trustworthy was found it says so instead of guessing.
//
// The tables are built in and cannot be changed: every call returns fresh values.
// Wavelengths are in micrometres, absorption coefficients in 1/cm. A data set
// says where its source gives the index against air; sources seldom tell.
package material

import (
	"slices"
	"strings"

	"dieglow/catalog/fault"
)

// Material is one infrared material.
type Material struct {
	Slug             string            `json:"slug"` // canonical name: lower case, hyphens
	Name             string            `json:"name"`
	Formula          string            `json:"formula"`
	Synonyms         []string          `json:"synonyms,omitempty"`
	Datasets         []Dataset         `json:"datasets"`
	DefaultDataset   string            `json:"default_dataset"`
	DefaultReason    string            `json:"default_reason"`
	AbsorptionTables []AbsorptionTable `json:"absorption_tables,omitempty"` // the first is the one Absorption reads
	AbsorptionNote   string            `json:"absorption_note,omitempty"`   // why there is none, or what to beware of
	DnDT             Coefficient       `json:"dn_dt"`
	Hazards          []Hazard          `json:"hazards"`
	Notes            []string          `json:"notes,omitempty"`
}

// Coefficient is a figure that may not be known.
type Coefficient struct {
	PerK    *float64 `json:"per_k,omitempty"` // nil: unknown
	Source  string   `json:"source,omitempty"`
	Unknown string   `json:"unknown,omitempty"` // why it is not known
}

// Hazard is a caution in plain words. It is not a safety data sheet: the current
// sheet of the material at hand and the rules of the site come first.
type Hazard struct {
	Text   string `json:"text"`
	Source string `json:"source"`
}

// All returns every material, ordered by name.
func All() []Material {
	all := []Material{
		arsenicSelenide(), bariumFluoride(), cadmiumTelluride(), calciumFluoride(), galliumArsenide(),
		germanium(), germaniumAntimonySelenide(), germaniumArsenicSelenide(), polyethylene(),
		potassiumBromide(), silicon(), sodiumChloride(), zincSelenide(), zincSulfide(),
	}
	slices.SortFunc(all, func(a, b Material) int { return strings.Compare(a.Name, b.Name) })
	return all
}

// Find returns the material with the given canonical name, chemical formula or
// synonym. Case, spaces, hyphens and underscores do not matter.
// Fault NotFound with the nearest names in the hint.
func Find(name string) (Material, error) {
	all := All()
	wanted := fold(name)
	for _, m := range all {
		if slices.ContainsFunc(m.names(), func(n string) bool { return fold(n) == wanted }) {
			return m, nil
		}
	}
	return Material{}, fault.NotFoundf("no material is called %.60q", name).WithHint("%s", suggestion(wanted, all))
}

// names returns everything the material answers to.
func (m Material) names() []string {
	return append([]string{m.Slug, m.Name, m.Formula}, m.Synonyms...)
}

// fold reduces a name to what is compared.
func fold(name string) string {
	return strings.NewReplacer(" ", "", "-", "", "_", "", "₁", "1", "₂", "2", "₃", "3", "₄", "4", "₅", "5", "₆", "6", "₈", "8", "₀", "0").Replace(strings.ToLower(strings.TrimSpace(name)))
}

// suggestion names the materials nearest to what was typed, or all of them.
func suggestion(wanted string, all []Material) string {
	var near, every []string
	for _, m := range all {
		every = append(every, m.Slug)
		if slices.ContainsFunc(m.names(), func(n string) bool { return isNear(wanted, fold(n)) }) {
			near = append(near, m.Slug)
		}
	}
	if len(near) > 0 {
		return "did you mean " + strings.Join(near, " or ") + "?"
	}
	return "the materials are " + strings.Join(every, ", ")
}

// isNear allows a third of the letters to be wrong, or one name within the other.
func isNear(typed, name string) bool {
	if len(typed) < 2 || len(typed) > 60 {
		return false
	}
	return len(typed) > 2 && strings.Contains(name, typed) || distance(typed, name) <= max(len(name)/3, 1) && len(name) > 2
}

// distance is the number of letters to insert, delete or replace to get from a to b.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost = 1 + min(diagonal, row[j], row[j+1])
			}
			diagonal, row[j+1] = row[j+1], cost
		}
	}
	return row[len(b)]
}

// known returns a coefficient that is known.
func known(perK float64, source string) Coefficient { return Coefficient{PerK: &perK, Source: source} }
