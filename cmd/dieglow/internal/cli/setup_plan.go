package cli

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog"
	"dieglow/catalog/drawing"
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/optics/plan"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
	"dieglow/notebook/radiometry"
	"dieglow/store"
)

// planFlags are the flags of setup plan that input does not read.
type planFlags struct {
	onHand          bool
	maxLenses, keep int
	save            int
	name, plot      string
	contrast        float64
}

// planResult is what setup plan gives as JSON.
type planResult struct {
	Camera      string                   `json:"camera"`
	FocusMM     *float64                 `json:"focus_mm"` // null: infinity
	Wishes      catalog.PlanWishes       `json:"wishes"`
	Contrast    float64                  `json:"contrast"`
	OnHand      bool                     `json:"on_hand"`
	MaxLenses   int                      `json:"max_lenses"`
	GapsMM      []float64                `json:"gaps_mm"`
	LastGapsMM  []float64                `json:"last_gaps_mm"`
	Considered  planCounts               `json:"considered"`
	LeftOut     []catalog.LeftOut        `json:"left_out"`
	Complete    bool                     `json:"complete"` // false: interrupted, and this is the best so far
	Met         bool                     `json:"met"`      // the wishes, by at least one option
	Options     []catalog.PlanOption     `json:"options"`
	Relax       []catalog.PlanRelaxed    `json:"relax"`
	Nearest     *catalog.PlanOption      `json:"nearest"` // null unless no single wish suffices
	Assumptions []string                 `json:"assumptions"`
	Saved       *recorded[catalog.Setup] `json:"saved"`
}

type planCounts struct {
	Lenses    int   `json:"lenses"`
	Sets      int64 `json:"sets_of_lenses"`
	Screened  int64 `json:"stacks_screened"`
	Traced    int64 `json:"stacks_traced"`
	Refined   int64 `json:"stacks_refined"`
	Sharpened int64 `json:"stacks_sharpened"`
	Front     int64 `json:"stacks_on_front"`
}

func newSetupPlan(app *App) *cobra.Command {
	var o planFlags
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "Search the catalogue for stacks that meet wishes",
		Long: `Searches the usable lenses of the catalogue, in every order, either way round, at
the gaps of --gap and --last-gap, for stacks that meet the wishes, and lists what
is traded for what. At least one of --resolve and --field is needed.

  resolve     half a period: the smallest bar in the middle of the field, which
              is never narrower than one object pixel; for a lone wire or void
              ask for half its size, two pixels across it
  field       the side of a square that the field holds, as far as half of the
              light passes the apertures
  clearance   from the specimen to what stands nearest, rim or vertex
  budget      of the lenses together; lenses on hand count with their cost too

Lenses one could buy take part unless --on-hand is given; then each takes part as
often as it is there. The first screening is to first order, the rest is traced by
exact rays over the camera's band, and what is listed is worked out as by
dieglow setup show --exact. Options come with the smallest bar first; where bars
differ by less than 1 %, real lenses before those known by focal length alone,
then the cheaper. Ctrl-C gives the best so far.

A range such as --gap 0.5mm..10mm is tried at six gaps, closer together at its
low end; a list is taken as it is. --save makes an option of the list a setup.`,
		Example: `  dieglow setup plan --camera cam-a --resolve 50um --field 3mm --clearance 8mm --budget 60EUR
  dieglow setup plan --camera cam-a --field 5mm --on-hand --save 1 --name wide`,
		Args: args(),
	}
	f := cmd.Flags()
	textFlags(f, "camera", "the camera (needed)", "resolve", "the smallest bar that must be resolved", "field", "side of the square that must be seen", "clearance", "free distance over the specimen",
		"budget", "what the lenses may cost together", "gap", "gaps between lenses, low..high or a list", "last-gap", "distances from the last lens to the camera's lens, low..high or a list",
		"focus", "infinity, or a distance from the camera's lens")
	f.BoolVar(&o.onHand, "on-hand", false, "only lenses on hand")
	f.IntVar(&o.maxLenses, "max-lenses", 4, "lenses in a stack at most")
	f.IntVar(&o.keep, "keep", 10, "options to list")
	f.Float64Var(&o.contrast, "contrast", optics.DefaultContrast, "contrast that a bar must keep")
	f.IntVar(&o.save, "save", 0, "make this option of the list a setup")
	f.StringVar(&o.name, "name", "", "name of the setup that --save makes")
	f.StringVar(&o.plot, "plot", "", "draw resolution against field into this file, svg or png")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return runPlan(app, cmd, o) }
	return cmd
}

func runPlan(app *App, cmd *cobra.Command, o planFlags) error {
	if err := o.check(cmd); err != nil {
		return err
	}
	request, err := app.planRequest(cmd, o)
	if err != nil {
		return err
	}
	ready, err := request.Prepare()
	if err != nil {
		return err
	}
	line := term.NewProgress(app.Err, app.Env)
	found, err := plan.Search(cmd.Context(), ready.Problem, func(p plan.Progress) { line.Show(p.Stage, p.Done, p.Total) })
	line.Done()
	if err != nil {
		return err
	}
	if o.save > 0 {
		if err := o.checkSave(found); err != nil {
			return err
		}
	}
	out := planned(request, ready, found)
	if o.plot != "" {
		if err := o.draw(found); err != nil {
			return err
		}
	}
	if o.save > 0 {
		if out.Saved, err = app.savePlanned(cmd, ready.Setup(found.Options[o.save-1]), o.name); err != nil {
			return errors.Join(err, o.undraw())
		}
	}
	if err := app.emit(out, func() error { return app.printPlan(out) }); err != nil {
		return err
	}
	if !found.Complete {
		return fault.Otherf("interrupted: what is listed is the best so far").WithHint("run it again to the end, or shorten it with --max-lenses or fewer gaps")
	}
	return nil
}

// draw plots resolution against field.
func (o planFlags) draw(found plan.Result) error {
	f := drawing.FrontPlot{Title: "What is traded for what", XLabel: "square field, mm", YLabel: "smallest bar, µm"}
	for _, p := range found.Points {
		f.Points = append(f.Points, drawing.FrontPoint{X: p.FieldMM, Y: p.SmallestBarUM, OnFront: p.OnFront, Meets: p.Meets})
	}
	for i, option := range found.Options {
		f.Points = append(f.Points, drawing.FrontPoint{X: option.FieldMM, Y: option.SmallestBarUM, Label: fmt.Sprint(i + 1), OnFront: true, Meets: true})
	}
	d, err := drawing.Front(f)
	if err != nil {
		return err
	}
	return d.WriteFile(o.plot)
}

// undraw takes the plot away again, since a command that fails leaves no file.
func (o planFlags) undraw() error {
	if o.plot == "" {
		return nil
	}
	return os.Remove(o.plot)
}

// check refuses flags that do not go together.
func (o planFlags) check(cmd *cobra.Command) error {
	given := cmd.Flags().Changed
	switch {
	case given("save") && o.save < 1:
		return fault.Invalidf("--save %d is not an option of the list", o.save).WithHint("type the number of an option, for example --save 1 --name close")
	case given("save") && strings.TrimSpace(o.name) == "":
		return fault.Usagef("--save needs a name for the setup").WithHint("add --name, for example --save %d --name close", o.save)
	case given("name") && !given("save"):
		return fault.Usagef("--name is that of the setup that --save makes").WithHint("add --save 1, or leave --name out")
	case !(o.contrast > 0 && o.contrast < 1):
		return fault.Invalidf("a contrast of %g is not between 0 and 1", o.contrast).WithHint("type a share such as 0.2")
	case o.keep < 1 || o.keep > 100:
		return fault.Invalidf("a list of %d options is not between 1 and 100", o.keep).WithHint("type --keep 10, or leave it out")
	case o.save > o.keep:
		return fault.Invalidf("--save %d lies beyond the list of %d options", o.save, o.keep).WithHint("type a number up to %d, or a longer list with --keep %d", o.keep, o.save)
	case given("plot"):
		if err := drawing.CheckName(o.plot); err != nil {
			return err
		}
		if _, err := os.Lstat(o.plot); err == nil {
			return fault.Conflictf("%s is there already", o.plot).WithHint("name a new file, or move the old one away")
		}
	}
	if given("name") {
		return catalog.CheckName(catalog.KindSetup, strings.TrimSpace(o.name))
	}
	return nil
}

func (o planFlags) checkSave(found plan.Result) error {
	switch {
	case !found.Complete:
		return fault.Otherf("interrupted before the list was complete, so nothing is saved").WithHint("run it again to the end")
	case len(found.Options) == 0:
		return fault.Invalidf("nothing meets the wishes, so there is no option to save").WithHint("run it without --save to see which wish to relax, and by how much")
	case o.save > len(found.Options):
		return fault.Invalidf("--save %d lies beyond the list, which has %s", o.save, counted(len(found.Options), "option")).WithHint("type a number from 1 to %d", len(found.Options))
	}
	return nil
}

// planRequest reads the flags and the catalogue.
func (app *App) planRequest(cmd *cobra.Command, o planFlags) (catalog.PlanRequest, error) {
	in := app.input(cmd)
	r := catalog.PlanRequest{OnHand: o.onHand, MaxLenses: o.maxLenses, Contrast: o.contrast, Keep: o.keep,
		Weigh: func(um float64) float64 { return radiometry.SpectralRadiance(um, targetK) }}
	in.value("resolve", quantity.Micrometre, &r.Wishes.ResolveUM)
	in.value("field", quantity.Millimetre, &r.Wishes.FieldMM)
	in.value("clearance", quantity.Millimetre, &r.Wishes.ClearanceMM)
	in.money("budget", &r.Wishes.Budget)
	r.GapsMM = in.gaps("gap", catalog.DefaultGapsMM())
	r.LastGapsMM = in.gaps("last-gap", catalog.DefaultLastGapsMM())
	if text, ok := in.given("focus"); ok {
		if t := strings.ToLower(strings.TrimSpace(text)); t != "infinity" && t != "inf" {
			in.value("focus", quantity.Millimetre, &r.FocusMM)
		}
	}
	if in.err != nil {
		return r, in.err
	}
	if err := r.Wishes.Validate(); err != nil {
		return r, err
	}
	camera, ok := in.given("camera")
	if !ok || strings.TrimSpace(camera) == "" {
		return r, fault.Usagef("a plan needs its camera").WithHint("give --camera NAME; dieglow camera list shows the cameras")
	}
	return r, app.view(cmd.Context(), func(tx *store.Tx) error {
		cam, err := store.Get[catalog.Camera](tx, camera)
		if err != nil {
			return err
		}
		r.Camera, r.CameraRef = cam.Body, cam.Ref
		lenses, err := store.List[catalog.Lens](tx, "")
		if err != nil {
			return err
		}
		for _, l := range lenses {
			r.Lenses = append(r.Lenses, catalog.PlanLens{Ref: l.Ref, Lens: l.Body})
		}
		return nameIsFree(tx, strings.TrimSpace(o.name))
	})
}

// nameIsFree refuses a setup's name that is taken before a long search is made.
func nameIsFree(tx *store.Tx, name string) error {
	if name == "" {
		return nil
	}
	_, err := store.Get[catalog.Setup](tx, name)
	switch {
	case err == nil:
		return fault.Conflictf("there is a setup called %s already", name).WithHint("choose another --name")
	case fault.KindOf(err) == fault.NotFound:
		return nil
	}
	return err
}

// gaps reads "0.5mm..10mm", tried at several gaps, or a list "1mm,2mm,5mm".
func (in *input) gaps(flag string, otherwise []float64) []float64 {
	s, ok := in.given(flag)
	if !ok {
		return otherwise
	}
	if strings.Contains(s, "..") {
		low, high := in.interval(flag, quantity.Millimetre)
		if in.err == nil && (low == nil || high == nil) {
			in.fail(flag, fault.Invalidf("%q has an open end", s).WithHint("type both ends, for example 0.5mm..10mm"))
		}
		if in.err != nil {
			return nil
		}
		return catalog.GapSteps(*low, *high)
	}
	var out []float64
	for _, item := range strings.Split(s, ",") {
		g, err := quantity.ParseValue(strings.TrimSpace(item), quantity.Millimetre)
		in.fail(flag, err)
		out = append(out, g)
	}
	return out
}

func planned(r catalog.PlanRequest, ready catalog.Planning, found plan.Result) planResult {
	c := found.Counts
	out := planResult{
		Camera: r.CameraRef.Handle, FocusMM: r.FocusMM, Wishes: r.Wishes, Contrast: r.Contrast, OnHand: r.OnHand, MaxLenses: r.MaxLenses, GapsMM: r.GapsMM, LastGapsMM: r.LastGapsMM,
		Considered: planCounts{len(ready.Problem.Parts), c.Sets, c.Screened, c.Traced, c.Refined, c.Sharpened, c.Front},
		LeftOut:    nonNil(ready.LeftOut), Complete: found.Complete, Met: len(found.Options) > 0,
		Options: []catalog.PlanOption{}, Relax: nonNil(ready.Relax(found)), Assumptions: ready.Assumptions(found),
	}
	for i, o := range found.Options {
		option := ready.Option(i+1, o)
		if i < inFull && found.Complete {
			option.Uncertainty = ready.Uncertainty(o)
		}
		out.Options = append(out.Options, option)
	}
	var assumed []string
	for _, o := range out.Options {
		if o.Uncertainty == nil {
			continue
		}
		for _, a := range o.Uncertainty.Assumed {
			if !slices.Contains(assumed, a) {
				assumed = append(assumed, a)
			}
		}
	}
	if len(assumed) > 0 {
		out.Assumptions = append(out.Assumptions, "for the uncertainties, limits of error where the record gives none (usual, no source): "+strings.Join(assumed, ", "))
	}
	if found.Nearest != nil {
		nearest := ready.Option(0, *found.Nearest)
		out.Nearest = &nearest
	}
	return out
}

// savePlanned records an option as setup add would.
func (app *App) savePlanned(cmd *cobra.Command, s catalog.Setup, name string) (*recorded[catalog.Setup], error) {
	s.Name = strings.TrimSpace(name)
	var out recorded[catalog.Setup]
	err := app.update(cmd.Context(), func(tx *store.Tx) (err error) {
		if err := s.Validate(); err != nil {
			return err
		}
		if err := setupReady(tx, &s); err != nil {
			return err
		}
		if out.Record, err = store.Add(tx, s, store.Placement{}); err != nil {
			return err
		}
		out.Warnings, err = setupWarnings(tx, s)
		return err
	})
	out.Warnings = nonNil(out.Warnings)
	return &out, err
}
