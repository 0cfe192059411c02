package quantity

import (
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// Wavelengths a band may span, in µm: from the ultraviolet to where infrared
// materials stop being described by a refractive index alone.
const (
	bandFloorUM   = 0.1
	bandCeilingUM = 1000
)

// maxPixels bounds each side of a detector.
const maxPixels = 65536

// ParseBand reads a wavelength band such as "8um..14um" and returns its ends in
// micrometres, low before high. Both ends carry a unit.
//
// Fault Invalid when an end is missing, has no unit, is not a length, lies
// outside 0.1 µm to 1000 µm, or when the first end is not below the second.
func ParseBand(s string) (lowUM, highUM float64, err error) {
	const example = "8um..14um"
	text := strings.TrimSpace(s)
	first, second, ok := strings.Cut(text, "..")
	if !ok || len(text) > 2*maxStated || strings.HasPrefix(second, ".") {
		return 0, 0, fault.Invalidf("%.80q is not a wavelength band", s).WithHint("type both ends with their units and two points between, for example %s", example)
	}
	if lowUM, err = ParseValue(first, Micrometre); err != nil {
		return 0, 0, bandEnd("lower", err)
	}
	if highUM, err = ParseValue(second, Micrometre); err != nil {
		return 0, 0, bandEnd("upper", err)
	}
	if lowUM < bandFloorUM || highUM > bandCeilingUM {
		return 0, 0, fault.Invalidf("the band %q leaves %g µm to %g µm", text, bandFloorUM, float64(bandCeilingUM)).WithHint("type a band of wavelengths, for example %s", example)
	}
	if lowUM >= highUM {
		return 0, 0, fault.Invalidf("the band %q does not begin below its end", text).WithHint("type the shorter wavelength first, for example %s", example)
	}
	return lowUM, highUM, nil
}

func bandEnd(which string, cause error) error {
	return fault.Invalidf("the %s end of the band", which).Because(cause).WithHint("type both ends with their units, for example 8um..14um")
}

// ParsePixels reads a detector size such as "256x192": columns, then rows, each
// from 1 to 65536. Fault Invalid for anything else.
func ParsePixels(s string) (width, height int, err error) {
	text := strings.NewReplacer("×", "x", "X", "x").Replace(strings.TrimSpace(s))
	first, second, ok := strings.Cut(text, "x")
	if ok {
		width, height = pixelCount(first), pixelCount(second)
	}
	if width == 0 || height == 0 {
		return 0, 0, fault.Invalidf("%.80q is not a detector size of 1 to %d pixels a side", s, maxPixels).WithHint("type columns x rows, for example 256x192")
	}
	return width, height, nil
}

// pixelCount reads plain decimal digits, or returns 0.
func pixelCount(s string) int {
	s = strings.TrimSpace(s)
	if s == "" || strings.Trim(s, "0123456789") != "" {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil || n > maxPixels {
		return 0
	}
	return n
}
