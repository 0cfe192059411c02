package quantity_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

func TestParseMoney(t *testing.T) {
	t.Parallel()
	// Minor units of EUR, USD (2), JPY (0) and KWD (3): ISO 4217, table A.1.
	tests := []struct {
		in, want string
		minor    int64
	}{
		{"42EUR", "42.00 EUR", 4200},
		{"42.50 EUR", "42.50 EUR", 4250},
		{"EUR 42", "42.00 EUR", 4200},
		{"eur42.5", "42.50 EUR", 4250},
		{"0.05 USD", "0.05 USD", 5},
		{"0EUR", "0.00 EUR", 0},
		{"300JPY", "300 JPY", 300},
		{"1.234 KWD", "1.234 KWD", 1234},
		{"92233720368547758.07EUR", "92233720368547758.07 EUR", math.MaxInt64},
	}
	for _, tt := range tests {
		got, err := quantity.ParseMoney(tt.in)
		if err != nil || got.Minor != tt.minor || got.String() != tt.want {
			t.Errorf("ParseMoney(%q) = %d, %q, %v, want %d, %q", tt.in, got.Minor, got, err, tt.minor, tt.want)
			continue
		}
		text, err := json.Marshal(got)
		if err != nil {
			t.Errorf("Marshal(%v): %v", got, err)
		}
		var back quantity.Money
		if err := json.Unmarshal(text, &back); err != nil || back != got {
			t.Errorf("Unmarshal(%s) = %v, %v, want %v", text, back, err, got)
		}
	}
}

func TestParseMoneyRefuses(t *testing.T) {
	t.Parallel()
	for _, in := range []string{
		"", "42", "EUR", "42 XQQ", "42 EURO", "42€", "-42EUR", "−42EUR", "(42)EUR", "42,50EUR", "1 000EUR", "42.505EUR", "42.5JPY", "42.EUR", ".5EUR",
		"4.2.1EUR", "1e3EUR", "+42EUR", "NaN EUR", "92233720368547758.08EUR", "99999999999999999999EUR", "EUR 42 EUR", "42EUR USD", "42\xffEUR", strings.Repeat("9", 500) + "EUR",
	} {
		if got, err := quantity.ParseMoney(in); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" || len(err.Error()) > 300 {
			t.Errorf("ParseMoney(%.40q) = %v, error %v, hint %q, want Invalid with a hint", in, got, err, fault.HintOf(err))
		}
	}
}

func TestMoneyJSONIsStrict(t *testing.T) {
	t.Parallel()
	text, err := json.Marshal(quantity.Money{Minor: 4250, Currency: "EUR"})
	if want := `{"amount":"42.50","currency":"EUR"}`; err != nil || string(text) != want {
		t.Errorf("Marshal = %s, %v, want %s", text, err, want)
	}
	for _, in := range []string{
		`"42 EUR"`, `null`, `{}`, `{"amount":"42.50"}`, `{"currency":"EUR"}`, `{"amount":42.5,"currency":"EUR"}`, `{"amount":null,"currency":"EUR"}`,
		`{"amount":"42.5","currency":"EUR"}`, `{"amount":"042.50","currency":"EUR"}`, `{"amount":"42.50","currency":"eur"}`, `{"amount":"-42.50","currency":"EUR"}`,
		`{"amount":"42.50","currency":"EUR","x":1}`, `{"Amount":"42.50","currency":"EUR"}`, `{"amount":"","currency":""}`,
	} {
		m := quantity.Money{Minor: 1, Currency: "USD"}
		if err := json.Unmarshal([]byte(in), &m); err == nil || m.Minor != 1 || m.Currency != "USD" {
			t.Errorf("Unmarshal(%s) = %v, %v, want an error and no change", in, m, err)
		}
	}
	for _, m := range []quantity.Money{{}, {Minor: -1, Currency: "EUR"}, {Minor: 1, Currency: "eu"}} {
		if text, err := json.Marshal(m); err == nil {
			t.Errorf("Marshal(%+v) = %s, want an error", m, text)
		}
	}
}

func TestTotalsKeepCurrenciesApart(t *testing.T) {
	t.Parallel()
	sums := make(quantity.Totals)
	if got := sums.String(); got != "0" {
		t.Errorf("empty Totals = %q, want 0", got)
	}
	for _, m := range []quantity.Money{{Minor: 300, Currency: "JPY"}, {Minor: 4250, Currency: "EUR"}, {Minor: 50, Currency: "EUR"}} {
		if err := sums.Add(m); err != nil {
			t.Fatal(err)
		}
	}
	if got, want := sums.String(), "43.00 EUR, 300 JPY"; got != want {
		t.Errorf("Totals = %q, want %q", got, want)
	}
	for _, m := range []quantity.Money{{Minor: math.MaxInt64, Currency: "EUR"}, {Minor: -1, Currency: "EUR"}} {
		if err := sums.Add(m); fault.KindOf(err) != fault.Invalid || sums["EUR"] != 4300 {
			t.Errorf("Add(%v): error %v, sum %d, want Invalid and no change", m, err, sums["EUR"])
		}
	}
}
