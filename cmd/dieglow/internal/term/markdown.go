package term

import (
	"fmt"
	"html"
	"io"
	"regexp"
	"strings"
	"unicode"

	"github.com/charmbracelet/glamour"
	"github.com/charmbracelet/glamour/ansi"
	"github.com/muesli/termenv"
)

// proseWidth is the longest line of prose that reads well, in columns.
const proseWidth = 100

// Private characters stand in the source, while it is laid out, for what the
// layout must not touch. They are taken out of the source first.
const (
	tableMark  = '\ue000' // around the number of a table
	hyphenMark = '\ue001' // a hyphen inside a word, where no line may break
	blankMark  = '\ue002' // a blank between a number and its unit
)

// Markdown writes a Markdown document. On a terminal it is laid out: prose for
// the width of the terminal, at most 100 columns, tables as by Table for the
// whole width. In a pipe it is the source, byte by byte.
func (s Screen) Markdown(source []byte) error {
	if !s.tty {
		_, err := s.out.Write(source)
		return err
	}
	shown, err := s.layoutMarkdown(string(source))
	if err != nil {
		return err
	}
	_, err = io.WriteString(s.out, shown)
	return err
}

func (s Screen) layoutMarkdown(source string) (string, error) {
	text, tables := cutTables(cleanMarkdown(source))
	profile := termenv.Ascii
	if s.colour {
		profile = termenv.ANSI
	}
	r, err := glamour.NewTermRenderer(
		glamour.WithStyles(proseStyle()),
		glamour.WithColorProfile(profile),
		glamour.WithWordWrap(min(s.width, proseWidth)),
	)
	if err != nil {
		return "", fmt.Errorf("lay out Markdown: %w", err)
	}
	prose, err := r.Render(keepTogether(text))
	if err != nil {
		return "", fmt.Errorf("lay out Markdown: %w", err)
	}
	var b strings.Builder
	blank := false
	for line := range strings.Lines(prose) {
		line = settle(line, s.colour)
		if line == "" && blank { // nested blocks leave several blank lines
			continue
		}
		blank = line == ""
		var n int
		if at := strings.IndexRune(line, tableMark); at >= 0 {
			_, err := fmt.Sscanf(line[at+len(string(tableMark)):], "%d", &n)
			if err == nil && n < len(tables) {
				b.WriteString(tables[n].layout(s.width, s.colour))
				continue
			}
		}
		b.WriteString(line)
		b.WriteByte('\n')
	}
	shown := strings.Trim(b.String(), "\n") + "\n"
	return strings.NewReplacer(string(hyphenMark), "-", "%EE%80%81", "-", string(blankMark), " ").Replace(shown), nil
}

var numericEntity = regexp.MustCompile(`&#(?:[xX][0-9a-fA-F]+|[0-9]+);?`)

// cleanMarkdown takes control characters out, as themselves and as numeric
// entities, and the private characters that are used here.
func cleanMarkdown(source string) string {
	source = strings.Map(func(r rune) rune {
		if r >= tableMark && r <= blankMark {
			return '\ufffd'
		}
		return r
	}, Clean(source))
	return numericEntity.ReplaceAllStringFunc(source, func(entity string) string {
		if r := html.UnescapeString(entity); Clean(r) != r || strings.ContainsFunc(r, func(r rune) bool { return r >= tableMark && r <= blankMark }) {
			return "\ufffd"
		}
		return entity
	})
}

// keepTogether marks the places in prose where no line may break: hyphens
// inside words, as in lens-4, and blanks after numbers, as in 23.1 ± 0.5 °C.
func keepTogether(text string) string {
	runes := []rune(text)
	for i := 1; i+1 < len(runes); i++ {
		before, after := runes[i-1], runes[i+1]
		switch runes[i] {
		case '-':
			if isWordRune(before) && isWordRune(after) {
				runes[i] = hyphenMark
			}
		case ' ':
			number := unicode.IsDigit(before) || i > 1 && before == ')' && unicode.IsDigit(runes[i-2])
			unit := unicode.IsLetter(after) || strings.ContainsRune("°%±×·", after)
			if number && unit || strings.ContainsRune("±×", before) {
				runes[i] = blankMark
			}
		}
	}
	return string(runes)
}

func isWordRune(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }

var graphicRendition = regexp.MustCompile(`^\x1b\[[0-9;]*m`)

// settle takes the blanks off the end of a laid out line, whatever colours they
// are in, and every control character except, with colour, graphic renditions.
func settle(line string, colour bool) string {
	var b strings.Builder
	blanks := 0
	for line = strings.TrimRight(line, "\r\n"); line != ""; {
		if code := graphicRendition.FindString(line); code != "" {
			if colour {
				b.WriteString(code)
			}
			line = line[len(code):]
			continue
		}
		if line[0] == ' ' {
			blanks++
			line = line[1:]
			continue
		}
		b.WriteString(strings.Repeat(" ", blanks))
		blanks = 0
		n := len(line)
		if at := strings.IndexAny(line[1:], " \x1b"); at >= 0 {
			n = at + 1
		}
		b.WriteString(Clean(line[:n]))
		line = line[n:]
	}
	return b.String()
}

// proseStyle uses weight, slant and underline, and one colour of the sixteen
// that every terminal's own palette keeps legible on its background.
func proseStyle() ansi.StyleConfig {
	yes, cyan := true, "6"
	var list, code uint = 2, 2
	bar := "│ "
	var quote uint = 1
	rule := "\n" + strings.Repeat("─", 20) + "\n"
	heading := func(p ansi.StylePrimitive) ansi.StyleBlock {
		p.Bold = &yes
		return ansi.StyleBlock{StylePrimitive: p}
	}
	return ansi.StyleConfig{
		Heading:        ansi.StyleBlock{StylePrimitive: ansi.StylePrimitive{BlockSuffix: "\n"}},
		H1:             heading(ansi.StylePrimitive{Underline: &yes}),
		H2:             heading(ansi.StylePrimitive{}),
		H3:             heading(ansi.StylePrimitive{Italic: &yes}),
		H4:             heading(ansi.StylePrimitive{Italic: &yes}),
		H5:             heading(ansi.StylePrimitive{Italic: &yes}),
		H6:             heading(ansi.StylePrimitive{Italic: &yes}),
		BlockQuote:     ansi.StyleBlock{Indent: &quote, IndentToken: &bar},
		List:           ansi.StyleList{LevelIndent: list},
		Item:           ansi.StylePrimitive{BlockPrefix: "- "},
		Enumeration:    ansi.StylePrimitive{BlockPrefix: ". "},
		Task:           ansi.StyleTask{Ticked: "[x] ", Unticked: "[ ] "},
		Emph:           ansi.StylePrimitive{Italic: &yes},
		Strong:         ansi.StylePrimitive{Bold: &yes},
		Strikethrough:  ansi.StylePrimitive{CrossedOut: &yes},
		HorizontalRule: ansi.StylePrimitive{Format: rule},
		Link:           ansi.StylePrimitive{Underline: &yes},
		Code:           ansi.StyleBlock{StylePrimitive: ansi.StylePrimitive{Color: &cyan}},
		CodeBlock:      ansi.StyleCodeBlock{StyleBlock: ansi.StyleBlock{StylePrimitive: ansi.StylePrimitive{Color: &cyan}, Margin: &code}},
	}
}
