// Package picture draws a thermal frame in false colour: as a picture with a
// colour bar in round numbers, a legend and a scale bar, and as coloured cells
// for a terminal.
package picture

import (
	"image/color"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
)

// Ramp is a table of colours from low to high.
type Ramp int

// The ramps. Viridis and Inferno are even to the eye, also in grey print and
// for most readers with a colour vision deficiency; see tables.go for their source.
const (
	Viridis Ramp = iota
	Inferno
	Grey

	// Cyclic is for values that go round, such as phases: both ends are one colour.
	// It is a circle of equal lightness and chroma in CIELAB, see cyclic.go; being
	// for a full turn alone, it is not among the names that ParseRamp reads.
	Cyclic
)

// String returns the ramp's name as ParseRamp reads it.
func (r Ramp) String() string {
	switch r {
	case Viridis:
		return "viridis"
	case Inferno:
		return "inferno"
	case Grey:
		return "grey"
	case Cyclic:
		return "cyclic"
	default:
		return "unknown"
	}
}

// ParseRamp reads viridis, inferno or grey (also gray). Fault Invalid otherwise.
func ParseRamp(s string) (Ramp, error) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "viridis":
		return Viridis, nil
	case "inferno":
		return Inferno, nil
	case "grey", "gray":
		return Grey, nil
	}
	return Viridis, fault.Invalidf("%q is no colour ramp", s).WithHint("one of viridis, inferno or grey")
}

// Missing is the colour of pixels without a value. No ramp comes near it.
func Missing() color.RGBA { return color.RGBA{R: 255, G: 0, B: 255, A: 255} }

// Hidden is the colour of pixels whose value is known and not shown.
func Hidden() color.RGBA { return color.RGBA{R: 0x30, G: 0x32, B: 0x36, A: 255} }

// colours is a ramp ready to look up.
type colours [256]color.RGBA

func (r Ramp) colours() *colours {
	if r == Cyclic {
		return cyclic()
	}
	var c colours
	table := viridisTable
	if r == Inferno {
		table = infernoTable
	}
	for i := range c {
		c[i] = color.RGBA{R: uint8(i), G: uint8(i), B: uint8(i), A: 255}
		if r == Grey {
			continue
		}
		v, err := strconv.ParseUint(table[6*i:6*i+6], 16, 32)
		if err != nil {
			panic("picture: a damaged colour table: " + err.Error())
		}
		c[i] = color.RGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
	}
	return &c
}

// span is the range of values that the ramp covers.
type span struct{ low, high float64 }

// index returns the place of v in the table: equal parts of the range, from the
// lowest to the highest, and the end colours beyond it. A range of one value is
// drawn in the middle colour.
func (s span) index(v float64) int {
	if !(s.high > s.low) {
		return 128
	}
	return int(max(0, min(255, math.Floor((v-s.low)/(s.high-s.low)*256))))
}

func (c *colours) at(s span, v float64) color.RGBA {
	if math.IsNaN(v) {
		return Missing()
	}
	return c[s.index(v)]
}
