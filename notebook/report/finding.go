package report

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"

	"dieglow/catalog/quantity"
	"dieglow/notebook"
	"dieglow/notebook/temperature"
)

// FindingFacts returns the facts about a finding, its budget apart.
func FindingFacts(f notebook.Finding) []Fact {
	var out facts
	out.text("of", f.Capture.String())
	if f.Quantity == notebook.EmissivityMap {
		return append(out, emissivityFacts(f)...)
	}
	if f.Analysis != nil {
		return append(out, analysisFacts(f)...)
	}
	origin := "apparent"
	if f.Quantity == notebook.ObjectTemperature {
		origin = Computed
	}
	out.estimate(f.Quantity, f.ValueK, quantity.Kelvin, origin)
	if f.Budget != nil && len(f.Budget.Exact) > 0 {
		out.add("the uncertainty", "a lower bound, without "+joinWords(f.Budget.Exact), "")
	}
	if f.WhyNot != "" {
		out.add("no object temperature", f.WhyNot, "")
	}
	place := fmt.Sprintf("column %d, row %d", f.X, f.Y)
	if f.Pixels > 1 {
		s := f.Settings
		place = fmt.Sprintf("mean of %d pixels from column %d, row %d, %d x %d; hottest at column %d, row %d", f.Pixels, s.X, s.Y, s.Width, s.Height, f.X, f.Y)
	}
	out.text("place", place)
	out = append(out, settingFacts(f.Settings)...)
	for _, reason := range sortedKeys(f.Unsolved) {
		out.text("pixels without a temperature, "+reason, fmt.Sprint(f.Unsolved[reason]))
	}
	return append(out, provenance(f)...)
}

// provenance says which files a finding made and came from.
func provenance(f notebook.Finding) []Fact {
	var out facts
	for _, d := range f.Derived {
		out.text("made "+d.Name, fmt.Sprintf("%d bytes, SHA-256 %s", d.Size, shortHash(d.SHA256)))
	}
	for _, h := range f.RawFiles {
		out.text("computed from", "SHA-256 "+shortHash(h))
	}
	out.text("program", f.Program)
	return out
}

// analysisFacts returns the results of an analysis and how it was done.
func analysisFacts(f notebook.Finding) []Fact {
	var out facts
	for _, r := range f.Results {
		out.add(r.Label, ResultText(r), Measured)
	}
	a := f.Analysis
	for _, c := range a.Captures {
		out.text("from", c.String())
	}
	out.maybe("file", a.File)
	for _, flag := range slices.Sorted(maps.Keys(a.Flags)) {
		out.text("with --"+flag, a.Flags[flag])
	}
	if a.PixelUM != nil {
		out.add("object pixel taken", withU(*a.PixelUM, quantity.Micrometre), a.PixelFrom)
	}
	return append(out, provenance(f)...)
}

// summaryResults is how many results of an analysis stand in a table of findings.
const summaryResults = 3

// resultSummary prints the first results of an analysis in one line.
func resultSummary(f notebook.Finding) string {
	var parts []string
	for i, r := range f.Results {
		if i == summaryResults {
			parts = append(parts, "...")
			break
		}
		parts = append(parts, r.Label+" "+ResultText(r))
	}
	return strings.Join(parts, "; ")
}

// ResultText prints a result with its uncertainty, or why it has none.
func ResultText(r notebook.Result) string {
	text := strings.TrimSpace(r.Value.Number(quantity.One) + " " + r.Unit)
	switch {
	case r.Value.U != nil:
		return text
	case r.WhyNoU != "":
		return strings.TrimSpace(quantity.Fixed(r.Value.Value, 6)+" "+r.Unit) + ", " + r.WhyNoU
	}
	return strings.TrimSpace(quantity.Fixed(r.Value.Value, 6)+" "+r.Unit) + ", uncertainty not evaluated"
}

func sortedKeys(m map[string]int) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// settingFacts says what a reading rests on and where each value comes from.
func settingFacts(s temperature.Settings) []Fact {
	var out facts
	switch {
	case s.Frame < 0:
		out.text("frame", "the mean of all")
	case s.Frame > 0:
		out.text("frame", fmt.Sprint(s.Frame))
	}
	stated := func(label string, v *temperature.Stated, unit quantity.Unit) {
		if v != nil {
			out.estimate(label, &v.Estimate, unit, v.Origin)
		}
	}
	out.text("band", quantity.Fixed(s.BandLowUM, 4)+" to "+quantity.Fixed(s.BandHighUM, 4)+" µm")
	if s.Map != nil {
		out.add("emissivity", "map "+s.Map.Finding, Measured)
	} else {
		stated("emissivity", s.Emissivity, quantity.One)
	}
	if s.Trials > 0 {
		out.text("trials", fmt.Sprintf("%d, seed %d", s.Trials, s.Seed))
	}
	stated("reflected temperature", s.ReflectedK, quantity.Kelvin)
	for _, e := range s.Elements {
		stated("transmission of "+e.Name, &e.Transmission, quantity.One)
		stated("temperature of "+e.Name, &e.TempK, quantity.Kelvin)
	}
	return out
}

func emissivityFacts(f notebook.Finding) []Fact {
	var out facts
	s := f.Stage
	out.text("measured by", s.Way)
	if s.HotK != nil {
		out.text("hot frame", f.Other.String())
		out.estimate("hot stage", s.HotK, quantity.Kelvin, Measured)
	}
	if s.Patch != "" {
		out.text("patch", s.Patch)
		out.estimate("temperature of the patch", &s.ColdK, quantity.Kelvin, Computed)
	} else {
		out.estimate("stage", &s.ColdK, quantity.Kelvin, Measured)
	}
	out.add("mean emissivity", quantity.Fixed(s.Mean, 4)+fmt.Sprintf(" of %d trusted pixels", s.Trusted), Measured)
	out.text("masked", s.Rule)
	shared := "not evaluated"
	if s.CommonU > 0 {
		shared = quantity.Fixed(s.CommonU*100, 3) + " %"
	}
	out.text("relative uncertainty all pixels share", shared)
	if s.HotK != nil {
		applied := "not applied"
		if s.Shifted {
			applied = "applied"
		}
		out.text("shift of the hot frame", fmt.Sprintf("%s, %s pixel, %s", quantity.Fixed(s.ShiftXPx, 3), quantity.Fixed(s.ShiftYPx, 3), applied))
	}
	return append(out, provenance(f)...)
}

// findingSection writes the findings of a capture with their budgets.
func findingSection(b *bytes.Buffer, list []notebook.Record[notebook.Finding], pictures map[string]string) {
	if len(list) == 0 {
		return
	}
	heading(b, 2, "Findings")
	for _, r := range list {
		heading(b, 3, "%s: %s", r.Handle, r.Body.Quantity)
		factTable(b, FindingFacts(r.Body))
		if r.Body.Budget != nil {
			budgetTable(b, *r.Body.Budget)
		}
		for _, d := range r.Body.Derived {
			if path, ok := pictures[d.SHA256]; ok {
				fmt.Fprintf(b, "\n![%s of %s](%s)\n", escape(d.Name), r.Handle, path)
			}
		}
	}
}

// budgetTable writes an uncertainty budget, largest contribution first.
func budgetTable(b *bytes.Buffer, budget temperature.Budget) {
	b.WriteByte('\n')
	var rows [][]string
	for _, r := range budget.Rows {
		c := "-"
		contribution, share := temperature.ShowContribution(r)
		if r.Sensitivity != nil {
			c = quantity.Fixed(*r.Sensitivity, 4)
		}
		rows = append(rows, []string{r.Input, temperature.ShowValue(r), temperature.ShowU(r), c, contribution, share})
	}
	table(b, []string{"input", "value", "u", "sensitivity", "contribution", "share"}, rows)
	if budget.LowC != nil {
		fmt.Fprintf(b, "\n%s %% interval: %s to %s °C, by %s.\n", quantity.Fixed(budget.Level*100, 4), quantity.Fixed(*budget.LowC, 4), quantity.Fixed(*budget.HighC, 4), budget.Method)
	}
	if t := budget.MonteCarlo; t != nil {
		fmt.Fprintf(b, "\nThe interval is the shortest of %d trials; first order was not adequate or trials were asked for: %s.\n", t.Count, escape(budget.Why))
		if text := t.LeftOutText(); text != "" {
			fmt.Fprintf(b, "\n%s\n", escape(text))
		}
	}
	if len(budget.Exact) > 0 {
		fmt.Fprintf(b, "\nNot in the budget, since not evaluated: %s. The uncertainty is a lower bound.\n", escape(joinWords(budget.Exact)))
	}
	if budget.Advice != "" {
		fmt.Fprintf(b, "\n%s\n", escape(budget.Advice))
	}
}
