package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/notebook/report"
)

// plainNumber reads a number without a unit that the command cannot do without.
func (in *input) plainNumber(flag, example string) float64 {
	text, ok := in.given(flag)
	if !ok {
		if in.err == nil {
			in.err = fault.Usagef("--%s is needed", flag).WithHint("add --%s %s", flag, example)
		}
		return 0
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		in.fail(flag, fault.Invalidf("%q is not a number", text).WithHint("give a plain number, for example %s", example))
	}
	return v
}

// showFigures prints figures, and with --explain how they come about.
func showFigures(app *App, in *input, title string, figures any, lines [][3]string, explain func() ([]optics.Explanation, error)) error {
	if !in.isSet("explain") {
		return app.emit(figures, func() error { return app.facts(title, lines) })
	}
	list, err := explain()
	if err != nil {
		return err
	}
	flat, err := withExplain(figures, list)
	if err != nil {
		return err
	}
	return app.emit(flat, func() error {
		if err := app.facts(title, lines); err != nil {
			return err
		}
		fmt.Fprintln(app.Out)
		return app.screen().Markdown(report.Explanations("How the figures come about", list))
	})
}

// withExplain puts the explanations beside the keys of the figures.
func withExplain(figures any, list []optics.Explanation) (map[string]any, error) {
	data, err := json.Marshal(figures)
	if err != nil {
		return nil, err
	}
	out := map[string]any{}
	if err := json.Unmarshal(data, &out); err != nil {
		return nil, err
	}
	out["explain"] = list
	return out, nil
}

func newCalcAttachment(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "attachment",
		Short: "A stack of known focal length before a camera, both as thin lenses",
		Long: `The camera's focus is measured from its lens, where its pupil lies too. Without
--focus it is focused at infinity.`,
		Example: "  dieglow calc attachment --stack-focal 20mm --camera-focal 9mm --separation 5mm --pitch 17um --pixels 160x120 --pupil 8mm --clear-aperture 15mm",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			a, err := in.thinAttachment()
			if err != nil {
				return err
			}
			f, err := a.Figures()
			if err != nil {
				return err
			}
			show := func(v float64, unit string) string { return quantity.Fixed(v, 6) + " " + unit }
			cut := "no"
			if f.Vignetted {
				cut = "yes: " + quantity.Fixed(f.CornerPassed*100, 3) + " % of the corner's beam passes"
			}
			return showFigures(app, in, "thin attachment", f, [][3]string{
				{"specimen before the stack", show(f.ObjectDistanceMM, "mm"), "computed"}, {"magnification", quantity.Fixed(f.Magnification, 6), "computed"},
				{"object pixel", show(f.PixelUM, "µm"), "computed"}, {"field", show(f.FieldXMM, "x ") + show(f.FieldYMM, "mm"), "computed"},
				{"Nyquist limit", show(f.NyquistLPPerMM, "lp/mm"), "computed"}, {"object-side numerical aperture", quantity.Fixed(f.NAObject, 6), "computed"},
				{"Rayleigh limit at " + show(f.WavelengthUM, "µm"), show(f.RayleighUM, "µm"), "computed"},
				{"clear aperture needed", show(f.ClearApertureNeededMM, "mm"), "computed"}, {"vignetted", cut, "computed"},
			}, a.Explain)
		},
	}
	textFlags(cmd.Flags(), "stack-focal", "focal length of the stack", "camera-focal", "focal length of the camera's lens", "separation", "from the stack to the camera's lens", "focus", "what the camera is focused at; infinity unless given",
		"pitch", "pixel pitch", "pixels", "width x height", "pupil", "diameter of the camera's pupil", "clear-aperture", "clear diameter of the stack; nothing is cut unless given", "wavelength", "for the Rayleigh limit; 10um unless given")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}

func (in *input) thinAttachment() (optics.ThinAttachment, error) {
	a := optics.ThinAttachment{FocusMM: math.Inf(1)}
	for _, v := range []struct {
		flag, example string
		unit          quantity.Unit
		into          *float64
		optional      bool
	}{
		{"stack-focal", "20mm", quantity.Millimetre, &a.StackFocalMM, false}, {"camera-focal", "9mm", quantity.Millimetre, &a.CameraFocalMM, false},
		{"separation", "5mm", quantity.Millimetre, &a.SeparationMM, false}, {"pitch", "17um", quantity.Micrometre, &a.PitchUM, false}, {"pupil", "8mm", quantity.Millimetre, &a.PupilMM, false},
		{"clear-aperture", "15mm", quantity.Millimetre, &a.ClearApertureMM, true}, {"wavelength", "10um", quantity.Micrometre, &a.WavelengthUM, true},
	} {
		if _, ok := in.given(v.flag); !ok && !v.optional && in.err == nil {
			in.err = fault.Usagef("--%s is needed", v.flag).WithHint("add --%s %s", v.flag, v.example)
		}
		in.must(v.flag, v.unit, v.into)
		if _, ok := in.given(v.flag); ok && v.optional && !(*v.into > 0) {
			in.fail(v.flag, fault.Invalidf("%s is not above zero", quantity.Shown(*v.into, 6, v.unit)).WithHint("give --%s %s, or leave it out", v.flag, v.example))
		}
	}
	if focus := in.distance("focus"); focus != nil {
		a.FocusMM = *focus
	}
	text, ok := in.given("pixels")
	if !ok && in.err == nil {
		in.err = fault.Usagef("--pixels is needed").WithHint("add --pixels 160x120")
	}
	if in.err != nil {
		return a, in.err
	}
	var err error
	a.Width, a.Height, err = quantity.ParsePixels(text)
	in.fail("pixels", err)
	return a, in.err
}

func newCalcBlur(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "blur",
		Short: "Spherical aberration of a thin lens by its shape, to third order",
		Long: `The shape is Coddington's factor (R2+R1)/(R2-R1): 1 is plano-convex with the curved
side to infinity, 0 equi-convex, -1 plane to infinity. The blur is the least circle
that holds all rays; its angle is the coefficient over the cube of the f-number.`,
		Example: "  dieglow calc blur --index 4 --shape 1 --fnumber 1",
		Args:    args(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			in := app.input(cmd)
			b := optics.Blur{Index: in.plainNumber("index", "4"), Shape: in.plainNumber("shape", "1"), FNumber: in.plainNumber("fnumber", "1")}
			if in.err != nil {
				return in.err
			}
			f, err := b.Figures()
			if err != nil {
				return err
			}
			return showFigures(app, in, "spherical blur", f, [][3]string{
				{"blur coefficient", quantity.Fixed(f.BlurCoefficient, 6), "computed"}, {"blur", quantity.Fixed(f.BlurAngleMRad, 5) + " mrad", "computed"},
				{"best shape", quantity.Fixed(f.BestShape, 6), "computed"}, {"its blur coefficient", quantity.Fixed(f.BestBlurCoefficient, 6), "computed"}, {"its blur", quantity.Fixed(f.BestBlurAngleMRad, 5) + " mrad", "computed"},
				{"this shape over the best", quantity.Fixed(f.TimesBest, 4) + " times", "computed"}, {"shape free of coma", quantity.Fixed(f.ComaFreeShape, 6), "computed"},
			}, b.Explain)
		},
	}
	textFlags(cmd.Flags(), "index", "refractive index", "shape", "Coddington shape factor", "fnumber", "focal length over beam diameter")
	cmd.Flags().Bool("explain", false, "show the formula, inputs and source of every figure")
	return cmd
}
