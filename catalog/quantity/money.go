package quantity

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"

	"dieglow/catalog/fault"

	"golang.org/x/text/currency"
)

// Money is an amount in the smallest unit of its currency, never negative.
// The zero Money belongs to no currency and is not a valid amount.
type Money struct {
	Minor    int64  // in the currency's minor unit: cents for EUR, yen for JPY
	Currency string // ISO 4217 code, upper case
}

// moneyHint shows both orders that ParseMoney reads.
const moneyHint = "type an amount and an ISO 4217 currency code, for example 42.50EUR or \"EUR 42\""

// ParseMoney reads an amount with its currency, code first or last: "42EUR",
// "42.50 EUR", "EUR 42". The decimal sign is a point and there are no digit groups.
//
// The number of decimals a currency has is that of the Unicode CLDR, which
// differs from ISO 4217 for a few currencies whose minor unit is out of use.
//
// Fault Invalid when there is no currency or an unknown one, when the amount is
// negative, has more decimals than the currency, or does not fit 64 bits.
func ParseMoney(s string) (Money, error) {
	text := strings.TrimSpace(s)
	if len(text) > maxStated {
		return Money{}, fault.Invalidf("an amount of %d characters is too long", len(text)).WithHint(moneyHint)
	}
	if strings.ContainsAny(text, "-−(") {
		return Money{}, fault.Invalidf("%q is a negative amount", s).WithHint("type what was paid as a positive amount, for example 42.50EUR")
	}
	isNumber := func(r rune) bool { return r >= '0' && r <= '9' || r == '.' || r == ',' }
	code := strings.TrimSpace(strings.TrimFunc(text, isNumber))
	amount := strings.TrimSpace(strings.TrimPrefix(text, code))
	if strings.HasSuffix(text, code) {
		amount = strings.TrimSpace(strings.TrimSuffix(text, code))
	}
	if code == "" {
		return Money{}, fault.Invalidf("%q has no currency", s).WithHint(moneyHint)
	}
	return makeMoney(amount, code)
}

// makeMoney checks an amount and a code that have been told apart.
func makeMoney(amount, code string) (Money, error) {
	code = strings.ToUpper(code)
	unit, err := currency.ParseISO(code)
	if err != nil || len(code) != 3 {
		return Money{}, fault.Invalidf("%q is not a currency code", code).WithHint(moneyHint)
	}
	scale, _ := currency.Standard.Rounding(unit)
	whole, fraction, point := strings.Cut(amount, ".")
	if strings.Contains(amount, ",") {
		return Money{}, fault.Invalidf("%q has a comma in its amount; the decimal sign is a point", amount).WithHint(moneyHint)
	}
	if whole == "" || strings.Trim(whole+fraction, "0123456789") != "" || point && fraction == "" {
		return Money{}, fault.Invalidf("%q is not an amount of money", amount).WithHint(moneyHint)
	}
	if len(fraction) > scale {
		return Money{}, fault.Invalidf("%q has %d decimals, and %s has %d", amount, len(fraction), code, scale).
			WithHint("type %s, or the currency that was meant", Money{Minor: 4200, Currency: code})
	}
	minor, err := strconv.ParseInt(whole+fraction+strings.Repeat("0", scale-len(fraction)), 10, 64)
	if err != nil {
		return Money{}, fault.Invalidf("%q %s is too large an amount", amount, code).WithHint(moneyHint)
	}
	return Money{Minor: minor, Currency: code}, nil
}

// Amount prints the number alone with all its decimals: "42.50".
func (m Money) Amount() string {
	digits := strconv.FormatInt(m.Minor, 10)
	unit, err := currency.ParseISO(m.Currency)
	if err != nil {
		return digits
	}
	scale, _ := currency.Standard.Rounding(unit)
	if scale == 0 {
		return digits
	}
	if short := scale + 1 - len(digits); short > 0 {
		digits = strings.Repeat("0", short) + digits
	}
	cut := len(digits) - scale
	return digits[:cut] + "." + digits[cut:]
}

// String prints the amount with its currency: "42.50 EUR".
func (m Money) String() string { return m.Amount() + " " + m.Currency }

// MarshalJSON writes {"amount":"42.50","currency":"EUR"}. Fault Invalid for a
// negative amount or an unknown currency, which ParseMoney never makes.
func (m Money) MarshalJSON() ([]byte, error) {
	if _, err := makeMoney(m.Amount(), m.Currency); err != nil {
		return nil, err
	}
	return json.Marshal(map[string]string{"amount": m.Amount(), "currency": m.Currency})
}

// UnmarshalJSON reads exactly what MarshalJSON writes: both keys and no other,
// strings, all decimals present. Fault Invalid for anything else.
func (m *Money) UnmarshalJSON(data []byte) error {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(data, &fields); err != nil || len(fields) != 2 {
		return fault.Invalidf("money is not an amount and a currency").Because(err).WithHint(`write {"amount":"42.50","currency":"EUR"}`)
	}
	var amount, code string
	for key, into := range map[string]*string{"amount": &amount, "currency": &code} {
		raw, ok := fields[key]
		if !ok || !bytes.HasPrefix(bytes.TrimSpace(raw), []byte(`"`)) {
			return fault.Invalidf("money lacks the text %q", key).WithHint(`write {"amount":"42.50","currency":"EUR"}`)
		}
		if err := json.Unmarshal(raw, into); err != nil {
			return fault.Invalidf("money has a broken %q", key).Because(err)
		}
	}
	read, err := makeMoney(amount, code)
	if err != nil {
		return err
	}
	if read.Amount() != amount || read.Currency != code {
		return fault.Invalidf("money %q %q is not in its plain form", amount, code).WithHint(`write {"amount":%q,"currency":%q}`, read.Amount(), read.Currency)
	}
	*m = read
	return nil
}

// Totals holds one sum a currency, in minor units; sums are never converted.
// Make one with make(Totals).
type Totals map[string]int64

// Add adds an amount to its currency's sum. Fault Invalid when the sum does not
// fit 64 bits or the amount is negative.
func (t Totals) Add(m Money) error {
	if m.Minor < 0 || t[m.Currency] > math.MaxInt64-m.Minor {
		return fault.Invalidf("the sum of %s does not take %s", m.Currency, m).WithHint("check the amounts recorded in %s", m.Currency)
	}
	t[m.Currency] += m.Minor
	return nil
}

// Sums returns the sums ordered by currency code.
func (t Totals) Sums() []Money {
	sums := make([]Money, 0, len(t))
	for code, minor := range t {
		sums = append(sums, Money{Minor: minor, Currency: code})
	}
	slices.SortFunc(sums, func(a, b Money) int { return strings.Compare(a.Currency, b.Currency) })
	return sums
}

// String prints the sums ordered by currency code: "42.50 EUR, 300 JPY"; "0"
// when nothing was added.
func (t Totals) String() string {
	if len(t) == 0 {
		return "0"
	}
	var parts []string
	for _, m := range t.Sums() {
		parts = append(parts, m.String())
	}
	return strings.Join(parts, ", ")
}
