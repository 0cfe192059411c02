package catalog

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// Artefact is a thing of known size, used to find the scale and the resolution
// of a setup.
type Artefact struct {
	Name          string          `json:"name"`
	Form          string          `json:"form"`        // one of ArtefactForms
	Sizes         []Size          `json:"sizes"`       // what is known on it, at least one
	Certificate   string          `json:"certificate"` // number and issuer; "" none
	CertificateOn When            `json:"certificate_on"`
	DueOn         When            `json:"due_on"`    // when the certificate is to be renewed
	HowKnown      string          `json:"how_known"` // where the sizes come from when there is no certificate
	Supplier      string          `json:"supplier"`
	Cost          *quantity.Money `json:"cost"`
	Condition     Condition       `json:"condition"`
	Notes         string          `json:"notes"`
}

// Size is one known size on an artefact.
type Size struct {
	Label  string            `json:"label"`   // "G4E3", or "" when the size says it all
	SizeUM quantity.Estimate `json:"size_um"` // width of a bar, diameter of a wire, pitch
}

// ArtefactForms returns the forms of artefact and what the size of each means.
func ArtefactForms() map[string]string {
	return map[string]string{
		"bar-target": "width of one bar",
		"wire":       "diameter",
		"pitch":      "distance from one mark to the next",
		"edge":       "length of the straight edge",
		"other":      "as the notes say",
	}
}

// Kind returns KindArtefact.
func (Artefact) Kind() string { return KindArtefact }

// Title returns the given name.
func (a Artefact) Title() string { return a.Name }

// Validate checks the artefact. Fault Invalid, naming the value and what to type.
func (a Artefact) Validate() error {
	if a.Name != "" {
		if err := CheckName(KindArtefact, a.Name); err != nil {
			return err
		}
	}
	if _, ok := ArtefactForms()[a.Form]; !ok {
		return fault.Invalidf("%q is not a form of artefact", a.Form).WithHint("use --form bar-target, wire, pitch, edge or other")
	}
	if len(a.Sizes) == 0 {
		return fault.Invalidf("an artefact needs at least one known size").WithHint(`give --size "50.0(5) um", or --size G4E3 for an element of a 1951 bar target`)
	}
	for _, s := range a.Sizes {
		if err := within("size", s.SizeUM.Value, 0.1, 1e6, "µm"); err != nil {
			return err
		}
	}
	if err := CheckCondition(a.Condition); err != nil {
		return err
	}
	for _, w := range []When{a.CertificateOn, a.DueOn} {
		if err := w.Check(); err != nil {
			return err
		}
	}
	return texts("certificate", a.Certificate, "source of the sizes", a.HowKnown, "supplier", a.Supplier, "notes", a.Notes)
}

// FindSize returns the size on the artefact that sizeUM stands for: the nearest
// one, if it is within the larger of 1 % and three standard uncertainties.
func (a Artefact) FindSize(sizeUM float64) (Size, bool) {
	best, found := Size{}, false
	for _, s := range a.Sizes {
		u, _ := s.SizeUM.StandardU()
		off := math.Abs(s.SizeUM.Value - sizeUM)
		if off <= max(0.01*s.SizeUM.Value, 3*u) && (!found || off < math.Abs(best.SizeUM.Value-sizeUM)) {
			best, found = s, true
		}
	}
	return best, found
}

// SizeList prints the sizes for people: "49.6 µm (G3E3), 100 µm".
func (a Artefact) SizeList() string {
	var parts []string
	for _, s := range a.Sizes {
		text := s.SizeUM.Format(quantity.Micrometre)
		if s.Label != "" {
			text = quantity.Fixed(s.SizeUM.Value, 4) + " µm (" + s.Label + ")"
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, ", ")
}

// ParseSize reads a known size: a length with its uncertainty, or an element of
// a 1951 bar target as G4E3, whose bar width follows from the published series
// (MIL-STD-150A). Fault Invalid otherwise.
func ParseSize(s string) (Size, error) {
	group, element, ok := barElement(s)
	if !ok {
		e, err := quantity.Parse(s, quantity.Micrometre)
		return Size{SizeUM: e}, err
	}
	lp, err := optics.USAF1951LinePairsPerMM(group, element)
	if err != nil {
		return Size{}, err
	}
	return Size{Label: strings.ToUpper(strings.TrimSpace(s)), SizeUM: quantity.Exactly(math.Round(1e7/(2*lp)) / 1e4)}, nil
}

// barElement splits "G-2E3" into -2 and 3.
func barElement(s string) (group, element int, ok bool) {
	m := regexp.MustCompile(`^(?i)\s*G(-?\d{1,2})E(\d)\s*$`).FindStringSubmatch(s)
	if m == nil {
		return 0, 0, false
	}
	group, _ = strconv.Atoi(m[1])
	element, _ = strconv.Atoi(m[2])
	return group, element, true
}
