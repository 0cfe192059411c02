package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// ThinFocalMM returns the focal length of the thin lens that images the one
// distance onto the other, 1/f = 1/s + 1/s'. Distances are positive for a real
// object and a real image, and may be infinite; +Inf when they cancel.
func ThinFocalMM(objectMM, imageMM float64) float64 {
	power := 1/objectMM + 1/imageMM
	if power == 0 {
		return math.Inf(1)
	}
	return 1 / power
}

// The groups of the USAF 1951 target that are made.
const (
	usafFirstGroup = -2
	usafLastGroup  = 9
)

// USAF1951LinePairsPerMM returns the spatial frequency of an element of the
// USAF 1951 resolution target, 2^(group + (element-1)/6) line pairs a millimetre
// (MIL-STD-150A). Fault Invalid for a group outside -2 to 9 or an element
// outside 1 to 6.
func USAF1951LinePairsPerMM(group, element int) (float64, error) {
	if group < usafFirstGroup || group > usafLastGroup {
		return 0, fault.Invalidf("the USAF 1951 target has no group %d", group).WithHint("type a group from %d to %d", usafFirstGroup, usafLastGroup)
	}
	if element < 1 || element > 6 {
		return 0, fault.Invalidf("a group of the USAF 1951 target has no element %d", element).WithHint("type an element from 1 to 6")
	}
	return math.Exp2(float64(group) + float64(element-1)/6), nil
}

// USAF1951BarWidthUM returns the width of one bar of an element, half a line
// pair. A bar is five times as long as wide (MIL-STD-150A). Faults as
// USAF1951LinePairsPerMM.
func USAF1951BarWidthUM(group, element int) (float64, error) {
	frequency, err := USAF1951LinePairsPerMM(group, element)
	if err != nil {
		return 0, err
	}
	return 500 / frequency, nil
}
