package optics

import "math"

// Explain returns how the figures in the middle of the field come about.
func (s Sharpness) Explain() []Explanation {
	const exact = "exact rays by Feder's form, J. Opt. Soc. Am. 41, 630 (1951)"
	d := s.DepthOfField
	out := []Explanation{
		{Figure: "working distance", Value: shown(s.WorkingDistanceMM, "mm"), Formula: "distance of the specimen at which the root mean square radius of the axial bundle, of all wavelengths with their weights, is least",
			Inputs: []Input{input("first order", s.WorkingDistanceMM-s.FocusShiftMM, "mm"), input("shift of focus", s.FocusShiftMM, "mm"), input("radius there", s.RMSBlurUM, "µm")}, Source: exact},
		{Figure: "depth of field", Value: shown(d.TotalUM, "µm"), Formula: "wavelength/NA² + e/(|M| NA), e the pixel pitch: the whole range",
			Inputs: []Input{input("NA", s.NAObject, ""), input("|M|", math.Abs(s.Magnification), ""), input("by diffraction", d.DiffractionUM, "µm"), input("by the pixels", d.DetectorUM, "µm")},
			Source: "Nikon MicroscopyU, \"Depth of Field and Depth of Focus\""},
	}
	c := s.Points[0]
	if c.Tangential == nil || c.Sagittal == nil {
		return out
	}
	worse := c.Tangential
	if c.Sagittal.SmallestBarUM > worse.SmallestBarUM {
		worse = c.Sagittal
	}
	w := worse.Without
	out = append(out, Explanation{Figure: "smallest bar in the middle", Value: shown(worse.SmallestBarUM, "µm"),
		Formula: "1/(2 f), f the lowest frequency at which D(f) G(f) P(f) falls to the contrast, and no narrower than an object pixel; D = (2/pi)[acos v - v sqrt(1-v²)], v = f wavelength/(2 NA), G the Fourier transform of the spots of exact rays about their centroid, P = sin(pi a f)/(pi a f)",
		Inputs: []Input{input("contrast", s.Contrast, ""), input("object pixel", s.ObjectPixelUM, "µm"), input("bar without diffraction", w.Diffraction, "µm"), input("without aberration", w.Aberration, "µm"),
			input("without colour", w.Colour, "µm"), input("without pixels", w.Pixels, "µm")},
		Source: "J. W. Goodman, Introduction to Fourier Optics, ch. 6; " + exact})
	if e := worse.EdgeWidthUM; e != nil {
		out = append(out, Explanation{Figure: "edge width in the middle", Value: shown(*e, "µm"), Formula: "distance over which E(x) = 1/2 + (1/pi) integral of M(f) sin(2 pi f x)/f df rises from 0.1 to 0.9, M = D G P",
			Inputs: []Input{input("contrast at the smallest bar", s.Contrast, "")}, Source: "linear systems: the edge is the integral of the line spread"})
	}
	return out
}

// Explain returns how the transmission and the emission of the stack come about.
func (l BandLight) Explain() []Explanation {
	e := Explanation{Figure: "transmission of the stack", Value: shown(l.Transmission, ""), Formula: "mean over the band, weighted by the target's radiance, of the product of T of every element; T = (1-R)² a/(1 - R² a²), R = ((n-1)/(n+1))², a = exp(-alpha t), or T as measured",
		Source: "Fresnel's equations at normal incidence, reflections within an element added without interference; Kirchhoff's law for emission"}
	for _, p := range l.Elements {
		e.Inputs = append(e.Inputs, input("T of "+p.Name, p.Transmission, ""), input("of the camera's light, emitted by "+p.Name, p.Share, ""))
	}
	return []Explanation{e}
}
