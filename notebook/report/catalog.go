package report

import (
	"fmt"
	"math"
	"strings"

	"dieglow/catalog"
	"dieglow/catalog/material"
	"dieglow/catalog/optics"
	"dieglow/catalog/quantity"
)

// Lens returns the facts about a lens, its focal length at its own wavelength included.
func Lens(l catalog.Lens) []Fact {
	var f facts
	if l.Form == catalog.Mirror {
		return mirror(l)
	}
	name := l.Material
	if m, err := material.Find(l.Material); err == nil {
		name = m.Name
	}
	f.text("material", name)
	at := l.DesignWavelengthUM()
	if mm, origin, err := l.FocalMM(at); err == nil {
		label := "focal length at " + quantity.Fixed(at, 4) + " µm"
		if origin == "computed" {
			f.add(label, quantity.Fixed(mm, 5)+" mm, uncertainty not evaluated", Computed)
		} else if origin == Stated {
			f.estimate(label, l.FocalLengthMM, quantity.Millimetre, Stated)
		}
	}
	if l.Form == catalog.Thick {
		f.add("radius 1", radiusText(l.Radius1MM), Stated)
		f.add("radius 2", radiusText(l.Radius2MM), Stated)
		f.estimate("centre thickness", l.ThicknessMM, quantity.Millimetre, Stated)
	}
	if l.MeasuredFocalMM != nil {
		f.estimate("focal length", l.MeasuredFocalMM, quantity.Millimetre, Measured)
		f.text("  method", l.MeasuredFocalMethod)
	}
	if text := l.FocalDisagreement(); text != "" {
		f.add("warning", text, "")
	}
	f.number("diameter", &l.DiameterMM, quantity.Millimetre, Stated)
	if l.ClearApertureMM == nil {
		f.add("clear aperture", "not recorded; the full diameter is taken", Assumed)
	} else {
		f.number("clear aperture", l.ClearApertureMM, quantity.Millimetre, Stated)
	}
	f.text("coating", l.Coating)
	f.estimate("transmission", l.Transmission, quantity.One, Measured)
	return append(f, stock(l)...)
}

func mirror(l catalog.Lens) []Fact {
	var f facts
	f.add("form", "first-surface mirror", "")
	f.add("radius", radiusText(l.Radius1MM), Stated)
	f.estimate("reflectance", l.Reflectance, quantity.One, Stated)
	f.number("diameter", &l.DiameterMM, quantity.Millimetre, Stated)
	if l.ClearApertureMM != nil {
		f.number("clear aperture", l.ClearApertureMM, quantity.Millimetre, Stated)
	}
	f.text("coating", l.Coating)
	return append(f, stock(l)...)
}

// stock returns where a lens is from, what it cost and how many there are.
func stock(l catalog.Lens) []Fact {
	var f facts
	f.text("supplier", l.Supplier)
	f.cost("cost", l.Cost)
	if l.OnHand == nil {
		f.text("on hand", "")
	} else {
		f.text("on hand", fmt.Sprint(*l.OnHand))
	}
	f.text("condition", string(l.Condition))
	f.maybe("notes", l.Notes)
	return f
}

// Camera returns the facts about a camera.
func Camera(c catalog.Camera) []Fact {
	var f facts
	f.add("array", fmt.Sprintf("%d x %d pixels", c.PixelsX, c.PixelsY), Stated)
	f.number("pixel pitch", &c.PitchUM, quantity.Micrometre, Stated)
	f.add("band", quantity.Fixed(c.BandLowUM, 4)+" to "+quantity.Fixed(c.BandHighUM, 4)+" µm", Stated)
	f.estimate("focal length", &c.FocalLengthMM, quantity.Millimetre, Stated)
	f.add("f-number", quantity.Fixed(c.FNumber, 4), Stated)
	f.number("nearest focus", c.NearestFocusMM, quantity.Millimetre, Stated)
	f.number("frame rate", c.FrameRateHz, quantity.Hertz, Stated)
	if c.NETDK == nil {
		f.text("noise-equivalent temperature difference", "")
	} else {
		f.add("noise-equivalent temperature difference", quantity.Fixed(*c.NETDK*1000, 4)+" mK", Stated)
	}
	if text := cameraAccuracy(c); text == NotRecorded {
		f.text("accuracy", "")
	} else {
		f.add("accuracy", text, Stated)
	}
	f.text("serial", c.Serial)
	f.text("firmware", c.Firmware)
	f.text("supplier", c.Supplier)
	f.cost("cost", c.Cost)
	f.text("condition", string(c.Condition))
	f.maybe("notes", c.Notes)
	return f
}

func cameraAccuracy(c catalog.Camera) string {
	var parts []string
	if c.AccuracyK != nil {
		parts = append(parts, "±"+quantity.Fixed(*c.AccuracyK, 4)+" K")
	}
	if c.AccuracyFraction != nil {
		parts = append(parts, "±"+quantity.Fixed(*c.AccuracyFraction*100, 4)+" % of the reading in °C")
	}
	if len(parts) == 0 {
		return NotRecorded
	}
	return strings.Join(parts, " or ")
}

// Artefact returns the facts about an artefact.
func Artefact(a catalog.Artefact) []Fact {
	var f facts
	f.text("form", a.Form)
	for _, s := range a.Sizes {
		label := catalog.ArtefactForms()[a.Form]
		if s.Label != "" {
			f.add(label+", "+s.Label, quantity.Fixed(s.SizeUM.Value, 4)+" µm, uncertainty not evaluated", Computed)
			continue
		}
		f.estimate(label, &s.SizeUM, quantity.Micrometre, Stated)
	}
	if a.Certificate == "" {
		f.add("certificate", "none: traceability not established", "")
	} else {
		f.add("certificate", a.Certificate, "")
		f.text("certified on", string(a.CertificateOn))
	}
	f.maybe("due on", string(a.DueOn))
	f.text("how the sizes are known", a.HowKnown)
	f.text("supplier", a.Supplier)
	f.cost("cost", a.Cost)
	f.text("condition", string(a.Condition))
	f.maybe("notes", a.Notes)
	return f
}

// Instrument returns the facts about an instrument, and on a given day whether
// its calibration is overdue; without a day they follow from the record alone.
func Instrument(i catalog.Instrument, today catalog.When) []Fact {
	var f facts
	f.text("form", i.Form)
	f.text("measures", i.Measures)
	f.text("maker", i.Maker)
	f.text("model", i.Model)
	f.text("serial", i.Serial)
	if i.Accuracy == "" {
		f.text("accuracy", "")
	} else {
		f.add("accuracy", i.Accuracy, Stated)
	}
	if len(i.Calibrations) == 0 {
		f.add("calibration", "none recorded: traceability not established", "")
	}
	for _, c := range i.Calibrations {
		text := "by " + orNotRecorded(c.By) + ", certificate " + orNotRecorded(c.Certificate) + ", due " + whenText(c.DueOn)
		if c.Result != "" {
			text += ": " + c.Result
		}
		f.add("calibrated "+c.On.String(), text, "")
	}
	if _, found, valid := i.CalibrationOn(today); today != "" && found && !valid {
		f.add("warning", "the calibration is overdue", "")
	}
	f.text("condition", string(i.Condition))
	f.maybe("notes", i.Notes)
	return f
}

func orNotRecorded(s string) string {
	if s == "" {
		return NotRecorded
	}
	return s
}

// Setup returns the facts about a setup: its parts as named by handle, then the
// figures predicted for it.
func Setup(s catalog.Setup) []Fact {
	var f facts
	f.text("camera", s.Camera.String())
	f.add("stack, from the specimen", s.StackText(), "")
	focus := "infinity"
	if s.FocusMM != nil {
		focus = quantity.Fixed(*s.FocusMM, 6) + " mm from its lens"
	}
	f.add("camera focused at", focus, "")
	f.add("wavelength", quantity.Fixed(s.WavelengthUM, 5)+" µm", "")
	f = append(f, Figures(s.Figures)...)
	f.maybe("notes", s.Notes)
	return f
}

// Figures returns what optics predicts of a setup.
func Figures(g catalog.Figures) []Fact {
	var f facts
	figure := func(label, key string, v float64, unit, note string) {
		text := quantity.Fixed(v, 4)
		if u, ok := g.Uncertainty(key); ok && u.U > 0 {
			text = quantity.With(v, u.U).Number(quantity.One)
		}
		f.add(label, strings.TrimSpace(strings.TrimSpace(text+" "+unit)+" "+note), Predicted)
	}
	if g.FocalLengthMM == 0 {
		f.add("focal length of the stack", "none: the stack has no power", Predicted)
	} else {
		figure("focal length of the stack", "efl_mm", g.FocalLengthMM, "mm", "")
	}
	figure("working distance", "working_distance_mm", g.WorkingDistanceMM, "mm", "")
	m := g.Magnification
	figure("magnification", "magnification", math.Abs(m), "", orientation(g))
	figure("object pixel", "object_pixel_um", g.ObjectPixelUM, "µm", "")
	f.add("field of view", quantity.Fixed(g.FieldXMM, 4)+" x "+quantity.Fixed(g.FieldYMM, 4)+" mm"+fieldU(g), Predicted)
	figure("object-side numerical aperture", "na_object", g.NAObject, "", "(stop: "+g.Stop+")")
	figure("diffraction limit", "rayleigh_um", g.RayleighUM, "µm", "")
	figure("sampling limit", "sampling_um", g.SamplingUM, "µm", "")
	figure("smallest distance told apart", "predicted_um", g.PredictedUM, "µm", "(the larger of the two; aberrations left out, --exact has them)")
	f = append(f, uncertaintyFacts(g)...)
	for _, l := range g.Lenses {
		if l.Dataset == "" {
			text := "plane mirror"
			if l.FocalLengthMM != 0 {
				text = "mirror of focal length " + quantity.Fixed(l.FocalLengthMM, 4) + " mm"
			}
			f.add(l.Lens, text, l.Origin)
			continue
		}
		f.add("focal length of "+l.Lens, quantity.Fixed(l.FocalLengthMM, 4)+" mm (index "+quantity.Fixed(l.N, 6)+", data set "+l.Dataset+")", l.Origin)
	}
	for _, a := range g.Assumptions {
		f.add("assumption", a, Assumed)
	}
	cost := NotRecorded
	if len(g.Costs) > 0 {
		var parts []string
		for _, m := range g.Costs {
			parts = append(parts, m.String())
		}
		cost = strings.Join(parts, ", ")
	}
	if n := len(g.PartsWithoutCost); n > 0 && len(g.Costs) > 0 {
		cost += ", and no cost on record for " + strings.Join(g.PartsWithoutCost, ", ")
	}
	f.add("cost of the parts", cost, "")
	return f
}

// fieldU says how well the field is known, as a share of it.
func fieldU(g catalog.Figures) string {
	u, ok := g.Uncertainty("field_x_mm")
	if !ok || u.U == 0 {
		return ""
	}
	return ", each with a standard uncertainty of " + quantity.Fixed(100*u.U/g.FieldXMM, 2) + " %"
}

// uncertaintyFacts says where the figures' uncertainties come from, and which
// tolerance matters most.
func uncertaintyFacts(g catalog.Figures) []Fact {
	var f facts
	switch {
	case g.WhyNoUncertainty != "":
		f.add("uncertainty", "not evaluated: "+g.WhyNoUncertainty, "")
	case len(g.Uncertainties) == 0:
		f.add("uncertainty", catalog.NoUncertainty, "")
	default:
		f.add("uncertainty", "in the last digits, standard: what the tolerances of the parts do to first order", "")
		for _, of := range []struct{ key, label string }{{"object_pixel_um", "scale"}, {"working_distance_mm", "working distance"}} {
			if u, ok := g.Uncertainty(of.key); ok && u.MainInput != "" {
				f.add("tolerance that matters most to "+of.label, u.MainInput+" ("+quantity.Fixed(100*u.MainShare, 2)+" % of the variance)", "")
			}
		}
	}
	return f
}

// orientation says how the picture stands on the array. A picture seen in an odd
// number of mirrors is a mirror image as well.
func orientation(g catalog.Figures) string {
	text := "upright on the array"
	if g.Magnification < 0 {
		text = "inverted on the array"
	}
	if g.Mirrored {
		text += ", mirror image"
	}
	return "(" + text + ")"
}

// Light returns what a stack passes and emits over the camera's band. bare are the
// lenses taken as uncoated; measured is the transmission where it was measured of
// every lens, nil otherwise.
func Light(l optics.BandLight, measured *quantity.Estimate, bare []string, targetK float64) []Fact {
	var f facts
	percent := func(v float64) string { return quantity.Fixed(100*v, 3) + " %" }
	text := percent(l.Transmission)
	if measured != nil && measured.U != nil {
		text = quantity.With(100*l.Transmission, 100*l.Transmission**measured.U/measured.Value).Number(quantity.One) + " %"
	}
	text += " (mean over the band for a target at " + quantity.Shown(targetK, 4, quantity.Kelvin) + ")"
	if len(bare) > 0 {
		text += "; taken as uncoated, since not measured: " + strings.Join(bare, ", ")
	}
	if l.UpperBound {
		text += "; the absorption of some material is not known and left out"
	}
	f.add("transmission of the stack", text, Predicted)
	text = percent(l.Emission)
	switch {
	case l.UpperBound && (l.SplitUnknown || l.Emission < 1e-6):
		text = "not known, since the absorption of some material is not"
	case l.SplitUnknown:
		text = "at most " + text
	case l.UpperBound:
		text = "at least " + text
	}
	f.add("of the camera's light, emitted by the stack", text+" (at their own temperature)", Predicted)
	return f
}

// Drift returns how focus moves when the lenses warm.
func Drift(d optics.FocalDrift) []Fact {
	var f facts
	text := "specimen to be moved by " + quantity.Fixed(1000*d.FocusShiftMM, 2) + " µm; the depth of field is " + quantity.Fixed(d.DepthOfFieldUM, 2) + " µm"
	if math.Abs(d.FocusShiftMM) < 1e-9 && len(d.Unknown) > 0 {
		text = "focus shift not known"
	}
	if len(d.Unknown) > 0 {
		text += "; not known and left out: " + unknownOf(d.Unknown)
	}
	f.add("lenses "+quantity.Fixed(d.DTK, 3)+" K warmer", text, Predicted)
	return f
}

// unknownOf turns "lens 1 (lens-4): dn/dT", one an item, into what is unknown of which.
func unknownOf(items []string) string {
	var kinds []string
	of := map[string][]string{}
	for _, item := range items {
		name, kind, _ := strings.Cut(item, ": ")
		if of[kind] == nil {
			kinds = append(kinds, kind)
		}
		of[kind] = append(of[kind], name)
	}
	for i, kind := range kinds {
		kinds[i] = kind + " of " + strings.Join(of[kind], ", ")
	}
	return strings.Join(kinds, "; ")
}
