package optics

import (
	"math"

	"dieglow/catalog/fault"
)

// LightWave is one wavelength of a band, its weight, and the elements as they
// are there, specimen side first.
type LightWave struct {
	WavelengthUM float64
	Weight       float64 // for example the radiance of the target
	Panes        []Pane
}

// StackLight is what the camera sees through a stack: of its light, Transmission
// comes from the specimen, Emission from the elements themselves (times their
// own blackbody radiance), and Reflection from what they mirror towards it. The
// three add up to 1.
type StackLight struct {
	Transmission float64    `json:"transmission"`
	Emission     float64    `json:"emission"`
	Reflection   float64    `json:"reflection"`
	Elements     []Emission `json:"elements"`      // specimen side first
	UpperBound   bool       `json:"upper_bound"`   // of the transmission: some absorption is not known
	SplitUnknown bool       `json:"split_unknown"` // emission is at most, reflection at least what is given
}

// Emission is one element's share of what the camera sees.
type Emission struct {
	PaneLight         // of the element alone
	Share     float64 `json:"share"` // of the camera's light that it emits
}

// WaveLight is the light at one wavelength.
type WaveLight struct {
	WavelengthUM float64 `json:"wavelength_um"`
	Weight       float64 `json:"weight"` // of a total of 1
	StackLight
}

// BandLight is the light over a band.
type BandLight struct {
	StackLight             // averaged with the weights
	Waves      []WaveLight `json:"waves"`
}

// ThroughStack follows the camera's light back through a stack, wavelength by
// wavelength, and averages with the weights; wavelengths of no weight are left out. Within an element reflections add
// up without interference. Between elements they are not followed: what curved
// surfaces send back spreads out of the beam. So at each element, of what
// reaches it, a share passes on towards the specimen, a share is the element's
// own emission (Kirchhoff: as much as it absorbs), and a share is turned back
// and counts as Reflection.
//
// Weights are those of the target: where the elements' temperature is far from
// the target's, average their emission with their own radiance instead.
//
// Where an absorption is not known it refuses, unless boundUnknown asks for an
// upper bound of the transmission without it.
//
// Fault Invalid as Pane.Light, and for a band without weight.
func ThroughStack(band []LightWave, boundUnknown bool) (BandLight, error) {
	total := 0.0
	for _, w := range band {
		if !(w.Weight >= 0) || math.IsInf(w.Weight, 0) {
			return BandLight{}, fault.Invalidf("the band has a weight of %g at %g µm", w.Weight, w.WavelengthUM).WithHint("give weights of 0 or more")
		}
		if len(w.Panes) != len(band[0].Panes) {
			return BandLight{}, fault.Invalidf("the stack has %d elements at %g µm and %d at %g µm", len(w.Panes), w.WavelengthUM, len(band[0].Panes), band[0].WavelengthUM).
				WithHint("give the same elements at every wavelength")
		}
		total += w.Weight
	}
	if !(total > 0) {
		return BandLight{}, fault.Invalidf("the band's weights come to %g", total).WithHint("give at least one wavelength a weight above zero")
	}
	var out BandLight
	for _, w := range band {
		if w.Weight == 0 {
			continue
		}
		one, err := throughPanes(w.Panes, boundUnknown)
		if err != nil {
			return BandLight{}, err
		}
		out.Waves = append(out.Waves, WaveLight{w.WavelengthUM, w.Weight / total, one})
		out.add(one, w.Weight/total)
	}
	return out, nil
}

func throughPanes(panes []Pane, boundUnknown bool) (StackLight, error) {
	out := StackLight{Transmission: 1, Elements: make([]Emission, len(panes))}
	for i := len(panes) - 1; i >= 0; i-- {
		l, err := panes[i].Light(boundUnknown)
		if err != nil {
			return StackLight{}, err
		}
		out.Elements[i] = Emission{l, out.Transmission * l.Absorption}
		out.Emission += out.Transmission * l.Absorption
		out.Reflection += out.Transmission * l.Reflection
		out.Transmission *= l.Transmission
		out.UpperBound, out.SplitUnknown = out.UpperBound || l.UpperBound, out.SplitUnknown || l.SplitUnknown
	}
	return out, nil
}

// add takes a wavelength into an average.
func (s *StackLight) add(one StackLight, weight float64) {
	if s.Elements == nil {
		s.Elements = make([]Emission, len(one.Elements))
	}
	s.Transmission += weight * one.Transmission
	s.Emission += weight * one.Emission
	s.Reflection += weight * one.Reflection
	s.UpperBound, s.SplitUnknown = s.UpperBound || one.UpperBound, s.SplitUnknown || one.SplitUnknown
	for i, e := range one.Elements {
		sum := &s.Elements[i]
		sum.Name, sum.Share = e.Name, sum.Share+weight*e.Share
		sum.Transmission += weight * e.Transmission
		sum.Reflection += weight * e.Reflection
		sum.Absorption += weight * e.Absorption
		sum.UpperBound, sum.SplitUnknown = sum.UpperBound || e.UpperBound, sum.SplitUnknown || e.SplitUnknown
	}
}
