package material

// Sources that several materials share.
const (
	sourceHandbook = "The Crystran Handbook of Infra-Red and Ultra-Violet Optical Materials, 5th ed. (2023)"
	sourcePractice = "common practice, no source"
)

// fromDatabase adds to a citation where its figures were read.
func fromDatabase(citation, file string) string {
	return citation + "; figures from the refractiveindex.info database (CC0), " + file
}

// handbookK returns the source of the handbook's extinction tables.
func handbookK(file string) string {
	return fromDatabase(sourceHandbook, "specs/crystran/optical/"+file)
}

// hazards ends a list of cautions with the one that holds for every material.
func hazards(particular ...Hazard) []Hazard {
	return append(particular, Hazard{
		"Broken optics have sharp edges; do not cut, grind or sand any optic. The current safety data sheet of the part and the rules of the site come before this text.",
		sourcePractice,
	})
}
