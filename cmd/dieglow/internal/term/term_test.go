package term

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rivo/uniseg"
)

func TestNewScreen(t *testing.T) {
	t.Parallel()
	env := func(pairs map[string]string) func(string) string {
		return func(name string) string { return pairs[name] }
	}
	file, err := os.Create(filepath.Join(t.TempDir(), "out"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	s := NewScreen(file, env(nil))
	if s.IsTerminal() || s.Colour() || s.Width() != 80 {
		t.Errorf("a file: terminal %v, colour %v, width %d; want false, false, 80", s.IsTerminal(), s.Colour(), s.Width())
	}
	for columns, want := range map[string]int{"120": 120, "": 80, "wide": 80, "-1": 80, "3": 20} {
		if got := NewScreen(new(bytes.Buffer), env(map[string]string{"COLUMNS": columns})).Width(); got != want {
			t.Errorf("COLUMNS=%q: width %d, want %d", columns, got, want)
		}
	}
	if p := (Screen{tty: true, colour: true, width: 80}).Plain(); p.IsTerminal() || p.Colour() {
		t.Error("a plain screen still lays out")
	}
}

func TestClean(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"lens-4 °C µm Ω 日本":        "lens-4 °C µm Ω 日本",
		"a\tb\nc\r\nd":             "a\tb\nc\nd",
		"a\rb":                     "a\ufffdb",
		"\x1b[2J\x1b]0;title\x07":  "\ufffd[2J\ufffd]0;title\ufffd",
		"\x9b31m":                  "\ufffd31m", // C1 as a single byte
		"\u009b31m\x7f":            "\ufffd31m\ufffd",
		"\u202e5.41\u202c \u2066x": "\ufffd5.41\ufffd \ufffdx",
	} {
		if got := Clean(in); got != want {
			t.Errorf("Clean(%q) = %q, want %q", in, got, want)
		}
	}
}

func show(t *testing.T, tbl Table, width int, tty bool) string {
	t.Helper()
	var b bytes.Buffer
	if err := Fixed(&b, width, tty).Table(tbl); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var lenses = Table{
	Columns: []Column{{Header: "handle"}, {Header: "focal length", Align: Right}, {Header: "note"}},
	Rows: [][]string{
		{"lens-4", "25.4 mm", "germanium, from the drawer, flange cut to 23.1 ± 0.5 mm by hand"},
		{"lens-12", "8 mm", ""},
		{"lens-13", "日本 3.25 mm", "Ø 12 mm"},
	},
}

func TestTable(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		width int
		tty   bool
		want  string
	}{
		{"wide", 100, true, `
handle   focal length  note
───────  ────────────  ───────────────────────────────────────────────────────────────
lens-4        25.4 mm  germanium, from the drawer, flange cut to 23.1 ± 0.5 mm by hand
lens-12          8 mm
lens-13  日本 3.25 mm  Ø 12 mm
`},
		{"wrapped", 50, true, `
handle   focal length  note
───────  ────────────  ───────────────────────────
lens-4        25.4 mm  germanium, from the drawer,
                       flange cut to 23.1 ± 0.5 mm
                       by hand
lens-12          8 mm
lens-13  日本 3.25 mm  Ø 12 mm
`},
		{"records", 30, true, `
handle: lens-4
focal length: 25.4 mm
note: germanium, from the
  drawer, flange cut to
  23.1 ± 0.5 mm by hand

handle: lens-12
focal length: 8 mm
note:

handle: lens-13
focal length: 日本 3.25 mm
note: Ø 12 mm
`},
		{"pipe", 30, false, `
handle	focal length	note
lens-4	25.4 mm	germanium, from the drawer, flange cut to 23.1 ± 0.5 mm by hand
lens-12	8 mm	
lens-13	日本 3.25 mm	Ø 12 mm
`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if got := show(t, lenses, tt.width, tt.tty); got != tt.want[1:] {
				t.Errorf("width %d:\n%s\nwant:\n%s", tt.width, got, tt.want[1:])
			}
		})
	}
}

// TestTableKeepsWords lays the table out for every width and looks for each
// word, number and unit whole, lines that are too long and blanks at line ends.
func TestTableKeepsWords(t *testing.T) {
	t.Parallel()
	for width := 20; width <= 110; width++ {
		got := show(t, lenses, width, true)
		for _, whole := range []string{"lens-12", "25.4 mm", "germanium,", "23.1 ± 0.5 mm", "日本 3.25 mm", "Ø 12 mm"} {
			if !strings.Contains(got, whole) {
				t.Errorf("width %d: %q is not whole in\n%s", width, whole, got)
			}
		}
		for line := range strings.Lines(got) {
			line = strings.TrimSuffix(line, "\n")
			if strings.TrimRight(line, " ") != line {
				t.Errorf("width %d: blanks at the end of %q", width, line)
			}
			if uniseg.StringWidth(line) > max(width, len("focal length: ")+12) {
				t.Errorf("width %d: %q is %d wide", width, line, uniseg.StringWidth(line))
			}
		}
	}
}

func TestTableOfHostileCells(t *testing.T) {
	t.Parallel()
	tbl := Table{
		Columns: []Column{{Header: "na\tme\x1b[1m"}, {Header: "note"}},
		Rows:    [][]string{{"\x1b]52;c;AAAA\x07", "two\nlines\tand a tab"}},
	}
	if got, want := show(t, tbl, 80, false), "na me\ufffd[1m\tnote\n\ufffd]52;c;AAAA\ufffd\ttwo lines and a tab\n"; got != want {
		t.Errorf("pipe: %q, want %q", got, want)
	}
	if got := show(t, tbl, 80, true); strings.ContainsAny(got, "\x1b\x07\t") || !strings.Contains(got, "lines and a tab") {
		t.Errorf("terminal: %q", got)
	}
	short := Table{Columns: lenses.Columns, Rows: [][]string{{"lens-4"}}}
	if err := Fixed(new(bytes.Buffer), 80, true).Table(short); err == nil {
		t.Error("a short row is taken")
	}
	if got := show(t, Table{}, 80, true); got != "" {
		t.Errorf("no columns: %q", got)
	}
	if got, want := show(t, Table{Columns: lenses.Columns}, 80, false), "handle\tfocal length\tnote\n"; got != want {
		t.Errorf("no rows: %q, want %q", got, want)
	}
}

func TestWords(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"cut to 23.1 ± 0.5 °C by hand": "cut|to|23.1 ± 0.5 °C|by|hand",
		"8 x 6 mm":                     "8 x 6 mm",
		"23.1(5) °C and 80 %":          "23.1(5) °C|and|80 %",
		"10 20 30":                     "10|20|30",
		"the x axis / side":            "the|x|axis|/|side",
		"±0.5 K":                       "±0.5 K",
		"a\u00a0b  c":                  "a\u00a0b|c",
		"":                             "",
	} {
		if got := strings.Join(words(in), "|"); got != want {
			t.Errorf("words(%q) = %q, want %q", in, got, want)
		}
	}
}

const document = `# Lens lens-4

Prose with *stress* and **weight** at 23.1 ± 0.5 °C through ` + "`lens-12`" + ` and the specimen-1234 of [the maker](https://example.org/a-b).

| handle | focal length / mm | note |
|:---|---:|---|
| lens-4 | 25.4 | a note that is long enough to be wrapped in this narrow place |
| lens-5 | - | **bold** &amp; ` + "`a\\|b`" + ` |

- one
  - two

1. first

> quoted

` + "```\n| no | table |\n|---|---|\n```" + `

` + "- [x] done" + `
`

func TestMarkdown(t *testing.T) {
	t.Parallel()
	want := `Lens lens-4

Prose with stress and weight at
23.1 ± 0.5 °C through lens-12 and the
specimen-1234 of the maker
https://example.org/a-b.

handle  focal length / mm  note
──────  ─────────────────  ─────────────────
lens-4               25.4  a note that is
                           long enough to be
                           wrapped in this
                           narrow place
lens-5                  -  bold & a|b

- one
  - two

1. first

│ quoted

  | no | table |
  |---|---|

[x] done
`
	var b bytes.Buffer
	if err := Fixed(&b, 44, true).Markdown([]byte(document)); err != nil {
		t.Fatal(err)
	}
	if got := b.String(); got != want {
		t.Errorf("got:\n%s\nwant:\n%s", got, want)
	}
	b.Reset()
	if err := Fixed(&b, 44, false).Markdown([]byte(document)); err != nil || b.String() != document {
		t.Errorf("in a pipe: %v\n%s", err, b.String())
	}
}

func TestMarkdownColour(t *testing.T) {
	t.Parallel()
	var plain, coloured bytes.Buffer
	s := Fixed(&coloured, 60, true)
	s.colour = true
	if err := s.Markdown([]byte(document)); err != nil {
		t.Fatal(err)
	}
	if err := Fixed(&plain, 60, true).Markdown([]byte(document)); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(plain.String(), "\x1b") {
		t.Errorf("without colour: %q", plain.String())
	}
	if !strings.Contains(coloured.String(), "\x1b[1m weight\x1b[0m") && !strings.Contains(coloured.String(), "\x1b[1mweight\x1b[0m") {
		t.Errorf("no weight in %q", coloured.String())
	}
	// The same text lies under the colours.
	var bare strings.Builder
	for line := range strings.Lines(coloured.String()) {
		bare.WriteString(settle(line, false) + "\n")
	}
	if bare.String() != plain.String() {
		t.Errorf("with colour:\n%s\nwithout:\n%s", bare.String(), plain.String())
	}
}

// FuzzMarkdown looks for a way to send anything to the terminal but text,
// newlines and graphic renditions.
func FuzzMarkdown(f *testing.F) {
	for _, s := range []string{document, "a \x1b[2J b", "&#27;[2J &#x1b;c &#155;1J", "&amp;#27;c", "<b title='&#27;'>&#0027;</b>", "| a |\n|--|\n| &#7; |\n",
		"\ue0000\ue000", "&#57344;0&#57344;", "```\n\x1b]0;x\x07\n```", "[a](b\u009b)", "![a&#27;](&#27;)", "<https://a-b\x1b>", "| a |\n|---|", "- | a |\n  |--|\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, source string) {
		var b bytes.Buffer
		s := Fixed(&b, 40, true)
		if err := s.Markdown([]byte(source)); err != nil {
			t.Fatal(err)
		}
		for _, r := range b.String() {
			if r != '\n' && r != '\t' && isControl(r) {
				t.Fatalf("control character %U in %q from %q", r, b.String(), source)
			}
		}
		b.Reset()
		s.colour = true
		if err := s.Markdown([]byte(source)); err != nil {
			t.Fatal(err)
		}
		for part := range strings.SplitSeq("m"+b.String(), "\x1b") {
			if part = strings.TrimLeft(part, "[0123456789;"); !strings.HasPrefix(part, "m") {
				t.Fatalf("escape sequence %q in %q", part, b.String())
			}
		}
	})
}
