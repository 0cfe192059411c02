package material

// bariumFluoride returns barium fluoride.
func bariumFluoride() Material {
	return Material{
		Slug: "barium-fluoride", Name: "barium fluoride", Formula: "BaF2",
		Datasets: []Dataset{
			{Name: "li", Form: Sellmeier, LowUM: 0.15, HighUM: 15, Temperature: "293 K",
				Coefficients: []float64{0.33973, 0.81070, 0.10065, 0.19652, 29.87, 4.52469, 53.82},
				Source:       fromDatabase("Li, J. Phys. Chem. Ref. Data 9, 161 (1980)", "main/BaF2/nk/Li")},
			{Name: "malitson", Form: Sellmeier, LowUM: 0.2652, HighUM: 10.346, Temperature: "25 °C",
				Coefficients: []float64{0, 0.643356, 0.057789, 0.506762, 0.10968, 3.8261, 46.3864},
				Source:       fromDatabase("Malitson, J. Opt. Soc. Am. 54, 628 (1964)", "main/BaF2/nk/Malitson")},
		},
		DefaultDataset:   "li",
		DefaultReason:    "a critical compilation that spans 8 µm to 14 µm",
		AbsorptionTables: []AbsorptionTable{{Name: "handbook", Source: handbookK("BaF2"), K: evenly(8, 0.1, 1e-6, bariumFluorideK())}},
		AbsorptionNote:   "rises steeply beyond 10 µm: a window dims the long end of the band",
		DnDT:             known(-15.2e-6, sourceHandbook),
		Hazards: hazards(
			Hazard{"Cracks with thermal shock and is slightly soluble in water: warm it slowly and keep it dry.", sourceHandbook},
			Hazard{"Toxic if swallowed; wash hands.", "from memory, not verified"},
		),
	}
}

// bariumFluorideK is k in units of 1e-6 from 8.0 µm in steps of 0.1 µm.
func bariumFluorideK() []float64 {
	return []float64{
		0, 0, 0, 0, 0.0505, 0.111, 0.241, 0.437, 0.627, 0.777, // 8.0
		0.940, 1.19, 1.51, 1.85, 2.22, 2.65, 3.17, 3.79, 4.49, 5.24, // 9.0
		6.09, 7.15, 8.38, 9.74, 11.2, 12.9, 14.8, 17.1, 19.6, 22.2, // 10.0
		25.2, 28.4, 32.0, 36.3, 41.2, 46.7, 52.6, 59.3, 66.7, 74.6, // 11.0
		83.0, 92.9, 104, 116, 129, 144, 159, 174, 190, 208, // 12.0
		223, 259, 283, 310, 339, 372, 407, 446, 487, 529, // 13.0
		574, 622, 673, 729, 793, 867, 948, 1040, 1130, 1230, // 14.0
		1330, // 15.0
	}
}

// calciumFluoride returns calcium fluoride.
func calciumFluoride() Material {
	return Material{
		Slug: "calcium-fluoride", Name: "calcium fluoride", Formula: "CaF2", Synonyms: []string{"fluorite"},
		Datasets: []Dataset{
			{Name: "li", Form: Sellmeier, LowUM: 0.15, HighUM: 12, Temperature: "293 K",
				Coefficients: []float64{0.33973, 0.69913, 0.09374, 0.11994, 21.18, 4.35181, 38.46},
				Source:       fromDatabase("Li, J. Phys. Chem. Ref. Data 9, 161 (1980)", "main/CaF2/nk/Li")},
			{Name: "malitson", Form: Sellmeier, LowUM: 0.23, HighUM: 9.7, Temperature: "24 °C",
				Coefficients: []float64{0, 0.5675888, 0.050263605, 0.4710914, 0.1003909, 3.8484723, 34.649040},
				Source:       fromDatabase("Malitson, Appl. Opt. 2, 1103 (1963)", "main/CaF2/nk/Malitson")},
		},
		DefaultDataset:   "li",
		DefaultReason:    "a critical compilation that reaches 12 µm",
		AbsorptionTables: []AbsorptionTable{{Name: "handbook", Source: handbookK("CaF2"), K: evenly(8, 0.1, 1e-6, calciumFluorideK())}},
		AbsorptionNote:   "absorbs strongly beyond 9 µm: not a material for the band from 8 µm to 14 µm",
		DnDT:             known(-10.6e-6, sourceHandbook),
		Hazards:          hazards(Hazard{"Cracks with thermal shock: warm it slowly.", sourcePractice}),
	}
}

// calciumFluorideK is k in units of 1e-6 from 8.0 µm in steps of 0.1 µm, every
// second row of the handbook's table.
func calciumFluorideK() []float64 {
	return []float64{
		10.6, 12.5, 14.6, 17.2, 20.0, 23.2, 26.9, 31.3, 36.3, 41.8, // 8.0
		47.8, 55.0, 63.0, 71.7, 81.4, 92.7, 105, 119, 134, 151, // 9.0
		170, 169, 189, 212, 237, 264, 294, 329, 367, 408, // 10.0
		451, 495, 543, 595, 649, 706, 772, 846, 924, 1010, // 11.0
		1110, 1230, 1370, 1530, 1730, 1970, 2220, 2480, 2720, 2960, // 12.0
		3210, 3450, 3700, 3990, 4320, 4700, 5110, 5490, 5750, 5840, // 13.0
		5840, // 14.0
	}
}

// potassiumBromide returns potassium bromide.
func potassiumBromide() Material {
	return Material{
		Slug: "potassium-bromide", Name: "potassium bromide", Formula: "KBr",
		Datasets: []Dataset{{Name: "li", Form: Sellmeier, LowUM: 0.20, HighUM: 42, Temperature: "297 K",
			Coefficients: []float64{0.39408, 0.79221, 0.146, 0.01981, 0.173, 0.15587, 0.187, 0.17673, 60.61, 2.06217, 87.72},
			Source:       fromDatabase("Li, J. Phys. Chem. Ref. Data 5, 329 (1976)", "main/KBr/nk/Li")}},
		DefaultDataset: "li", DefaultReason: "the only set held",
		AbsorptionNote: "no table was found that resolves its small absorption in the band from 8 µm to 14 µm",
		DnDT:           Coefficient{Unknown: "no source was read; about -41e-6 /K is from memory, not verified"},
		Hazards:        hazards(Hazard{"Takes up water from the air and clouds: keep it dry and warm, never wet-clean it.", sourceHandbook}),
	}
}

// sodiumChloride returns sodium chloride.
func sodiumChloride() Material {
	return Material{
		Slug: "sodium-chloride", Name: "sodium chloride", Formula: "NaCl", Synonyms: []string{"rock salt"},
		Datasets: []Dataset{{Name: "li", Form: Sellmeier, LowUM: 0.2, HighUM: 30, Temperature: "297 K",
			Coefficients: []float64{0.00055, 0.19800, 0.050, 0.48398, 0.100, 0.38696, 0.128, 0.25998, 0.158, 0.08796, 40.50, 3.17064, 60.98, 0.30038, 120.34},
			Source:       fromDatabase("Li, J. Phys. Chem. Ref. Data 5, 329 (1976)", "main/NaCl/nk/Li")}},
		DefaultDataset: "li", DefaultReason: "the only set held",
		AbsorptionNote: "no table was found that resolves its small absorption in the band from 8 µm to 14 µm",
		DnDT:           Coefficient{Unknown: "no source was read"},
		Hazards:        hazards(Hazard{"Takes up water from the air and clouds: keep it dry and warm, never wet-clean it.", sourcePractice}),
	}
}
