package material

// polyethylene returns polyethylene, used as a thin cover film.
func polyethylene() Material {
	return Material{
		Slug: "polyethylene", Name: "polyethylene", Formula: "(C2H4)n", Synonyms: []string{"polythene", "PE", "HDPE", "LDPE", "LLDPE"},
		Datasets: []Dataset{{Name: "david-film", Form: Tabulated, LowUM: 8, HighUM: 12, Temperature: "not stated",
			Table:  []Row{{8, 1.5399}, {9, 1.5382}, {10, 1.5422}, {10.6, 1.5460}, {12, 1.5438}},
			Source: fromDatabase("David et al., Opt. Mater. Express 12, 2168 (2022), a spin-coated film of 270 nm, read at five wavelengths", "organic/(C2H4)n/nk/David")}},
		DefaultDataset: "david-film", DefaultReason: "the only set held; a thin film, so take the second decimal with care in a sheet",
		AbsorptionNote: "the one table held comes from a film so thin that its absorption is noise, and nothing trustworthy was found for a sheet",
		DnDT:           Coefficient{Unknown: "no source was read"},
		Hazards:        hazards(Hazard{"Softens and melts on a hot part, and burns: keep a film clear of powered specimens.", sourcePractice}),
		Notes: []string{
			"a thin film passes most of the band from 8 µm to 14 µm; window glass is opaque there, and polished metal reflects the surroundings (common practice, no source)",
		},
	}
}
