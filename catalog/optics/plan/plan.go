// Package plan searches stacks of lenses before a fixed camera: which lenses, in
// which order, which way round and how far apart meet the wishes for resolution,
// field, clearance and cost, and what is traded for what.
//
// The search narrows down in four stages.
//
//  1. Every set of lenses within the counts and the budget is screened to first
//     order in every order, orientation and choice of gaps. What misses a wish
//     by more than Margin is dropped; so is what cannot be built.
//  2. The rest is traced with two exact rays at the main wavelength. Of the
//     stacks of one set of lenses whose pixel (within 12 %) and working distance
//     (within 25 %) are alike the sharpest stays; one that can be no more than 3 %
//     sharper, or that third-order aberration rules out, is not traced. A few
//     thousand stacks or less skip this stage.
//  3. Of those, the ones that no other beats are worked out by exact rays over
//     the band: best focus, contrast in the middle, field, clearance.
//  4. The ones that are listed are worked out in full, by optics.Prediction and
//     Attachment.Exact. Their figures, and whether they meet the wishes, are these.
//
// Budget, counts and fit are exact throughout. Margin, the grid and the rules of
// stage 2 and the number of stacks that reach stage 3 are rules of thumb: a better stack
// than those listed may exist between two of them, not far from one of them.
//
// The result is the same on any number of cores. The package is pure.
package plan

import (
	"context"
	"math"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

// Limits of a search.
const (
	// Margin is the share by which first-order figures may miss a wish and the
	// stack is still traced: exact ones differ by less where the picture is sharp.
	Margin = 0.15
	// MostLenses is how many lenses a stack may have.
	MostLenses = 6
	// MostGaps is how many gaps, and how many distances to the camera, may be tried.
	MostGaps = 16
)

// Part is one lens as the search sees it.
type Part struct {
	Name    string           // handle, for messages
	Element optics.Element   // at the main wavelength, surface 1 first
	Waves   []optics.Element // at each wavelength of the band
	// Transmission for each of Problem.LightWeights; UpperBound where it is at most
	// that, since an absorption is not known.
	Transmission []float64
	UpperBound   bool
	Count        int // that a stack may have of it; 0: as many as it holds
	// Cost in a currency of the caller's, +Inf where it is not known.
	Cost float64
}

// Wave is one wavelength of the band.
type Wave struct {
	WavelengthUM float64
	Weight       float64
}

// Wishes are what a stack is to do; 0 stands for no wish.
type Wishes struct {
	ResolveUM   float64 // widest that the smallest bar in the middle may be
	FieldMM     float64 // side of a square that the field holds
	ClearanceMM float64 // from the specimen to what stands nearest
	Budget      float64 // cost of the lenses, in the currency of Part.Cost
}

// Problem is what to search.
type Problem struct {
	Parts        []Part
	Camera       optics.Camera
	WavelengthUM float64
	Waves        []Wave    // of rays
	LightWeights []float64 // of the wavelengths that transmission is given at
	GapsMM       []float64 // between lenses, rising
	LastGapsMM   []float64 // from the last lens to the camera's lens, rising
	MaxLenses    int
	Contrast     float64 // 0: optics.DefaultContrast
	Wishes       Wishes
	Keep         int // options that are listed; 0: 10
	Workers      int // goroutines; 0: one for each core
}

// Seat is one lens in its place in an option.
type Seat struct {
	Part       int // index in Problem.Parts
	Flipped    bool
	GapAfterMM float64
}

// Option is one stack that the search lists.
type Option struct {
	Seats         []Seat // specimen side first
	SmallestBarUM float64
	ObjectPixelUM float64
	FieldMM       float64 // largest square in the field, as far as chief rays pass the apertures
	ClearanceMM   float64
	Transmission  float64
	UpperBound    bool // of the transmission
	Cost          float64
	Ideal         bool     // a lens known by focal length alone takes part, so that aberrations are left out
	BestIn        []string // of the figures, those in which no other option is better
	Exact         optics.ExactFigures
	Sharpness     optics.Sharpness
	Limit         string // what limits the bar in the middle
}

// Counts says how much was looked at.
type Counts struct {
	Sets      int64 // sets of lenses within counts and budget
	Screened  int64 // stacks whose first-order figures were worked out: an order, orientations and gaps each
	Traced    int64 // stacks traced with two exact rays
	Refined   int64 // stacks worked out over the band
	Sharpened int64 // stacks worked out in full
	Front     int64 // refined stacks that meet the wishes and that no other beats
}

// Relaxed is what becomes reachable when one wish alone is given up.
type Relaxed struct {
	Wish      string  // resolve, field, clearance, budget
	Wished    float64 // in the unit of the wish
	Reachable bool    // false: not even without this wish are the others met
	Value     float64 // best reachable value, rounded so that it can be wished
	Option    Option
}

// Result is the outcome of a search.
type Result struct {
	Options  []Option // meet the wishes; best first
	Relax    []Relaxed
	Nearest  *Option // the nearest miss, where no single wish suffices
	Points   []Point // what was worked out over the band, for a plot
	Counts   Counts
	Complete bool // false: stopped early, and this is the best so far
}

// Point is one stack that was worked out over the band.
type Point struct {
	SmallestBarUM, FieldMM float64
	Meets, OnFront         bool
}

// Progress says how far a search is.
type Progress struct {
	Stage       string
	Done, Total int64
}

// Search looks for stacks. When ctx ends early the best so far is returned, with
// Complete false. progress may be nil; it is called from one goroutine at a time.
//
// Options are ordered by the smallest bar, the smaller the better; where bars
// differ by less than 1 % real lenses go before ideal ones, then the cheaper,
// the one of fewer lenses, and the one with more clearance.
//
// Fault Invalid for a problem or a wish that is not possible.
func Search(ctx context.Context, p Problem, progress func(Progress)) (Result, error) {
	p, err := p.validate()
	if err != nil {
		return Result{}, err
	}
	if progress == nil {
		progress = func(Progress) {}
	}
	s := newSpace(p)
	r := Result{Complete: true}
	found := s.search(ctx, p.Wishes, &r, progress)
	r.Options = s.list(found, p.Wishes, p.Keep, &r.Counts, progress)
	if len(r.Options) == 0 && r.Complete {
		s.relax(ctx, &r, progress)
	}
	return r, nil
}

// validate fills in what was left out and refuses what cannot be.
func (p Problem) validate() (Problem, error) {
	if p.Keep == 0 {
		p.Keep = 10
	}
	if p.Contrast == 0 {
		p.Contrast = optics.DefaultContrast
	}
	if len(p.Parts) == 0 {
		return p, fault.Invalidf("there are no lenses to plan with").WithHint("record lenses with dieglow lens add")
	}
	if p.MaxLenses < 1 || p.MaxLenses > MostLenses {
		return p, fault.Invalidf("stacks of up to %d lenses are not searched", p.MaxLenses).WithHint("type a number from 1 to %d, for example --max-lenses 4", MostLenses)
	}
	if !(p.Contrast > 0 && p.Contrast < 1) {
		return p, fault.Invalidf("the contrast %g is not between 0 and 1", p.Contrast).WithHint("type the contrast that a bar must keep, for example 0.2")
	}
	for _, gaps := range [][]float64{p.GapsMM, p.LastGapsMM} {
		if len(gaps) == 0 || len(gaps) > MostGaps {
			return p, fault.Invalidf("%d gaps to try are not between 1 and %d", len(gaps), MostGaps).WithHint("type a range such as 0.5mm..10mm, or a list such as 1mm,2mm,5mm")
		}
		for i, g := range gaps {
			if !(g >= 0 && g <= 1000) || i > 0 && g <= gaps[i-1] {
				return p, fault.Invalidf("a gap of %g mm is not between 0 and 1000 mm, or not above the one before", g).WithHint("type gaps in rising order, for example 1mm,2mm,5mm")
			}
		}
	}
	probe := optics.Attachment{Stack: optics.Stack{{Element: p.Parts[0].Element}}, Camera: p.Camera, WavelengthUM: p.WavelengthUM}
	if err := probe.Validate(); err != nil {
		return p, err
	}
	return p, p.checkWishes()
}

// widestMM is the largest length that a wish may name: beyond it lies a slip of
// the keyboard, not a stack of lenses.
const widestMM = 1000

// checkWishes refuses what no stack can do.
func (p Problem) checkWishes() error {
	w := p.Wishes
	pixels := float64(min(p.Camera.Width, p.Camera.Height))
	wavelength := p.WavelengthUM
	for _, wave := range p.Waves {
		wavelength = min(wavelength, wave.WavelengthUM)
	}
	switch {
	case w.ResolveUM == 0 && w.FieldMM == 0:
		return fault.Invalidf("a plan needs a bar to resolve or a field to hold").WithHint("type --resolve 50um, --field 3mm, or both")
	case w.ResolveUM != 0 && !(w.ResolveUM > 0 && w.ResolveUM <= 1000*widestMM):
		return fault.Invalidf("a bar of %g µm is not above 0 and at most 1 m", w.ResolveUM).WithHint("type the width of the smallest bar, for example --resolve 50um")
	case w.FieldMM != 0 && !(w.FieldMM > 0 && w.FieldMM <= widestMM):
		return fault.Invalidf("a field of %g mm is not above 0 and at most 1 m", w.FieldMM).WithHint("type the side of the square to be seen, for example --field 3mm")
	case w.ClearanceMM != 0 && !(w.ClearanceMM > 0 && w.ClearanceMM <= widestMM):
		return fault.Invalidf("a clearance of %g mm is not above 0 and at most 1 m", w.ClearanceMM).WithHint("type the free distance over the specimen, for example --clearance 8mm")
	case w.Budget < 0 || math.IsNaN(w.Budget):
		return fault.Invalidf("a budget must be above 0").WithHint("type what the lenses may cost together, for example --budget 60EUR")
	case w.ResolveUM > 0 && w.ResolveUM < wavelength/4:
		return fault.Invalidf("no lens resolves bars of %.4g µm at %.4g µm: diffraction ends at a quarter of the wavelength, %.4g µm", w.ResolveUM, wavelength, wavelength/4).
			WithHint("type a wider bar, for example --resolve 20um")
	case w.ResolveUM > 0 && w.FieldMM*1000 > w.ResolveUM*pixels*(1+1e-9):
		return fault.Invalidf("the wishes contradict each other: a field of %.4g mm has %.4g bars of %.4g µm side by side, and the array's shorter side has %.0f pixels, one a bar at least",
			w.FieldMM, w.FieldMM*1000/w.ResolveUM, w.ResolveUM, pixels).
			WithHint("type --field %gmm or less, or --resolve %gum or more", rounded(w.ResolveUM*pixels/1000, false, 0), rounded(w.FieldMM*1000/pixels, true, 0))
	}
	return nil
}
