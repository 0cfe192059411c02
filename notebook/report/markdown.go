package report

import (
	"bytes"
	"fmt"
	"strings"
)

// escape makes text that a person typed harmless in Markdown: nothing in a name
// or a note may become a heading, a link or HTML.
func escape(s string) string {
	var b strings.Builder
	for i, r := range s {
		if turnsText(r) {
			r = '\ufffd'
		}
		switch r {
		case '\\', '`', '*', '_', '[', ']', '<', '>', '|', '#', '!', '~', '&':
			if r == '_' && i > 0 && i < len(s)-1 && isWord(s[i-1]) && isWord(s[i+1]) {
				break // inside a word an underscore has no meaning
			}
			if r == '#' && i > 0 || r == '!' && !strings.HasPrefix(s[i:], "![") || r == '>' && i > 0 {
				break // these mean something only at the start, or before a bracket
			}
			b.WriteByte('\\')
		case '\n', '\t':
			r = ' '
		case '+', '-', '=':
			if i == 0 && (len(s) == 1 || s[1] == ' ' || s[1] == byte(r)) {
				b.WriteByte('\\')
			}
		}
		b.WriteRune(r)
	}
	return b.String()
}

// turnsText reports whether r is a control character, or one of the marks that
// reverse the direction of what follows (UAX 9), with which a note could make a
// document read as something else.
func turnsText(r rune) bool {
	return r < 0x20 && r != '\n' && r != '\t' || r >= 0x7f && r <= 0x9f || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
}

func isWord(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c >= 0x80
}

// table writes a table in the form of GitHub Flavored Markdown.
func table(b *bytes.Buffer, header []string, rows [][]string) {
	line := func(cells []string) {
		b.WriteByte('|')
		for _, c := range cells {
			b.WriteString(" " + escape(c) + " |")
		}
		b.WriteByte('\n')
	}
	line(header)
	b.WriteString("|" + strings.Repeat(" --- |", len(header)) + "\n")
	for _, r := range rows {
		line(r)
	}
}

// factTable writes facts as a table.
func factTable(b *bytes.Buffer, list []Fact) {
	var rows [][]string
	for _, f := range list {
		rows = append(rows, []string{strings.TrimSpace(f.Label), f.Value, f.Origin})
	}
	table(b, []string{"what", "value", "origin"}, rows)
}

// heading writes a heading with blank lines around it.
func heading(b *bytes.Buffer, level int, format string, args ...any) {
	if b.Len() > 0 && !bytes.HasSuffix(b.Bytes(), []byte("\n\n")) {
		b.WriteByte('\n')
	}
	b.WriteString(strings.Repeat("#", level) + " " + escape(fmt.Sprintf(format, args...)) + "\n\n")
}
