package material

// silicon returns silicon, an inexpensive lens material that absorbs beyond 9 µm.
func silicon() Material {
	return Material{
		Slug: "silicon", Name: "silicon", Formula: "Si",
		Datasets: []Dataset{
			{
				Name: "chandler-horowitz", Form: Mixed, LowUM: 2.5, HighUM: 22.222, Temperature: "room",
				Coefficients: []float64{11.67316, 1, 0, 0, 1, 0.004482633, 0, 1.108205, 2},
				Source:       fromDatabase("Chandler-Horowitz, Amirtharaj, J. Appl. Phys. 97, 123526 (2005)", "main/Si/nk/Chandler-Horowitz"),
			},
			{
				Name: "salzberg", Form: Sellmeier, LowUM: 1.357, HighUM: 11.04, Temperature: "26 °C",
				Coefficients: []float64{0, 10.6684293, 0.301516485, 0.0030434748, 1.13475115, 1.54133408, 1104},
				Source:       fromDatabase("Salzberg, Villa, J. Opt. Soc. Am. 47, 244 (1957); fit by Tatian, Appl. Opt. 23, 4477 (1984)", "main/Si/nk/Salzberg"),
			},
			{
				Name: "edwards", Form: Herzberger, LowUM: 2.4373, HighUM: 25, Temperature: "26 °C",
				Coefficients: []float64{3.41983, 0.159906, -0.123109, 1.26878e-6, -1.95104e-9},
				Source:       fromDatabase("Edwards, Ochoa, Appl. Opt. 19, 4130 (1980)", "main/Si/nk/Edwards"),
			},
		},
		DefaultDataset: "chandler-horowitz",
		DefaultReason:  "the most recent measurement, and it spans 8 µm to 14 µm",
		AbsorptionTables: []AbsorptionTable{{
			Name: "chandler-horowitz", K: byWavenumber(1334, 2, 1e-6, siliconK()),
			Source: fromDatabase("Chandler-Horowitz, Amirtharaj, J. Appl. Phys. 97, 123526 (2005)", "main/Si/nk/Chandler-Horowitz"),
		}},
		AbsorptionNote: "the lattice absorbs near 9 µm and beyond 10 µm; oxygen in some grades adds to it, so keep silicon thin in this band",
		DnDT:           known(1.59e-4, "difference of the tables for 250 K and 350 K at 10 µm in Li, J. Phys. Chem. Ref. Data 9, 561 (1980)"),
		Hazards:        hazards(Hazard{"No particular hazard of an intact part is known to this catalogue; brittle.", sourcePractice}),
		Notes:          []string{"published sets differ by about 4e-3 in n: measure your own batch when that matters (Frey, Leviton, Madison, DOI 10.1117/12.672850)"},
	}
}

// siliconK is k in units of 1e-6 from 1334 /cm (7.496 µm) down in steps of 2 /cm.
func siliconK() []float64 {
	return []float64{
		20.9, 21.4, 22.2, 23.1, 23.5, 24.4, 25.3, 26.2, 26.6, 27.5, // 1334
		28.3, 28.8, 29.2, 29.6, 29.6, 30.1, 30.1, 30.1, 30.1, 29.6, // 1314
		29.6, 29.2, 28.8, 28.3, 27.9, 27.5, 27.0, 26.6, 25.3, 25.3, // 1294
		24.9, 24.4, 23.5, 23.5, 22.7, 22.2, 21.8, 21.4, 20.9, 20.5, // 1274
		20.5, 20.1, 20.1, 19.6, 19.6, 19.2, 19.2, 19.2, 18.8, 18.8, // 1254
		18.8, 18.3, 18.3, 18.3, 18.3, 18.3, 19.2, 19.2, 19.2, 20.1, // 1234
		20.9, 21.4, 22.7, 23.5, 24.4, 25.7, 26.6, 27.9, 29.2, 30.9, // 1214
		31.8, 33.1, 34.4, 35.7, 37.0, 37.9, 38.8, 40.1, 41.0, 41.8, // 1194
		42.7, 44.0, 44.4, 45.3, 46.6, 47.5, 48.8, 49.2, 50.1, 51.4, // 1174
		52.7, 54.0, 55.3, 56.6, 58.4, 60.5, 62.3, 64.9, 66.6, 67.9, // 1154
		69.7, 71.0, 71.8, 72.7, 73.6, 74.4, 74.9, 75.3, 75.8, 75.8, // 1134
		75.8, 75.8, 75.3, 74.9, 74.0, 73.1, 72.3, 71.4, 70.1, 68.8, // 1114
		67.9, 66.6, 65.7, 64.0, 63.1, 61.8, 60.5, 59.2, 58.4, 57.5, // 1094
		55.7, 54.9, 54.0, 53.1, 52.3, 51.0, 50.5, 49.7, 49.2, 48.3, // 1074
		47.5, 46.6, 46.2, 45.7, 45.3, 45.3, 44.9, 45.3, 45.3, 45.7, // 1054
		46.6, 47.5, 47.9, 48.8, 49.7, 51.0, 52.7, 54.0, 55.7, 57.0, // 1034
		58.8, 60.5, 62.3, 64.9, 66.6, 68.4, 71.4, 74.0, 77.1, 79.2, // 1014
		82.7, 86.2, 90.1, 93.2, 97.9, 102, 104, 108, 111, 115, // 994
		117, 119, 121, 123, 125, 126, 126, 127, 127, 127, // 974
		126, 125, 124, 123, 122, 122, 123, 124, 127, 129, // 954
		132, 135, 137, 141, 144, 149, 152, 157, 162, 167, // 934
		173, 180, 188, 192, 195, 199, 201, 204, 206, 207, // 914
		208, 210, 211, 212, 213, 212, 212, 212, 211, 210, // 894
		209, 208, 206, 203, 201, 198, 191, 184, 176, 172, // 874
		166, 162, 159, 157, 153, 148, 145, 142, 141, 143, // 854
		148, 158, 168, 179, 191, 199, 206, 212, 214, 212, // 834
		208, 203, 198, 192, 185, 176, 167, 168, 179, 191, // 814
		201, 206, 208, 210, 211, 212, 214, 216, 218, 219, // 794
		221, 222, 225, 228, 231, 234, 237, 241, 245, 248, // 774
		253, 258, 266, 273, 287, 301, 319, 333, 334, 325, // 754
		312, 301, 290, 276, 262, 252, 237, 225, 207, 191, // 734
		160, 134, 117, 104, 97.9, 92.7, 91.0, 92.7, // 714
	}
}
