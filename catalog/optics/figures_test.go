package optics_test

import (
	"math"
	"strings"
	"testing"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/testdata/vectors"
)

// fields reads "name a=1 b=2" into the name and its parameters.
func fields(text string) (name string, given map[string]string) {
	given = map[string]string{}
	for i, w := range strings.Fields(text) {
		key, value, ok := strings.Cut(w, "=")
		if i == 0 && !ok {
			name = w
		}
		given[key] = value
	}
	return name, given
}

func in(t *testing.T, text string, unit quantity.Unit) float64 {
	t.Helper()
	v, err := quantity.ParseValue(text, unit)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestBlurMatchesPublished(t *testing.T) {
	t.Parallel()
	for _, row := range vectors.Rows(t, "optics_blur.tsv") {
		name, given := fields(row[0])
		shape := 0.0
		if q := given["q"]; q != "" {
			shape = number(t, q)
		}
		f, err := optics.Blur{Index: number(t, given["n"]), Shape: shape, FNumber: 1}.Figures()
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]float64{"K": f.BlurCoefficient, "K_best": f.BestBlurCoefficient, "best_shape": f.BestShape, "coma_free": f.ComaFreeShape}[name]
		if want := number(t, row[1]); !within(got, want, number(t, row[2])) {
			t.Errorf("%s: %v, want %v (%s)", row[0], got, want, row[3])
		}
		best, err := optics.Blur{Index: number(t, given["n"]), Shape: f.BestShape, FNumber: 2}.Figures()
		if err != nil || !within(best.BlurCoefficient, f.BestBlurCoefficient, 1e-12) || !within(best.BlurAngleMRad, 125*f.BestBlurCoefficient, 1e-12) || !within(best.TimesBest, 1, 1e-12) {
			t.Errorf("n %s at its best shape: %+v, %v", given["n"], best, err)
		}
	}
	for _, b := range []optics.Blur{{1, 0, 1}, {math.NaN(), 0, 1}, {4, math.Inf(1), 1}, {4, 1, 0}, {4, 1, -1}, {11, 1, 1}} {
		if _, err := b.Figures(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%+v: error %v, want Invalid with a hint", b, err)
		}
	}
	for _, s := range [][3]float64{{50, 0, 1}, {0, -50, -1}, {50, -50, 0}, {20, 30, 5}} {
		if got := optics.ShapeFactor(s[0], s[1]); !within(got, s[2], 1e-12) {
			t.Errorf("ShapeFactor(%v, %v) = %v, want %v", s[0], s[1], got, s[2])
		}
	}
}

// circle, gauss and box are curves whose edges and widths are known.
func curve(name string, size float64) optics.Curve {
	n, end := 4001, 0.0
	var f func(float64) float64
	switch name {
	case "circle": // size: wavelength times f-number in µm
		end = 1000 / size
		f = func(lp float64) float64 { return optics.DiffractionMTF(lp * size / 1000) }
	case "gauss":
		end = 1500 / size
		f = func(lp float64) float64 { x := 2 * math.Pi * lp * size / 1000; return math.Exp(-x * x / 2) }
	default:
		end, n = 20000/size, 8001
		f = func(lp float64) float64 { return optics.DetectorMTF(lp, size/1000) }
	}
	c := optics.Curve{StepLPPerMM: end / float64(n-1), Modulation: make([]float64, n)}
	for i := range c.Modulation {
		c.Modulation[i] = f(float64(i) * c.StepLPPerMM)
	}
	if name == "box" { // the modulus has lost the sign of every second lobe
		for i := range c.Modulation {
			if int(float64(i)*c.StepLPPerMM*size/1000)%2 == 1 {
				c.Modulation[i] = -c.Modulation[i]
			}
		}
	}
	return c
}

func TestDiffractionMatchesPublished(t *testing.T) {
	t.Parallel()
	for _, row := range vectors.Rows(t, "optics_diffraction.tsv") {
		name, given := fields(row[0])
		shape := ""
		for _, k := range []string{"circle", "gauss", "box"} {
			if _, ok := given[k]; ok {
				shape = k
			}
		}
		size := func() optics.Curve {
			for _, k := range []string{"lambda_n", "sigma", "width"} {
				if given[k] != "" {
					return curve(shape, number(t, given[k]))
				}
			}
			return optics.Curve{}
		}
		quotient := func(text string, unit quantity.Unit) float64 {
			text, below, ok := strings.Cut(text, "/")
			v := 0.0
			if unit == quantity.One {
				v = number(t, text)
			} else {
				v = in(t, text, unit)
			}
			if ok {
				v /= number(t, below)
			}
			return v
		}
		got := math.NaN()
		switch name {
		case "rayleigh_angle_urad":
			got = 1e6 * optics.RayleighAngleRad(in(t, given["wavelength"], quantity.Micrometre), in(t, given["diameter"], quantity.Millimetre))
		case "rayleigh_distance_km":
			got = in(t, given["apart"], quantity.Millimetre) / optics.RayleighAngleRad(in(t, given["wavelength"], quantity.Micrometre), in(t, given["diameter"], quantity.Millimetre)) / 1e6
		case "airy_radius_um":
			got = optics.AiryRadiusUM(in(t, given["wavelength"], quantity.Micrometre), number(t, given["n"]))
		case "dof_um":
			got = optics.DepthOfFieldUM(quotient(given["wavelength"], quantity.Micrometre), quotient(given["na"], quantity.One), 1, 0).TotalUM
		case "mtf":
			got = optics.DiffractionMTF(number(t, given["v"]))
		case "edge_um":
			got = size().EdgeWidthUM(number(t, given["low"]), number(t, given["high"]))
		case "mtf50_lp_per_mm":
			got, _ = size().FirstBelow(0.5)
		}
		if want := number(t, row[1]); !within(got, want, number(t, row[2])) {
			t.Errorf("%s: %v, want %v (%s)", row[0], got, want, row[3])
		}
	}
	if got := optics.DepthOfFieldUM(10, 0.2, -0.5, 12); !within(got.DiffractionUM, 250, 1e-12) || !within(got.DetectorUM, 120, 1e-12) {
		t.Errorf("depth of field %+v, want 10/0.04 and 12/(0.5 x 0.2)", got)
	}
}

func TestSquareWave(t *testing.T) {
	t.Parallel()
	c := curve("circle", 10)
	// Above a third of the cut-off only the first term is left: 4/pi times the sine's (Coltman, 1954).
	if got, want := c.SquareWave(50), 4/math.Pi*optics.DiffractionMTF(0.5); !within(got, want, 1e-6) {
		t.Errorf("bars at half the cut-off: %v, want %v", got, want)
	}
	// By hand below it: two terms at 0.25 of the cut-off.
	want := 4 / math.Pi * (optics.DiffractionMTF(0.25) - optics.DiffractionMTF(0.75)/3)
	if got := c.SquareWave(25); !within(got, want, 1e-6) {
		t.Errorf("bars at a quarter of the cut-off: %v, want %v", got, want)
	}
	if got := c.SquareWave(0.5); !within(got, 1, 0.01) {
		t.Errorf("wide bars: %v, want 1", got)
	}
}

func TestThinAttachmentFigures(t *testing.T) {
	t.Parallel()
	for _, row := range vectors.Rows(t, "optics_attachment.tsv") {
		_, given := fields(row[0])
		mm := func(key string) float64 { return in(t, given[key], quantity.Millimetre) }
		width, height, _ := strings.Cut(given["pixels"], "x")
		a := optics.ThinAttachment{
			StackFocalMM: in(t, strings.TrimPrefix(strings.Fields(row[0])[0], "fa="), quantity.Millimetre), CameraFocalMM: mm("fc"), SeparationMM: mm("d"), FocusMM: math.Inf(1),
			PitchUM: in(t, given["pitch"], quantity.Micrometre), Width: int(number(t, width)), Height: int(number(t, height)), PupilMM: mm("pupil"), ClearApertureMM: mm("clear"),
		}
		if given["U"] != "inf" {
			a.FocusMM = mm("U")
		}
		f, err := a.Figures()
		if err != nil {
			t.Fatalf("%s: %v", row[0], err)
		}
		vignetted := 0.0
		if f.Vignetted {
			vignetted = 1
		}
		figure, text, _ := strings.Cut(row[1], "=")
		got, ok := map[string]float64{
			"object_distance_mm": f.ObjectDistanceMM, "magnification": f.Magnification, "pixel_um": f.PixelUM, "field_x_mm": f.FieldXMM, "field_y_mm": f.FieldYMM,
			"nyquist_lp_per_mm": f.NyquistLPPerMM, "na_object": f.NAObject, "rayleigh_um": f.RayleighUM, "clear_aperture_needed_mm": f.ClearApertureNeededMM, "vignetted": vignetted,
		}[figure]
		if want := number(t, text); !ok || !within(got, want, number(t, row[2])) {
			t.Errorf("%s: %s = %v, want %v (%s)", row[0], figure, got, want, row[3])
		}
		if (f.CornerPassed < 1-1e-9) != f.Vignetted {
			t.Errorf("%s: corner passed %v, vignetted %v", row[0], f.CornerPassed, f.Vignetted)
		}
		if list, err := a.Explain(); err != nil || len(list) != 8 {
			t.Errorf("%s: %d explanations, %v", row[0], len(list), err)
		}
	}
}

func TestThinAttachmentIsTheStackOfOneThinLens(t *testing.T) {
	t.Parallel()
	for _, u := range []float64{60, 300, math.Inf(1)} {
		thin := optics.ThinAttachment{StackFocalMM: 25, CameraFocalMM: 4, SeparationMM: 7, FocusMM: u, PitchUM: 12, Width: 256, Height: 192, PupilMM: 4}
		f, err := thin.Figures()
		if err != nil {
			t.Fatal(err)
		}
		c := camera()
		c.FocusMM = u
		want := figures(t, optics.Attachment{Stack: one(optics.Thin(25)), Camera: c, StandoffMM: 7, WavelengthUM: 10})
		if !within(f.ObjectDistanceMM, want.WorkingDistanceMM, 1e-12) || !within(f.Magnification, want.Magnification, 1e-12) || !within(f.NAObject, want.NAObject, 1e-12) || f.Vignetted {
			t.Errorf("U %v: %+v, want %+v", u, f, want)
		}
	}
}

func TestImpossibleThinAttachments(t *testing.T) {
	t.Parallel()
	good := optics.ThinAttachment{StackFocalMM: 20, CameraFocalMM: 9, SeparationMM: 5, FocusMM: 300, PitchUM: 17, Width: 160, Height: 120, PupilMM: 8, ClearApertureMM: 15}
	for name, change := range map[string]func(*optics.ThinAttachment){
		"no stack": func(a *optics.ThinAttachment) { a.StackFocalMM = 0 }, "stack of 1 km": func(a *optics.ThinAttachment) { a.StackFocalMM = 1e6 },
		"camera of 1 nm": func(a *optics.ThinAttachment) { a.CameraFocalMM = 1e-6 }, "negative separation": func(a *optics.ThinAttachment) { a.SeparationMM = -1 },
		"focus within focal length": func(a *optics.ThinAttachment) { a.FocusMM = 9 }, "focus NaN": func(a *optics.ThinAttachment) { a.FocusMM = math.NaN() },
		"negative focus": func(a *optics.ThinAttachment) { a.FocusMM = -300 },
		"no pixels":      func(a *optics.ThinAttachment) { a.Height = 0 }, "pitch of 1 nm": func(a *optics.ThinAttachment) { a.PitchUM = 1e-3 },
		"no pupil": func(a *optics.ThinAttachment) { a.PupilMM = 0 }, "negative clear aperture": func(a *optics.ThinAttachment) { a.ClearApertureMM = -15 },
		"NaN clear aperture": func(a *optics.ThinAttachment) { a.ClearApertureMM = math.NaN() }, "diverging": func(a *optics.ThinAttachment) { a.StackFocalMM = -20 },
		"at infinity": func(a *optics.ThinAttachment) { a.SeparationMM = 320 }, "focused on the stack": func(a *optics.ThinAttachment) { a.SeparationMM = 300 },
		"negative wavelength": func(a *optics.ThinAttachment) { a.WavelengthUM = -1 },
	} {
		a := good
		change(&a)
		if f, err := a.Figures(); fault.KindOf(err) != fault.Invalid || fault.HintOf(err) == "" {
			t.Errorf("%s: %+v, error %v, want Invalid with a hint", name, f, err)
		}
	}
}
