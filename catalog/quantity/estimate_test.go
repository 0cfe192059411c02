package quantity_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-12*math.Abs(want) }

func TestParse(t *testing.T) {
	t.Parallel()
	tests := []struct {
		in    string
		unit  quantity.Unit
		value float64
		u     float64 // 0: none stated
	}{
		{"25.4mm", quantity.Millimetre, 25.4, 0},
		{"1in", quantity.Millimetre, 25.4, 0}, // exact by definition: BIPM SI brochure, 9th ed., and NIST SP 811, B.8
		{" 1 in ", quantity.Millimetre, 25.4, 0},
		{"12 um", quantity.Micrometre, 12, 0},
		{"12µm", quantity.Millimetre, 0.012, 0},
		{"12μm", quantity.Micrometre, 12, 0}, // Greek mu
		{"10600nm", quantity.Micrometre, 10.6, 0},
		{"1.5e2 mm", quantity.Metre, 0.15, 0},
		{"1.5E-2m", quantity.Millimetre, 15, 0},
		{".5mm", quantity.Millimetre, 0.5, 0},
		{"5.mm", quantity.Millimetre, 5, 0},
		{"+5mm", quantity.Millimetre, 5, 0},
		{"−5mm", quantity.Millimetre, -5, 0},
		{"0C", quantity.Kelvin, 273.15, 0}, // BIPM SI brochure, 9th ed., 2.3.1
		{"-273.15 °C", quantity.Kelvin, 0, 0},
		{"300K", quantity.Kelvin, 300, 0},
		{"50mK", quantity.KelvinStep, 0.05, 0},
		{"95%", quantity.One, 0.95, 0},
		{"0.95", quantity.One, 0.95, 0},
		{"2 h", quantity.Second, 7200, 0},
		{"25Hz", quantity.Hertz, 25, 0},
		{"2 /mm", quantity.PerCentimetre, 20, 0},
		{"120mA", quantity.Ampere, 0.12, 0},
		{"148", quantity.WattPerMetreKelvin, 148, 0},
		{"148(3) W/(m K)", quantity.WattPerMetreKelvin, 148, 3},
		{"148W/mK", quantity.WattPerMetreKelvin, 148, 0},
		{"1.48 W/(cm K)", quantity.WattPerMetreKelvin, 148, 0},
		{"(148±2) W/(m·K)", quantity.WattPerMetreKelvin, 148, 1},
		{"5000", quantity.WattPerSquareMetreKelvin, 5000, 0},
		{"5000 W/(m² K)", quantity.WattPerSquareMetreKelvin, 5000, 0},
		{"0.5W/(cm2 K)", quantity.WattPerSquareMetreKelvin, 5000, 0},
		{"0.88cm2/s", quantity.SquareMillimetrePerSecond, 88, 0},
		{"8.8e-5 m²/s", quantity.SquareMillimetrePerSecond, 88, 0},
		{"62 K/W", quantity.KelvinPerWatt, 62, 0},
		{"0.062 °C/mW", quantity.KelvinPerWatt, 62, 0},
		{"1.2(1)", quantity.KelvinPerWatt, 1.2, 0.1},
		{"10mW/K", quantity.WattPerKelvin, 0.01, 0},
		// JCGM 100:2008, 7.2.2: 100.021 47(35) g and its absolute form.
		{"100.02147(35) mm", quantity.Millimetre, 100.02147, 0.00035},
		{"100.02147(0.00035) mm", quantity.Millimetre, 100.02147, 0.00035},
		{"23.1(5) °C", quantity.Kelvin, 296.25, 0.5},
		{"1.50(2)e2 mm", quantity.Millimetre, 150, 2},
		{"1230(120)W", quantity.Watt, 1230, 120},
		// JCGM 100:2008, 7.2.3: ± states an expanded uncertainty; here k = 2.
		{"23.1±0.5 °C", quantity.Kelvin, 296.25, 0.25},
		{"23.1 +- 0.5 C", quantity.Kelvin, 296.25, 0.25},
		{"(23.1 +/- 0.5) C", quantity.Kelvin, 296.25, 0.25},
		{"(95±2)%", quantity.One, 0.95, 0.01},
		{"95±2%", quantity.One, 0.95, 0.01},
		{"23.1 C u=0.5 K", quantity.Kelvin, 296.25, 0.5},
		{"1in u=1mm", quantity.Millimetre, 25.4, 1},
		{"0.95 u=0.02", quantity.One, 0.95, 0.02},
	}
	for _, tt := range tests {
		got, err := quantity.Parse(tt.in, tt.unit)
		if err != nil {
			t.Errorf("Parse(%q) = error %v, want %v", tt.in, err, tt.value)
			continue
		}
		u, stated := got.StandardU()
		if !near(got.Value, tt.value) || stated != (tt.u != 0) || !near(u, tt.u) {
			t.Errorf("Parse(%q) = %v, u %v, want %v, u %v", tt.in, got.Value, u, tt.value, tt.u)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, in string
		unit     quantity.Unit
		msg      string
	}{
		{"empty", "", quantity.Millimetre, "is empty"},
		{"blank", "  ", quantity.Millimetre, "is empty"},
		{"no unit", "25.4", quantity.Millimetre, "has no unit"},
		{"no unit of a temperature", "23", quantity.Kelvin, "has no unit"},
		{"other dimension", "25 C", quantity.Millimetre, "is not a length"},
		{"power for a voltage", "3W", quantity.Volt, "is not a voltage"},
		{"a film coefficient for a conductivity", "148W/m2K", quantity.WattPerMetreKelvin, "is not a thermal conductivity"},
		{"a diffusivity without a unit", "0.88", quantity.SquareMillimetrePerSecond, "has no unit"},
		{"a derating upside down", "10K/W", quantity.WattPerKelvin, "is not a power per temperature"},
		{"ratio with a unit", "0.95mm", quantity.One, "plain ratio"},
		{"wrong case", "25MM", quantity.Millimetre, "unknown unit"},
		{"NaN", "NaN mm", quantity.Millimetre, "does not begin with a number"},
		{"inf", "inf mm", quantity.Millimetre, "does not begin with a number"},
		{"Inf", "+Inf mm", quantity.Millimetre, "does not begin with a number"},
		{"too large", "1e999mm", quantity.Millimetre, "too large"},
		{"too large once converted", "1e308in", quantity.Millimetre, "too large"},
		{"too large by its unit", "1e308km", quantity.Nanometre, "too large"},
		{"too large an uncertainty", "1mm u=1e308in", quantity.Millimetre, "too large"},
		{"exponent out of bounds", "1e99999mm", quantity.Millimetre, "unknown unit"},
		{"decimal comma", "25,4mm", quantity.Millimetre, "comma"},
		{"hexadecimal", "0x10mm", quantity.Millimetre, "unknown unit"},
		{"two points", "1.2.3mm", quantity.Millimetre, "unknown unit"},
		{"not UTF-8", "25\xffmm", quantity.Millimetre, "UTF-8"},
		{"too long", strings.Repeat("1", 200) + "mm", quantity.Millimetre, "too long"},
		{"two uncertainties", "23.1(5)±0.5 C", quantity.Kelvin, "twice"},
		{"two uncertainties, said outright", "23.1(5) C u=0.5K", quantity.Kelvin, "twice"},
		{"uncertainty of uncertainty", "23.1 C u=0.5(1)K", quantity.Kelvin, "uncertainty of its uncertainty"},
		{"zero uncertainty", "23.1(0) C", quantity.Kelvin, "not above zero"},
		{"zero expanded", "23.1±0 C", quantity.Kelvin, "not above zero"},
		{"negative uncertainty", "23.1±-1 C", quantity.Kelvin, "no number after"},
		{"negative outright", "23.1 C u=-1K", quantity.Kelvin, "not above zero"},
		{"uncertainty without a unit", "23.1 C u=0.5", quantity.Kelvin, "has no unit"},
		{"mixed percent", "95% u=0.02", quantity.One, "only one"},
		{"mixed percent, other way", "0.95 u=2%", quantity.One, "only one"},
		{"percent of what", "0.95±2%", quantity.One, "brackets"},
		{"open bracket", "23.1(5 C", quantity.Kelvin, "not closed"},
		{"letters in bracket", "23.1(x) C", quantity.Kelvin, "other than digits"},
		{"below absolute zero", "-274C", quantity.Kelvin, "absolute zero"},
		{"negative kelvin", "-1K", quantity.Kelvin, "absolute zero"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, err := quantity.Parse(tt.in, tt.unit)
			if fault.KindOf(err) != fault.Invalid || !strings.Contains(err.Error(), tt.msg) || fault.HintOf(err) == "" {
				t.Errorf("Parse(%.40q) = %v, error %v, hint %q, want Invalid with %q and a hint", tt.in, got, err, fault.HintOf(err), tt.msg)
			}
		})
	}
}

func TestParseValueTakesNoUncertainty(t *testing.T) {
	t.Parallel()
	if v, err := quantity.ParseValue("25.4mm", quantity.Millimetre); err != nil || v != 25.4 {
		t.Errorf("ParseValue(25.4mm) = %v, %v", v, err)
	}
	if _, err := quantity.ParseValue("25.4(1)mm", quantity.Millimetre); fault.KindOf(err) != fault.Invalid {
		t.Errorf("ParseValue(25.4(1)mm): error %v, want Invalid", err)
	}
}

func TestFormat(t *testing.T) {
	t.Parallel()
	tests := []struct {
		e    quantity.Estimate
		unit quantity.Unit
		want string
	}{
		{quantity.Exactly(25.4), quantity.Millimetre, "25.4 mm"},
		{quantity.Exactly(0), quantity.Watt, "0 W"},
		{quantity.Exactly(1e-14), quantity.Ampere, "1e-14 A"},
		{quantity.Exactly(1.234567891e-6), quantity.Metre, "0.000001234567891 m"},
		{quantity.Exactly(296.25), quantity.Kelvin, "23.1 °C"},
		{quantity.Exactly(273.15), quantity.Kelvin, "0 °C"},
		{quantity.Exactly(0.95), quantity.One, "0.95"},
		// JCGM 100:2008, 7.2.2 and 7.2.6.
		{quantity.With(100.02147, 0.00035), quantity.Millimetre, "100.02147(35) mm"},
		{quantity.With(296.25, 0.5), quantity.Kelvin, "23.1(5) °C"},
		{quantity.With(23.1, 0.0996), quantity.Watt, "23.1(1) W"},
		{quantity.With(1234, 118), quantity.Watt, "1230(120) W"},
		{quantity.With(-0.01, 0.5), quantity.Watt, "-0.01(50) W"},
		{quantity.With(1.2344e-8, 3e-11), quantity.Ampere, "1.2344(30)e-8 A"},
		{quantity.With(2e17, 3e15), quantity.Hertz, "2.00(3)e17 Hz"},
	}
	for _, tt := range tests {
		if got := tt.e.Format(tt.unit); got != tt.want {
			t.Errorf("Format(%v) = %q, want %q", tt.e, got, tt.want)
		}
	}
	for v, want := range map[float64]string{math.NaN(): "-", math.Inf(1): "infinite", 1234.5678: "1235", 0.000123456: "0.0001235"} {
		if got := quantity.Fixed(v, 4); got != want {
			t.Errorf("Fixed(%v, 4) = %q, want %q", v, got, want)
		}
	}
}

func units() []quantity.Unit {
	return []quantity.Unit{
		quantity.Nanometre, quantity.Micrometre, quantity.Millimetre, quantity.Metre, quantity.Kelvin, quantity.KelvinStep, quantity.Watt,
		quantity.Volt, quantity.Ampere, quantity.Second, quantity.Hertz, quantity.One, quantity.PerCentimetre,
		quantity.WattPerMetreKelvin, quantity.WattPerSquareMetreKelvin, quantity.SquareMillimetrePerSecond, quantity.KelvinPerWatt, quantity.WattPerKelvin,
	}
}

// FuzzParse holds that Parse never panics, that what it reads is finite, and
// that what Format prints reads back to within half a unit of its last digit.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"25.4mm", "23.1(5) °C", "(95±2)%", "1in u=1mm", "1e308in", "-273.15C", "1.5(2)e-9 A", "((", "u=", "\xff", "0.1(999999)K", "1e-300 m u=1e-308 m"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, unit := range units() {
			e, err := quantity.Parse(s, unit)
			if err != nil {
				if fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
					t.Errorf("Parse(%q): error %v has no kind or hint", s, err)
				}
				continue
			}
			roundTrip(t, e, unit)
		}
	})
}

func roundTrip(t *testing.T, e quantity.Estimate, unit quantity.Unit) {
	t.Helper()
	u, stated := e.StandardU()
	if math.IsInf(e.Value, 0) || math.IsNaN(e.Value) || math.IsInf(u, 0) || math.IsNaN(u) {
		t.Fatalf("Parse(%q) = %v, u %v: not finite", e.Stated, e.Value, u)
	}
	if unit == quantity.Kelvin && e.Value < u {
		return // rounded to its uncertainty it may be printed below absolute zero
	}
	printed := e.Format(unit)
	again, err := quantity.Parse(printed, unit)
	if err != nil {
		t.Fatalf("Parse(%q), printed for %q: %v", printed, e.Stated, err)
	}
	shownValue := e.Value
	if unit == quantity.Kelvin {
		shownValue -= quantity.CelsiusZeroK
	}
	slack := 0.5e-9*math.Abs(shownValue) + 1e-12*math.Abs(e.Value) // ten digits, and the rounding of the conversion
	if stated {
		slack += 0.51 * u // the last digit is never worth more than the uncertainty
	}
	if unit == quantity.Kelvin {
		slack += 1e-12
	}
	if math.Abs(again.Value-e.Value) > slack {
		t.Errorf("%v (%q) printed as %q reads back as %v", e.Value, e.Stated, printed, again.Value)
	}
	if v, ok := again.StandardU(); ok != stated || stated && math.Abs(v-u) > 0.051*u && u > 1e-25*math.Abs(e.Value) {
		t.Errorf("u = %v (%q) printed as %q reads back as %v, %v", u, e.Stated, printed, v, ok)
	}
}
