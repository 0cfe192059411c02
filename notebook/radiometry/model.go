package radiometry

import "math"

// The places of the inputs of ObjectModel. The transmission of element i is at
// ModelElements+2i, its temperature in K one further.
const (
	ModelApparentK = iota
	ModelEmissivity
	ModelReflectedK
	ModelElements
)

// ObjectModel returns the object's temperature in K as a function of the
// apparent temperature, the emissivity, the reflected temperature, and the
// transmission and temperature of each element called by names, object first.
// It is meant for propagating uncertainties: it may be called by many
// goroutines and allocates only where there is no solution, when it returns the
// fault of NewEquation or Equation.Object.
func ObjectModel(t *Table, names ...string) func(x []float64) (float64, error) {
	return func(x []float64) (float64, error) {
		eps := x[ModelEmissivity]
		possible := eps > 0 && eps <= 1
		tau, offset := 1.0, 0.0
		for i := ModelElements; i < len(x); i += 2 {
			pass := x[i]
			possible = possible && pass > 0 && pass <= 1
			offset = pass*offset + (1-pass)*t.Radiance(x[i+1])
			tau *= pass
		}
		own := ((t.Radiance(x[ModelApparentK])-offset)/tau - (1-eps)*t.Radiance(x[ModelReflectedK])) / eps
		if possible && own > 0 {
			if k, err := t.Temperature(own); err == nil {
				return k, nil
			}
		}
		return exactObject(t.band, x, names)
	}
}

// exactObject solves without the table, to word the fault.
func exactObject(b *Band, x []float64, names []string) (float64, error) {
	s := Scene{Emissivity: x[ModelEmissivity], ReflectedK: x[ModelReflectedK]}
	for i := ModelElements; i < len(x); i += 2 {
		el := Element{Transmission: x[i], TempK: x[i+1]}
		if n := (i - ModelElements) / 2; n < len(names) {
			el.Name = names[n]
		}
		s.Elements = append(s.Elements, el)
	}
	e, err := NewEquation(b, s)
	if err != nil {
		return math.NaN(), err
	}
	return e.Object(x[ModelApparentK])
}
