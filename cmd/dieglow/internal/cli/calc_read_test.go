package cli

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
)

func TestStackFileRefusals(t *testing.T) {
	t.Parallel()
	const thick = `"n":4,"radius1_mm":25,"radius2_mm":null,"thickness_mm":3`
	lens := func(text string) string { return `{"wavelength_um":10,"elements":[` + text + `]}` }
	tests := []struct {
		name, text string
		kind       fault.Kind
		msg        string
	}{
		{"empty", ``, fault.Invalid, "line 1"},
		{"not JSON", "{\n\"elements\": [\n{]}", fault.Invalid, "line 3"},
		{"NaN", lens(`{"focal_mm":NaN}`), fault.Invalid, "not JSON"},
		{"trailing data", lens(`{"focal_mm":25}`) + ` {}`, fault.Invalid, "after top-level value"},
		{"trailing comma", lens(`{"focal_mm":25},`), fault.Invalid, "not JSON"},
		{"not UTF-8", lens("{\"focal_mm\":25,\"name\":\"\xff\"}"), fault.Invalid, "UTF-8"},
		{"deep", strings.Repeat("[", 100000), fault.Invalid, "not JSON"},
		{"a list", `[]`, fault.Invalid, "not an object"},
		{"null", `null`, fault.Invalid, "null"},
		{"unknown key", `{"element":[]}`, fault.Invalid, `"element"`},
		{"unknown key in a lens", lens(`{"Focal_mm":25}`), fault.Invalid, `lens 1: the key "Focal_mm"`},
		{"duplicate key", lens(`{"focal_mm":25},{"focal_mm":25,"focal_mm":30}`), fault.Invalid, `lens 2: the key "focal_mm" occurs twice`},
		{"duplicate key, escaped", lens(`{"focal_mm":25,"focal\u005fmm":30}`), fault.Invalid, "occurs twice"},
		{"no elements", `{}`, fault.Invalid, `"elements" is missing`},
		{"empty stack", lens(``), fault.Invalid, "no lens"},
		{"elements not a list", `{"elements":{}}`, fault.Invalid, "not a list"},
		{"lens not an object", lens(`25`), fault.Invalid, "lens 1 is a number"},
		{"nothing known", lens(`{}`), fault.Invalid, "none of"},
		{"mirror radius 0", lens(`{"mirror_radius_mm":0,"reflectance":0.98}`), fault.Invalid, `"mirror_radius_mm" is 0`},
		{"mirror without reflectance", lens(`{"mirror_radius_mm":null}`), fault.Invalid, `"reflectance" is missing`},
		{"reflectance 0", lens(`{"mirror_radius_mm":null,"reflectance":0}`), fault.Invalid, `"reflectance" is 0`},
		{"reflectance above 1", lens(`{"mirror_radius_mm":null,"reflectance":98}`), fault.Invalid, `"reflectance" is 98`},
		{"reflectance null", lens(`{"mirror_radius_mm":null,"reflectance":null}`), fault.Invalid, `"reflectance" is null`},
		{"mirror with a thickness", lens(`{"mirror_radius_mm":null,"reflectance":0.98,"thickness_mm":3}`), fault.Invalid, `"thickness_mm" is there with "mirror_radius_mm"`},
		{"mirror and lens", lens(`{"mirror_radius_mm":null,"focal_mm":25,"reflectance":0.98}`), fault.Invalid, `"focal_mm" and "mirror_radius_mm"`},
		{"reflectance of a lens", lens(`{"focal_mm":25,"reflectance":0.98}`), fault.Invalid, `"reflectance" is there without "mirror_radius_mm"`},
		{"mirror radius too small for the diameter", lens(`{"mirror_radius_mm":-20,"reflectance":0.98,"diameter_mm":50}`), fault.Invalid, "does not reach half its diameter"},
		{"two descriptions", lens(`{` + thick + `,"focal_mm":25}`), fault.Invalid, `"n" and "focal_mm"`},
		{"material and n", lens(`{` + thick + `,"material":"Ge"}`), fault.Invalid, `"material" and "n"`},
		{"thin with a radius", lens(`{"focal_mm":25,"radius1_mm":10}`), fault.Invalid, `"radius1_mm" is there with "focal_mm"`},
		{"radius missing", lens(`{"n":4,"radius1_mm":25,"thickness_mm":3}`), fault.Invalid, `"radius2_mm" is missing`},
		{"radius 0", lens(`{"n":4,"radius1_mm":0,"radius2_mm":null,"thickness_mm":3}`), fault.Invalid, `"radius1_mm" is 0`},
		{"radius with a unit", lens(`{"n":4,"radius1_mm":"25mm","radius2_mm":null,"thickness_mm":3}`), fault.Invalid, `"radius1_mm" is a text`},
		{"radius too large", lens(`{"n":4,"radius1_mm":1e999,"radius2_mm":null,"thickness_mm":3}`), fault.Invalid, `"radius1_mm" is too large`},
		{"radius too small for the diameter", lens(`{` + thick + `,"diameter_mm":51}`), fault.Invalid, "does not reach half its diameter"},
		{"thickness missing", lens(`{"n":4,"radius1_mm":25,"radius2_mm":null}`), fault.Invalid, `"thickness_mm" is missing`},
		{"thickness null", lens(`{"n":4,"radius1_mm":25,"radius2_mm":null,"thickness_mm":null}`), fault.Invalid, `"thickness_mm" is null`},
		{"thickness below 0", lens(`{"n":4,"radius1_mm":25,"radius2_mm":null,"thickness_mm":-3}`), fault.Invalid, "thickness"},
		{"index 0", lens(`{"n":0,"radius1_mm":25,"radius2_mm":null,"thickness_mm":3}`), fault.Invalid, `"n" is 0`},
		{"index 1", lens(`{"n":1,"radius1_mm":25,"radius2_mm":null,"thickness_mm":3}`), fault.Invalid, `"n" is 1`},
		{"focal length 0", lens(`{"focal_mm":0}`), fault.Invalid, `"focal_mm" is 0`},
		{"focal length too small", lens(`{"focal_mm":1e-320}`), fault.Invalid, "is not between"},
		{"gap below 0", lens(`{"focal_mm":25,"gap_after_mm":-1},{"focal_mm":25}`), fault.Invalid, `"gap_after_mm" is -1`},
		{"diameter 0", lens(`{"focal_mm":25,"diameter_mm":0}`), fault.Invalid, `"diameter_mm" is 0`},
		{"name with a control character", lens(`{"focal_mm":25,"name":"a\u001b[2J"}`), fault.Invalid, "control character"},
		{"wavelength 0", `{"wavelength_um":0,"elements":[{"focal_mm":25}]}`, fault.Invalid, `"wavelength_um" is 0`},
		{"no wavelength", `{"elements":[{"material":"Ge","radius1_mm":25,"radius2_mm":null,"thickness_mm":3}]}`, fault.Invalid, `"wavelength_um"`},
		{"outside the range", `{"wavelength_um":20,"elements":[{"material":"Ge","radius1_mm":25,"radius2_mm":null,"thickness_mm":3}]}`, fault.Invalid, "lens 1: 20 µm is outside"},
		{"unknown material", lens(`{"material":"germaniun","radius1_mm":25,"radius2_mm":null,"thickness_mm":3}`), fault.NotFound, "lens 1: no material"},
		{"unknown data set", lens(`{"material":"Ge","dataset":"x","radius1_mm":25,"radius2_mm":null,"thickness_mm":3}`), fault.NotFound, "no data set"},
		{"data set without material", lens(`{` + thick + `,"dataset":"burnett"}`), fault.Invalid, `"dataset" is there`},
	}
	for _, tt := range tests {
		task, err := readStackFile([]byte(tt.text), false)
		if err == nil {
			_, err = task.calculate()
		}
		if fault.KindOf(err) != tt.kind || !strings.Contains(err.Error(), tt.msg) || fault.HintOf(err) == "" {
			t.Errorf("%s: error %v, kind %v, hint %q, want %v with %q", tt.name, err, fault.KindOf(err), fault.HintOf(err), tt.kind, tt.msg)
		}
	}
}

func TestStackFileTooLarge(t *testing.T) {
	t.Parallel()
	for size, refused := range map[int]bool{maxStackBytes: false, maxStackBytes + 1: true} {
		app := &App{In: strings.NewReader(strings.Repeat(" ", size))}
		if _, err := app.readSmall("-"); (fault.KindOf(err) == fault.Invalid && fault.HintOf(err) != "") != refused {
			t.Errorf("%d bytes: error %v, want refused %v", size, err, refused)
		}
	}
}

func FuzzReadStack(f *testing.F) {
	for _, seed := range []string{
		`{"wavelength_um":10,"elements":[{"material":"germanium","radius1_mm":25,"radius2_mm":37.5,"thickness_mm":3,"gap_after_mm":1.5},{"focal_mm":-30}]}`,
		`{"elements":[{"n":1.5,"radius1_mm":null,"radius2_mm":-1e300,"thickness_mm":1e300,"diameter_mm":1e-300,"name":"a"}]}`,
		`{"elements":[{"focal_mm":50,"gap_after_mm":75},{"focal_mm":25}]}`,
		"\ufeff{\"wavelength_um\":10,\"elements\":[{\"material\":\"ZnSe\",\"dataset\":\"connolly\",\"radius1_mm\":1e-308,\"radius2_mm\":null,\"thickness_mm\":3}]}",
		`{"elements":[{"focal_mm":1e308,"gap_after_mm":1e308},{"focal_mm":1e-308}]}`, `{"elements":[{}]}`, `{"elements":[[]]}`, `{"n":1,"n":2}`,
	} {
		f.Add([]byte(seed), 20.0)
	}
	f.Fuzz(func(t *testing.T, data []byte, objectMM float64) {
		if math.IsNaN(objectMM) {
			return
		}
		task, err := readStackFile(data, true)
		var r calcResult
		if err == nil {
			task.objectMM, task.explain = &objectMM, true
			r, err = task.calculate()
		}
		if err != nil {
			if kind := fault.KindOf(err); kind != fault.Invalid && kind != fault.NotFound || fault.HintOf(err) == "" {
				t.Fatalf("error %v of kind %v without a remedy", err, kind)
			}
			return
		}
		if _, err := json.Marshal(r); err != nil {
			t.Fatalf("the result is no JSON: %v", err)
		}
		if r.Afocal == (r.EFLMM != nil) {
			t.Fatalf("afocal %v with a focal length %v", r.Afocal, r.EFLMM)
		}
	})
}
