package material

// zincSelenide returns chemically vapour-deposited zinc selenide.
func zincSelenide() Material {
	return Material{
		Slug: "zinc-selenide", Name: "zinc selenide", Formula: "ZnSe",
		Datasets: []Dataset{{
			Name: "connolly", Form: Sellmeier, LowUM: 0.54, HighUM: 18.2, Temperature: "23 °C",
			Coefficients: []float64{0, 4.45813734, 0.200859853, 0.467216334, 0.391371166, 2.89566290, 47.1362108},
			Source:       fromDatabase("Connolly, diBenedetto, Donadio, Proc. SPIE 181, 141 (1979); fit by Tatian, Appl. Opt. 23, 4477 (1984)", "main/ZnSe/nk/Connolly"),
		}},
		DefaultDataset: "connolly",
		DefaultReason:  "measured on vapour-deposited lens material over the whole infrared; film studies are left out",
		AbsorptionTables: []AbsorptionTable{{
			Name: "querry", K: zincSelenideK(),
			Source: fromDatabase("Querry, report CRDEC-CR-88009 (1987): an old sample, read it as an upper bound", "main/ZnSe/nk/Querry"),
		}},
		AbsorptionNote: "an upper bound: present laser-grade material absorbs less (about 5e-4 /cm at 10.6 µm, from memory, not verified)",
		DnDT:           Coefficient{Unknown: "no source was read; about 61e-6 /K at 10.6 µm is from memory, not verified"},
		Hazards: hazards(
			Hazard{"Toxic if swallowed or inhaled, harm to organs with repeated exposure, very toxic to water life (H301, H331, H373, H410). Handle intact lenses with gloves and wash hands. Never grind it. Treat broken pieces as sealed toxic waste.",
				"safety data sheets for zinc selenide (vonjan-tech.de, 2024; Crystran)"},
			Hazard{"Contact with acids releases very toxic hydrogen selenide (EUH032): never clean it with an acid, and keep it away from acid work.",
				"safety data sheets for zinc selenide (vonjan-tech.de, 2024; Crystran)"},
			Hazard{"Workplace limit for selenium compounds in air: 0.2 mg/m3 as selenium (OSHA PEL, ACGIH TLV).", "safety data sheet for zinc selenide (studylib.net, document 7361715)"},
		),
	}
}

// zincSelenideK is k from 7.5758 µm to 15.1515 µm, at Querry's wavelengths.
func zincSelenideK() []Row {
	rows := []Row{
		{7.5758, 8}, {7.6923, 8}, {7.8125, 9}, {7.9365, 9}, {8.0645, 8}, {8.1967, 9}, {8.3333, 9}, {8.4746, 9},
		{8.6207, 9}, {8.7719, 10}, {8.9286, 10}, {9.0909, 11}, {9.2593, 10}, {9.4340, 10}, {9.6154, 11}, {9.8039, 11},
		{10.0000, 9}, {10.2041, 9}, {10.4167, 9}, {10.6383, 9}, {10.8696, 8}, {11.1111, 8}, {11.3636, 8}, {11.6279, 8},
		{11.9048, 8}, {12.1951, 7}, {12.5000, 8}, {12.8205, 7}, {13.1579, 7}, {13.5135, 11}, {13.8889, 17}, {14.2857, 34},
		{14.7059, 66}, {15.1515, 152},
	}
	for i := range rows {
		rows[i].Value *= 1e-7
	}
	return rows
}

// zincSulfide returns zinc sulfide.
func zincSulfide() Material {
	return Material{
		Slug: "zinc-sulfide", Name: "zinc sulfide", Formula: "ZnS", Synonyms: []string{"zinc-sulphide"},
		Datasets: []Dataset{{
			Name: "debenham", Form: Mixed, LowUM: 0.405, HighUM: 13, Temperature: "20 °C",
			Coefficients: []float64{8.393, 0.14383, 0, 0.2421, 2, 4430.99, 0, 36.71, 2},
			Source:       fromDatabase("Debenham, Appl. Opt. 23, 2238 (1984); fit by Klein, Appl. Opt. 25, 1873 (1986)", "main/ZnS/nk/Debenham"),
		}},
		DefaultDataset: "debenham",
		DefaultReason:  "measured on clear vapour-deposited material; film studies are left out",
		AbsorptionNote: "the tables found belong to samples that no lens is made of (24 to 47 /cm), so none is held",
		DnDT:           Coefficient{Unknown: "no source was read; about 41e-6 /K is from memory, not verified"},
		Hazards: hazards(Hazard{"The dust irritates a little; keep it away from strong acids. Workplace limit 0.1 mg/m3 of respirable dust (MAK).",
			"International Chemical Safety Card 1627 (chemicalsafety.ilo.org)"}),
	}
}
