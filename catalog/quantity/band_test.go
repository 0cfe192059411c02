package quantity_test

import (
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

func TestParseBand(t *testing.T) {
	t.Parallel()
	for in, want := range map[string][2]float64{
		"8um..14um": {8, 14}, " 7.5 µm .. 13000nm ": {7.5, 13}, "3um..5um": {3, 5}, "0.1um..1mm": {0.1, 1000},
	} {
		low, high, err := quantity.ParseBand(in)
		if err != nil || !near(low, want[0]) || !near(high, want[1]) {
			t.Errorf("ParseBand(%q) = %v, %v, %v, want %v", in, low, high, err, want)
		}
	}
	for _, in := range []string{
		"", "8um", "8..14um", "8um..14", "8..14", "14um..8um", "8um..8um", "8um...14um", "8um..", "..14um", "-8um..14um", "0um..14um", "8um..2mm",
		"8C..14C", "8(1)um..14um", "8um..14um..20um", "NaNum..14um", "8um..\xff", strings.Repeat("8", 5000) + "um..9um", "8um-14um",
	} {
		if low, high, err := quantity.ParseBand(in); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || len(err.Error()) > 500 {
			t.Errorf("ParseBand(%.40q) = %v, %v, error %v, hint %q, want Invalid with a hint", in, low, high, err, fault.HintOf(err))
		}
	}
}

func TestParsePixels(t *testing.T) {
	t.Parallel()
	for in, want := range map[string][2]int{"256x192": {256, 192}, " 640 X 512 ": {640, 512}, "80×60": {80, 60}, "1x65536": {1, 65536}} {
		w, h, err := quantity.ParsePixels(in)
		if err != nil || w != want[0] || h != want[1] {
			t.Errorf("ParsePixels(%q) = %d, %d, %v, want %v", in, w, h, err, want)
		}
	}
	for _, in := range []string{"", "x", "256", "256x", "x192", "0x192", "256x0", "65537x1", "-256x192", "+256x192", "2.5x1", "1e2x1", "256x192x3", "256*192", "99999999999999999999x1", "\xffx1"} {
		if w, h, err := quantity.ParsePixels(in); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("ParsePixels(%q) = %d, %d, error %v, want Invalid with a hint", in, w, h, err)
		}
	}
}
