package quantity

import (
	"math"
	"strconv"
	"strings"
)

// shownDigits is how many significant digits a value without an uncertainty is
// printed with: enough to give back what was typed, few enough to hide the
// rounding of a conversion.
const shownDigits = 10

// Format prints the estimate with its unit: "25.4 mm", "23.1(5) °C".
// An estimate whose uncertainty was not evaluated prints the value alone.
func (e Estimate) Format(unit Unit) string {
	number := e.Number(unit)
	if symbol := unit.Symbol(); symbol != "" {
		return number + " " + symbol
	}
	return number
}

// Number prints like Format without the unit. Uncertainties are rounded to two
// significant digits, or one where that says the same (JCGM 100:2008, 7.2.6).
func (e Estimate) Number(unit Unit) string {
	v := e.Value
	if unit == Kelvin {
		v -= CelsiusZeroK
	}
	u, ok := e.StandardU()
	if !ok || !(u > 0) || math.IsInf(u, 0) {
		return plain(v, shownDigits)
	}
	return concise(v, u)
}

// plain prints v with at most n significant digits and no trailing zeros, in
// positional notation between 1e-6 and 1e15.
func plain(v float64, n int) string {
	if v == 0 || math.Abs(v) < 1e-13 { // what is left of a Celsius offset
		return "0"
	}
	abs := math.Abs(v)
	if abs < 1e-6 || abs >= 1e15 {
		return strconv.FormatFloat(v, 'g', n, 64)
	}
	places := max(n-1-int(math.Floor(math.Log10(abs))), 0)
	s := strconv.FormatFloat(v, 'f', min(places, 12), 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// concise prints "23.1(5)": the value to the last digit of its uncertainty.
func concise(v, u float64) string {
	exp := int(math.Floor(math.Log10(u)))
	two := math.Round(u / math.Pow(10, float64(exp-1))) // two significant digits, 10..100
	if two >= 100 {
		two, exp = 10, exp+1
	}
	places, shown := 1-exp, two
	if math.Mod(two, 10) == 0 && two < 100 {
		places, shown = places-1, two/10
	}
	if places < 0 { // uncertainty of tens or more: digits stand for units
		scale := math.Pow(10, float64(-places))
		return strconv.FormatFloat(math.Round(v/scale)*scale, 'f', 0, 64) + "(" + strconv.FormatFloat(shown*scale, 'f', 0, 64) + ")"
	}
	if places > 12 || math.Abs(v) >= 1e15 {
		return strconv.FormatFloat(v, 'g', shownDigits, 64) + "(" + strconv.FormatFloat(u, 'g', 2, 64) + ")"
	}
	return strconv.FormatFloat(v, 'f', places, 64) + "(" + strconv.FormatFloat(shown, 'f', 0, 64) + ")"
}

// Fixed prints v rounded to n significant digits with trailing zeros dropped,
// for computed figures in tables. Not a number prints as "-".
func Fixed(v float64, n int) string {
	if math.IsNaN(v) {
		return "-"
	}
	if math.IsInf(v, 0) {
		return "infinite"
	}
	return plain(v, n)
}
