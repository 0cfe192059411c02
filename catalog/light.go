package catalog

import (
	"fmt"
	"slices"

	"dieglow/catalog/fault"
	"dieglow/catalog/material"
	"dieglow/catalog/optics"
)

// lightWaves is how many wavelengths stand for the band where only light is asked
// for: absorption changes faster over the band than an index does.
const lightWaves = 25

// bandSample returns n wavelengths spread evenly over the camera's band.
func (c Camera) bandSample(n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = c.BandLowUM + (c.BandHighUM-c.BandLowUM)*(float64(i)+0.5)/float64(n)
	}
	return out
}

// Light follows the camera's light back through the setup's stack over the
// camera's band, weighted by weigh (the radiance of the target, in any unit).
// What was measured of a lens beats what its material gives. Where an absorption
// is not known the transmission is an upper bound, and says so.
// Fault Invalid where a material's index is not known over the whole band.
func (s Setup) Light(parts Parts, weigh func(wavelengthUM float64) float64) (optics.BandLight, error) {
	var band []optics.LightWave
	for _, um := range parts.Camera.bandSample(lightWaves) {
		w := optics.LightWave{WavelengthUM: um, Weight: weigh(um)}
		for i, l := range parts.Lenses {
			p, err := l.Pane(um)
			if err != nil {
				return optics.BandLight{}, err
			}
			p.Name = fmt.Sprintf("lens %d (%s)", i+1, s.Stack[i].Lens.Handle)
			w.Panes = append(w.Panes, p)
		}
		band = append(band, w)
	}
	return optics.ThroughStack(band, true)
}

// BareLenses returns the handles of lenses whose transmission was not measured, so
// that their surfaces count as uncoated.
func (s Setup) BareLenses(parts Parts) []string {
	var out []string
	for i, l := range parts.Lenses {
		if h := s.Stack[i].Lens.Handle; l.Form != Mirror && l.Transmission == nil && !slices.Contains(out, h) {
			out = append(out, h)
		}
	}
	return out
}

// Pane returns the lens as light crosses it near its axis at a wavelength. A
// coating described in words has no figures; its lens counts as bare unless its
// transmission was measured.
func (l Lens) Pane(wavelengthUM float64) (optics.Pane, error) {
	if l.Form == Mirror {
		return optics.Pane{Name: l.Name, Reflectance: l.Reflectance.Value}, nil
	}
	m, err := material.Find(l.Material)
	if err != nil {
		return optics.Pane{}, err
	}
	p := optics.Pane{Name: l.Name, Material: m.Name}
	index, err := m.Index(wavelengthUM, material.IndexOptions{})
	if err != nil {
		return p, err
	}
	p.Index = index.N
	if l.ThicknessMM != nil {
		p.ThicknessMM = l.ThicknessMM.Value
	}
	if l.Transmission != nil {
		p.Measured = &l.Transmission.Value
		return p, nil
	}
	if alpha, _, err := m.Absorption(wavelengthUM); err == nil {
		p.AbsorptionPerCM = &alpha
	} else if fault.KindOf(err) != fault.Invalid {
		return p, err
	}
	return p, nil
}

// Drift works out how focus moves when the setup's lenses, not its camera, warm by
// dTK kelvin. Expansion of the lenses and of the mount is not on record and is left
// out; the figures say which coefficients are unknown. Faults of Attachment.Drift.
func (s Setup) Drift(parts Parts, dTK float64) (optics.FocalDrift, error) {
	a, err := s.Attachment(parts)
	if err != nil {
		return optics.FocalDrift{}, err
	}
	var changes []optics.Warming
	for _, l := range parts.Lenses {
		w := optics.Warming{}
		if l.Form != Mirror {
			m, err := material.Find(l.Material)
			if err != nil {
				return optics.FocalDrift{}, err
			}
			index, err := l.index(s.WavelengthUM)
			if err != nil {
				return optics.FocalDrift{}, err
			}
			w.DnDTPerK, w.Index = m.DnDT.PerK, index.N
		}
		changes = append(changes, w)
	}
	return a.Drift(dTK, changes)
}
