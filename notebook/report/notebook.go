package report

import (
	"fmt"
	"strings"

	"dieglow/catalog/quantity"
	"dieglow/notebook"
)

// CaptureFacts returns the facts about a capture. What was not recorded is named.
func CaptureFacts(d CaptureDossier) []Fact {
	var f facts
	c := d.Capture.Body
	f.text("purpose", c.Purpose)
	if d.Specimen != nil {
		f.text("specimen", d.Specimen.Label()+" at revision "+fmt.Sprint(d.Specimen.Revision))
	}
	if d.Artefact != nil {
		f.text("artefact", d.Artefact.Label()+": "+d.Artefact.Body.SizeList())
	}
	f.text("setup", d.Setup.Label()+" at revision "+fmt.Sprint(d.Setup.Revision))
	f.text("camera", d.Camera.Label())
	if c.VoltageV != nil && c.CurrentA != nil {
		f.estimate("supply voltage", c.VoltageV, quantity.Volt, Measured)
		f.estimate("supply current", c.CurrentA, quantity.Ampere, Measured)
		f.estimate("power", c.PowerW, quantity.Watt, Computed)
	} else if c.PowerW != nil && c.PowerW.Value == 0 && c.PowerW.U == nil {
		f.add("power", "0 W, unpowered", Stated)
	} else if c.Purpose != notebook.Check || c.PowerW != nil {
		f.estimate("power", c.PowerW, quantity.Watt, Measured)
	}
	f.estimate("ambient temperature", c.AmbientK, quantity.Kelvin, Measured)
	f.estimate("reflected temperature", c.ReflectedK, quantity.Kelvin, Measured)
	f.estimate("emissivity", c.Emissivity, quantity.One, c.EmissivityFrom)
	f.maybe("  obtained from", c.EmissivityNote)
	if c.Purpose != notebook.Check && c.Purpose != notebook.Reference || c.SincePowerS != nil {
		f.estimate("time since power-up", c.SincePowerS, quantity.Second, Measured)
	}
	f.estimate("distance, first lens to specimen", c.DistanceMM, quantity.Millimetre, Measured)
	f.text("focus set by", c.FocusMethod)
	if c.FramesAveraged == nil {
		f.text("frames averaged", "")
	} else {
		f.text("frames averaged", fmt.Sprint(*c.FramesAveraged))
	}
	f.text("operator", c.Operator)
	f.text("taken", whenText(c.On))
	for _, i := range d.Instruments {
		f.text("instrument", i.Label())
	}
	for _, frame := range c.Frames {
		frameFacts(&f, frame, c.Emissivity != nil)
	}
	for _, a := range c.Attachments {
		f.text("attached "+a.Name, fmt.Sprintf("%d bytes, SHA-256 %s", a.Size, shortHash(a.SHA256)))
	}
	for _, dev := range c.Deviations {
		f.text("deviation", dev)
	}
	for _, r := range d.Findings {
		value := "see " + r.Handle
		if r.Body.ValueK != nil {
			value = withU(*r.Body.ValueK, quantity.Kelvin) + " (" + r.Handle + ")"
		} else if r.Body.Analysis != nil {
			value = resultSummary(r.Body) + " (" + r.Handle + ")"
		}
		origin := Computed
		if r.Body.Quantity == notebook.ApparentTemperature {
			origin = "apparent"
		}
		f.add("finding: "+r.Body.Quantity, value, origin)
	}
	limitFacts(&f, d)
	f.maybe("notes", c.Notes)
	if missing := c.Missing(); len(missing) > 0 {
		f.add("NOT RECORDED", strings.Join(missing, ", "), "")
	}
	return f
}

// limitFacts names each limit of the specimen that the capture went beyond.
func limitFacts(f *facts, d CaptureDossier) {
	if d.Specimen == nil {
		return
	}
	l := d.Specimen.Body.Limits
	if p := d.Capture.Body.PowerW; l.PowerW != nil && p != nil && p.Value > *l.PowerW {
		f.add("ABOVE THE LIMIT", "power "+p.Format(quantity.Watt)+", limit "+quantity.Fixed(*l.PowerW, 6)+" W ("+l.Source+")", "")
	}
	for _, r := range d.Findings {
		if v := r.Body.ValueK; l.TemperatureK != nil && v != nil && v.Value > *l.TemperatureK {
			f.add("ABOVE THE LIMIT", r.Body.Quantity+" "+v.Format(quantity.Kelvin)+" ("+r.Handle+"), limit "+quantity.Shown(*l.TemperatureK, 5, quantity.Kelvin)+" ("+l.Source+")", "")
		}
	}
}

// frameFacts adds what a frame's file says. Temperatures are apparent: what the
// camera believes, through optics and off a surface it does not know.
func frameFacts(f *facts, frame notebook.FrameFile, emissivityKnown bool) {
	if frame.Frames > 1 {
		f.text("frames in "+frame.Name, fmt.Sprintf("%d, %s; the highest value is in frame %d", frame.Frames, frame.Format, frame.MaxFrame))
	}
	f.text("frame "+frame.Name, fmt.Sprintf("%d x %d pixels, in %s, SHA-256 %s", frame.Width, frame.Height, frame.Unit, shortHash(frame.SHA256)))
	value := func(v float64) string {
		switch frame.Unit {
		case "degC":
			return quantity.Fixed(v, 5) + " °C"
		case "K":
			return quantity.Shown(v, 5, quantity.Kelvin)
		}
		return quantity.Fixed(v, 6) + " counts"
	}
	where := fmt.Sprintf(" at column %d, row %d", frame.MaxX, frame.MaxY)
	kind, note := "apparent", "not corrected for emissivity, reflection and optics; uncertainty not evaluated"
	if frame.Unit == "counts" {
		kind, note = "raw", "not a temperature"
	} else if !emissivityKnown {
		note = "no emissivity on record, so no temperature follows from it; uncertainty not evaluated"
	}
	f.add("  highest", value(frame.Max)+where, kind)
	f.add("  lowest", value(frame.Min), kind)
	f.add("  mean", value(frame.Mean), kind)
	f.add("  "+kind, note, "")
	if frame.Saturated > 0 {
		f.add("  saturated pixels", fmt.Sprint(frame.Saturated)+": highest and mean are lower limits", "")
	}
	if frame.Missing > 0 {
		f.add("  missing pixels", fmt.Sprint(frame.Missing), "")
	}
}

// shortHash is the beginning of a hash, enough to recognise it on a screen; the
// documents and the trail print it whole.
func shortHash(sha256 string) string { return sha256[:min(len(sha256), 12)] + "…" }

// SpecimenFacts returns the facts about a specimen.
func SpecimenFacts(d SpecimenDossier) []Fact {
	var f facts
	s := d.Specimen.Body
	f.text("project", d.Project.Label())
	f.text("state", d.State)
	f.text("form", s.Form)
	f.text("identity", s.Identity)
	if s.SizeXMM == nil {
		f.text("size", "")
	} else {
		f.add("size", quantity.Fixed(*s.SizeXMM, 5)+" x "+quantity.Fixed(*s.SizeYMM, 5)+" mm", Stated)
	}
	f.cost("worth", s.Worth)
	f.number("power limit", s.Limits.PowerW, quantity.Watt, Stated)
	f.number("temperature limit", s.Limits.TemperatureK, quantity.Kelvin, Stated)
	f.maybe("  limits from", s.Limits.Source)
	f.text("beryllia", string(s.Beryllia))
	for _, h := range s.Hazards {
		f.text("hazard", h)
	}
	f.maybe("cut from", d.CutFrom)
	f.text("received", whenText(s.Received))
	f.text("received from", s.From)
	f.text("condition on receipt", s.Condition)
	f.maybe("handling", s.Handling)
	for _, p := range d.Preparations {
		f.text("prepared "+whenText(p.Body.On), preparationText(p))
	}
	for _, c := range d.Custody {
		f.text(c.Body.Event+" "+whenText(c.Body.On), "to "+c.Body.Place+" by "+orNotRecorded(c.Body.Person)+" ("+c.Handle+")")
	}
	f.text("captures", fmt.Sprint(len(d.Captures)))
	f.maybe("notes", s.Notes)
	return f
}

func preparationText(p notebook.Record[notebook.Preparation]) string {
	var seen []string
	for _, c := range p.Body.Cautions {
		seen = append(seen, fmt.Sprintf("%s v%d", c.ID, c.Version))
	}
	text := p.Body.Step + ": " + p.Body.Method + "; by " + p.Body.Person
	if p.Body.Result != "" {
		text += "; result: " + p.Body.Result
	}
	if len(seen) > 0 {
		text += "; cautions shown: " + strings.Join(seen, ", ")
	}
	if p.Body.Acknowledged {
		text += ", acknowledged"
	}
	return text + " (" + p.Handle + ")"
}

// OutcomeResult returns the result in a word or two.
func OutcomeResult(o notebook.Outcome) string {
	if o.Withdrawn {
		return o.Result + ", withdrawn"
	}
	return o.Result
}

// OutcomeText returns what an outcome says, in a line.
func OutcomeText(o notebook.Outcome) string {
	switch o.Result {
	case notebook.Resolved:
		text := withU(*o.FeatureUM, quantity.Micrometre)
		if o.Artefact != nil {
			text += " on " + o.Artefact.Handle
		}
		if o.Feature != "" {
			text += ", " + o.Feature
		}
		return text
	case notebook.Lost:
		cost := "cost not recorded"
		if o.Cost != nil {
			cost = o.Cost.String()
		}
		return o.Specimen.Handle + ", " + cost + ": " + o.Because
	}
	if o.Question > 0 {
		return fmt.Sprintf("question %d: %s", o.Question, o.Text)
	}
	return o.Text
}

// OutcomeFacts returns the facts about an outcome.
func OutcomeFacts(r notebook.Record[notebook.Outcome]) []Fact {
	var f facts
	o := r.Body
	f.text("result", OutcomeResult(o))
	f.text("what", OutcomeText(o))
	if o.Capture != nil {
		f.text("evidence", o.Capture.String())
	} else {
		f.text("evidence", "no capture named")
	}
	if o.Result == notebook.Resolved {
		f.text("setup", o.Setup.String())
		f.text("judged by", o.HowJudged)
	}
	f.text("when", whenText(o.On))
	f.maybe("lesson", o.Lesson)
	return f
}

// ProjectFacts returns the facts about a project.
func ProjectFacts(d ProjectDossier) []Fact {
	var f facts
	p := d.Project.Body
	f.text("client", p.Client)
	f.text("under a non-disclosure agreement", yesNo(p.NDA))
	for i, q := range p.Questions {
		f.text(fmt.Sprintf("question %d", i+1), q)
		f.text("  answer", answerTo(d, i+1))
	}
	f.cost("budget", p.Budget)
	f.text("spent", TotalText(d.SpentTotals, 0))
	f.text("lost", TotalText(d.LossTotals, 0))
	f.text("specimens", fmt.Sprint(len(d.Specimens)))
	if p.Closed {
		f.text("closed", whenText(p.ClosedOn)+". "+p.ClosingRemark)
	}
	f.maybe("notes", p.Notes)
	return f
}

// answerTo returns the last outcome that deals with a question.
func answerTo(d ProjectDossier, question int) string {
	text := "open"
	for _, o := range d.Outcomes {
		if o.Body.Question == question {
			text = o.Body.Text + " (" + o.Handle + ", " + o.Body.Result
			if o.Body.Capture != nil {
				text += ", from " + o.Body.Capture.Handle
			}
			text += ")"
		}
	}
	return text
}

// TotalText prints totals, one a currency, and how many amounts are missing.
func TotalText(totals []quantity.Money, unknown int) string {
	var parts []string
	for _, m := range totals {
		parts = append(parts, m.String())
	}
	text := strings.Join(parts, ", ")
	if text == "" {
		text = "nothing"
	}
	if unknown > 0 {
		text += fmt.Sprintf(", and %d with no cost on record", unknown)
	}
	return text
}

// PreparationFacts returns the facts about a preparation step.
func PreparationFacts(p notebook.Preparation) []Fact {
	var f facts
	f.text("specimen", p.Specimen.String())
	f.text("step", p.Step)
	f.text("method", p.Method)
	f.text("person", p.Person)
	f.text("when", whenText(p.On))
	f.text("result", p.Result)
	for _, c := range p.Cautions {
		f.text("caution shown", fmt.Sprintf("%s, version %d", c.ID, c.Version))
	}
	f.text("warning acknowledged", yesNo(p.Acknowledged))
	return f
}

// CustodyFacts returns the facts about a custody event.
func CustodyFacts(c notebook.Custody) []Fact {
	var f facts
	f.text("specimen", c.Specimen.String())
	f.text("event", c.Event)
	f.text("to", c.Place)
	f.text("person", c.Person)
	f.text("when", whenText(c.On))
	f.text("condition", c.Condition)
	return f
}

// ExpenseFacts returns the facts about an expense.
func ExpenseFacts(e notebook.Expense) []Fact {
	var f facts
	f.text("for", e.What)
	f.cost("cost", &e.Cost)
	f.text("on", whenText(e.On))
	if e.Part != nil {
		f.text("part", e.Part.String())
	}
	f.maybe("notes", e.Notes)
	return f
}

// GenesisFacts returns the facts about the notebook itself.
func GenesisFacts(g notebook.Genesis) []Fact {
	var f facts
	f.text("operator", g.Operator)
	f.text("lab", g.Lab)
	return f
}
