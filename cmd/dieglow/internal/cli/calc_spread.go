package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook/heat"
)

// neededValue reads a value without uncertainty that the command cannot do without.
func (in *input) neededValue(flag string, unit quantity.Unit, example string) float64 {
	v := in.optional(flag, unit)
	if v == nil {
		if in.err == nil {
			in.err = fault.Usagef("--%s is needed", flag).WithHint("add --%s %s", flag, example)
		}
		return 0
	}
	return *v
}

const carslaw = "H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, from memory, not verified"

func newCalcSpread(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "spread",
		Short: "Spreading resistance of a disk or a square on a half-space",
		Long: `Rise per watt above the far temperature of a flat source on the surface of a large
solid that is otherwise insulated: a heater much smaller than its die. Beside the
rise of a source of one temperature stand mean and centre of one that gives off
its power evenly; real sources lie between.`,
		Example: "  dieglow calc spread --shape disk --size 50um --conductivity 148 --power 2W\n  dieglow calc spread --shape square --size 100um --conductivity \"148 W/(m K)\" --explain",
		Args:    args(),
		RunE:    func(cmd *cobra.Command, _ []string) error { return runCalcSpread(app, app.input(cmd)) },
	}
	textFlags(cmd.Flags(), "shape", "disk or square", "size", "radius of a disk, side of a square", "conductivity", "of the solid, in W/(m K)", "power", "put in: gives the rises too")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}

// spreadResult is what calc spread gives as JSON.
type spreadResult struct {
	Shape          string  `json:"shape"`
	SizeMM         float64 `json:"size_mm"`
	ConductivityWK float64 `json:"conductivity_w_m_k"`
	heat.SpreadFigures
	PowerW *float64 `json:"power_w"` // null: not stated
	*heat.SpreadRises
}

func runCalcSpread(app *App, in *input) error {
	shape, ok := in.given("shape")
	if !ok {
		return fault.Usagef("--shape is needed").WithHint("add --shape disk or --shape square")
	}
	s := heat.Spread{Shape: shape, SizeMM: in.neededValue("size", quantity.Millimetre, "50um"), ConductivityWK: in.neededValue("conductivity", quantity.WattPerMetreKelvin, "148")}
	power := in.optional("power", quantity.Watt)
	if in.err != nil {
		return in.err
	}
	f, err := s.Figures()
	if err != nil {
		return err
	}
	out := spreadResult{Shape: s.Shape, SizeMM: s.SizeMM, ConductivityWK: s.ConductivityWK, SpreadFigures: f, PowerW: power}
	lines := [][3]string{}
	for _, g := range out.named() {
		lines = append(lines, [3]string{g.label, quantity.Shown(g.v, 7, quantity.KelvinPerWatt), "computed"})
	}
	if power != nil {
		rises := f.At(*power)
		out.SpreadRises = &rises
		lines = append(lines, [3]string{"rises at " + quantity.Shown(*power, 5, quantity.Watt), fmt.Sprintf("%s, %s and %s K", quantity.Fixed(rises.IsothermalK, 5), quantity.Fixed(rises.IsofluxMeanK, 5), quantity.Fixed(rises.IsofluxCentreK, 5)), "computed"})
	}
	return showFigures(app, in, s.Shape+" on a half-space", out, lines, func() ([]optics.Explanation, error) { return explainSpread(out), nil })
}

// namedFigure is a rise per watt with its name.
type namedFigure struct {
	label string
	v     float64
}

func (r spreadResult) named() []namedFigure {
	return []namedFigure{{"source of one temperature", r.IsothermalKPerW}, {"even source, mean over it", r.IsofluxMeanKPerW}, {"even source, at its centre", r.IsofluxCentreKPerW}}
}

func explainSpread(r spreadResult) []optics.Explanation {
	size, formulas := "a, radius", [3]string{"1/(4 k a)", "8/(3 pi² k a)", "1/(pi k a)"}
	sources := [3]string{carslaw, carslaw, carslaw}
	if r.Shape == heat.Square {
		size, formulas = "s, side", [3]string{"1/(2 pi 0.3667874 k s)", "(4 ln(1+√2) - 4(√2-1)/3)/(2 pi k s)", "4 ln(1+√2)/(2 pi k s)"}
		closed := "the potential of an evenly covered square, in closed form"
		sources = [3]string{"electrostatic capacity of a square plate: C.-O. Hwang and M. Mascagni, J. Appl. Phys. 95 (2004) 3798, from memory, not verified", closed, closed}
	}
	inputs := []optics.Input{{Name: size, Value: quantity.Shown(r.SizeMM, 6, quantity.Millimetre)}, {Name: "k, conductivity", Value: quantity.Shown(r.ConductivityWK, 6, quantity.WattPerMetreKelvin)}}
	var list []optics.Explanation
	for i, f := range r.named() {
		list = append(list, optics.Explanation{Figure: f.label, Value: quantity.Shown(f.v, 7, quantity.KelvinPerWatt), Formula: "R = " + formulas[i], Inputs: inputs, Source: sources[i]})
	}
	return list
}

func newCalcDiffusion(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "diffusion",
		Short:   "Thermal diffusion length at a frequency",
		Long:    "How far a heat wave reaches: over this length its amplitude falls to 1/e and its\nphase turns by one radian. It sets depth and sharpness of a lock-in picture.",
		Example: "  dieglow calc diffusion --diffusivity 0.88cm2/s --frequency 1Hz",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			a, f := in.neededValue("diffusivity", quantity.SquareMillimetrePerSecond, "0.88cm2/s"), in.neededValue("frequency", quantity.Hertz, "1Hz")
			if in.err != nil {
				return in.err
			}
			length, err := heat.DiffusionLengthMM(a, f)
			if err != nil {
				return err
			}
			out := struct {
				LengthMM    float64 `json:"length_mm"`
				Diffusivity float64 `json:"diffusivity_mm2_s"`
				FrequencyHz float64 `json:"frequency_hz"`
			}{length, a, f}
			return showFigures(app, in, "thermal diffusion", out, [][3]string{{"diffusion length", quantity.Shown(length, 7, quantity.Millimetre), "computed"}}, func() ([]optics.Explanation, error) {
				return []optics.Explanation{{Figure: "diffusion length", Value: quantity.Shown(length, 7, quantity.Millimetre), Formula: "L = sqrt(a/(pi f))",
					Inputs: []optics.Input{{Name: "a, diffusivity", Value: quantity.Shown(a, 6, quantity.SquareMillimetrePerSecond)}, {Name: "f, frequency", Value: quantity.Shown(f, 6, quantity.Hertz)}}, Source: carslaw}}, nil
			})
		},
	}
	textFlags(cmd.Flags(), "diffusivity", "thermal diffusivity, 0.88cm2/s", "frequency", "of the heating")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}
