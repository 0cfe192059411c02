package cli

import (
	"fmt"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/quantity"
	"dieglow/cmd/dieglow/internal/term"
)

// inFull is how many options are shown with all their figures.
const inFull = 3

// printPlan shows a plan: the list, the best in full, or what to relax.
func (app *App) printPlan(p planResult) error {
	c := p.Considered
	app.notef("%s, %s: %d stacks screened to first order, %d traced, %d over the band, %d in full",
		counted(c.Lenses, "lens"), counted(int(c.Sets), "set"), c.Screened, c.Traced, c.Refined, c.Sharpened)
	for _, l := range p.LeftOut {
		app.notef("left out: %s: %s", l.Lens, l.Why)
	}
	var err error
	switch {
	case p.Met:
		err = app.printOptions(p)
	case p.Complete:
		err = app.printRelax(p)
	default:
		fmt.Fprintln(app.Out, "Nothing found so far.")
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(app.Out)
	var text strings.Builder
	for _, a := range p.Assumptions {
		fmt.Fprintf(&text, "- Assumed: %s.\n", a)
	}
	if err := app.screen().Markdown([]byte(text.String())); err != nil {
		return err
	}
	if p.Saved == nil {
		return nil
	}
	for _, w := range p.Saved.Warnings {
		app.notef("warning: %s", w)
	}
	_, err = fmt.Fprintf(app.Out, "\nrecorded %s: %s\n", term.Clean(p.Saved.Label()), term.Clean(setupNoun().brief(p.Saved.Body)))
	return err
}

func um(v float64) string { return quantity.Fixed(v, 3) + " µm" }
func mm(v float64) string { return quantity.Fixed(v, 3) + " mm" }

// passes is a transmission with what is not known about it.
func passes(o catalog.PlanOption) string {
	text := quantity.Fixed(o.Transmission*100, 3) + " %"
	switch {
	case len(o.BareLenses) > 0:
		return text + " if uncoated"
	case o.UpperBound:
		return "at most " + text
	}
	return text
}

// cornerBar is the smallest bar in the corner, or why there is none.
func cornerBar(o catalog.PlanOption) string {
	switch {
	case o.CornerBarUM != nil:
		return um(*o.CornerBarUM)
	case o.CornerPassed > 0:
		return "none, scattered"
	}
	return "no light"
}

// withPlanU prints a figure with its uncertainty where there is one.
func withPlanU(v float64, o catalog.PlanOption, of func(catalog.PlanUncertainty) float64, unit string) string {
	if o.Uncertainty != nil {
		if u := of(*o.Uncertainty); u > 0 {
			return quantity.With(v, u).Number(quantity.One) + " " + unit
		}
	}
	return quantity.Fixed(v, 3) + " " + unit
}

// costs is what the lenses cost together, as far as it is recorded.
func costs(o catalog.PlanOption) string {
	var list []string
	for _, m := range o.Costs {
		list = append(list, m.String())
	}
	if len(o.WithoutCost) > 0 {
		list = append(list, strings.Join(o.WithoutCost, ", ")+" not recorded")
	}
	return strings.Join(list, ", ")
}

// remarks says what flatters an option, and where it is the best of the list.
func remarks(o catalog.PlanOption) string {
	var list []string
	if o.Ideal {
		list = append(list, "ideal lens")
	}
	if len(o.BestIn) > 0 {
		list = append(list, "best "+strings.Join(o.BestIn, ", "))
	}
	return strings.Join(list, "; ")
}

// printOptions lists the options. On a terminal the stacks, which are long, stand in
// a list of their own; in a pipe an option is one line.
func (app *App) printOptions(p planResult) error {
	right := func(h string) term.Column { return term.Column{Header: h, Align: term.Right} }
	option, stack := term.Column{Header: "option"}, term.Column{Header: "stack, from the specimen"}
	figures := []term.Column{right("smallest bar"), right("in the corner"), right("square field"), right("clearance"), right("transmission"), right("cost"), {Header: "limited by"}, {Header: "remarks"}}
	apart := app.screen().IsTerminal()
	stacks, t := term.Table{Columns: []term.Column{option, stack}}, term.Table{Columns: append([]term.Column{option, stack}, figures...)}
	if apart {
		t.Columns = append([]term.Column{option}, figures...)
	}
	for _, o := range p.Options {
		rank := fmt.Sprint(o.Rank)
		row := []string{um(o.SmallestBarUM), cornerBar(o), mm(o.SquareFieldMM), mm(o.ClearanceMM), passes(o), costs(o), o.Limit, remarks(o)}
		if apart {
			t.Rows, stacks.Rows = append(t.Rows, append([]string{rank}, row...)), append(stacks.Rows, []string{rank, o.Stack})
			continue
		}
		t.Rows = append(t.Rows, append([]string{rank, o.Stack}, row...))
	}
	if apart {
		if err := app.screen().Table(stacks); err != nil {
			return err
		}
		fmt.Fprintln(app.Out)
	}
	if err := app.screen().Table(t); err != nil {
		return err
	}
	return app.printFull(p.Options[:min(len(p.Options), inFull)])
}

// printFull shows options side by side with all their figures.
func (app *App) printFull(options []catalog.PlanOption) error {
	fmt.Fprintln(app.Out)
	t := term.Table{Columns: []term.Column{{Header: "by exact rays"}}}
	rows := []struct {
		label string
		value func(catalog.PlanOption) string
	}{
		{"object pixel", func(o catalog.PlanOption) string {
			return withPlanU(o.ObjectPixelUM, o, func(u catalog.PlanUncertainty) float64 { return u.ObjectPixelUM }, "µm")
		}},
		{"field of view", func(o catalog.PlanOption) string { return quantity.Fixed(o.FieldXMM, 3) + " x " + mm(o.FieldYMM) }},
		{"working distance", func(o catalog.PlanOption) string {
			return withPlanU(o.WorkingDistanceMM, o, func(u catalog.PlanUncertainty) float64 { return u.WorkingDistanceMM }, "mm")
		}},
		{"object-side numerical aperture", func(o catalog.PlanOption) string { return quantity.Fixed(o.NAObject, 3) }},
		{"cone limited by", func(o catalog.PlanOption) string { return o.Stop }},
		{"rms radius of the blur in the middle", func(o catalog.PlanOption) string { return um(o.RMSBlurUM) }},
		{"depth of field", func(o catalog.PlanOption) string { return um(o.DepthOfFieldUM) }},
		{"smallest bar in the middle, limited by", func(o catalog.PlanOption) string {
			return withPlanU(o.SmallestBarUM, o, func(u catalog.PlanUncertainty) float64 { return u.SmallestBarUM }, "µm") + ", " + o.Limit
		}},
		{"smallest bar in the corner, limited by", func(o catalog.PlanOption) string {
			if o.CornerBarUM == nil {
				return cornerBar(o)
			}
			return cornerBar(o) + ", " + o.CornerLimit
		}},
		{"beam that reaches the corner", func(o catalog.PlanOption) string { return quantity.Fixed(o.CornerPassed*100, 3) + " %" }},
		{"to buy", func(o catalog.PlanOption) string {
			var list []string
			for _, b := range o.ToBuy {
				list = append(list, fmt.Sprintf("%d of %s", b.Count, b.Lens))
			}
			if len(list) == 0 {
				return "-"
			}
			return strings.Join(list, ", ")
		}},
	}
	for _, o := range options {
		head := "nearest miss"
		if o.Rank > 0 {
			head = fmt.Sprintf("option %d", o.Rank)
		}
		t.Columns = append(t.Columns, term.Column{Header: head})
	}
	for _, r := range rows {
		row := []string{r.label}
		for _, o := range options {
			row = append(row, r.value(o))
		}
		t.Rows = append(t.Rows, row)
	}
	return app.screen().Table(t)
}

// printRelax says that nothing meets the wishes, and which to relax.
func (app *App) printRelax(p planResult) error {
	fmt.Fprintln(app.Out, "Nothing meets the wishes.")
	fmt.Fprintln(app.Out)
	t := term.Table{Columns: []term.Column{{Header: "relax"}, {Header: "to"}, {Header: "by", Align: term.Right}, {Header: "then"}}}
	for _, r := range p.Relax {
		row := []string{r.Wish, "-", "-", "the other wishes cannot be met without it either"}
		if r.Reachable {
			row = []string{r.Wish, r.Flag, quantity.Fixed(r.By*100, 3) + " %", r.Option.Stack}
		}
		t.Rows = append(t.Rows, row)
	}
	if err := app.screen().Table(t); err != nil || p.Nearest == nil {
		return err
	}
	n := *p.Nearest
	fmt.Fprintf(app.Out, "\nNo single wish suffices. The nearest miss is %s: bar %s, square field %s, clearance %s, cost %s.\n",
		term.Clean(n.Stack), um(n.SmallestBarUM), mm(n.SquareFieldMM), mm(n.ClearanceMM), costs(n))
	return app.printFull([]catalog.PlanOption{n})
}
