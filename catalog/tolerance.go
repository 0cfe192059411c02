package catalog

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// The limits of error taken for what a record gives no uncertainty of: what
// sellers of small infrared lenses usually hold, and a careful hand with a
// calliper (common practice, no source). Figures that rest on one say so.
const (
	usualRadiusFraction    = 0.01 // of a radius
	usualThicknessMM       = 0.1
	usualFocalFraction     = 0.02  // of a focal length known only as stated
	usualIndex             = 0.003 // published sets for one material differ by 0.002 to 0.004
	usualGapMM             = 0.1
	usualFocusFraction     = 0.05 // of the distance the camera is focused at
	usualCameraFocalFactor = 0.02
)

// FigureUncertainty is what the tolerances of a setup's parts do to one figure.
type FigureUncertainty struct {
	Figure    string  `json:"figure"` // as its key in Figures
	U         float64 `json:"u"`      // standard uncertainty, in the figure's unit
	Low       float64 `json:"low"`    // 2.5 % of the trials lie below
	High      float64 `json:"high"`   // 2.5 % lie above
	MainInput string  `json:"main_input"`
	MainShare float64 `json:"main_share"` // of the variance, to first order
}

// Uncertainty returns what the tolerances do to a figure, by its key.
func (f Figures) Uncertainty(figure string) (FigureUncertainty, bool) {
	for _, u := range f.Uncertainties {
		if u.Figure == figure {
			return u, true
		}
	}
	return FigureUncertainty{}, false
}

// uncertainOf collects standard uncertainties, stated or usual.
type uncertainOf struct {
	assumed map[string]bool
	order   []string
}

// u returns the stated standard uncertainty, or that of usual limits of error
// (a rectangular distribution: JCGM 100:2008, 4.3.7), which is noted under what.
func (c *uncertainOf) u(e *quantity.Estimate, limits float64, what string) float64 {
	if e != nil {
		if u, ok := e.StandardU(); ok {
			return u
		}
	}
	if !c.assumed[what] {
		c.assumed[what] = true
		c.order = append(c.order, what)
	}
	return limits / math.Sqrt(3)
}

// Tolerances returns the standard uncertainties of everything the setup's figures
// rest on, and which of them are usual limits of error for want of a recorded one.
func (s Setup) Tolerances(parts Parts) (t optics.Tolerances, assumed []string, err error) {
	c := uncertainOf{assumed: map[string]bool{}}
	focal := parts.Camera.FocalLengthMM
	t.CameraFocalMM = c.u(&focal, usualCameraFocalFactor*focal.Value, fmt.Sprintf("camera focal lengths ±%g %%", usualCameraFocalFactor*100))
	if s.FocusMM != nil {
		t.CameraFocusMM = c.u(nil, usualFocusFraction**s.FocusMM, fmt.Sprintf("focus distances ±%g %%", usualFocusFraction*100))
	}
	for i, seat := range s.Stack {
		l := parts.Lenses[i]
		e := optics.Tolerance{GapAfterMM: c.u(&seat.GapAfterMM, usualGapMM, fmt.Sprintf("gaps ±%g mm", usualGapMM))}
		switch l.Form {
		case Thin:
			e.FocalMM, err = l.thinFocalU(&c, s.WavelengthUM)
			if err != nil {
				return t, nil, err
			}
		case Thick:
			e.ThicknessMM = c.u(l.ThicknessMM, usualThicknessMM, fmt.Sprintf("thicknesses ±%g mm", usualThicknessMM))
			e.Index = c.u(nil, usualIndex, fmt.Sprintf("indices ±%g", usualIndex))
			e.Radius1MM, e.Radius2MM = l.radiusU(&c, l.Radius1MM), l.radiusU(&c, l.Radius2MM)
			if seat.Flipped {
				e.Radius1MM, e.Radius2MM = e.Radius2MM, e.Radius1MM
			}
		case Mirror:
			e.Radius1MM = l.radiusU(&c, l.Radius1MM)
		}
		t.Elements = append(t.Elements, e)
	}
	return t, c.order, nil
}

func (Lens) radiusU(c *uncertainOf, r *quantity.Estimate) float64 {
	if r == nil || math.IsInf(r.Value, 0) {
		return 0
	}
	return c.u(r, usualRadiusFraction*math.Abs(r.Value), fmt.Sprintf("radii ±%g %%", usualRadiusFraction*100))
}

// thinFocalU is the standard uncertainty of a thin lens's focal length at a
// wavelength: that of the measured one where there is one.
func (l Lens) thinFocalU(c *uncertainOf, wavelengthUM float64) (float64, error) {
	stated := l.FocalLengthMM
	if l.MeasuredFocalMM != nil {
		stated = l.MeasuredFocalMM
	}
	u := c.u(stated, usualFocalFraction*math.Abs(stated.Value), fmt.Sprintf("stated focal lengths ±%g %%", usualFocalFraction*100))
	mm, _, err := l.FocalMM(wavelengthUM)
	return u * math.Abs(mm/stated.Value), err
}

// setupTrials know a standard deviation to 0.7 %.
const setupTrials = 10000

// toleranceSeed starts the trials, so that a setup computed again gives the same figures.
const toleranceSeed = 1

// addUncertainties works out what the tolerances do to every figure. The trials
// are first order: aberrations do not enter.
func (s Setup) addUncertainties(f *Figures, a optics.Attachment, parts Parts) error {
	t, assumed, err := s.Tolerances(parts)
	if err != nil {
		return err
	}
	r, err := a.Tolerate(t, toleranceTrials(), toleratedFigures)
	if err != nil {
		f.WhyNoUncertainty = err.Error()
		return nil
	}
	for _, u := range r.Figures {
		out := FigureUncertainty{Figure: u.Name, U: rounded(u.U), Low: rounded(u.Low), High: rounded(u.High)}
		if len(u.Shares) > 0 {
			out.MainInput, out.MainShare = u.Shares[0].Input, rounded(u.Shares[0].Share)
		}
		f.Uncertainties = append(f.Uncertainties, out)
	}
	if r.Failed > 0 {
		f.Assumptions = append(f.Assumptions, fmt.Sprintf("%d of %d trials of the tolerances gave no figures and were left out: %s", r.Failed, r.Trials, r.Example))
	}
	for _, text := range assumed {
		f.Assumptions = append(f.Assumptions, text+" taken as limits of error where the record gives none (usual, no source)")
	}
	return nil
}

func toleranceTrials() optics.Trials { return optics.Trials{Count: setupTrials, Seed: toleranceSeed} }

// explainTolerances says how the uncertainties of scale and working distance come
// about: every input with its standard uncertainty and what it contributes.
func (s Setup) explainTolerances(a optics.Attachment, parts Parts) ([]optics.Explanation, error) {
	t, assumed, err := s.Tolerances(parts)
	if err != nil {
		return nil, err
	}
	r, err := a.Tolerate(t, toleranceTrials(), toleratedFigures)
	if err != nil {
		return nil, nil // the figures say why
	}
	var out []optics.Explanation
	for _, of := range []struct{ key, name, unit string }{{"object_pixel_um", "object pixel", "µm"}, {"working_distance_mm", "working distance", "mm"}} {
		for _, u := range r.Figures {
			if u.Name != of.key {
				continue
			}
			e := optics.Explanation{Figure: "standard uncertainty of the " + of.name, Value: quantity.Fixed(u.U, 4) + " " + of.unit,
				Formula: fmt.Sprintf("standard deviation of %d trials, every input drawn from a normal distribution, seed %d", setupTrials, toleranceSeed),
				Source:  "JCGM 101:2008, propagation of distributions; limits of error as rectangular, JCGM 100:2008, 4.3.7"}
			for _, share := range u.Shares {
				e.Inputs = append(e.Inputs, optics.Input{Name: share.Input, Value: "u = " + strings.TrimSpace(quantity.Fixed(share.InputU, 3)+" "+share.Unit) + ", contributes " + quantity.Fixed(share.U, 3) + " " + of.unit})
			}
			for _, text := range assumed {
				e.Inputs = append(e.Inputs, optics.Input{Name: "assumed, since not recorded", Value: text})
			}
			out = append(out, e)
		}
	}
	return out, nil
}

// rounded keeps five digits: trials know no more, and machines agree on them.
func rounded(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 5, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// toleratedFigures are the keys of Figures that carry an uncertainty.
func toleratedFigures(a optics.Attachment) ([]optics.Figure, error) {
	list, err := optics.FirstOrder(a)
	if err != nil {
		return nil, err
	}
	out := list[:0]
	limit := 0.0
	for _, f := range list {
		switch f.Name {
		case "object_pixel_x_um", "object_pixel_y_um", "nyquist_lp_per_mm":
			continue
		case "nyquist_period_um":
			f.Name = "sampling_um"
			limit = max(limit, f.Value)
		case "rayleigh_um":
			limit = max(limit, f.Value)
		}
		out = append(out, f)
	}
	out = append(out, optics.Figure{Name: "predicted_um", Value: limit})
	c, err := a.Stack.Cardinal()
	if err == nil && !c.Afocal {
		out = append(out, optics.Figure{Name: "efl_mm", Value: c.EFLMM}, optics.Figure{Name: "ffl_mm", Value: c.FFLMM}, optics.Figure{Name: "bfl_mm", Value: c.BFLMM})
	}
	return out, err
}

// exactTrials is how often a setup is traced anew for the uncertainty of its exact
// figures: their standard deviation is then known to about 9 %.
const exactTrials = 64

// trialRings samples the pupil in a trial, where only differences count.
const trialRings = 6

// ExactTolerance works out what the tolerances do to the figures of a prediction by
// exact rays over its band, the specimen at best focus in every trial. A figure that
// is infinite, such as a bar nowhere resolved, is left out. Faults of
// Attachment.Tolerate.
func (s Setup) ExactTolerance(parts Parts, p optics.Prediction) (optics.ToleranceReport, error) {
	t, _, err := s.Tolerances(parts)
	if err != nil {
		return optics.ToleranceReport{}, err
	}
	p.Rings = trialRings
	nominal, err := exactFigures(p)
	if err != nil {
		return optics.ToleranceReport{}, err
	}
	return p.Attachment.Tolerate(t, optics.Trials{Count: exactTrials, Seed: toleranceSeed}, func(a optics.Attachment) ([]optics.Figure, error) {
		all, err := exactFigures(moved(p, a))
		if err != nil {
			return nil, err
		}
		kept := all[:0]
		for i, f := range all {
			switch {
			case math.IsInf(nominal[i].Value, 0):
			case math.IsInf(f.Value, 0):
				return nil, fault.Invalidf("%s is infinite", f.Name)
			default:
				kept = append(kept, f)
			}
		}
		return kept, nil
	})
}

// moved is the prediction with its attachment moved: every wavelength's stack takes
// over what was changed, and keeps how its indices differ from the main one's.
func moved(p optics.Prediction, a optics.Attachment) optics.Prediction {
	out := p
	out.Attachment, out.Waves = a, make([]optics.Wave, len(p.Waves))
	for k, w := range p.Waves {
		stack := append(optics.Stack{}, a.Stack...)
		for i := range stack {
			e, main := &stack[i].Element, p.Attachment.Stack[i].Element
			e.N += w.Stack[i].Element.N - main.N
			if main.FocalMM != 0 {
				e.FocalMM *= w.Stack[i].Element.FocalMM / main.FocalMM
			}
		}
		out.Waves[k] = optics.Wave{WavelengthUM: w.WavelengthUM, Weight: w.Weight, Stack: stack}
	}
	return out
}

// exactFigures are the figures by exact rays that carry an uncertainty.
func exactFigures(p optics.Prediction) ([]optics.Figure, error) {
	s, err := p.Sharpness()
	if err != nil {
		return nil, err
	}
	out := []optics.Figure{
		{Name: "working_distance_mm", Value: s.WorkingDistanceMM}, {Name: "object_pixel_um", Value: s.ObjectPixelUM}, {Name: "na_object", Value: s.NAObject},
		{Name: "rms_blur_um", Value: s.RMSBlurUM}, {Name: "depth_of_field_um", Value: s.DepthOfField.TotalUM},
	}
	for i, name := range []string{"smallest_bar_um", "smallest_bar_0_7_um", "smallest_bar_corner_um"} {
		out = append(out, optics.Figure{Name: name, Value: WorseBarUM(s.Points[i])})
	}
	edge := math.Inf(1)
	if c := s.Points[0].Tangential; c != nil && c.EdgeWidthUM != nil {
		edge = *c.EdgeWidthUM
	}
	return append(out, optics.Figure{Name: "edge_width_um", Value: edge}), nil
}

// WorseBarUM is the smallest bar at a point of the field in the worse of both
// directions, +Inf where none is resolved.
func WorseBarUM(p optics.PointSharpness) float64 {
	if p.Tangential == nil || p.Sagittal == nil {
		return math.Inf(1)
	}
	return max(p.Tangential.SmallestBarUM, p.Sagittal.SmallestBarUM)
}
