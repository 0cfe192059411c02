// Package quantity reads and prints numbers with units and uncertainties.
//
// It is the only place where unit names and degrees Celsius exist. Inside the
// program a quantity is a float64 whose name carries its one canonical unit
// (FocalLengthMM, WavelengthUM, AmbientK); Parse converts to that unit at the
// edge and Format converts back.
package quantity

import (
	"fmt"
	"strings"
)

// Unit is a canonical unit a value is parsed into.
type Unit int

// The units values are held in, one or two a dimension.
const (
	Nanometre Unit = iota + 1
	Micrometre
	Millimetre
	Metre
	Kelvin        // a temperature; typed and printed as °C, held as K
	KelvinStep    // a temperature difference, never offset
	Watt          // power
	Volt          // potential difference
	Ampere        // current
	Second        // time
	Hertz         // frequency, frames a second
	One           // dimensionless: emissivity, transmission
	PerCentimetre // absorption coefficient

	WattPerMetreKelvin        // thermal conductivity; a plain number is taken as W/(m K)
	WattPerSquareMetreKelvin  // film coefficient; a plain number is taken as W/(m² K)
	SquareMillimetrePerSecond // thermal diffusivity
	KelvinPerWatt             // rise per power; a plain number is taken as K/W
	WattPerKelvin             // derating
)

// spelling is one way to write a unit: value_in_base = number x factor x 10^exp10,
// plus 273.15 where celsius is set. Powers of ten are kept apart from the factor
// so that a decimal number is rounded once, not twice.
type spelling struct {
	name    string
	exp10   int
	factor  float64
	celsius bool
}

// dimension groups spellings that convert into each other.
type dimension struct {
	name      string
	spellings []spelling
}

func length() dimension {
	return dimension{"length", []spelling{
		{name: "mm", exp10: -3}, {name: "um", exp10: -6}, {name: "µm", exp10: -6}, {name: "μm", exp10: -6},
		{name: "nm", exp10: -9}, {name: "cm", exp10: -2}, {name: "m"}, {name: "km", exp10: 3},
		{name: "in", exp10: -4, factor: 254},
	}}
}

func temperature() dimension {
	return dimension{"temperature", []spelling{
		{name: "°C", celsius: true}, {name: "C", celsius: true}, {name: "degC", celsius: true}, {name: "K"},
	}}
}

func temperatureStep() dimension {
	return dimension{"temperature difference", []spelling{{name: "K"}, {name: "mK", exp10: -3}}}
}

func power() dimension {
	return dimension{"power", []spelling{{name: "W"}, {name: "mW", exp10: -3}, {name: "uW", exp10: -6}, {name: "µW", exp10: -6}, {name: "kW", exp10: 3}}}
}

func voltage() dimension {
	return dimension{"voltage", []spelling{{name: "V"}, {name: "mV", exp10: -3}, {name: "kV", exp10: 3}}}
}

func current() dimension {
	return dimension{"current", []spelling{{name: "A"}, {name: "mA", exp10: -3}, {name: "uA", exp10: -6}, {name: "µA", exp10: -6}}}
}

func duration() dimension {
	return dimension{"time", []spelling{{name: "s"}, {name: "ms", exp10: -3}, {name: "us", exp10: -6}, {name: "µs", exp10: -6}, {name: "min", factor: 60}, {name: "h", factor: 3600}}}
}

func frequency() dimension {
	return dimension{"frequency", []spelling{{name: "Hz"}, {name: "mHz", exp10: -3}, {name: "kHz", exp10: 3}, {name: "MHz", exp10: 6}}}
}

func ratio() dimension {
	return dimension{"ratio", []spelling{{name: ""}, {name: "%", exp10: -2}}}
}

func absorption() dimension {
	return dimension{"absorption coefficient", []spelling{{name: "/cm"}, {name: "/mm", exp10: 1}, {name: "/m", exp10: -2}}}
}

// The spellings of the three that may be plain: tables, handbooks and data sheets
// give these in one unit only, so a number alone has one meaning.

func conductivity() dimension {
	return dimension{"thermal conductivity", []spelling{
		{name: "W/(m K)"}, {name: ""}, {name: "W/mK"}, {name: "W/(mK)"}, {name: "W/m/K"}, {name: "W/(m·K)"}, {name: "W/(m*K)"},
		{name: "mW/(m K)", exp10: -3}, {name: "W/(cm K)", exp10: 2}, {name: "W/cmK", exp10: 2},
	}}
}

func filmCoefficient() dimension {
	return dimension{"film coefficient", []spelling{
		{name: "W/(m² K)"}, {name: ""}, {name: "W/(m2 K)"}, {name: "W/m2K"}, {name: "W/m²K"}, {name: "W/(m2K)"}, {name: "W/(m²K)"},
		{name: "W/m2/K"}, {name: "W/m²/K"}, {name: "W/(m²·K)"}, {name: "W/(m2*K)"}, {name: "W/(cm2 K)", exp10: 4}, {name: "W/(cm² K)", exp10: 4},
	}}
}

func diffusivity() dimension {
	return dimension{"thermal diffusivity", []spelling{
		{name: "mm²/s", exp10: -6}, {name: "mm2/s", exp10: -6}, {name: "cm²/s", exp10: -4}, {name: "cm2/s", exp10: -4}, {name: "m²/s"}, {name: "m2/s"},
	}}
}

func thermalResistance() dimension {
	return dimension{"temperature rise per power", []spelling{
		{name: "K/W"}, {name: ""}, {name: "C/W"}, {name: "°C/W"}, {name: "K/mW", exp10: 3}, {name: "C/mW", exp10: 3}, {name: "°C/mW", exp10: 3}, {name: "mK/W", exp10: -3},
	}}
}

func thermalConductance() dimension {
	return dimension{"power per temperature", []spelling{
		{name: "W/K"}, {name: "mW/K", exp10: -3}, {name: "W/C"}, {name: "mW/C", exp10: -3}, {name: "W/°C"}, {name: "mW/°C", exp10: -3},
	}}
}

// of returns the dimension a unit belongs to and the unit's own spelling in it.
func (u Unit) of() (dimension, spelling) {
	switch u {
	case Nanometre:
		return length(), spelling{name: "nm", exp10: -9}
	case Micrometre:
		return length(), spelling{name: "µm", exp10: -6}
	case Millimetre:
		return length(), spelling{name: "mm", exp10: -3}
	case Metre:
		return length(), spelling{name: "m"}
	case Kelvin:
		return temperature(), spelling{name: "K"}
	case KelvinStep:
		return temperatureStep(), spelling{name: "K"}
	case Watt:
		return power(), spelling{name: "W"}
	case Volt:
		return voltage(), spelling{name: "V"}
	case Ampere:
		return current(), spelling{name: "A"}
	case Second:
		return duration(), spelling{name: "s"}
	case Hertz:
		return frequency(), spelling{name: "Hz"}
	case One:
		return ratio(), spelling{}
	case PerCentimetre:
		return absorption(), spelling{name: "/cm"}
	case WattPerMetreKelvin:
		return conductivity(), spelling{name: "W/(m K)"}
	case WattPerSquareMetreKelvin:
		return filmCoefficient(), spelling{name: "W/(m² K)"}
	case SquareMillimetrePerSecond:
		return diffusivity(), spelling{name: "mm²/s", exp10: -6}
	case KelvinPerWatt:
		return thermalResistance(), spelling{name: "K/W"}
	case WattPerKelvin:
		return thermalConductance(), spelling{name: "W/K"}
	}
	panic(fmt.Sprintf("quantity: no unit %d", int(u)))
}

// Symbol returns the symbol the unit is printed with; temperatures print as °C.
func (u Unit) Symbol() string {
	if u == Kelvin {
		return "°C"
	}
	_, s := u.of()
	return s.name
}

// Accepted returns the spellings that Parse takes for the unit, for error texts.
func (u Unit) Accepted() string {
	d, _ := u.of()
	var names []string
	for _, s := range d.spellings {
		if s.name != "" && !strings.ContainsAny(s.name, "µμ") {
			names = append(names, s.name)
		}
	}
	return strings.Join(names, ", ")
}

// example returns a value in the unit as a person would type it.
func (u Unit) example(number string) string {
	switch u {
	case Kelvin:
		return number + "C"
	case Micrometre:
		return number + "um"
	case One:
		return number
	}
	return number + u.Symbol()
}
