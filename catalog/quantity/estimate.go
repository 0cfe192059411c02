package quantity

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"dieglow/catalog/fault"
)

// Estimate is a value in a canonical unit with its standard uncertainty.
//
// The unit is not in the struct but in the name of the field that holds it, in
// Go as in JSON: AmbientK, "ambient_k": {"value": 296.25, "u": 0.5}.
type Estimate struct {
	Value  float64  `json:"value"`            // in the unit named by the field
	U      *float64 `json:"u,omitempty"`      // standard uncertainty in the same unit (kelvin for temperatures); nil: not evaluated
	Stated string   `json:"stated,omitempty"` // what the person typed
}

// Exactly returns an estimate without a stated uncertainty.
func Exactly(v float64) Estimate { return Estimate{Value: v} }

// With returns an estimate with standard uncertainty u.
func With(v, u float64) Estimate { return Estimate{Value: v, U: &u} }

// StandardU returns the standard uncertainty and whether one was evaluated.
func (e Estimate) StandardU() (float64, bool) {
	if e.U == nil {
		return 0, false
	}
	return *e.U, true
}

// maxStated bounds what Parse reads; no quantity a person types is longer.
const maxStated = 80

// Parse reads a number with its unit and, where given, its uncertainty, and
// converts both to unit. It reads
//
//	25.4mm  1in                no uncertainty stated
//	23.1(5) °C  23.1(0.5) C    standard uncertainty, in the last digits or absolute (JCGM 100:2008, 7.2.2)
//	23.1±0.5 °C  23.1+-0.5 C   expanded uncertainty with k = 2 (JCGM 100:2008, 7.2.3)
//	23.1 C u=0.5 K             standard uncertainty, said outright
//
// Fault Invalid when there is no number, no unit, a unit of another dimension,
// or a value or uncertainty that is not finite; the hint says what to type.
func Parse(s string, unit Unit) (Estimate, error) {
	p := parser{text: s, unit: unit}
	if !utf8.ValidString(s) {
		return Estimate{}, fault.Invalidf("a quantity is not valid UTF-8").WithHint("type it again, for example %s", unit.example("10"))
	}
	if len(s) > maxStated {
		return Estimate{}, fault.Invalidf("a quantity of %d characters is too long", len(s)).WithHint("type a number and a unit, for example %s", unit.example("10"))
	}
	return p.parse()
}

// ParseValue reads like Parse and refuses a stated uncertainty, for values that
// are settings or nominal sizes rather than measurements.
func ParseValue(s string, unit Unit) (float64, error) {
	e, err := Parse(s, unit)
	if err != nil {
		return 0, err
	}
	if e.U != nil {
		return 0, fault.Invalidf("%q carries an uncertainty, and this value takes none", s).WithHint("type the value alone, for example %s", unit.example("10"))
	}
	return e.Value, nil
}

type parser struct {
	text string
	unit Unit
}

func (p parser) bad(format string, args ...any) *fault.Error {
	return fault.Invalidf("%q "+format, append([]any{p.text}, args...)...).
		WithHint("type a number with one of the units %s, for example %s or %s", p.unitList(), p.unit.example("10"), p.unit.example("10.0(2)"))
}

func (p parser) unitList() string {
	if p.unit == One {
		return "(none) or %"
	}
	return p.unit.Accepted()
}

func (p parser) parse() (Estimate, error) {
	s := strings.ReplaceAll(strings.TrimSpace(p.text), "−", "-") // the typographic minus, as copied from a page
	if s == "" {
		return Estimate{}, p.bad("is empty")
	}
	main, uText, hasU := strings.Cut(s, "u=")
	main = strings.TrimSpace(main)

	number, rest, err := p.number(main)
	if err != nil {
		return Estimate{}, err
	}
	sp, err := p.spelling(rest)
	if err != nil {
		return Estimate{}, err
	}
	value, err := p.convert(number.value, sp, true)
	if err != nil {
		return Estimate{}, err
	}
	e := Estimate{Value: value, Stated: s}
	switch {
	case hasU && number.u != "":
		return Estimate{}, p.bad("states its uncertainty twice")
	case hasU:
		n, uRest, err := p.number(strings.TrimSpace(uText))
		if err != nil {
			return Estimate{}, err
		}
		if n.u != "" {
			return Estimate{}, p.bad("states an uncertainty of its uncertainty")
		}
		usp, err := p.spelling(uRest)
		if err != nil {
			return Estimate{}, err
		}
		if p.unit == One && usp.name != sp.name { // "95% u=0.02", "0.95 u=2%": absolute or relative?
			return Estimate{}, p.bad("states only one of value and uncertainty in %%")
		}
		number.u, number.k = n.value, 1
		sp = usp
	case number.u == "":
		return e, nil
	}
	u, err := p.convert(number.u, sp, false)
	if err != nil {
		return Estimate{}, err
	}
	u /= number.k
	if !(u > 0) {
		return Estimate{}, p.bad("has an uncertainty that is not above zero")
	}
	if sp.name == "%" && number.k == 2 && u > math.Abs(value) && !strings.HasPrefix(main, "(") { // "0.95±2%"
		return Estimate{}, p.bad("may state its uncertainty in %% of the value or of 1; put brackets round both numbers, as in (95±2)%%")
	}
	e.U = &u
	return e, nil
}

// reading is a number as text, with its uncertainty as text and coverage factor.
type reading struct {
	value, u string
	k        float64
}

// number splits "23.1(5) C" into the reading and what follows it.
func (p parser) number(s string) (reading, string, error) {
	if strings.HasPrefix(s, "(") { // "(23.1 ± 0.5) C"
		inner, rest, ok := strings.Cut(s[1:], ")")
		if !ok {
			return reading{}, "", p.bad("has a bracket that is not closed")
		}
		r, left, err := p.number(strings.TrimSpace(inner))
		if err == nil && left != "" {
			err = p.bad("has its unit inside the bracket")
		}
		return r, strings.TrimSpace(rest), err
	}
	mantissa, rest := digits(s)
	if mantissa == "" {
		return reading{}, "", p.bad("does not begin with a number")
	}
	r := reading{k: 1}
	switch {
	case strings.HasPrefix(rest, ","):
		return reading{}, "", p.bad("has a comma in its number; the decimal sign is a point")
	case strings.HasPrefix(rest, "("):
		inner, after, ok := strings.Cut(rest[1:], ")")
		if !ok {
			return reading{}, "", p.bad("has a bracket that is not closed")
		}
		u, left := digits(inner)
		if u == "" || left != "" || strings.HasPrefix(u, "-") || strings.HasPrefix(u, "+") {
			return reading{}, "", p.bad("has something other than digits in its bracket")
		}
		if !strings.Contains(u, ".") {
			u += "e-" + strconv.Itoa(decimals(mantissa))
		}
		r.u, rest = u, after
	}
	exponent, rest := exponentOf(rest)
	r.value = mantissa + exponent
	if r.u != "" {
		r.u = joinExponent(r.u, exponent)
	}
	rest = strings.TrimSpace(rest)
	for _, sign := range []string{"±", "+-", "+/-"} {
		after, ok := strings.CutPrefix(rest, sign)
		if !ok {
			continue
		}
		if r.u != "" {
			return reading{}, "", p.bad("states its uncertainty twice")
		}
		u, left := digits(strings.TrimSpace(after))
		if u == "" || strings.HasPrefix(u, "-") || strings.HasPrefix(u, "+") {
			return reading{}, "", p.bad("has no number after %s", sign)
		}
		exp, left := exponentOf(left)
		r.u, r.k, rest = u+exp, 2, strings.TrimSpace(left)
		break
	}
	return r, rest, nil
}

// digits cuts a signed decimal number without exponent off the front of s.
func digits(s string) (number, rest string) {
	i, seen, point := 0, false, false
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	for ; i < len(s); i++ {
		if s[i] >= '0' && s[i] <= '9' {
			seen = true
		} else if s[i] == '.' && !point && (i+1 >= len(s) || s[i+1] != '.') {
			point = true
		} else {
			break
		}
	}
	if !seen {
		return "", s
	}
	return s[:i], s[i:]
}

// exponentOf cuts "e-3" off the front of s.
func exponentOf(s string) (exponent, rest string) {
	if s == "" || (s[0] != 'e' && s[0] != 'E') {
		return "", s
	}
	i := 1
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	start := i
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == start || i-start > 4 {
		return "", s
	}
	return "e" + s[1:i], s[i:]
}

// decimals counts the digits after the decimal point.
func decimals(mantissa string) int {
	if _, after, ok := strings.Cut(mantissa, "."); ok {
		return len(after)
	}
	return 0
}

// joinExponent multiplies a decimal text, which may have an exponent, by "eN".
func joinExponent(number, exponent string) string {
	if exponent == "" {
		return number
	}
	n, _ := strconv.Atoi(exponent[1:])
	return shift(number, n)
}

// shift multiplies a decimal text by 10^n without rounding.
func shift(number string, n int) string {
	base, exp, ok := strings.Cut(number, "e")
	if ok {
		m, _ := strconv.Atoi(exp)
		n += m
	}
	return base + "e" + strconv.Itoa(n)
}

// spelling finds the unit that rest names.
func (p parser) spelling(rest string) (spelling, error) {
	d, _ := p.unit.of()
	for _, s := range d.spellings {
		if s.name == rest {
			return s, nil
		}
	}
	if rest == "" {
		return spelling{}, p.bad("has no unit")
	}
	if p.unit == One {
		return spelling{}, p.bad("has %q after the number, where a plain ratio is wanted", rest)
	}
	return spelling{}, p.bad("is not a %s: unknown unit %q", d.name, rest)
}

// convert turns a decimal text in spelling sp into the parser's unit; offset
// applies the Celsius zero, which a difference or an uncertainty does not have.
func (p parser) convert(number string, sp spelling, offset bool) (float64, error) {
	_, own := p.unit.of()
	v, err := strconv.ParseFloat(shift(number, sp.exp10-own.exp10), 64)
	if sp.factor != 0 {
		v *= sp.factor
	}
	if own.factor != 0 {
		v /= own.factor
	}
	if err != nil || math.IsInf(v, 0) {
		return 0, p.bad("is too large a number")
	}
	if offset && sp.celsius {
		v += CelsiusZeroK
	}
	if offset && p.unit == Kelvin && v < 0 {
		return 0, p.bad("lies below absolute zero")
	}
	return v, nil
}

// CelsiusZeroK is 0 °C in kelvin, exact by definition (BIPM SI brochure, 9th ed., 2.3.1).
const CelsiusZeroK = 273.15

// RootSumSquare combines independent standard uncertainties (JCGM 100:2008, 5.1.2).
func RootSumSquare(u ...float64) float64 {
	sum := 0.0
	for _, v := range u {
		sum = math.Hypot(sum, v)
	}
	return sum
}
