package report

import (
	"bytes"
	"fmt"

	"dieglow/catalog/optics"
)

// Explanations returns a Markdown document that says how figures come about.
func Explanations(title string, list []optics.Explanation) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# %s\n", escape(title))
	for _, e := range list {
		fmt.Fprintf(&b, "\n## %s: %s\n\n", escape(e.Figure), escape(e.Value))
		fmt.Fprintf(&b, "Formula: `%s`\n\n", e.Formula)
		var rows [][]string
		for _, in := range e.Inputs {
			rows = append(rows, []string{in.Name, in.Value})
		}
		table(&b, []string{"input", "value"}, rows)
		fmt.Fprintf(&b, "\nSource: %s\n", escape(e.Source))
	}
	return b.Bytes()
}
