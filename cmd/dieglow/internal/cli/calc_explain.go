package cli

import (
	"fmt"
	"math"

	"dieglow/catalog/material"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// explanations says how every figure of a calculation comes about: indices,
// matrix, cardinal distances, image.
func (t calcTask) explanations(stack optics.Stack) ([]optics.Explanation, error) {
	cardinal, err := stack.Explain()
	if err != nil {
		return nil, err
	}
	paraxial := cardinal[0].Source
	var list []optics.Explanation
	for i, p := range t.parts {
		if p.index == nil {
			continue
		}
		e, err := explainIndex(p.material, *p.index, *t.wavelengthUM)
		if err != nil {
			return nil, err
		}
		e.Figure = "index of " + t.name(i)
		list = append(list, e)
	}
	m := cardinal[0].Inputs
	list = append(list, optics.Explanation{
		Figure: "matrix", Value: fmt.Sprintf("A %s, B %s, C %s, D %s", m[0].Value, m[1].Value, m[2].Value, m[3].Value),
		Formula: "ns' = ns - y P, P = (n' - n)/R or 1/f; then y' = y + ns t/n",
		Inputs:  t.inputs(), Source: paraxial,
	})
	list = append(list, cardinal...)
	if t.objectMM == nil {
		return list, nil
	}
	image, err := stack.Conjugate(*t.objectMM)
	if err != nil {
		return nil, err
	}
	inputs := append(m[:len(m):len(m)], optics.Input{Name: "s, object before the first vertex, as stated", Value: inUnit(*t.objectMM, "mm")})
	return append(list,
		optics.Explanation{Figure: "image distance", Value: inUnit(image.ImageMM, "mm"), Formula: "s' = -(A s + B)/(C s + D)", Inputs: inputs, Source: paraxial},
		optics.Explanation{Figure: "magnification", Value: inUnit(image.Magnification, ""), Formula: "m = 1/(C s + D)", Inputs: inputs, Source: paraxial},
	), nil
}

// inputs lists what the matrix is made of, with where it is from.
func (t calcTask) inputs() []optics.Input {
	var list []optics.Input
	add := func(name, origin, value string) {
		list = append(list, optics.Input{Name: name + ", " + origin, Value: value})
	}
	radius := func(r float64) string {
		if r == 0 {
			return "plane"
		}
		return inUnit(r, "mm")
	}
	for i, p := range t.parts {
		e, of := p.element, " of "+t.name(i)
		switch {
		case e.Mirror:
			add("R"+of+", a mirror: 1/f = -2/R", asStated, radius(e.Radius1MM))
		case e.IsThin():
			add("f"+of, asStated, inUnit(e.FocalMM, "mm"))
		default:
			origin := asStated
			if p.index != nil {
				origin = p.material + " by " + p.index.Dataset
			}
			add("n"+of, origin, quantity.Fixed(e.N, indexDigits))
			add("R1"+of, asStated, radius(e.Radius1MM))
			add("R2"+of, asStated, radius(e.Radius2MM))
			add("t"+of, asStated, inUnit(e.ThicknessMM, "mm"))
		}
		if i+1 == len(t.parts) {
			break
		}
		if p.gapMM == nil {
			add("gap after "+t.name(i), "assumed", "0 mm")
		} else {
			add("gap after "+t.name(i), asStated, inUnit(*p.gapMM, "mm"))
		}
	}
	return list
}

// inUnit prints a figure for an explanation.
func inUnit(v float64, unit string) string {
	text := quantity.Fixed(v, calcDigits)
	if unit == "" || math.IsInf(v, 0) {
		return text
	}
	return text + " " + unit
}

// explainIndex says how an index comes about from the coefficients of its data set.
func explainIndex(slug string, index material.Index, wavelengthUM float64) (optics.Explanation, error) {
	m, err := material.Find(slug)
	if err != nil {
		return optics.Explanation{}, err
	}
	d, err := m.Dataset(index.Dataset)
	if err != nil {
		return optics.Explanation{}, err
	}
	inputs := []optics.Input{{Name: "material", Value: slug}, {Name: "L, wavelength in µm, as stated", Value: quantity.Fixed(wavelengthUM, 10)}}
	origin := ", data set " + d.Name
	for i, c := range d.Coefficients {
		inputs = append(inputs, optics.Input{Name: fmt.Sprintf("C%d%s", i+1, origin), Value: fmt.Sprint(c)})
	}
	if n := len(d.Table); n > 0 {
		inputs = append(inputs, optics.Input{Name: "table" + origin, Value: counted(n, "row") + ", see dieglow material show " + slug})
	}
	value := quantity.Fixed(index.N, indexDigits)
	if !index.InRange {
		value += ", EXTRAPOLATED"
	}
	return optics.Explanation{Figure: "index of " + slug, Value: value, Formula: index.Formula, Inputs: inputs, Source: index.Source}, nil
}
