package catalog

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// Setup is a stack of lenses before a camera. It names one revision of every
// part, so that a later amendment of a lens does not change what was computed.
type Setup struct {
	Name         string   `json:"name"`
	Camera       Ref      `json:"camera"`
	Stack        []Seat   `json:"stack"`         // from the specimen to the camera
	FocusMM      *float64 `json:"focus_mm"`      // what the camera is focused at, from its lens; nil: infinity
	WavelengthUM float64  `json:"wavelength_um"` // where the figures hold
	Notes        string   `json:"notes"`
	Figures      Figures  `json:"figures"` // as computed when the revision was recorded
}

// Seat is one lens in its place.
type Seat struct {
	Lens    Ref    `json:"lens"`
	Name    string `json:"name"`    // the lens's name then; "" none
	Flipped bool   `json:"flipped"` // surface 2 faces the specimen
	// IncidenceDeg is the angle between the axis and a plane mirror's normal.
	IncidenceDeg float64           `json:"incidence_deg,omitempty"`
	GapAfterMM   quantity.Estimate `json:"gap_after_mm"` // to the next lens's vertex, or to the camera's lens
}

// Figures are what a setup is predicted to do, by paraxial ray transfer through
// its lenses with their nominal values.
type Figures struct {
	FocalLengthMM     float64          `json:"efl_mm"`              // of the stack; 0 when it has no power
	FrontFocalMM      float64          `json:"ffl_mm"`              // before the first vertex
	BackFocalMM       float64          `json:"bfl_mm"`              // after the last vertex
	WorkingDistanceMM float64          `json:"working_distance_mm"` // first vertex to specimen
	Magnification     float64          `json:"magnification"`       // on the array over specimen, with its sign
	ObjectPixelUM     float64          `json:"object_pixel_um"`
	FieldXMM          float64          `json:"field_x_mm"`
	FieldYMM          float64          `json:"field_y_mm"`
	NAObject          float64          `json:"na_object"`
	Stop              string           `json:"stop"`         // what limits the cone of light
	RayleighUM        float64          `json:"rayleigh_um"`  // diffraction limit
	SamplingUM        float64          `json:"sampling_um"`  // sampling limit: two object pixels
	PredictedUM       float64          `json:"predicted_um"` // the larger of the two limits
	Costs             []quantity.Money `json:"costs"`        // of camera and lenses, a total a currency
	PartsWithoutCost  []string         `json:"parts_without_cost"`
	Lenses            []LensFigure     `json:"lenses"`
	Assumptions       []string         `json:"assumptions"`
	// Uncertainties are what the tolerances of the parts do to the figures, by
	// trials to first order; nil in revisions older than they are.
	Uncertainties    []FigureUncertainty `json:"uncertainties,omitempty"`
	WhyNoUncertainty string              `json:"why_no_uncertainty,omitempty"`
	Mirrored         bool                `json:"mirrored,omitempty"` // seen in an odd number of mirrors
}

// LensFigure is the focal length a lens enters a setup with.
type LensFigure struct {
	Lens          string  `json:"lens"` // handle
	FocalLengthMM float64 `json:"focal_length_mm"`
	Origin        string  `json:"origin"`  // computed, stated or measured
	N             float64 `json:"n"`       // index of its material at the wavelength
	Dataset       string  `json:"dataset"` // of the material, that gave the index
}

// NoUncertainty is why Figures of early revisions carry none.
const NoUncertainty = "not evaluated when this revision was recorded; amending the setup evaluates it"

// Kind returns KindSetup.
func (Setup) Kind() string { return KindSetup }

// Title returns the given name.
func (s Setup) Title() string { return s.Name }

// leastGapMM is what a gap that is not contact is at least; less is a slip of the unit.
const leastGapMM = 0.001

// Validate checks the setup. Fault Invalid, naming the value and what to type.
func (s Setup) Validate() error {
	if s.Name != "" {
		if err := CheckName(KindSetup, s.Name); err != nil {
			return err
		}
	}
	if len(s.Stack) == 0 {
		return fault.Invalidf("a setup needs at least one lens").WithHint(`give --stack "ge25, 2mm, ge25 flipped, 4mm"`)
	}
	for _, seat := range s.Stack {
		if g := seat.GapAfterMM.Value; g > 0 && g < leastGapMM {
			return fault.Invalidf("a gap of %s mm is less than any spacer", quantity.Fixed(g, 6)).WithHint("check the unit; type contact or 0mm for lenses that touch")
		} else if !(g >= 0 && g <= 1000) {
			return fault.Invalidf("a gap of %s mm is not between 0 and 1000 mm", quantity.Fixed(g, 6)).WithHint("give the air gap between the vertices, for example 2mm, or 0mm for contact")
		}
	}
	if err := within("wavelength", s.WavelengthUM, 0.5, 50, "µm"); err != nil {
		return err
	}
	return texts("notes", s.Notes)
}

// Parts are the revisions a setup names, in the order of its stack.
type Parts struct {
	Camera       Camera
	CameraHandle string
	Lenses       []Lens
}

// Attachment returns the setup as the optics see it. Fault Invalid where a
// material's index is not known at the wavelength.
func (s Setup) Attachment(parts Parts) (optics.Attachment, error) {
	stack := make(optics.Stack, len(s.Stack))
	for i, seat := range s.Stack {
		e, err := parts.Lenses[i].element(s.WavelengthUM, seat.Flipped)
		if err != nil {
			return optics.Attachment{}, err
		}
		e.Name = fmt.Sprintf("lens %d (%s)", i+1, s.Stack[i].Lens.Handle)
		e.IncidenceDeg = seat.IncidenceDeg
		stack[i] = optics.Mounted{Element: e, GapAfterMM: seat.GapAfterMM.Value}
	}
	c := parts.Camera
	return optics.Attachment{
		Stack: stack,
		Camera: optics.Camera{
			FocalMM: c.FocalLengthMM.Value, FNumber: c.FNumber, PitchXUM: c.PitchUM, PitchYUM: c.PitchUM,
			Width: c.PixelsX, Height: c.PixelsY, FocusMM: s.focus(),
		},
		StandoffMM:   stack[len(stack)-1].GapAfterMM,
		WavelengthUM: s.WavelengthUM,
	}, nil
}

func (s Setup) focus() float64 {
	if s.FocusMM == nil {
		return math.Inf(1)
	}
	return *s.FocusMM
}

// Compute works the setup's figures out from its parts. Fault Invalid when the
// camera cannot focus there, or the specimen would not lie before the stack.
func (s Setup) Compute(parts Parts) (Figures, error) {
	if err := parts.Camera.CheckFocus(s.focus()); err != nil {
		return Figures{}, err
	}
	a, err := s.Attachment(parts)
	if err != nil {
		return Figures{}, err
	}
	if err := a.CheckFit(); err != nil {
		return Figures{}, err
	}
	af, err := a.Figures()
	if err != nil {
		return Figures{}, err
	}
	cardinal, err := a.Stack.Cardinal()
	if err != nil {
		return Figures{}, err
	}
	f := Figures{
		WorkingDistanceMM: af.WorkingDistanceMM, Magnification: af.Magnification, ObjectPixelUM: af.ObjectPixelUM,
		FieldXMM: af.FieldXMM, FieldYMM: af.FieldYMM, NAObject: af.NAObject, Stop: af.Stop,
		RayleighUM: af.RayleighUM, SamplingUM: af.NyquistPeriodUM, PredictedUM: max(af.RayleighUM, af.NyquistPeriodUM),
	}
	f.Mirrored = a.Stack.Reflections()%2 == 1
	if !cardinal.Afocal {
		f.FocalLengthMM, f.FrontFocalMM, f.BackFocalMM = cardinal.EFLMM, cardinal.FFLMM, cardinal.BFLMM
	}
	if err := s.addCosts(&f, parts); err != nil {
		return Figures{}, err
	}
	if err := s.addOrigins(&f, parts); err != nil {
		return Figures{}, err
	}
	return f, s.addUncertainties(&f, a, parts)
}

func (s Setup) addCosts(f *Figures, parts Parts) error {
	totals := quantity.Totals{}
	count := func(cost *quantity.Money, handle string) error {
		if cost == nil {
			f.PartsWithoutCost = append(f.PartsWithoutCost, handle)
			return nil
		}
		return totals.Add(*cost)
	}
	if err := count(parts.Camera.Cost, parts.CameraHandle); err != nil {
		return err
	}
	for i, l := range parts.Lenses {
		if err := count(l.Cost, s.Stack[i].Lens.Handle); err != nil {
			return err
		}
	}
	f.Costs = totals.Sums()
	return nil
}

func (s Setup) addOrigins(f *Figures, parts Parts) error {
	seen := map[string]bool{}
	for i, l := range parts.Lenses {
		handle := s.Stack[i].Lens.Handle
		if seen[handle] {
			continue
		}
		seen[handle] = true
		if l.Form == Mirror {
			f.Lenses = append(f.Lenses, LensFigure{Lens: handle, FocalLengthMM: l.mirrorFocalMM(), Origin: "stated"})
			continue
		}
		mm, origin, err := l.FocalMM(s.WavelengthUM)
		if err != nil {
			return err
		}
		index, err := l.index(s.WavelengthUM)
		if err != nil {
			return err
		}
		f.Lenses = append(f.Lenses, LensFigure{handle, mm, origin, index.N, index.Dataset})
		if l.Form == Thin {
			f.Assumptions = append(f.Assumptions, handle+" taken as a thin lens: its thickness and principal planes are not recorded, and shift the working distance by as much as it is thick")
		}
		if l.ClearApertureMM == nil {
			f.Assumptions = append(f.Assumptions, "clear aperture of "+handle+" not recorded: its full diameter taken")
		}
	}
	return nil
}

// Term is one lens of a stack as typed, before its name is looked up.
type Term struct {
	Lens         string
	Flipped      bool
	IncidenceDeg float64
	GapAfterMM   quantity.Estimate
}

// ParseStack reads a stack from the specimen to the camera: lens, gap, lens,
// gap, ..., the last gap reaching the camera's lens. A lens may be followed by
// the word flipped; contact may stand for 0mm. Fault Invalid otherwise.
func ParseStack(text string) ([]Term, error) {
	const example = `give lenses and gaps in turn, from the specimen to the camera's lens: --stack "ge25, 2mm, ge25 flipped, 4mm"`
	items := strings.Split(text, ",")
	if strings.TrimSpace(text) == "" {
		return nil, fault.Invalidf("the stack is empty").WithHint(example)
	}
	if len(items) > 40 {
		return nil, fault.Invalidf("a stack of %d terms is too long", len(items)).WithHint(example)
	}
	var terms []Term
	wantLens := true
	for i, item := range items {
		item = strings.TrimSpace(item)
		isGap := item == "contact" || strings.HasPrefix(item, "(") || item != "" && strings.ContainsRune("+-.0123456789", rune(item[0]))
		switch {
		case item == "":
			return nil, fault.Invalidf("term %d of the stack is empty", i+1).WithHint(example)
		case wantLens && isGap:
			return nil, fault.Invalidf("term %d of the stack, %q, is a gap where a lens is wanted", i+1, item).WithHint(example)
		case !wantLens && !isGap:
			return nil, fault.Invalidf("the gap before %q is missing", item).WithHint("put the gap between the two lenses, 0mm or contact if they touch; %s", example)
		case wantLens:
			term, err := parseSeat(item)
			if err != nil {
				return nil, err
			}
			terms = append(terms, term)
		case item == "contact":
			terms[len(terms)-1].GapAfterMM = quantity.Exactly(0)
		default:
			gap, err := quantity.Parse(item, quantity.Millimetre)
			if err != nil {
				return nil, (&fault.Error{Kind: fault.KindOf(err), Msg: fmt.Sprintf("term %d of the stack", i+1)}).Because(err)
			}
			terms[len(terms)-1].GapAfterMM = gap
		}
		wantLens = !wantLens
	}
	if !wantLens {
		return nil, fault.Invalidf("the gap from the last lens to the camera's lens is missing").WithHint(example)
	}
	return terms, nil
}

// parseSeat reads a lens with what may follow it: flipped, or the angle of
// incidence of a mirror, as 45deg.
func parseSeat(item string) (Term, error) {
	name, word, _ := strings.Cut(item, " ")
	t := Term{Lens: name}
	switch word = strings.TrimSpace(word); {
	case word == "":
	case word == "flipped":
		t.Flipped = true
	default:
		number, isAngle := strings.CutSuffix(word, "deg")
		angle, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if !isAngle || err != nil || !(angle >= 0 && angle < 90) {
			return t, fault.Invalidf("%q after the lens %s is not understood", word, name).WithHint("what may follow a lens is the word flipped, or a mirror's angle of incidence such as 45deg")
		}
		t.IncidenceDeg = angle
	}
	return t, nil
}

// StackText prints the stack as it would be typed.
func (s Setup) StackText() string {
	var parts []string
	for _, seat := range s.Stack {
		lens := cmp.Or(seat.Name, seat.Lens.Handle)
		if seat.Flipped {
			lens += " flipped"
		}
		if seat.IncidenceDeg != 0 {
			lens += " " + quantity.Fixed(seat.IncidenceDeg, 6) + "deg"
		}
		parts = append(parts, lens, strings.ReplaceAll(seat.GapAfterMM.Format(quantity.Millimetre), " ", ""))
	}
	return strings.Join(parts, ", ")
}

// PartWarnings says which parts of the setup are not usable, and of which
// lenses more stand in the stack than are on hand.
func (s Setup) PartWarnings(parts Parts) []string {
	var out []string
	if c := parts.Camera.Condition; c != Usable {
		out = append(out, parts.CameraHandle+" is "+string(c))
	}
	used := map[string]int{}
	for i, l := range parts.Lenses {
		handle := s.Stack[i].Lens.Handle
		if used[handle]++; used[handle] > 1 {
			continue
		}
		if l.Condition != Usable {
			out = append(out, handle+" is "+string(l.Condition))
		}
	}
	for i, l := range parts.Lenses {
		handle := s.Stack[i].Lens.Handle
		if text := l.FocalDisagreement(); text != "" && used[handle] > 0 {
			out = append(out, handle+": "+text)
		}
		if n := used[handle]; l.OnHand != nil && n > *l.OnHand {
			out = append(out, fmt.Sprintf("the stack has %d of %s, and %d on hand", n, handle, *l.OnHand))
		}
		used[handle] = 0 // said
	}
	return out
}

// Explain returns how every figure of the setup comes about: the lenses, the
// stack, and the stack before the camera.
func (s Setup) Explain(parts Parts) ([]optics.Explanation, error) {
	a, err := s.Attachment(parts)
	if err != nil {
		return nil, err
	}
	stack, err := a.Stack.Explain()
	if err != nil {
		return nil, err
	}
	before, err := a.Explain()
	if err != nil {
		return nil, err
	}
	tolerances, err := s.explainTolerances(a, parts)
	return append(append(stack, before...), tolerances...), err
}

// Transmission returns the transmission of the stack over the camera's band as
// the product of what was measured of its lenses, with the uncertainty when all
// of them carry one. One measurement counts for every piece of the same lens, so
// its error is the same in each and adds up linearly (JCGM 100:2008, 5.2.2).
// Fault Invalid, naming the lens, when one was not measured.
func (s Setup) Transmission(parts Parts) (quantity.Estimate, error) {
	product, known := 1.0, true
	relative := map[string]float64{}
	for i, l := range parts.Lenses {
		handle, t := s.Stack[i].Lens.Handle, l.Transmission
		if l.Form == Mirror {
			t = l.Reflectance
		}
		if t == nil {
			return quantity.Estimate{}, fault.Invalidf("the transmission of %s is not recorded", handle).
				WithHint("measure it and amend the lens with --transmission, or state that of the stack with --transmission")
		}
		product *= t.Value
		u, ok := t.StandardU()
		known = known && ok
		relative[handle] += u / t.Value
	}
	if !known {
		return quantity.Exactly(product), nil
	}
	sum := 0.0
	for _, handle := range slices.Sorted(maps.Keys(relative)) {
		sum = quantity.RootSumSquare(sum, relative[handle])
	}
	return quantity.With(product, product*sum), nil
}
