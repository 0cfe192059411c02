package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook/heat"
)

func newCalcPlate(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "plate",
		Short: "Rise of a thin plate with a film, around a source in it",
		Long: `A wide plate, thin beside the length over which its temperature falls, loses heat
through a film: a board in air, a die on a cooled back. Give the film coefficient
of one side, or the sum of both.`,
		Example: "  dieglow calc plate --conductivity 20 --thickness 1.6mm --film 20 --power 1W --at 5mm,10mm,20mm,40mm\n  dieglow calc plate --conductivity 148 --thickness 0.5mm --film 5000 --power 2W --radius 0.5mm --at 0mm,1mm",
		Args:    args(),
		RunE:    func(cmd *cobra.Command, _ []string) error { return runCalcPlate(app, app.input(cmd)) },
	}
	textFlags(cmd.Flags(), "conductivity", "of the plate, in W/(m K)", "thickness", "of the plate", "film", "film coefficient in W/(m² K), both sides added", "power", "given off by the source",
		"radius", "of the source, a disk; a point unless given", "at", "distances from its centre, divided by commas")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}

// plateRise is the rise at a distance.
type plateRise struct {
	AtMM  float64  `json:"at_mm"`
	RiseK *float64 `json:"rise_k"` // null: infinite, at a point source
}

func runCalcPlate(app *App, in *input) error {
	p := heat.Plate{ConductivityWK: in.neededValue("conductivity", quantity.WattPerMetreKelvin, "20"), ThicknessMM: in.neededValue("thickness", quantity.Millimetre, "1.6mm"), FilmWM2K: in.neededValue("film", quantity.WattPerSquareMetreKelvin, "20")}
	power, radius := in.neededValue("power", quantity.Watt, "1W"), 0.0
	in.must("radius", quantity.Millimetre, &radius)
	places := in.valueList("at", quantity.Millimetre, "5mm,10mm")
	if in.err != nil {
		return in.err
	}
	length, err := p.LengthMM()
	if err != nil {
		return err
	}
	out := struct {
		LengthMM float64     `json:"length_mm"` // over which heat spreads
		Rises    []plateRise `json:"rises"`
	}{LengthMM: length}
	lines := [][3]string{{"length that heat spreads over", quantity.Shown(length, 6, quantity.Millimetre), "computed"}}
	for _, at := range places {
		rise, err := p.RiseK(power, radius, at)
		if err != nil {
			return err
		}
		out.Rises = append(out.Rises, plateRise{at, orNull(rise)})
		lines = append(lines, [3]string{"rise at " + quantity.Shown(at, 6, quantity.Millimetre), quantity.Shown(rise, 7, quantity.KelvinStep), "computed"})
	}
	return showFigures(app, in, "plate with a film", out, lines, func() ([]optics.Explanation, error) {
		inputs := []optics.Input{{Name: "k, conductivity", Value: quantity.Shown(p.ConductivityWK, 6, quantity.WattPerMetreKelvin)}, {Name: "t, thickness", Value: quantity.Shown(p.ThicknessMM, 6, quantity.Millimetre)},
			{Name: "h, film coefficient", Value: quantity.Shown(p.FilmWM2K, 6, quantity.WattPerSquareMetreKelvin)}, {Name: "P, power", Value: quantity.Shown(power, 6, quantity.Watt)}, {Name: "a, radius", Value: quantity.Shown(radius, 6, quantity.Millimetre)}}
		formula := "P K0(r/L)/(2 pi k t)"
		if radius > 0 {
			formula = "q/h (1 - b K1(b) I0(r/L)) inside, q/h b I1(b) K0(r/L) outside; q = P/(pi a²), b = a/L"
		}
		list := []optics.Explanation{{Figure: "length", Value: lines[0][1], Formula: "L = sqrt(k t/h)", Inputs: inputs[:3], Source: carslaw}}
		for _, l := range lines[1:] {
			list = append(list, optics.Explanation{Figure: l[0], Value: l[1], Formula: formula, Inputs: inputs, Source: carslaw})
		}
		return list, nil
	})
}

// valueList reads values divided by commas, each with its unit.
func (in *input) valueList(flag string, unit quantity.Unit, example string) []float64 {
	text, ok := in.given(flag)
	if !ok {
		if in.err == nil {
			in.err = fault.Usagef("--%s is needed", flag).WithHint("add --%s %s", flag, example)
		}
		return nil
	}
	var out []float64
	for _, part := range strings.Split(text, ",") {
		v, err := quantity.ParseValue(part, unit)
		in.fail(flag, err)
		out = append(out, v)
	}
	return out
}
