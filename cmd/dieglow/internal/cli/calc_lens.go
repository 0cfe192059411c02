package cli

import (
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/quantity"
)

func newCalcLens(app *App) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "lens",
		Short: "Focal length, principal planes and image of one lens",
		Long: `Give a material or an index with two radii and the centre thickness, or a focal
length alone for an ideal thin lens. Light meets surface 1 first; a positive
radius has its centre behind the surface. --object asks for the image of an
object that far before the first vertex.`,
		Example: `  dieglow calc lens --material germanium --r1 25mm --r2 plane --thickness 3mm --wavelength 10um
  dieglow calc lens --index 1.5 --r1 -50mm --r2 50mm --thickness 15mm --explain
  dieglow calc lens --focal 25mm --object 60mm --json`,
		Args: args(),
	}
	indexFlags(cmd)
	textFlags(cmd.Flags(),
		"index", "refractive index, instead of a material",
		"r1", "radius of surface 1, or plane", "r2", "radius of surface 2, or plane",
		"thickness", "centre thickness", "diameter", "outer diameter, to check that the lens is possible",
		"focal", "focal length of an ideal thin lens")
	objectFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		in := app.input(cmd)
		task, err := in.lensTask()
		if err != nil {
			return err
		}
		return task.show(app)
	}
	return cmd
}

// lensTask reads the flags of calc lens.
func (in *input) lensTask() (calcTask, error) {
	if err := in.lensFlagsFit(); err != nil {
		return calcTask{}, err
	}
	task := calcTask{parts: make([]calcPart, 1), wavelengthUM: in.optional("wavelength", quantity.Micrometre), objectMM: in.object()}
	in.flag("explain", &task.explain)
	part := &task.parts[0]
	e := &part.element
	set := func(into *float64, v *float64) {
		if v != nil {
			*into = *v
		}
	}
	set(&e.Radius1MM, in.radiusMM("r1"))
	set(&e.Radius2MM, in.radiusMM("r2"))
	set(&e.ThicknessMM, in.lengthMM("thickness"))
	set(&e.DiameterMM, in.positive("diameter"))
	set(&e.FocalMM, in.lengthMM("focal"))
	set(&e.N, in.optional("index", quantity.One))
	if _, ok := in.given("focal"); ok && e.FocalMM == 0 {
		in.fail("focal", fault.Invalidf("a focal length of zero is not possible").WithHint("give --focal 25mm, or -25mm for a diverging lens"))
	}
	if _, ok := in.given("index"); ok && e.N == 0 { // 0 would say that the lens is thin
		in.fail("index", fault.Invalidf("the index 0 is not above 1").WithHint("give the refractive index against air, for example --index 4.004"))
	}
	if w := task.wavelengthUM; w != nil && *w <= 0 {
		in.fail("wavelength", fault.Invalidf("%g µm is not above zero", *w).WithHint("give --wavelength 10um"))
	}
	if in.err != nil {
		return calcTask{}, in.err
	}
	if _, ok := in.given("material"); ok {
		m, index, err := in.index(*task.wavelengthUM)
		if err != nil {
			return calcTask{}, err
		}
		part.material, part.index, e.N = m.Slug, &index, index.N
	}
	e.Name = "the lens"
	return task, nil
}

// lensFlagsFit checks that the flags describe one lens in one way. Fault Usage.
func (in *input) lensFlagsFit() error {
	given := func(flag string) bool { _, ok := in.given(flag); return ok }
	if given("focal") {
		for _, flag := range []string{"material", "index", "r1", "r2", "thickness", "dataset"} {
			if given(flag) {
				return fault.Usagef("--focal describes a thin lens, and --%s a thick one", flag).
					WithHint("leave out --%s; or leave out --focal and give --material or --index with --r1, --r2 and --thickness", flag)
			}
		}
		return nil
	}
	var missing []string
	if !given("material") && !given("index") {
		missing = append(missing, "--material or --index")
	}
	for _, flag := range []string{"r1", "r2", "thickness"} {
		if !given(flag) {
			missing = append(missing, "--"+flag)
		}
	}
	if len(missing) > 0 {
		return fault.Usagef("the lens lacks %s", strings.Join(missing, ", ")).
			WithHint("give --material germanium --wavelength 10um --r1 25mm --r2 plane --thickness 3mm, or --focal 25mm for a thin lens")
	}
	switch {
	case given("material") && given("index"):
		return fault.Usagef("--material and --index both give the index").WithHint("leave out one of them")
	case given("material") && !given("wavelength"):
		return fault.Usagef("the index of a material needs a wavelength").WithHint("add --wavelength 10um, or give --index instead of --material")
	case given("dataset") && !given("material"):
		return fault.Usagef("--dataset belongs to a material").WithHint("give --material, or leave out --dataset")
	}
	return nil
}

// radiusMM reads a radius or the word plane; nil for a plane.
func (in *input) radiusMM(flag string) *float64 {
	if s, _ := in.given(flag); strings.EqualFold(strings.TrimSpace(s), "plane") {
		return nil
	}
	r := in.lengthMM(flag)
	if r != nil && *r == 0 {
		in.fail(flag, fault.Invalidf("a radius of zero is not possible").WithHint("give the radius, or the word plane: --%s plane", flag))
	}
	return r
}

// positive reads a length above zero.
func (in *input) positive(flag string) *float64 {
	v := in.lengthMM(flag)
	if v != nil && *v <= 0 {
		in.fail(flag, fault.Invalidf("%g mm is not above zero", *v).WithHint("give --%s 12.7mm, or leave it out", flag))
	}
	return v
}
