package catalog

import (
	"strconv"
	"strings"

	"dieglow/catalog/optics/plan"
	"dieglow/catalog/quantity"
)

// PlanRelaxed is what giving up a part of one wish makes possible.
type PlanRelaxed struct {
	Wish      string      `json:"wish"`      // resolve, field, clearance or budget
	Reachable bool        `json:"reachable"` // false: the others are not met without this wish either
	Flag      string      `json:"flag"`      // the relaxed wish as it is typed; "" when not reachable
	By        float64     `json:"by_share"`  // of the wish, by which it must be relaxed; 0 when not reachable
	Wishes    *PlanWishes `json:"wishes"`    // with the relaxed one; null when not reachable
	Option    *PlanOption `json:"option"`    // a stack that meets them; null when not reachable
}

// Relax makes the search's advice fit to be shown.
func (p Planning) Relax(found plan.Result) []PlanRelaxed {
	var out []PlanRelaxed
	for _, x := range found.Relax {
		r := PlanRelaxed{Wish: x.Wish, Reachable: x.Reachable}
		if x.Reachable {
			w, o := p.request.Wishes, p.Option(0, x.Option)
			r.Wishes, r.Option = &w, &o
			r.By = x.Value/x.Wished - 1
			if r.By < 0 {
				r.By = -r.By
			}
			v := x.Value
			switch x.Wish {
			case "resolve":
				w.ResolveUM = &v
				r.Flag = "--resolve " + plain(v) + "um"
			case "field":
				w.FieldMM = &v
				r.Flag = "--field " + plain(v) + "mm"
			case "clearance":
				w.ClearanceMM = &v
				r.Flag = "--clearance " + plain(v) + "mm"
			case "budget":
				w.Budget = &quantity.Money{Minor: int64(v), Currency: p.Currency}
				r.Flag = "--budget " + strings.ReplaceAll(w.Budget.String(), " ", "")
			}
		}
		out = append(out, r)
	}
	return out
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Assumptions says what the figures of a plan rest on.
func (p Planning) Assumptions(found plan.Result) []string {
	out := []string{
		"the camera's own lens is taken as perfect, and its pixels as wholly sensitive",
		"lenses stand on one axis, with nominal radii, thicknesses and gaps",
	}
	if c := p.request.Camera.Condition; c != Usable {
		out = append(out, p.request.CameraRef.Handle+" is "+string(c))
	}
	if p.request.FocusMM == nil && len(p.Problem.LastGapsMM) > 1 {
		out = append(out, "with the camera focused at infinity only the shortest distance to its lens that fits is tried: a longer one changes nothing in the middle and cuts the field sooner")
	}
	ideal, bound, bare := map[int]bool{}, map[int]bool{}, map[int]bool{}
	options := found.Options
	for _, x := range found.Relax {
		if x.Reachable {
			options = append(options[:len(options):len(options)], x.Option)
		}
	}
	if found.Nearest != nil {
		options = append(options[:len(options):len(options)], *found.Nearest)
	}
	for _, o := range options {
		for _, seat := range o.Seats {
			ideal[seat.Part] = p.lenses[seat.Part].Lens.Form == Thin
			bound[seat.Part] = p.Problem.Parts[seat.Part].UpperBound
			bare[seat.Part] = p.lenses[seat.Part].Lens.Transmission == nil
		}
	}
	if list := p.handles(ideal); list != "" {
		out = append(out, "taken without aberration, since known by focal length alone: "+list+"; the real lens does worse")
	}
	if list := p.handles(bound); list != "" {
		out = append(out, "absorption is left out, since it or the thickness is not known over the band: "+list)
	}
	if list := p.handles(bare); list != "" {
		out = append(out, "taken as uncoated, since the transmission was not measured: "+list)
	}
	return out
}

// handles joins those that are marked, in the order of the catalogue.
func (p Planning) handles(marked map[int]bool) string {
	var list []string
	for i, l := range p.lenses {
		if marked[i] {
			list = append(list, l.Ref.Handle)
		}
	}
	return strings.Join(list, ", ")
}
