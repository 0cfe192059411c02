package catalog

import (
	"dieglow/catalog/fault"
	"dieglow/catalog/optics"
)

// bandWaves is how many wavelengths stand for a camera's band.
const bandWaves = 5

// Prediction prepares the setup for exact rays over the camera's band: evenly
// spaced wavelengths, weighted by weigh, whose unit does not matter. Fault
// Invalid where a material's index is not known over the whole band.
func (s Setup) Prediction(parts Parts, weigh func(wavelengthUM float64) float64) (optics.Prediction, error) {
	main, err := s.Attachment(parts)
	if err != nil {
		return optics.Prediction{}, err
	}
	p := optics.Prediction{Attachment: main}
	for _, um := range parts.Camera.bandSample(bandWaves) {
		at := s
		at.WavelengthUM = um
		a, err := at.Attachment(parts)
		if err != nil {
			return p, fault.Invalidf("the setup cannot be computed over the camera's whole band").Because(err).
				WithHint("narrow the camera's band to where the materials are known, or leave --exact out")
		}
		p.Waves = append(p.Waves, optics.Wave{WavelengthUM: at.WavelengthUM, Weight: weigh(at.WavelengthUM), Stack: a.Stack})
	}
	return p, nil
}

// IdealLenses returns the handles of lenses known by their focal length alone,
// which exact rays pass without aberration, so that they flatter the setup.
func (s Setup) IdealLenses(parts Parts) []string {
	var out []string
	seen := map[string]bool{}
	for i, l := range parts.Lenses {
		if h := s.Stack[i].Lens.Handle; l.Form == Thin && !seen[h] {
			seen[h] = true
			out = append(out, h)
		}
	}
	return out
}
