package heat

import (
	"math"

	"dieglow/catalog/fault"
)

// The shapes of a heat source on a half-space.
const (
	Disk   = "disk"
	Square = "square"
)

// Spread is a flat source on the surface of a half-space that is otherwise
// insulated, as a small heater on a thick die is to good approximation.
type Spread struct {
	Shape          string  // Disk or Square
	SizeMM         float64 // radius of a disk, side of a square
	ConductivityWK float64 // of the half-space, W/(m K)
}

// SpreadFigures are rises above the far temperature per watt put in.
type SpreadFigures struct {
	IsothermalKPerW    float64 `json:"isothermal_k_per_w"`     // of a source of one temperature
	IsofluxMeanKPerW   float64 `json:"isoflux_mean_k_per_w"`   // of an even source, mean over it
	IsofluxCentreKPerW float64 `json:"isoflux_centre_k_per_w"` // of an even source, at its centre, the hottest point
}

// squareCapacity is the electrostatic capacity of a square plate of side 1 over
// 4 pi eps0 (C.-O. Hwang and M. Mascagni, J. Appl. Phys. 95 (2004) 3798, from
// memory, not verified; a collocation on 60 x 60 graded panels, extrapolated, gives
// 0.36679). Heat flow from an isothermal square into a half-space has half its field.
const squareCapacity = 0.3667874

// Figures returns the rises per watt: for a disk of radius a, 1/(4 k a) at one
// temperature, 8/(3 pi² k a) and 1/(pi k a) for an even source (H. S. Carslaw and
// J. C. Jaeger, Conduction of Heat in Solids, 8.2; M. M. Yovanovich; both from
// memory); for a square the same integrals in closed form. Fault Invalid unless
// size and conductivity are finite and above zero.
func (s Spread) Figures() (SpreadFigures, error) {
	if s.Shape != Disk && s.Shape != Square {
		return SpreadFigures{}, fault.Invalidf("%q is not a shape of source", s.Shape).WithHint("use --shape disk or --shape square")
	}
	if !positive(s.SizeMM) {
		return SpreadFigures{}, fault.Invalidf("a size of %g mm is not above zero", s.SizeMM).WithHint("give --size 50um, the radius of a disk or the side of a square")
	}
	if !positive(s.ConductivityWK) {
		return SpreadFigures{}, fault.Invalidf("a conductivity of %g W/(m K) is not above zero", s.ConductivityWK).WithHint("give --conductivity 148, in W/(m K), as of silicon near 25 °C")
	}
	per := 1 / (s.ConductivityWK * s.SizeMM * 1e-3)
	f := SpreadFigures{per / 4, per * 8 / (3 * math.Pi * math.Pi), per / math.Pi}
	if s.Shape == Square {
		l := 4 * math.Log(1+math.Sqrt2)
		f = SpreadFigures{per / (2 * math.Pi * squareCapacity), per * (l - 4*(math.Sqrt2-1)/3) / (2 * math.Pi), per * l / (2 * math.Pi)}
	}
	if math.IsInf(f.IsofluxCentreKPerW, 0) || f.IsothermalKPerW == 0 {
		return f, fault.Invalidf("these sizes give figures too large or too small for a number").WithHint("check the units of size and conductivity")
	}
	return f, nil
}

// SpreadRises are rises above the far temperature at a power.
type SpreadRises struct {
	IsothermalK    float64 `json:"isothermal_rise_k"`
	IsofluxMeanK   float64 `json:"isoflux_mean_rise_k"`
	IsofluxCentreK float64 `json:"isoflux_centre_rise_k"`
}

// At returns the rises at a power in W.
func (f SpreadFigures) At(powerW float64) SpreadRises {
	return SpreadRises{f.IsothermalKPerW * powerW, f.IsofluxMeanKPerW * powerW, f.IsofluxCentreKPerW * powerW}
}

// DiffusionLengthMM returns sqrt(a/(pi f)), over which the amplitude of a heat wave
// falls to 1/e and its phase turns by one radian (Carslaw and Jaeger, 2.6, from
// memory), in mm of a diffusivity in mm²/s and a frequency in Hz. Fault Invalid
// unless both are finite and above zero.
func DiffusionLengthMM(diffusivityMM2S, frequencyHz float64) (float64, error) {
	if !positive(diffusivityMM2S) {
		return 0, fault.Invalidf("a diffusivity of %g mm²/s is not above zero", diffusivityMM2S).WithHint("give --diffusivity 0.88cm2/s, as of silicon near 25 °C")
	}
	if !positive(frequencyHz) {
		return 0, fault.Invalidf("a frequency of %g Hz is not above zero", frequencyHz).WithHint("give --frequency 1Hz")
	}
	return math.Sqrt(diffusivityMM2S / (math.Pi * frequencyHz)), nil
}

func positive(v float64) bool { return v > 0 && !math.IsInf(v, 0) }
