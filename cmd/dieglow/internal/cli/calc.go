package cli

import (
	"fmt"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/report"
)

func newCalc(app *App) *cobra.Command {
	return newGroup("calc", "Optics, radiometry and heat by numbers, without a notebook", `Numbers in, numbers out: no notebook is opened and nothing is recorded.
Where there is --explain, each figure comes with its formula, inputs and source.`,
		`  dieglow calc index --material germanium --wavelength 10um
  dieglow calc lens --material germanium --r1 25mm --r2 37.5mm --thickness 3mm --wavelength 10um
  dieglow calc stack stack.json --object 20mm`,
		newCalcStack(app), newCalcLens(app), newCalcIndex(app), newCalcAttachment(app), newCalcBlur(app), newCalcSlab(app), newCalcRadiance(app), newCalcApparent(app), newCalcObject(app), newCalcWarmup(app), newCalcSpread(app), newCalcPlate(app), newCalcDiffusion(app), newCalcFoster(app))
}

// calcPart is one lens of a calculation: what was stated, and the index it gets.
type calcPart struct {
	element  optics.Element
	material string          // slug; empty where the index or a focal length was stated
	index    *material.Index // nil without a material
	gapMM    *float64        // air behind it; nil: not stated
}

// calcTask is what a calculation is asked for.
type calcTask struct {
	parts        []calcPart
	wavelengthUM *float64
	objectMM     *float64  // before the first vertex, +Inf for far away; nil: no image is asked for
	raysMM       []float64 // heights of exact rays parallel to the axis
	explain      bool
}

func (t calcTask) stack() optics.Stack {
	stack := make(optics.Stack, len(t.parts))
	for i, p := range t.parts {
		stack[i].Element = p.element
		if p.gapMM != nil {
			stack[i].GapAfterMM = *p.gapMM
		}
	}
	return stack
}

// name is what the output calls a lens.
func (t calcTask) name(i int) string {
	if name := t.parts[i].element.Name; name != "" {
		return name
	}
	if t.parts[i].element.Mirror {
		return fmt.Sprintf("mirror %d", i+1)
	}
	return fmt.Sprintf("lens %d", i+1)
}

// calcResult is what calc stack and calc lens give as JSON. Lengths that are
// infinite are null.
type calcResult struct {
	WavelengthUM     *float64      `json:"wavelength_um"`
	Elements         []calcElement `json:"elements"`
	EFLMM            *float64      `json:"efl_mm"`
	BFLMM            *float64      `json:"bfl_mm"`
	FFLMM            *float64      `json:"ffl_mm"`
	PrincipalFrontMM *float64      `json:"principal_front_mm"`
	PrincipalRearMM  *float64      `json:"principal_rear_mm"`
	Afocal           bool          `json:"afocal"`
	optics.Matrix
	LengthMM    float64  `json:"length_mm"`
	Reflections int      `json:"reflections"` // mirrors; an odd number of them gives a mirror image
	Assumptions []string `json:"assumptions"` // what was not stated and had to be taken
	*calcImage
	Rays    []optics.StackRay    `json:"rays,omitempty"` // exact
	Explain []optics.Explanation `json:"explain,omitempty"`
}

// calcElement is a lens as it entered the calculation.
type calcElement struct {
	Name          string   `json:"name"`
	Kind          string   `json:"kind"`     // thick, thin or mirror
	Material      *string  `json:"material"` // null: the index, or a focal length, was stated
	Dataset       *string  `json:"dataset"`
	N             *float64 `json:"n"`          // null for a thin lens or a mirror
	Source        string   `json:"source"`     // of the index, or of a thin lens's focal length
	InRange       *bool    `json:"in_range"`   // false: extrapolated; null without a data set
	Radius1MM     *float64 `json:"radius1_mm"` // of a mirror too
	Radius2MM     *float64 `json:"radius2_mm"`
	ThicknessMM   *float64 `json:"thickness_mm"`
	DiameterMM    *float64 `json:"diameter_mm"`
	FocalLengthMM *float64 `json:"focal_length_mm"` // null: no power
	Reflectance   *float64 `json:"reflectance,omitempty"`
	GapAfterMM    float64  `json:"gap_after_mm"`
}

// calcImage is the image of an object, in calcResult when one was asked for.
type calcImage struct {
	ObjectMM      *float64 `json:"object_distance_mm"` // null: infinite
	ImageMM       *float64 `json:"image_distance_mm"`  // null: infinite
	Magnification *float64 `json:"magnification"`      // null: infinite
	Virtual       bool     `json:"virtual"`
	AtInfinity    bool     `json:"image_at_infinity"`
}

// asStated is the source of a figure that the person gave.
const asStated = "as stated"

// calculate gives the figures of the stack, and of an image where one is asked for.
// Fault Invalid when the stack is impossible or its figures leave the range of numbers.
func (t calcTask) calculate() (calcResult, error) {
	stack := t.stack()
	c, err := stack.Cardinal()
	if err != nil {
		return calcResult{}, err
	}
	m := stack.Matrix()
	if c.Afocal {
		m.CPerMM = 0 // what is left of it is rounding
	}
	r := calcResult{
		WavelengthUM: t.wavelengthUM, Elements: t.elements(), Matrix: m, LengthMM: stack.LengthMM(), Reflections: stack.Reflections(), Assumptions: t.assumptions(),
		EFLMM: orNull(c.EFLMM), BFLMM: orNull(c.BFLMM), FFLMM: orNull(c.FFLMM),
		PrincipalFrontMM: orNull(c.PrincipalFrontMM), PrincipalRearMM: orNull(c.PrincipalRearMM), Afocal: c.Afocal,
	}
	figures := []float64{m.A, m.BMM, m.CPerMM, m.D, r.LengthMM}
	if !c.Afocal {
		figures = append(figures, c.EFLMM, c.BFLMM, c.FFLMM, c.PrincipalFrontMM, c.PrincipalRearMM)
	}
	if t.objectMM != nil {
		image, err := stack.Conjugate(*t.objectMM)
		if err != nil {
			return calcResult{}, err
		}
		if !image.AtInfinity {
			figures = append(figures, image.ImageMM, image.Magnification)
		}
		r.calcImage = &calcImage{orNull(*t.objectMM), orNull(image.ImageMM), orNull(image.Magnification), image.Virtual, image.AtInfinity}
	}
	for _, v := range figures {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return calcResult{}, fault.Invalidf("these sizes give figures too large for a number").
				WithHint("type sizes that a lens has: radii, thicknesses and gaps in mm")
		}
	}
	if len(t.raysMM) > 0 {
		if r.Rays, err = stack.ParallelRays(t.raysMM); err != nil {
			return r, err
		}
	}
	if t.explain {
		r.Explain, err = t.explanations(stack)
	}
	return r, err
}

func (t calcTask) elements() []calcElement {
	list := make([]calcElement, len(t.parts))
	for i, p := range t.parts {
		e := p.element
		out := calcElement{Name: t.name(i), Kind: "thin", Source: asStated, FocalLengthMM: orNull(e.FocalLengthMM())}
		if p.gapMM != nil {
			out.GapAfterMM = *p.gapMM
		}
		if e.DiameterMM > 0 {
			out.DiameterMM = &e.DiameterMM
		}
		switch {
		case e.Mirror:
			out.Kind, out.Radius1MM, out.Reflectance = "mirror", planeAsNull(e.Radius1MM), &e.Reflectance
		case !e.IsThin():
			out.Kind, out.N, out.ThicknessMM = "thick", &e.N, &e.ThicknessMM
			out.Radius1MM, out.Radius2MM = planeAsNull(e.Radius1MM), planeAsNull(e.Radius2MM)
		}
		if p.index != nil {
			out.Material, out.Dataset, out.InRange, out.Source = &p.material, &p.index.Dataset, &p.index.InRange, p.index.Source
		}
		list[i] = out
	}
	return list
}

// assumptions names the gaps that were not stated.
func (t calcTask) assumptions() []string {
	list := []string{}
	for i, p := range t.parts {
		if p.gapMM == nil && i+1 < len(t.parts) {
			list = append(list, fmt.Sprintf("the gap after %s is not stated; 0 mm is taken", t.name(i)))
		}
	}
	return list
}

// orNull returns nil, null in JSON, for what is not a finite number.
func orNull(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	if v == 0 {
		v = 0 // no negative zero
	}
	return &v
}

func planeAsNull(radiusMM float64) *float64 {
	if radiusMM == 0 {
		return nil
	}
	return &radiusMM
}

// show calculates and prints.
func (t calcTask) show(app *App) error {
	r, err := t.calculate()
	if err != nil {
		return err
	}
	return app.emit(r, func() error {
		tables := []term.Table{r.lensTable(), r.figureTable()}
		if len(r.Rays) > 0 {
			tables = append(tables, r.rayTable())
		}
		if err := app.tables(tables...); err != nil || !t.explain {
			return err
		}
		fmt.Fprintln(app.Out)
		return app.screen().Markdown(report.Explanations("How the figures come about", r.Explain))
	})
}

// tables prints tables with a blank line between them.
func (app *App) tables(list ...term.Table) error {
	for i, t := range list {
		if i > 0 {
			fmt.Fprintln(app.Out)
		}
		if err := app.screen().Table(t); err != nil {
			return err
		}
	}
	return nil
}

func (r calcResult) lensTable() term.Table {
	t := term.Table{Columns: []term.Column{{Header: "lens"}, {Header: "material"}, {Header: "index", Align: term.Right}, {Header: "radius 1, mm", Align: term.Right},
		{Header: "radius 2, mm", Align: term.Right}, {Header: "thickness, mm", Align: term.Right}, {Header: "focal length, mm", Align: term.Right}, {Header: "gap after, mm", Align: term.Right}}}
	for i, e := range r.Elements {
		kind, n, r1, r2, thickness, gap := "thin", "-", "-", "-", "-", "-"
		if e.N != nil {
			kind, n, thickness = "not stated", quantity.Fixed(*e.N, indexDigits), figure(e.ThicknessMM, "-")
			r1, r2 = figure(e.Radius1MM, "plane"), figure(e.Radius2MM, "plane")
		}
		if e.Reflectance != nil {
			kind, r1 = "mirror, reflects "+figure(e.Reflectance, ""), figure(e.Radius1MM, "plane")
		}
		if e.Material != nil {
			kind = *e.Material
		}
		if i+1 < len(r.Elements) {
			gap = figure(&e.GapAfterMM, "-")
		}
		t.Rows = append(t.Rows, []string{e.Name, kind, n, r1, r2, thickness, figure(e.FocalLengthMM, "infinite"), gap})
	}
	return t
}

// Digits that computed figures and indices are printed with.
const (
	calcDigits  = 6
	indexDigits = 7
)

// figure prints a computed figure, or the word for null.
func figure(v *float64, null string) string {
	if v == nil {
		return null
	}
	return quantity.Fixed(*v, calcDigits)
}

// millimetres prints a length, null as infinite.
func millimetres(v *float64) string {
	if v == nil {
		return "infinite"
	}
	return figure(v, "") + " mm"
}

func (r calcResult) figureTable() term.Table {
	t := term.Table{Columns: []term.Column{{Header: "figure"}, {Header: "value"}, {Header: "meaning"}}}
	add := func(figure, value, meaning string) { t.Rows = append(t.Rows, []string{figure, value, meaning}) }
	if r.Afocal {
		add("effective focal length", "infinite", "afocal: parallel light stays parallel, and there are no focal points")
	} else {
		add("effective focal length", millimetres(r.EFLMM), "")
		add("back focal length", millimetres(r.BFLMM), "last vertex to the rear focal point, positive to the right")
		add("front focal length", millimetres(r.FFLMM), "first vertex to the front focal point, positive to the left")
		add("front principal plane", millimetres(r.PrincipalFrontMM), "from the first vertex, positive to the right")
		add("rear principal plane", millimetres(r.PrincipalRearMM), "from the last vertex, positive to the right")
	}
	add("length", millimetres(&r.LengthMM), "first vertex to last vertex")
	if r.Reflections > 0 {
		meaning := "an even number: the picture is not a mirror image"
		if r.Reflections%2 == 1 {
			meaning = "an odd number: the picture is a mirror image"
		}
		add("reflections", fmt.Sprint(r.Reflections), meaning)
	}
	add("matrix A", figure(&r.A, ""), "of height and index times slope")
	add("matrix B", figure(&r.BMM, "")+" mm", "")
	add("matrix C", figure(&r.CPerMM, "")+" /mm", "")
	add("matrix D", figure(&r.D, ""), "")
	r.imageRows(add)
	for _, e := range r.Elements {
		switch {
		case e.InRange != nil && !*e.InRange:
			add("index of "+e.Name, quantity.Fixed(*e.N, indexDigits), "EXTRAPOLATED beyond the range of "+*e.Dataset+", a guess: "+e.Source)
		case e.N != nil:
			add("index of "+e.Name, quantity.Fixed(*e.N, indexDigits), e.Source)
		}
	}
	for _, a := range r.Assumptions {
		add("assumed", "0 mm", a)
	}
	return t
}

func (r calcResult) imageRows(add func(figure, value, meaning string)) {
	i := r.calcImage
	if i == nil {
		return
	}
	add("object distance", millimetres(i.ObjectMM), "from the first vertex, positive to the left")
	meaning := "from the last vertex, positive to the right; real"
	switch {
	case i.AtInfinity:
		meaning = "the light leaves parallel"
	case i.Virtual:
		meaning = "from the last vertex, positive to the right; virtual"
	}
	add("image distance", millimetres(i.ImageMM), meaning)
	meaning = ""
	switch m := i.Magnification; {
	case m == nil:
	case *m < 0:
		meaning = "inverted"
	case *m > 0:
		meaning = "upright"
	}
	add("magnification", figure(i.Magnification, "infinite"), meaning)
}

// objectFlag declares --object for the commands that image one.
func objectFlag(cmd *cobra.Command) {
	cmd.Flags().String("object", "", "image an object this far before the first vertex, or inf")
}

// object reads --object; nil when it was not given.
func (in *input) object() *float64 { return in.distance("object") }

// distance reads a length in mm or the word for a far one, +Inf; nil when the
// flag was not given.
func (in *input) distance(flag string) *float64 {
	s, ok := in.given(flag)
	if !ok {
		return nil
	}
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "inf", "infinity", "infinite":
		far := math.Inf(1)
		return &far
	}
	return in.lengthMM(flag)
}

// lengthMM reads a length in mm; nil when the flag was not given.
func (in *input) lengthMM(flag string) *float64 { return in.optional(flag, quantity.Millimetre) }

// optional reads a value; nil when the flag was not given.
func (in *input) optional(flag string, unit quantity.Unit) *float64 {
	if _, ok := in.given(flag); !ok {
		return nil
	}
	var v float64
	in.must(flag, unit, &v)
	return &v
}
