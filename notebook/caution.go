package notebook

import (
	"slices"
	"strings"
)

// Step is a kind of preparation, with the cautions that go with it.
type Step struct {
	Name     string
	What     string
	Opening  bool     // opens the package, so that what is inside can get out
	Cautions []string // ids of the cautions shown
}

// Steps returns the preparation steps known, in the order a part meets them.
func Steps() []Step {
	return []Step{
		{Name: "inspect", What: "look, photograph, X-ray; nothing altered"},
		{Name: "open-lid", What: "lift a metal, ceramic or glass lid", Opening: true, Cautions: []string{"lids"}},
		{Name: "decap-acid", What: "remove moulding compound with acid", Opening: true, Cautions: []string{"nitric-acid", "sulfuric-acid"}},
		{Name: "decap-mechanical", What: "mill, grind or cut moulding compound or ceramic", Opening: true, Cautions: []string{"lids", "dust"}},
		{Name: "decap-laser", What: "remove moulding compound with a laser", Opening: true, Cautions: []string{"laser", "dust"}},
		{Name: "decap-thermal", What: "open with heat", Opening: true, Cautions: []string{"hot", "dust"}},
		{Name: "cut", What: "cut a piece out of a package or board", Opening: true, Cautions: []string{"dust", "lead"}},
		{Name: "clean", What: "rinse, wipe or blow clean", Cautions: []string{"solvents"}},
		{Name: "coat", What: "blacken or coat the surface for a known emissivity", Cautions: []string{"solvents"}},
		{Name: "wire", What: "bond or solder connections", Cautions: []string{"lead", "hot"}},
		{Name: "mount", What: "fix on a stage, heat sink or fixture", Cautions: []string{"powered"}},
		{Name: "power", What: "connect to a supply", Cautions: []string{"powered", "stored-energy", "hot"}},
	}
}

// FindStep returns the step of that name.
func FindStep(name string) (Step, bool) {
	i := slices.IndexFunc(Steps(), func(s Step) bool { return s.Name == name })
	if i < 0 {
		return Step{}, false
	}
	return Steps()[i], true
}

func stepNames() string {
	var names []string
	for _, s := range Steps() {
		names = append(names, s.Name)
	}
	return strings.Join(names[:len(names)-1], ", ") + " or " + names[len(names)-1]
}

// Caution is a short warning. Its text may change only together with its
// version, since records name the version that was shown.
type Caution struct {
	ID      string `json:"id"`
	Version int    `json:"version"`
	Text    string `json:"text"`
	Sources string `json:"sources"` // where the substance of it comes from
}

// deference ends every caution: this program trains nobody.
const deference = " Follow your site's rules and the current safety data sheet; this note is not training."

// FindCaution returns the caution of that id in its current version.
func FindCaution(id string) (Caution, bool) {
	for _, c := range cautions() {
		if c.ID == id {
			c.Text += deference
			return c, true
		}
	}
	return Caution{}, false
}

func cautions() []Caution {
	return []Caution{
		{"beryllia", 1, "BERYLLIA: this part may hold beryllium oxide ceramic, often unmarked. Whole ceramic is a low risk; broken, cut, ground or attacked by acid it gives off dust or fume that causes lasting lung disease and cancer. Unless the data sheet or the maker excludes it, do not open the part. If it is broken: leave it, keep the air still, call your safety officer.",
			"29 CFR 1910.1024; OSHA questions and answers on beryllium"},
		{"nitric-acid", 1, "Fuming nitric acid burns skin, eyes and lungs, and harm to the lungs can show hours later; with solvents and other organics it can react violently. For trained people only, never alone, in a working acid fume cupboard with full acid protection.",
			"SLAC nitric acid guideline; New Jersey Right to Know fact sheet"},
		{"sulfuric-acid", 1, "Hot sulfuric acid burns deeply and spatters violently when water reaches it; its fumes harm the lungs. For trained people only, with the same controls as for nitric acid.",
			"NIOSH Pocket Guide (from memory, not verified)"},
		{"lids", 1, "Lids of glass, ceramic or metal may fly or leave sharp edges, and sealed or evacuated parts can burst. Protect eyes and hands, open under a cover, and treat an unknown filling as hazardous.",
			"29 CFR 1910.133 (from memory, not verified)"},
		{"dust", 1, "Grinding, cutting and laser removal make dust and fume of what the part is made of: glass, metals, arsenic compounds, burnt resin. Use extraction made for it, no dry sweeping, and find out what the part holds first.",
			"common practice, no source"},
		{"laser", 1, "Laser radiation injures eyes and skin, reflected from metal as well. Only in an interlocked enclosure and under your laser safety officer's rules.",
			"common practice, no source"},
		{"hot", 1, "A part can look cold to the eye and burn, and a shiny metal part can look cold to a thermal camera while it is hot. Let it cool and check with a contact probe.",
			"common practice, no source"},
		{"solvents", 1, "Solvents burn and their vapour harms; some attack lens coatings, and acids must never meet zinc selenide or other toxic optics. Ventilate, and keep them away from flames and acids.",
			"zinc selenide safety data sheets (Vonjan 2024, Crystran 2015)"},
		{"lead", 1, "Old solder, glass frit and finishes contain lead. No food at the bench, wipe dust up wet, wash hands.",
			"29 CFR 1910.1025"},
		{"powered", 1, "Work with the power off where you can. Mains, and anything above about 50 V, is for qualified people only, behind an isolated and guarded supply. Metal lens mounts and stages conduct.",
			"29 CFR 1910.331 and 1910.333"},
		{"stored-energy", 1, "Capacitors and batteries stay dangerous after switch-off. Wait, let a rated device discharge them, measure before touching.",
			"29 CFR 1910.333(b) (from memory, not verified)"},
	}
}

// CautionsFor returns the cautions to be shown before a step on a specimen, the
// gravest first, and whether the person must say that they have read them: an
// opening step on a part that may hold beryllia asks for it.
func CautionsFor(step Step, s Specimen) (shown []Caution, mustAcknowledge bool) {
	ids := step.Cautions
	if step.Opening && s.Beryllia != Excluded {
		ids = append([]string{"beryllia"}, ids...)
		mustAcknowledge = s.Beryllia == Possible
	}
	for _, id := range ids {
		if c, ok := FindCaution(id); ok {
			shown = append(shown, c)
		}
	}
	return shown, mustAcknowledge
}
