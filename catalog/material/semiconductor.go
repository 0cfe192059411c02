package material

// galliumArsenide returns gallium arsenide.
func galliumArsenide() Material {
	return Material{
		Slug: "gallium-arsenide", Name: "gallium arsenide", Formula: "GaAs",
		Datasets: []Dataset{{Name: "skauli", Form: Sellmeier, LowUM: 0.97, HighUM: 17, Temperature: "22 °C",
			Coefficients: []float64{4.372514, 5.466742, 0.4431307, 0.02429960, 0.8746453, 1.957522, 36.9166},
			Source:       fromDatabase("Skauli et al., J. Appl. Phys. 94, 6447 (2003)", "main/GaAs/nk/Skauli")}},
		DefaultDataset: "skauli", DefaultReason: "the only set held; it spans 8 µm to 14 µm",
		AbsorptionTables: []AbsorptionTable{{Name: "handbook", K: galliumArsenideK(),
			Source: handbookK("GaAs") + "; zero means below what the table resolves"}},
		AbsorptionNote: "below what the table resolves up to 12.45 µm; about 0.01 /cm there is from memory, not verified",
		DnDT:           known(147e-6, sourceHandbook+", at 10 µm"),
		Hazards: hazards(
			Hazard{"Bears arsenic: precautions in handling and working. Handle intact parts with gloves, wash hands, treat broken pieces as sealed toxic waste.", sourceHandbook},
			Hazard{"Arsenic compounds cause cancer, and acids can release arsine: keep it away from acid work.", "from memory, not verified"},
		),
	}
}

// galliumArsenideK is k from 2.5 µm to 15 µm: zero to 12.45 µm, then in steps of 0.05 µm.
func galliumArsenideK() []Row {
	return append([]Row{{2.5, 0}, {12.45, 0}}, evenly(12.5, 0.05, 1e-6, []float64{
		0.117, 2.67, 5.36, 8.18, 11.2, 14.8, 19.0, 22.8, 25.9, 27.9, // 12.50
		29.0, 28.3, 25.1, 20.8, 16.5, 12.9, 10.4, 8.62, 7.52, 6.97, // 13.00
		6.80, 6.89, 7.04, 7.07, 7.01, 7.09, 7.58, 8.62, 9.85, 10.8, // 13.50
		11.7, 12.8, 14.2, 15.4, 16.0, 16.4, 16.8, 16.9, 16.6, 16.3, // 14.00
		16.0, 15.8, 15.8, 15.6, 14.7, 13.4, 13.0, 13.2, 14.2, 15.4, // 14.50
		14.1, // 15.00
	})...)
}

// cadmiumTelluride returns cadmium telluride.
func cadmiumTelluride() Material {
	return Material{
		Slug: "cadmium-telluride", Name: "cadmium telluride", Formula: "CdTe",
		Datasets: []Dataset{{Name: "debell-300k", Form: Sellmeier2, LowUM: 6, HighUM: 22, Temperature: "300 K",
			Coefficients: []float64{0, 6.1977889, 0.1005326, 3.2243821, 5279.518},
			Source:       fromDatabase("DeBell et al., Appl. Opt. 18, 3114 (1979)", "main/CdTe/nk/DeBell-300K")}},
		DefaultDataset: "debell-300k", DefaultReason: "the only set held",
		AbsorptionNote: "no table of lens material was found",
		DnDT:           known(50e-6, sourceHandbook),
		Hazards: hazards(Hazard{"Bears cadmium, which is toxic. Handle intact parts with gloves, wash hands, never grind it, treat broken pieces as sealed toxic waste.",
			sourceHandbook}),
	}
}
