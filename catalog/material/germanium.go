package material

// germanium returns germanium, the usual lens material from 8 µm to 14 µm.
func germanium() Material {
	uLow, uHigh := between(2e-5, 8e-5)
	return Material{
		Slug: "germanium", Name: "germanium", Formula: "Ge",
		Datasets: []Dataset{
			{
				Name: "burnett", Form: Sellmeier2, LowUM: 2, HighUM: 14, Temperature: "295 K", ULow: uLow, UHigh: uHigh,
				Coefficients: []float64{0, 0.4886331, 1.393959, 14.5142535, 0.1626427, 0.0091224, 752.190},
				Source:       fromDatabase("Burnett, Kaplan, Stover, Phenis, Proc. SPIE 9974, 99740X (2016)", "main/Ge/nk/Burnett"),
			},
			{
				Name: "icenogle", Form: Sellmeier2, LowUM: 2.5, HighUM: 12, Temperature: "293 K",
				Coefficients: []float64{8.28156, 6.72880, 0.44105, 0.21307, 3870.1},
				Source:       fromDatabase("Icenogle, Platt, Wolfe, Appl. Opt. 15, 2348 (1976); fit by Barnes, Piltch, J. Opt. Soc. Am. 69, 178 (1979)", "main/Ge/nk/Icenogle"),
			},
			{
				Name: "li-293k", Form: Tabulated, LowUM: 1.9, HighUM: 18, Temperature: "293 K", Table: germaniumLi(),
				Source: fromDatabase("Li, J. Phys. Chem. Ref. Data 9, 561 (1980)", "main/Ge/nk/Li-293K"),
			},
		},
		DefaultDataset: "burnett",
		DefaultReason:  "the most recent measurement, the only one with a stated uncertainty, and it spans 8 µm to 14 µm",
		AbsorptionTables: []AbsorptionTable{{
			Name: "handbook", K: evenly(7, 0.05, 1e-6, germaniumK()), Source: handbookK("Ge"),
		}},
		AbsorptionNote: "rises steeply with temperature and with doping; the table is for a cool, optical-grade part",
		DnDT:           known(396e-6, sourceHandbook+"; the tables of Li (1980) for 250 K and 350 K give 408e-6 at 10 µm"),
		Hazards: hazards(
			Hazard{"Comparatively low toxicity; kidney and liver injury at high doses (rat, oral, LD50 3700 mg/kg). Do not make or breathe dust.", "Haz-Map, agent 5418"},
			Hazard{"Becomes opaque a little above 350 K, so a germanium lens close to a hot part is blinded, and a hot lens glows.", sourceHandbook},
		),
		Notes: []string{
			"published sets differ by about 2e-3 in n: measure your own batch when that matters (Frey, Leviton, Madison, DOI 10.1117/12.672850)",
			"studies of thin films give a lower index (near 3.96) and do not describe a lens",
		},
	}
}

// germaniumLi is the table of Li (1980) at 293 K.
func germaniumLi() []Row {
	return []Row{
		{1.90, 4.1117}, {1.92, 4.1094}, {1.94, 4.1072}, {1.96, 4.1050}, {1.98, 4.1029}, {2.00, 4.1008},
		{2.05, 4.0959}, {2.10, 4.0914}, {2.15, 4.0872}, {2.20, 4.0832}, {2.25, 4.0795}, {2.30, 4.0761},
		{2.40, 4.0698}, {2.50, 4.0642}, {2.60, 4.0593}, {2.70, 4.0549}, {2.80, 4.0509}, {2.90, 4.0474},
		{3.00, 4.0442}, {3.20, 4.0387}, {3.40, 4.0341}, {3.60, 4.0302}, {3.80, 4.0270}, {4.00, 4.0242},
		{4.25, 4.0212}, {4.50, 4.0188}, {4.75, 4.0167}, {5.00, 4.0149}, {5.50, 4.0120}, {6.00, 4.0098},
		{6.50, 4.0081}, {7.00, 4.0068}, {8.00, 4.0048}, {9.00, 4.0034}, {10.0, 4.0025}, {11.0, 4.0017},
		{12.0, 4.0012}, {13.0, 4.0008}, {14.0, 4.0004}, {15.0, 4.0001}, {16.0, 3.9999}, {17.0, 3.9997},
		{18.0, 3.9996},
	}
}

// germaniumK is k in units of 1e-6 from 7.00 µm in steps of 0.05 µm.
func germaniumK() []float64 {
	return []float64{
		0.419, 0.497, 0.631, 0.796, 0.896, 0.960, 1.02, 1.08, 1.14, 1.18, // 7.00
		1.22, 1.27, 1.30, 1.34, 1.38, 1.42, 1.45, 1.47, 1.50, 1.53, // 7.50
		1.55, 1.58, 1.59, 1.60, 1.61, 1.62, 1.61, 1.60, 1.59, 1.58, // 8.00
		1.55, 1.52, 1.49, 1.45, 1.41, 1.37, 1.32, 1.27, 1.23, 1.18, // 8.50
		1.15, 1.10, 1.07, 1.02, 0.982, 0.933, 0.884, 0.834, 0.795, 0.793, // 9.00
		0.853, 0.988, 1.16, 1.29, 1.38, 1.44, 1.49, 1.53, 1.56, 1.58, // 9.50
		1.58, 1.60, 1.61, 1.62, 1.64, 1.66, 1.69, 1.72, 1.74, 1.79, // 10.00
		1.81, 1.85, 1.90, 1.94, 1.98, 2.04, 2.08, 2.14, 2.19, 2.26, // 10.50
		2.35, 2.47, 2.63, 2.82, 3.09, 3.40, 3.81, 4.34, 5.03, 5.95, // 11.00
		7.18, 9.45, 13.7, 18.5, 22.6, 27.0, 32.3, 36.5, 35.7, 35.4, // 11.50
		33.8, 30.5, 28.5, 27.5, 27.3, 27.4, 27.3, 27.2, 27.0, 26.9, // 12.00
		26.9, 27.4, 28.2, 27.4, 26.3, 25.3, 24.9, 25.3, 26.6, 28.4, // 12.50
		30.4, 32.8, 35.6, 38.9, 42.5, 44.8, 45.4, 45.5, 45.1, 44.1, // 13.00
		42.2, 40.2, 38.3, 36.6, 35.1, 33.7, 32.6, 31.6, 30.8, 30.1, // 13.50
		29.4, 28.8, 28.3, 28.1, 28.3, 29.1, 30.4, 32.2, 34.6, 38.2, // 14.00
		42.9, // 14.50
	}
}
