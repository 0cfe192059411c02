package optics

import (
	"cmp"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"dieglow/catalog/fault"
)

// Tolerance holds the standard uncertainties of one element and the gap behind
// it; 0 where it counts as exact. Of a tolerance stated as limits ±t, the
// standard uncertainty is t/sqrt(3) (JCGM 100:2008, 4.3.7).
type Tolerance struct {
	Radius1MM, Radius2MM float64
	ThicknessMM          float64
	Index                float64
	FocalMM              float64 // of a thin lens
	GapAfterMM           float64 // of the last element: to the camera's lens
}

// Tolerances holds the standard uncertainties of an attachment.
type Tolerances struct {
	Elements      []Tolerance // one for each element
	CameraFocalMM float64
	// CameraFocusMM is that of the focus distance, of no effect at infinity.
	CameraFocusMM float64
	PitchUM       float64 // of both pitches together
}

// Trials says how a Monte Carlo run is done.
type Trials struct {
	Count int    // 0: 2000
	Seed  uint64 // the same seed gives the same figures, on any number of cores
}

// FigureUncertainty is what tolerances do to one figure.
type FigureUncertainty struct {
	Name    string  `json:"name"`
	Nominal float64 `json:"nominal"`
	Mean    float64 `json:"mean"`
	U       float64 `json:"u"`    // standard uncertainty: standard deviation over the trials
	Low     float64 `json:"low"`  // 2.5 % of the trials lie below
	High    float64 `json:"high"` // 2.5 % lie above
	// FirstOrderU is the root of the sum of squares of what the inputs
	// contribute one by one; where it is far from U the figure is not linear.
	FirstOrderU float64 `json:"first_order_u"`
	Shares      []Share `json:"shares"` // of the inputs, the largest first
}

// Share is what one input contributes to a figure's uncertainty.
type Share struct {
	Input       string  `json:"input"`       // "lens 1, radius 1"
	Unit        string  `json:"unit"`        // of the input
	InputU      float64 `json:"input_u"`     // standard uncertainty
	Sensitivity float64 `json:"sensitivity"` // change of the figure a unit of the input
	U           float64 `json:"u"`           // size of their product
	Share       float64 `json:"share"`       // of the first-order variance
}

// ToleranceReport is what tolerances do to every figure.
type ToleranceReport struct {
	Trials  int                 `json:"trials"`
	Failed  int                 `json:"failed"`  // trials without figures, left out of the rest
	Example string              `json:"example"` // why the first of those failed
	Figures []FigureUncertainty `json:"figures"`
}

// variable is one uncertain input: how to move it in an attachment of one's own.
type variable struct {
	name, unit string
	u          float64
	atStop     bool // a gap too small to shrink by u
	move       func(a *Attachment, by float64)
}

const focusInput = "camera, focus distance"

// Tolerate draws every uncertain input from a normal distribution about its
// nominal value, each independent of the others, and works the figures out anew.
// figures is FirstOrder, or another function of the attachment that names its
// figures in a fixed order and may be called from several goroutines.
//
// A gap never falls below zero: a lens that would pass its neighbour touches it.
// Sensitivities are differences over one standard uncertainty either way. Lenses
// of one kind are drawn apart, so an error that all of a batch share is
// understated.
//
// Fault Invalid when the tolerances do not fit the stack, are not possible, or
// nothing has one; and when more than half of the trials give no figures.
// Faults of figures at the nominal values.
func (a Attachment) Tolerate(t Tolerances, trials Trials, figures func(Attachment) ([]Figure, error)) (ToleranceReport, error) {
	if trials.Count == 0 {
		trials.Count = 2000
	}
	if trials.Count < 2 || trials.Count > 1e7 {
		return ToleranceReport{}, fault.Invalidf("%d trials are not between 2 and 10 million", trials.Count).WithHint("leave it out for 2000")
	}
	if err := a.Validate(); err != nil {
		return ToleranceReport{}, err
	}
	inputs, err := a.variables(t)
	if err != nil {
		return ToleranceReport{}, err
	}
	nominal, err := figures(a)
	if err != nil {
		return ToleranceReport{}, err
	}
	report := ToleranceReport{Trials: trials.Count}
	results := a.draw(inputs, trials, figures)
	columns := make([][]float64, len(nominal))
	for _, r := range results {
		if r.err != nil {
			if report.Failed++; report.Failed == 1 {
				report.Example = r.err.Error()
			}
			continue
		}
		for i, f := range r.figures {
			columns[i] = append(columns[i], f.Value)
		}
	}
	if 2*report.Failed > trials.Count {
		return report, fault.Invalidf("%d of %d trials give no figures: %s", report.Failed, trials.Count, report.Example).WithHint("state smaller tolerances, or a setup that is further from impossible")
	}
	moved := a.sensitivities(inputs, nominal, figures)
	for i, f := range nominal {
		report.Figures = append(report.Figures, summarise(f, columns[i], inputs, moved[i]))
	}
	return report, nil
}

type trial struct {
	figures []Figure
	err     error
}

// trialBlock is how many trials share a random sequence. Blocks have their own,
// so that it does not matter which core works on which.
const trialBlock = 64

func (a Attachment) draw(inputs []variable, trials Trials, figures func(Attachment) ([]Figure, error)) []trial {
	results := make([]trial, trials.Count)
	blocks := make(chan int)
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), (trials.Count+trialBlock-1)/trialBlock) {
		workers.Go(func() {
			for block := range blocks {
				random := rand.New(rand.NewPCG(trials.Seed, uint64(block)))
				for i := block * trialBlock; i < min((block+1)*trialBlock, trials.Count); i++ {
					moved := a.own()
					for _, v := range inputs {
						v.move(&moved, v.u*random.NormFloat64())
					}
					results[i].figures, results[i].err = figures(moved)
				}
			}
		})
	}
	for block := range (trials.Count + trialBlock - 1) / trialBlock {
		blocks <- block
	}
	close(blocks)
	workers.Wait()
	return results
}

// own returns a copy whose stack may be changed.
func (a Attachment) own() Attachment {
	a.Stack = append(Stack{}, a.Stack...)
	return a
}

// sensitivities returns the slope of each figure for each input, by differences
// one standard uncertainty either way, or on one side where the other gives no
// figures or meets a stop. 0 where neither side gives any.
func (a Attachment) sensitivities(inputs []variable, nominal []Figure, figures func(Attachment) ([]Figure, error)) [][]float64 {
	slopes := make([][]float64, len(nominal))
	for i := range slopes {
		slopes[i] = make([]float64, len(inputs))
	}
	for k, v := range inputs {
		var sides [2][]Figure
		span := 0.0
		for side, by := range []float64{-v.u, v.u} {
			sides[side] = nominal
			if v.atStop && by < 0 {
				continue
			}
			moved := a.own()
			v.move(&moved, by)
			if list, err := figures(moved); err == nil {
				sides[side] = list
				span += v.u
			}
		}
		for i := range nominal {
			if span > 0 {
				slopes[i][k] = (sides[1][i].Value - sides[0][i].Value) / span
			}
		}
	}
	return slopes
}

func summarise(f Figure, values []float64, inputs []variable, slopes []float64) FigureUncertainty {
	out := FigureUncertainty{Name: f.Name, Nominal: f.Value}
	for _, v := range values {
		out.Mean += v / float64(len(values))
	}
	for _, v := range values {
		out.U += (v - out.Mean) * (v - out.Mean)
	}
	out.U = math.Sqrt(out.U / max(1, float64(len(values)-1)))
	slices.Sort(values)
	last := float64(len(values) - 1)
	out.Low, out.High = values[int(0.025*last+0.5)], values[int(0.975*last+0.5)]
	variance := 0.0
	for k, v := range inputs {
		u := math.Abs(slopes[k]) * v.u
		variance += u * u
		out.Shares = append(out.Shares, Share{Input: v.name, Unit: v.unit, InputU: v.u, Sensitivity: slopes[k], U: u})
	}
	out.FirstOrderU = math.Sqrt(variance)
	for k := range out.Shares {
		if variance > 0 {
			out.Shares[k].Share = out.Shares[k].U * out.Shares[k].U / variance
		}
	}
	slices.SortStableFunc(out.Shares, func(p, q Share) int { return cmp.Compare(q.U, p.U) })
	return out
}

// variables lists the uncertain inputs of an attachment.
func (a Attachment) variables(t Tolerances) ([]variable, error) {
	if len(t.Elements) != len(a.Stack) {
		return nil, fault.Invalidf("the stack has %d elements, and tolerances are stated for %d", len(a.Stack), len(t.Elements)).WithHint("state one for each element, zeros where there is none")
	}
	list := []variable{
		{"camera, focal length", "mm", t.CameraFocalMM, false, func(a *Attachment, by float64) {
			pupil := a.Camera.FocalMM / a.Camera.FNumber // the pupil stays as it is
			a.Camera.FocalMM += by
			a.Camera.FNumber = a.Camera.FocalMM / pupil
		}},
		{focusInput, "mm", t.CameraFocusMM, false, func(a *Attachment, by float64) { a.Camera.FocusMM += by }},
		{"camera, pixel pitch", "µm", t.PitchUM, false, func(a *Attachment, by float64) { a.Camera.PitchXUM += by; a.Camera.PitchYUM += by }},
	}
	for i, e := range t.Elements {
		own, name := a.Stack[i].Element, a.Stack.name(i)
		if e.Radius1MM != 0 && curvature(own.Radius1MM) == 0 || e.Radius2MM != 0 && curvature(own.Radius2MM) == 0 {
			return nil, fault.Invalidf("%s: a plane surface has no radius to be uncertain", name).WithHint("leave its tolerance out")
		}
		if e.FocalMM != 0 && !own.IsThin() || (e.Index != 0 || e.ThicknessMM != 0) && own.N == 0 || e.Radius2MM != 0 && own.N == 0 {
			return nil, fault.Invalidf("%s has a tolerance for a figure that it does not have", name).WithHint("state the focal length's for a thin lens, and those of index, radii and thickness for a thick one")
		}
		list = append(list, elementVariables(i, name, e)...)
		list = append(list, a.gapVariable(i, name, e.GapAfterMM))
	}
	for _, v := range list {
		if !(v.u >= 0) || math.IsInf(v.u, 0) {
			return nil, fault.Invalidf("%s: a standard uncertainty of %g %s is not possible", v.name, v.u, v.unit).WithHint("type 0 or more")
		}
	}
	list = slices.DeleteFunc(list, func(v variable) bool {
		return v.u == 0 || v.name == focusInput && math.IsInf(a.Camera.FocusMM, 1)
	})
	if len(list) == 0 {
		return nil, fault.Invalidf("no input has a tolerance").WithHint("state the uncertainty of at least one, for example a gap of 2.0(1) mm")
	}
	return list, nil
}

func elementVariables(i int, name string, t Tolerance) []variable {
	of := func(what, unit string, u float64, field func(*Element) *float64) variable {
		return variable{name + ", " + what, unit, u, false, func(a *Attachment, by float64) { *field(&a.Stack[i].Element) += by }}
	}
	return []variable{
		of("radius 1", "mm", t.Radius1MM, func(e *Element) *float64 { return &e.Radius1MM }),
		of("radius 2", "mm", t.Radius2MM, func(e *Element) *float64 { return &e.Radius2MM }),
		of("thickness", "mm", t.ThicknessMM, func(e *Element) *float64 { return &e.ThicknessMM }),
		of("index", "", t.Index, func(e *Element) *float64 { return &e.N }),
		of("focal length", "mm", t.FocalMM, func(e *Element) *float64 { return &e.FocalMM }),
	}
}

// gapVariable moves the gap behind element i, which behind the last is the
// distance to the camera's lens.
func (a Attachment) gapVariable(i int, name string, u float64) variable {
	if i+1 == len(a.Stack) {
		return variable{"gap from " + name + " to the camera", "mm", u, a.StandoffMM < u, func(a *Attachment, by float64) { a.StandoffMM = max(0, a.StandoffMM+by) }}
	}
	return variable{"gap from " + name + " to " + a.Stack.name(i+1), "mm", u, a.Stack[i].GapAfterMM < u, func(a *Attachment, by float64) {
		a.Stack[i].GapAfterMM = max(0, a.Stack[i].GapAfterMM+by)
	}}
}
