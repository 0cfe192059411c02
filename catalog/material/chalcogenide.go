package material

// The composition of the glasses is the usual reading of their trade names; the
// makers' index tables do not state it.
const glassNote = "makers' sheets name the glass by a trade name; that it has this composition is from memory, not verified"

func arsenicGlassHazards() []Hazard {
	return hazards(
		Hazard{"Holds arsenic and selenium: toxic if swallowed or inhaled as dust, harm to organs with repeated exposure (H301, H331, H373 for a Se-As-Ge alloy). Handle intact parts with gloves, wash hands, keep away from heat, and treat broken pieces as sealed toxic waste.",
			"safety data sheet of a selenium-arsenic-germanium alloy (docslib.org, document 13467273)"},
	)
}

// germaniumArsenicSelenide returns the glass Ge33As12Se55.
func germaniumArsenicSelenide() Material {
	const (
		flyer = "maker's product flyer (April 2017)"
		sheet = "maker's data sheet (June 2014)"
		info  = "maker's information sheet (2012)"
	)
	return Material{
		Slug: "ge33as12se55", Name: "Ge33As12Se55 glass", Formula: "Ge33As12Se55", Synonyms: []string{"IRG22", "IG2", "AMTIR-1"},
		Datasets: []Dataset{
			{Name: "flyer-2017", Form: Sellmeier2, LowUM: 1, HighUM: 12, Temperature: "293 K",
				Coefficients: []float64{2.4834, 2.8203, 0.1352, 0.9773, 1420.7}, Source: fromDatabase(flyer, "specs/schott/infrared/IRG22")},
			{Name: "sheet-2014", Form: Sellmeier, LowUM: 1, HighUM: 12, Temperature: "room", RelativeTo: "air",
				Coefficients: []float64{2.341388, 2.962098, 0.360017, 0.831035, 35.023342}, Source: fromDatabase(sheet, "specs/vitron/infrared/IG2")},
			{Name: "sheet-2012", Form: Tabulated, LowUM: 1, HighUM: 14, Temperature: "not stated", Table: amtirN(), Source: fromDatabase(info, "specs/ami/infrared/AMTIR-1")},
		},
		DefaultDataset: "flyer-2017",
		DefaultReason:  "states its temperature, and comes with absorption from the same source",
		AbsorptionTables: []AbsorptionTable{
			{Name: "flyer-2017", Source: fromDatabase(flyer, "specs/schott/infrared/IRG22"), K: evenly(7, 0.5, 1e-7, []float64{
				1.6736, 4.7938, 31.315, 10.223, 8.6463, 9.8923, 9.6071, 18.588, 56.961, 227.38, 870.23, 1835.4, 1839.2, 906.67, 476.51, 406.62, 527.13, 857.43})},
			{Name: "sheet-2014", Source: fromDatabase(sheet, "specs/vitron/infrared/IG2"), K: evenly(7, 1, 1e-7, []float64{
				5.9146, 15.079, 2.0710, 3.7970, 43.306, 515.46, 929.32, 368.57})},
			{Name: "sheet-2012", Source: fromDatabase(info, "specs/ami/infrared/AMTIR-1"), K: evenly(7, 1, 1e-7, []float64{
				5.5704, 6.3662, 7.1620, 7.9577, 26.261, 143.24, 155.18, 144.83})},
		},
		AbsorptionNote: "makers differ several times over beyond 11 µm, where oxide impurities absorb",
		DnDT:           known(67.2e-6, "at 10 µm, from the thermal coefficients of the "+flyer),
		Hazards:        arsenicGlassHazards(),
		Notes:          []string{glassNote},
	}
}

func amtirN() []Row {
	return []Row{
		{1.0, 2.5977}, {1.064, 2.5862}, {1.5, 2.5466}, {2, 2.5306}, {2.4, 2.525}, {3, 2.5192}, {4, 2.5146}, {5, 2.5117}, {6, 2.5092},
		{7, 2.5068}, {8, 2.5042}, {9, 2.5013}, {10, 2.4981}, {11, 2.4946}, {12, 2.4905}, {13, 2.486}, {14, 2.4825},
	}
}

// germaniumAntimonySelenide returns the glass Ge28Sb12Se60.
func germaniumAntimonySelenide() Material {
	const (
		flyer = "maker's product flyer (April 2017)"
		sheet = "maker's data sheet (June 2014)"
	)
	return Material{
		Slug: "ge28sb12se60", Name: "Ge28Sb12Se60 glass", Formula: "Ge28Sb12Se60", Synonyms: []string{"IRG25", "IG5"},
		Datasets: []Dataset{
			{Name: "flyer-2017", Form: Sellmeier2, LowUM: 0.85, HighUM: 12, Temperature: "293 K",
				Coefficients: []float64{2.7574, 3.0990, 0.1596, 1.6660, 2045.5}, Source: fromDatabase(flyer, "specs/schott/infrared/IRG25")},
			{Name: "sheet-2014", Form: Sellmeier, LowUM: 1, HighUM: 12, Temperature: "room", RelativeTo: "air",
				Coefficients: []float64{2.810945, 3.046894, 0.402147, 1.793191, 46.757008}, Source: fromDatabase(sheet, "specs/vitron/infrared/IG5")},
		},
		DefaultDataset: "flyer-2017",
		DefaultReason:  "states its temperature, and comes with absorption from the same source",
		AbsorptionTables: []AbsorptionTable{
			{Name: "flyer-2017", Source: fromDatabase(flyer, "specs/schott/infrared/IRG25"), K: evenly(7, 0.5, 1e-7, []float64{
				5.0361, 7.8097, 25.325, 12.975, 15.200, 15.273, 14.454, 26.312, 56.027, 148.73, 486.21, 1161.8, 1208.3, 702.51, 402.15, 382.26, 549.62, 926.05})},
			{Name: "sheet-2014", Source: fromDatabase(sheet, "specs/vitron/infrared/IG5"), K: evenly(7, 1, 1e-7, []float64{
				14.914, 21.907, 6.8308, 9.4902, 46.058, 430.45, 1030.4, 385.19})},
		},
		AbsorptionNote: "rises beyond 11 µm, where oxide impurities absorb",
		DnDT:           Coefficient{Unknown: "sources conflict: the 2017 flyer's coefficients give 20e-6 /K, another maker's sheet for this composition 91e-6 /K"},
		Hazards: hazards(Hazard{"Holds antimony and selenium: treat as the arsenic glasses until its own sheet says otherwise. Handle intact parts with gloves, wash hands, and treat broken pieces as sealed toxic waste.",
			sourcePractice}),
		Notes: []string{glassNote},
	}
}

// arsenicSelenide returns the glass As40Se60.
func arsenicSelenide() Material {
	const flyer = "maker's product flyer (April 2017)"
	return Material{
		Slug: "as40se60", Name: "As40Se60 glass", Formula: "As40Se60", Synonyms: []string{"IRG26", "As2Se3"},
		Datasets: []Dataset{
			{Name: "flyer-2017", Form: Sellmeier2, LowUM: 0.85, HighUM: 12, Temperature: "293 K",
				Coefficients: []float64{3.1934, 3.5854, 0.1852, 2.2337, 3398.08}, Source: fromDatabase(flyer, "specs/schott/infrared/IRG26")},
		},
		DefaultDataset: "flyer-2017",
		DefaultReason:  "the only set held",
		AbsorptionTables: []AbsorptionTable{
			{Name: "flyer-2017", Source: fromDatabase(flyer, "specs/schott/infrared/IRG26"), K: evenly(7, 0.5, 1e-7, []float64{
				2.2326, 2.9916, 4.4720, 11.598, 42.793, 16.817, 28.351, 41.980, 27.565, 31.656, 52.002, 107.02, 288.00, 575.98, 919.72, 1685.8, 2861.1, 3280.1})},
		},
		DnDT:    known(32.2e-6, "at 10 µm, from the thermal coefficients of the "+flyer),
		Hazards: arsenicGlassHazards(),
		Notes:   []string{glassNote, "softens at the temperature of a hot board: keep it away from heaters"},
	}
}
