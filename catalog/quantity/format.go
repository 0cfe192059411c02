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
		if math.Abs(v) < 1e-12 { // what rounding leaves of the offset
			v = 0
		}
	}
	u, ok := e.StandardU()
	if !ok || !(u > 0) || math.IsInf(u, 0) {
		return plain(v, shownDigits)
	}
	return concise(v, u)
}

// Positional notation is used from smallPlain up to largePlain.
const (
	smallPlain = 1e-6
	largePlain = 1e15
)

// plain prints v with at most n significant digits and no trailing zeros, in
// positional notation between 1e-6 and 1e15.
func plain(v float64, n int) string {
	abs := math.Abs(v)
	if v == 0 {
		return "0"
	}
	if abs < smallPlain || abs >= largePlain {
		return strconv.FormatFloat(v, 'g', n, 64)
	}
	places := max(n-1-int(math.Floor(math.Log10(abs))), 0)
	s := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// maxConciseDigits bounds the digits of a value printed with an uncertainty; a
// float64 has no more than 17 that mean anything.
const maxConciseDigits = 30

// concise prints "23.1(5)": the value to the last digit of its uncertainty, with
// a power of ten outside the range of positional notation.
func concise(v, u float64) string {
	largest := max(math.Abs(v), u)
	if largest >= smallPlain && largest < largePlain {
		return digitsWithUncertainty(v, u)
	}
	exp := exponent10(largest)
	smallest := math.Pow10(-maxConciseDigits) // below it the scaled uncertainty could vanish
	return digitsWithUncertainty(scaled(v, -exp), max(scaled(u, -exp), smallest)) + "e" + strconv.Itoa(exp)
}

// digitsWithUncertainty prints v and u positionally; neither is far from 1.
func digitsWithUncertainty(v, u float64) string {
	// Two significant digits of u, rounded by the printer: "d.d" and an exponent.
	text := strconv.FormatFloat(u, 'e', 1, 64)
	mantissa, expText, _ := strings.Cut(text, "e")
	exp, _ := strconv.Atoi(expText)
	places, shown := 1-exp, strings.Replace(mantissa, ".", "", 1)
	// One digit says the same, unless it would take a digit of the value away.
	if one, ok := strings.CutSuffix(shown, "0"); ok && (places > maxConciseDigits || endsInZero(v, places)) {
		places, shown = places-1, one
	}
	if places > maxConciseDigits {
		places, shown = maxConciseDigits, "1"
	}
	if places < 0 { // uncertainty of tens or more: digits stand for units
		return strconv.FormatFloat(scaled(math.RoundToEven(scaled(v, places)), -places), 'f', 0, 64) + "(" + shown + strings.Repeat("0", -places) + ")"
	}
	number := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Trim(number, "-0.") == "" {
		number = strings.TrimPrefix(number, "-")
	}
	return number + "(" + shown + ")"
}

// endsInZero reports whether v, printed with the given decimal places (which may
// be negative), has a zero as its last digit.
func endsInZero(v float64, places int) bool {
	return math.Mod(math.RoundToEven(scaled(v, places)), 10) == 0
}

// exponent10 is the decimal exponent of a value above zero.
func exponent10(v float64) int {
	_, text, _ := strings.Cut(strconv.FormatFloat(v, 'e', -1, 64), "e")
	exp, _ := strconv.Atoi(text)
	return exp
}

// scaled is v times 10^n, in two steps where 10^n alone has no float64.
func scaled(v float64, n int) float64 {
	if n > 300 {
		return v * 1e300 * math.Pow10(n-300)
	}
	if n < 0 {
		return v / math.Pow10(min(-n, 300)) / math.Pow10(max(-n-300, 0))
	}
	return v * math.Pow10(n)
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

// Shown prints a value held in unit, rounded to n significant digits, with its
// unit, for computed figures in tables.
func Shown(v float64, n int, unit Unit) string {
	if unit == Kelvin {
		v -= CelsiusZeroK
	}
	return strings.TrimSpace(Fixed(v, n) + " " + unit.Symbol())
}
