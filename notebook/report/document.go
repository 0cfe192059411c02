package report

import (
	"bytes"
	"cmp"
	"fmt"

	"dieglow/catalog"
	"dieglow/catalog/quantity"
	"dieglow/notebook"
)

// seal ends a document with the state of the notebook it was made from.
func seal(b *bytes.Buffer, s Seal) []byte {
	fmt.Fprintf(b, "\n---\n\nMade from notebook %s as of entry %d, whose hash is `%s`, by %s. Temperatures marked apparent are what the camera reports.\n", s.Origin, s.Entries, s.Head, s.Tool)
	return b.Bytes()
}

// recordedLine says who recorded what and when.
func recordedLine(b *bytes.Buffer, m notebook.Meta) {
	fmt.Fprintf(b, "%s, revision %d of %d, recorded %s by %s as entry %d.\n\n", m.Handle, m.Revision, m.Latest, m.Recorded.Format("2006-01-02 15:04 UTC"), escape(m.Who), m.Seq)
}

// SetupReport returns a document about a setup: its parts, what is predicted, and
// what it was shown to resolve.
func SetupReport(d SetupDossier) []byte {
	var b bytes.Buffer
	heading(&b, 1, "Setup %s", d.Setup.Label())
	recordedLine(&b, d.Setup.Meta)
	if d.FrozenBy != "" {
		fmt.Fprintf(&b, "This revision is frozen: %s uses it.\n\n", d.FrozenBy)
	}
	for _, w := range d.Warnings {
		fmt.Fprintf(&b, "Warning: %s.\n\n", escape(w))
	}
	heading(&b, 2, "Stack, from the specimen to the camera")
	var rows [][]string
	for i, seat := range d.Setup.Body.Stack {
		l := d.Lenses[i]
		side := "surface 1 to the specimen"
		if seat.Flipped {
			side = "flipped: surface 2 to the specimen"
		}
		rows = append(rows, []string{fmt.Sprint(i + 1), l.Label(), fmt.Sprint(seat.Lens.Revision), l.Body.Material, side, seat.GapAfterMM.Format(quantity.Millimetre)})
	}
	table(&b, []string{"place", "lens", "revision", "material", "orientation", "gap after"}, rows)
	fmt.Fprintf(&b, "\nCamera: %s at revision %d.\n", escape(d.Camera.Label()), d.Camera.Revision)
	heading(&b, 2, "Predicted")
	factTable(&b, Setup(d.Setup.Body))
	heading(&b, 2, "Shown by captures")
	evidenceTable(&b, d.Resolved)
	heading(&b, 2, "Lenses")
	seen := map[string]bool{}
	for _, l := range d.Lenses {
		if seen[l.ID] {
			continue
		}
		seen[l.ID] = true
		heading(&b, 3, "%s, revision %d", l.Label(), l.Revision)
		factTable(&b, Lens(l.Body))
	}
	heading(&b, 2, "Camera %s, revision %d", d.Camera.Label(), d.Camera.Revision)
	factTable(&b, Camera(d.Camera.Body))
	if len(d.Revisions) > 1 {
		heading(&b, 2, "Revisions")
		var rows [][]string
		for _, r := range d.Revisions {
			reason := r.Reason
			if r.Revision == 1 {
				reason = "first recorded"
			}
			rows = append(rows, []string{fmt.Sprint(r.Revision), r.Recorded.Format("2006-01-02 15:04 UTC"), r.Who, reason})
		}
		table(&b, []string{"revision", "recorded", "by", "reason"}, rows)
	}
	return seal(&b, d.Seal)
}

func evidenceTable(b *bytes.Buffer, list []ResolvedFeature) {
	if len(list) == 0 {
		b.WriteString("No capture shows what this setup resolves.\n")
		return
	}
	var rows [][]string
	for _, e := range list {
		rows = append(rows, evidenceRow(e))
	}
	table(b, evidenceHeader(), rows)
	for _, e := range list {
		evidenceGaps(b, e)
	}
}

func evidenceHeader() []string {
	return []string{"resolved", "on", "known", "judged by", "evidence", "taken"}
}

// evidenceGaps names the conditions of a capture that were not recorded.
func evidenceGaps(b *bytes.Buffer, e ResolvedFeature) {
	if m := e.Capture.Body.Missing(); len(m) > 0 {
		fmt.Fprintf(b, "\nNot recorded of %s: %s.\n", e.Capture.Handle, escape(joinWords(m)))
	}
}

func evidenceRow(e ResolvedFeature) []string {
	on := e.Outcome.Body.Feature
	if e.Artefact != nil {
		on = cmp.Or(e.Artefact.Name, e.Artefact.Handle)
		if e.Outcome.Body.Feature != "" {
			on += ": " + e.Outcome.Body.Feature
		}
	}
	return []string{withU(*e.Outcome.Body.FeatureUM, quantity.Micrometre), on, e.Outcome.Body.Strength().String(), orNotRecorded(e.Outcome.Body.HowJudged),
		e.Capture.Handle + ", " + e.Outcome.Handle, whenDay(e.Capture.Body.On)}
}

func whenDay(w catalog.When) string { return orNotRecorded(w.Day()) }

func joinWords(words []string) string {
	var b bytes.Buffer
	for i, w := range words {
		if i > 0 {
			b.WriteString(", ")
		}
		b.WriteString(w)
	}
	return b.String()
}

// CaptureReport returns a document about a capture. pictures gives the path of a
// derived picture beside the document by its SHA-256; nil for none.
func CaptureReport(d CaptureDossier, pictures map[string]string) []byte {
	var b bytes.Buffer
	heading(&b, 1, "Capture %s", d.Capture.Handle)
	recordedLine(&b, d.Capture.Meta)
	ndaLine(&b, d.Project)
	missingLine(&b, d.Capture.Body)
	factTable(&b, CaptureFacts(d))
	if files := rawFiles(d.Capture.Body); len(files) > 0 {
		heading(&b, 2, "Raw files")
		for _, f := range files {
			fmt.Fprintf(&b, "- %s, %d bytes, SHA-256 `%s`\n", escape(f.Name), f.Size, f.SHA256)
		}
	}
	heading(&b, 2, "Setup as used: %s, revision %d", d.Setup.Label(), d.Setup.Revision)
	factTable(&b, Setup(d.Setup.Body))
	findingSection(&b, d.Findings, pictures)
	heading(&b, 2, "Outcomes that rest on it")
	outcomeTable(&b, d.Outcomes)
	return seal(&b, d.Seal)
}

// rawFiles returns every file a capture holds.
func rawFiles(c notebook.Capture) []notebook.Attachment {
	var out []notebook.Attachment
	for _, f := range c.Frames {
		out = append(out, notebook.Attachment{Name: f.Name, SHA256: f.SHA256, Size: f.Size})
	}
	return append(out, c.Attachments...)
}

func missingLine(b *bytes.Buffer, c notebook.Capture) {
	if m := c.Missing(); len(m) > 0 {
		fmt.Fprintf(b, "**Not recorded: %s.**\n\n", escape(joinWords(m)))
	}
}

func outcomeTable(b *bytes.Buffer, list []notebook.Record[notebook.Outcome]) {
	if len(list) == 0 {
		b.WriteString("None.\n")
		return
	}
	var rows [][]string
	for _, o := range list {
		evidence := "no capture named"
		if o.Body.Capture != nil {
			evidence = o.Body.Capture.Handle
		}
		rows = append(rows, []string{o.Handle, OutcomeResult(o.Body), OutcomeText(o.Body), evidence, orNotRecorded(o.Body.Lesson)})
	}
	table(b, []string{"outcome", "result", "what", "evidence", "lesson"}, rows)
}

// SpecimenReport returns a document about a specimen.
func SpecimenReport(d SpecimenDossier) []byte {
	var b bytes.Buffer
	heading(&b, 1, "Specimen %s", d.Specimen.Label())
	recordedLine(&b, d.Specimen.Meta)
	ndaLine(&b, &d.Project)
	factTable(&b, SpecimenFacts(d))
	if len(d.Pieces) > 0 {
		heading(&b, 2, "Cut from it")
		var rows [][]string
		for _, p := range d.Pieces {
			rows = append(rows, []string{p.Label(), p.Body.Form, orNotRecorded(p.Body.Identity)})
		}
		table(&b, []string{"specimen", "form", "identity"}, rows)
	}
	heading(&b, 2, "Captures")
	captureTable(&b, d.Captures)
	findingTable(&b, d.Findings)
	heading(&b, 2, "Outcomes")
	outcomeTable(&b, d.Outcomes)
	return seal(&b, d.Seal)
}

func captureTable(b *bytes.Buffer, list []notebook.Record[notebook.Capture]) {
	if len(list) == 0 {
		b.WriteString("None.\n")
		return
	}
	var rows [][]string
	for _, r := range list {
		c := r.Body
		missing := "nothing"
		if m := c.Missing(); len(m) > 0 {
			missing = joinWords(m)
		}
		rows = append(rows, []string{r.Handle, c.Purpose, whenDay(c.On), c.Setup.String(), estimateOr(c.PowerW, quantity.Watt), hottest(c), missing})
	}
	table(b, []string{"capture", "purpose", "taken", "setup", "power", "highest, apparent", "not recorded"}, rows)
}

func estimateOr(e *quantity.Estimate, unit quantity.Unit) string {
	if e == nil {
		return NotRecorded
	}
	return e.Format(unit)
}

func hottest(c notebook.Capture) string {
	best, found := 0.0, false
	for _, f := range c.Frames {
		if k, ok := f.MaxK(); ok && (!found || k > best) {
			best, found = k, true
		}
	}
	if !found {
		return "-"
	}
	return quantity.Shown(best, 5, quantity.Kelvin)
}

// ProjectReport returns a document about a project: its questions and their
// answers, specimens, captures, what was spent and what was lost.
func ProjectReport(d ProjectDossier) []byte {
	var b bytes.Buffer
	heading(&b, 1, "Project %s", d.Project.Label())
	recordedLine(&b, d.Project.Meta)
	ndaLine(&b, &d.Project)
	factTable(&b, ProjectFacts(d))
	for _, s := range d.Specimens {
		heading(&b, 2, "Specimen %s", s.Specimen.Label())
		factTable(&b, SpecimenFacts(s))
		b.WriteByte('\n')
		captureTable(&b, s.Captures)
		findingTable(&b, s.Findings)
	}
	heading(&b, 2, "Outcomes")
	outcomeTable(&b, d.Outcomes)
	if len(d.Expenses) > 0 {
		heading(&b, 2, "Expenses")
		var rows [][]string
		for _, e := range d.Expenses {
			rows = append(rows, []string{e.Handle, e.Body.What, e.Body.Cost.String(), whenText(e.Body.On)})
		}
		table(&b, []string{"expense", "for", "cost", "on"}, rows)
		fmt.Fprintf(&b, "\nTotal: %s.\n", TotalText(d.SpentTotals, 0))
	}
	return seal(&b, d.Seal)
}

// LossesReport returns a document about the specimens lost.
func LossesReport(d LossesDossier) []byte {
	var b bytes.Buffer
	heading(&b, 1, "Specimens lost")
	if len(d.Losses) == 0 {
		b.WriteString("None on record.\n")
		return seal(&b, d.Seal)
	}
	fmt.Fprintf(&b, "%d lost, at a cost of %s. Currencies are not converted.\n\n", len(d.Losses), TotalText(d.Totals, d.WithoutCost))
	var rows [][]string
	ndaAny := false
	for _, l := range d.Losses {
		if l.Project.Body.NDA {
			ndaAny = true
		}
		cost := NotRecorded
		if m := l.Outcome.Body.Cost; m != nil {
			cost = m.String()
		}
		rows = append(rows, []string{l.Specimen.Label(), l.Project.Label(), whenText(l.Outcome.Body.On), cost, l.Outcome.Body.Because, orNotRecorded(l.Outcome.Body.Lesson), l.Outcome.Handle})
	}
	table(&b, []string{"specimen", "project", "when", "cost", "because", "lesson", "outcome"}, rows)
	if ndaAny {
		b.WriteString("\n**Some of it is under a non-disclosure agreement.**\n")
	}
	return seal(&b, d.Seal)
}

// ResolvedReport answers which setup resolved a size: first from evidence, then,
// apart from it, which others optics says would.
func ResolvedReport(d ResolvedDossier) []byte {
	var b bytes.Buffer
	size := quantity.Fixed(d.SizeUM, 6) + " µm"
	heading(&b, 1, "Which setup resolved %s?", size)
	if len(d.Evidence) == 0 {
		fmt.Fprintf(&b, "None: no capture shows a setup resolving %s.\n", size)
	} else {
		best := d.Evidence[0]
		fmt.Fprintf(&b, "%s did, down to %s, as %s shows.\n", escape(setupName(best.Setup)), withU(*best.Feature.Outcome.Body.FeatureUM, quantity.Micrometre), best.Feature.Capture.Handle)
		heading(&b, 2, "Evidence")
		var rows [][]string
		for _, e := range d.Evidence {
			rows = append(rows, append([]string{setupName(e.Setup)}, append(evidenceRow(*e.Feature), costList(e.Setup.Body))...))
		}
		table(&b, append(append([]string{"setup"}, evidenceHeader()...), "cost of the parts"), rows)
		for _, e := range d.Evidence {
			evidenceGaps(&b, *e.Feature)
		}
	}
	heading(&b, 2, "Predicted only, without evidence")
	if len(d.Predicted) == 0 {
		b.WriteString("No other setup is predicted to.\n")
		return seal(&b, d.Seal)
	}
	b.WriteString("To first order: aberrations are left out, and `setup show --exact` has them.\n\n")
	var rows [][]string
	for _, p := range d.Predicted {
		g := p.Setup.Body.Figures
		rows = append(rows, []string{setupName(p.Setup), predictedText(g, "predicted_um", g.PredictedUM), quantity.Fixed(g.RayleighUM, 3) + " µm", quantity.Fixed(g.SamplingUM, 3) + " µm",
			quantity.Fixed(g.WorkingDistanceMM, 3) + " mm", costList(p.Setup.Body)})
	}
	table(&b, []string{"setup", "smallest feature", "diffraction limit", "sampling limit", "working distance", "cost of the parts"}, rows)
	return seal(&b, d.Seal)
}

// predictedText prints a predicted length in µm with its uncertainty.
func predictedText(g catalog.Figures, key string, um float64) string {
	if u, ok := g.Uncertainty(key); ok && u.U > 0 {
		return quantity.With(um, u.U).Format(quantity.Micrometre)
	}
	return quantity.Fixed(um, 3) + " µm"
}

// ndaLine marks a document about a project under a non-disclosure agreement.
func ndaLine(b *bytes.Buffer, p *notebook.Record[notebook.Project]) {
	if p != nil && p.Body.NDA {
		b.WriteString("**Under a non-disclosure agreement.**\n\n")
	}
}

// findingTable lists findings, each with its value.
func findingTable(b *bytes.Buffer, list []notebook.Record[notebook.Finding]) {
	if len(list) == 0 {
		return
	}
	b.WriteByte('\n')
	var rows [][]string
	for _, r := range list {
		value := "-"
		if r.Body.ValueK != nil {
			value = withU(*r.Body.ValueK, quantity.Kelvin)
		}
		if r.Body.Budget != nil && len(r.Body.Budget.Exact) > 0 {
			value += ", uncertainty a lower bound"
		}
		place := fmt.Sprintf("column %d, row %d", r.Body.X, r.Body.Y)
		if r.Body.Analysis != nil {
			value, place = resultSummary(r.Body), "-"
		}
		rows = append(rows, []string{r.Handle, r.Body.Capture.Handle, r.Body.Quantity, value, place})
	}
	table(b, []string{"finding", "of", "quantity", "value", "place"}, rows)
}

// setupName names a setup with the revision meant.
func setupName(s notebook.Record[catalog.Setup]) string {
	if s.Name == "" {
		return s.Ref.String()
	}
	return s.Name + " (" + s.Ref.String() + ")"
}

func costList(s catalog.Setup) string {
	if len(s.Figures.Costs) == 0 {
		return NotRecorded
	}
	return TotalText(s.Figures.Costs, 0)
}
