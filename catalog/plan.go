package catalog

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/optics/plan"
	"dieglow/catalog/quantity"
)

// PlanWishes are what a stack to be found is to do; nil where there is no wish.
type PlanWishes struct {
	ResolveUM   *float64        `json:"resolve_um"`   // the smallest bar in the middle
	FieldMM     *float64        `json:"field_mm"`     // side of a square
	ClearanceMM *float64        `json:"clearance_mm"` // from the specimen to what stands nearest
	Budget      *quantity.Money `json:"budget"`       // of the lenses together
}

// PlanLens is a lens of the catalogue as a plan may use it.
type PlanLens struct {
	Ref  Ref
	Lens Lens
}

// PlanRequest is what to plan, and with what.
type PlanRequest struct {
	Camera     Camera
	CameraRef  Ref
	FocusMM    *float64 // what the camera is focused at, from its lens; nil: infinity
	Lenses     []PlanLens
	OnHand     bool // only lenses on hand, each as often as it is there
	GapsMM     []float64
	LastGapsMM []float64
	MaxLenses  int
	Contrast   float64
	Keep       int
	Wishes     PlanWishes
	Weigh      func(wavelengthUM float64) float64 // of the band, in any unit
}

// LeftOut is a lens that a plan does not use, and why.
type LeftOut struct {
	Lens string `json:"lens"` // handle
	Why  string `json:"why"`
}

// Planning is a request ready to be searched.
type Planning struct {
	Problem  plan.Problem
	LeftOut  []LeftOut
	Currency string // of Problem's costs; "" where there is no single one

	request PlanRequest
	lenses  []PlanLens // as Problem.Parts
}

// Prepare chooses the lenses that may be used and puts them in the order of their
// handles. Fault Invalid when the camera cannot focus there, NotFound when there
// is no lens to plan with.
func (r PlanRequest) Prepare() (Planning, error) {
	focus := Setup{FocusMM: r.FocusMM}.focus()
	if err := r.Camera.CheckFocus(focus); err != nil {
		return Planning{}, err
	}
	c := r.Camera
	p := Planning{request: r, Currency: r.currency(), Problem: plan.Problem{
		Camera:       optics.Camera{FocalMM: c.FocalLengthMM.Value, FNumber: c.FNumber, PitchXUM: c.PitchUM, PitchYUM: c.PitchUM, Width: c.PixelsX, Height: c.PixelsY, FocusMM: focus},
		WavelengthUM: c.MidBandUM(), GapsMM: r.GapsMM, LastGapsMM: r.LastGapsMM, MaxLenses: r.MaxLenses, Contrast: r.Contrast, Keep: r.Keep,
	}}
	for _, um := range c.bandSample(bandWaves) {
		p.Problem.Waves = append(p.Problem.Waves, plan.Wave{WavelengthUM: um, Weight: r.Weigh(um)})
	}
	for _, um := range c.bandSample(lightWaves) {
		p.Problem.LightWeights = append(p.Problem.LightWeights, r.Weigh(um))
	}
	p.Problem.Wishes = r.Wishes.plan()
	for _, l := range r.Lenses {
		part, why := r.part(l, p.Currency)
		if why != "" {
			p.LeftOut = append(p.LeftOut, LeftOut{l.Ref.Handle, why})
			continue
		}
		p.Problem.Parts, p.lenses = append(p.Problem.Parts, part), append(p.lenses, l)
	}
	if len(p.lenses) > 0 {
		return p, nil
	}
	if len(r.Lenses) == 0 {
		return p, fault.NotFoundf("there are no lenses to plan with").WithHint("record some first: dieglow lens add --help")
	}
	first := p.LeftOut[0]
	return p, fault.NotFoundf("none of the %d lenses can be planned with; %s: %s", len(r.Lenses), first.Lens, first.Why).
		WithHint("dieglow lens list shows them; leave out --on-hand or --budget, or amend the lenses with what is missing")
}

func (w PlanWishes) plan() plan.Wishes {
	var out plan.Wishes
	for _, f := range []struct {
		from *float64
		to   *float64
	}{{w.ResolveUM, &out.ResolveUM}, {w.FieldMM, &out.FieldMM}, {w.ClearanceMM, &out.ClearanceMM}} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
	if w.Budget != nil {
		out.Budget = float64(w.Budget.Minor)
	}
	return out
}

// Validate refuses wishes of zero and below. Fault Invalid.
func (w PlanWishes) Validate() error {
	for _, f := range []struct {
		flag, example string
		v             *float64
	}{{"resolve", "50um", w.ResolveUM}, {"field", "3mm", w.FieldMM}, {"clearance", "8mm", w.ClearanceMM}} {
		if f.v != nil && !(*f.v > 0) {
			return fault.Invalidf("--%s must be above 0", f.flag).WithHint("type --%s %s, or leave it out", f.flag, f.example)
		}
	}
	if w.Budget != nil && w.Budget.Minor <= 0 {
		return fault.Invalidf("--budget must be above 0").WithHint("type --budget 60EUR, or leave it out; lenses on hand count with their cost too")
	}
	return nil
}

// currency is that of the budget or, without one, the only one that lenses have.
func (r PlanRequest) currency() string {
	if r.Wishes.Budget != nil {
		return r.Wishes.Budget.Currency
	}
	only := ""
	for _, l := range r.Lenses {
		if l.Lens.Cost == nil || l.Lens.Condition != Usable {
			continue
		}
		if only != "" && only != l.Lens.Cost.Currency {
			return ""
		}
		only = l.Lens.Cost.Currency
	}
	return only
}

// part is a lens ready for the search, or why it takes no part.
func (r PlanRequest) part(l PlanLens, currency string) (part plan.Part, why string) {
	part = plan.Part{Name: l.Ref.Handle, Cost: math.Inf(1)}
	switch cost := l.Lens.Cost; {
	case l.Lens.Condition != Usable:
		return part, "its condition is " + string(l.Lens.Condition)
	case l.Lens.Form == Mirror:
		return part, "it is a mirror, which folds a setup; plans are of lenses alone"
	case r.OnHand && l.Lens.OnHand == nil:
		return part, "how many are on hand is not recorded"
	case r.OnHand && *l.Lens.OnHand == 0:
		return part, "none is on hand"
	case cost == nil && r.Wishes.Budget != nil:
		return part, "its cost is not recorded, so that it cannot be held against the budget"
	case cost != nil && r.Wishes.Budget != nil && cost.Currency != currency:
		return part, "its cost is in " + cost.Currency + ", the budget in " + currency
	case cost != nil && cost.Currency == currency:
		part.Cost = float64(cost.Minor)
	}
	if r.OnHand {
		part.Count = *l.Lens.OnHand
	}
	if err := r.trace(&part, l.Lens); err != nil {
		return part, err.Error()
	}
	return part, ""
}

// trace works out what of a lens rays and light meet, over the band.
func (r PlanRequest) trace(part *plan.Part, l Lens) error {
	at := func(um float64) (optics.Element, error) {
		e, err := l.element(um, false)
		e.Name = "" // a part stands in many places, so messages count instead
		return e, err
	}
	var err error
	if part.Element, err = at(r.Camera.MidBandUM()); err != nil {
		return err
	}
	for _, um := range r.Camera.bandSample(bandWaves) {
		e, err := at(um)
		if err != nil {
			return err
		}
		part.Waves = append(part.Waves, e)
	}
	for _, um := range r.Camera.bandSample(lightWaves) {
		pane, err := l.Pane(um)
		if err != nil {
			return err
		}
		light, err := pane.Light(true)
		if err != nil {
			return err
		}
		part.Transmission, part.UpperBound = append(part.Transmission, light.Transmission), part.UpperBound || light.UpperBound
	}
	return nil
}

// Setup is an option as a setup, without its figures.
func (p Planning) Setup(o plan.Option) Setup {
	s := Setup{Camera: p.request.CameraRef, FocusMM: p.request.FocusMM, WavelengthUM: p.Problem.WavelengthUM}
	for _, seat := range o.Seats {
		l := p.lenses[seat.Part]
		s.Stack = append(s.Stack, Seat{Lens: l.Ref, Name: l.Lens.Name, Flipped: seat.Flipped, GapAfterMM: quantity.Exactly(seat.GapAfterMM)})
	}
	return s
}

// PlanOption is one option of a plan as it is shown.
type PlanOption struct {
	Rank              int              `json:"rank"`
	Stack             string           `json:"stack"` // as setup add --stack takes it
	Lenses            []PlanSeat       `json:"lenses"`
	SmallestBarUM     float64          `json:"smallest_bar_um"` // in the middle, the worse of both directions
	ObjectPixelUM     float64          `json:"object_pixel_um"`
	SquareFieldMM     float64          `json:"square_field_mm"` // side of the largest square whose sides' middles keep about half of their light
	FieldXMM          float64          `json:"field_x_mm"`
	FieldYMM          float64          `json:"field_y_mm"`
	WorkingDistanceMM float64          `json:"working_distance_mm"`
	ClearanceMM       float64          `json:"clearance_mm"`
	NAObject          float64          `json:"na_object"`
	RMSBlurUM         float64          `json:"rms_blur_um"`
	DepthOfFieldUM    float64          `json:"depth_of_field_um"`
	Transmission      float64          `json:"transmission"`
	UpperBound        bool             `json:"transmission_upper_bound"` // without absorption that is not known
	BareLenses        []string         `json:"bare_lenses"`              // taken as uncoated, since their transmission was not measured
	Costs             []quantity.Money `json:"costs"`                    // of the lenses, a total a currency
	WithoutCost       []string         `json:"lenses_without_cost"`
	Limit             string           `json:"limit"`
	Stop              string           `json:"stop"`
	CornerPassed      float64          `json:"corner_passed"` // share of the beam
	CornerBarUM       *float64         `json:"corner_bar_um"` // the worse direction; null where nothing is resolved there
	CornerLimit       string           `json:"corner_limit"`
	Ideal             bool             `json:"ideal"` // a lens known by focal length alone takes part
	OnFront           bool             `json:"on_front"`
	// Uncertainty is what the tolerances of the parts do to the figures; null for
	// options beyond the first few, for which it was not worked out.
	Uncertainty *PlanUncertainty `json:"uncertainty"`
	BestIn      []string         `json:"best_in"`
	ToBuy       []PlanPurchase   `json:"to_buy"`
}

// PlanUncertainty holds standard uncertainties.
type PlanUncertainty struct {
	SmallestBarUM     float64  `json:"smallest_bar_um"`
	ObjectPixelUM     float64  `json:"object_pixel_um"`
	WorkingDistanceMM float64  `json:"working_distance_mm"`
	MainInput         string   `json:"main_input"` // to the working distance
	Assumed           []string `json:"assumed"`    // limits of error taken where the record gives none
}

// Uncertainty works out what the tolerances of its parts do to an option, by exact
// rays. Nil where that cannot be had.
func (p Planning) Uncertainty(o plan.Option) *PlanUncertainty {
	s, parts := p.Setup(o), p.parts(o)
	prediction, err := s.Prediction(parts, p.request.Weigh)
	if err != nil {
		return nil
	}
	prediction.Contrast = p.request.Contrast
	r, err := s.ExactTolerance(parts, prediction)
	if err != nil {
		return nil
	}
	out := PlanUncertainty{Assumed: []string{}}
	if _, assumed, err := s.Tolerances(parts); err == nil {
		out.Assumed = append(out.Assumed, assumed...)
	}
	for _, f := range r.Figures {
		switch f.Name {
		case "smallest_bar_um":
			out.SmallestBarUM = f.U
		case "object_pixel_um":
			out.ObjectPixelUM = f.U
		case "working_distance_mm":
			out.WorkingDistanceMM = f.U
			if len(f.Shares) > 0 {
				out.MainInput = f.Shares[0].Input
			}
		}
	}
	return &out
}

// PlanSeat is a lens of an option.
type PlanSeat struct {
	Lens       string  `json:"lens"` // handle
	Name       string  `json:"name"`
	Flipped    bool    `json:"flipped"`
	GapAfterMM float64 `json:"gap_after_mm"`
}

// PlanPurchase is what an option needs beyond what is on hand.
type PlanPurchase struct {
	Lens  string `json:"lens"`
	Count int    `json:"count"`
}

// parts are the lenses of an option.
func (p Planning) parts(o plan.Option) Parts {
	parts := Parts{Camera: p.request.Camera, CameraHandle: p.request.CameraRef.Handle}
	for _, seat := range o.Seats {
		parts.Lenses = append(parts.Lenses, p.lenses[seat.Part].Lens)
	}
	return parts
}

// Option makes an option of the search fit to be shown.
func (p Planning) Option(rank int, o plan.Option) PlanOption {
	out := PlanOption{
		Rank: rank, Stack: p.Setup(o).StackText(), SmallestBarUM: o.SmallestBarUM, ObjectPixelUM: o.ObjectPixelUM, SquareFieldMM: o.FieldMM,
		FieldXMM: o.Exact.FieldXMM, FieldYMM: o.Exact.FieldYMM, WorkingDistanceMM: o.Sharpness.WorkingDistanceMM, ClearanceMM: o.ClearanceMM,
		NAObject: o.Sharpness.NAObject, RMSBlurUM: o.Sharpness.RMSBlurUM, DepthOfFieldUM: o.Sharpness.DepthOfField.TotalUM,
		Transmission: o.Transmission, UpperBound: o.UpperBound, Limit: o.Limit, Stop: p.named(o, o.Sharpness.Stop), Ideal: o.Ideal, OnFront: rank > 0,
		BestIn: append([]string{}, o.BestIn...), WithoutCost: []string{}, ToBuy: p.toBuy(o),
	}
	totals := quantity.Totals{}
	for _, seat := range o.Seats {
		l := p.lenses[seat.Part]
		switch cost := l.Lens.Cost; {
		case cost != nil && totals.Add(*cost) == nil:
		case !slices.Contains(out.WithoutCost, l.Ref.Handle):
			out.WithoutCost = append(out.WithoutCost, l.Ref.Handle)
		}
		out.Lenses = append(out.Lenses, PlanSeat{l.Ref.Handle, l.Lens.Name, seat.Flipped, seat.GapAfterMM})
	}
	out.BareLenses = append([]string{}, p.Setup(o).BareLenses(p.parts(o))...)
	out.Costs = append([]quantity.Money{}, totals.Sums()...)
	for _, point := range o.Sharpness.Points {
		if point.Name != "corner" {
			continue
		}
		out.CornerPassed = point.Passed
		if t, s := point.Tangential, point.Sagittal; t != nil && s != nil {
			worse := t
			if s.SmallestBarUM > t.SmallestBarUM {
				worse = s
			}
			out.CornerBarUM, out.CornerLimit = &worse.SmallestBarUM, worse.Limit
		}
	}
	return out
}

// named puts the handle behind the lens that a text of optics counts.
func (p Planning) named(o plan.Option, text string) string {
	for i, seat := range o.Seats {
		lens := fmt.Sprintf("lens %d", i+1)
		if rest, ok := cutName(text, lens); ok {
			return lens + " (" + p.lenses[seat.Part].Ref.Handle + ")" + rest
		}
	}
	return text
}

func cutName(text, name string) (rest string, ok bool) {
	if text == name {
		return "", true
	}
	if len(text) > len(name) && text[:len(name)] == name && text[len(name)] == ',' {
		return text[len(name):], true
	}
	return "", false
}

// toBuy lists what is short; a lens whose count on hand is not recorded is not.
func (p Planning) toBuy(o plan.Option) []PlanPurchase {
	out := []PlanPurchase{}
	used := map[int]int{}
	for _, seat := range o.Seats {
		used[seat.Part]++
	}
	for part, n := range used {
		if have := p.lenses[part].Lens.OnHand; have != nil && n > *have {
			out = append(out, PlanPurchase{p.lenses[part].Ref.Handle, n - *have})
		}
	}
	slices.SortFunc(out, func(a, b PlanPurchase) int { return cmp.Compare(a.Lens, b.Lens) })
	return out
}

// gapSteps is how many gaps a range is tried at.
const gapSteps = 6

// GapSteps spreads the gaps to try over a range, closer together at its low end,
// where a millimetre changes a stack most: low + (high - low) (i/5)², rounded to
// 0.01 mm but for the ends.
func GapSteps(lowMM, highMM float64) []float64 {
	var out []float64
	for i := range gapSteps {
		share := float64(i) / (gapSteps - 1)
		g := lowMM + (highMM-lowMM)*share*share
		if i > 0 && i < gapSteps-1 {
			g = math.Round(g*100) / 100
		}
		if i == gapSteps-1 {
			g = highMM
		}
		if len(out) == 0 || g > out[len(out)-1] && g <= highMM {
			out = append(out, g)
		}
	}
	return out
}

// DefaultGapsMM are the gaps between lenses that a plan tries, DefaultLastGapsMM
// those to the camera's lens (common practice, no source: a spacer thinner than
// half a millimetre is hard to make, and the camera's housing takes a few).
func DefaultGapsMM() []float64 { return []float64{0.5, 1, 2, 4, 7, 10} }

// DefaultLastGapsMM: see DefaultGapsMM.
func DefaultLastGapsMM() []float64 { return []float64{3, 4, 5, 7, 10} }
