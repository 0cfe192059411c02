// Package term is what only a terminal needs: how wide it is, whether it takes
// colours, tables that fit it and Markdown made readable. It knows no domain.
//
// In a pipe nothing is laid out: tables are tab-separated and Markdown is its
// source, so that other programs can read them.
package term

import (
	"io"
	"os"
	"strconv"
	"strings"

	"golang.org/x/term"
)

const (
	defaultWidth = 80 // columns, where nothing says how wide the terminal is
	leastWidth   = 20 // columns; below it nothing can be laid out
)

// Screen is where a command's results go, with what it can show. Make it with
// NewScreen or Fixed.
type Screen struct {
	out    io.Writer
	tty    bool
	width  int
	colour bool
}

// NewScreen returns the screen of out. It is a terminal only when out is a file
// that is one. Of the environment COLUMNS sets the width, and NO_COLOR (not
// empty) and TERM=dumb take the colours away. The terminal itself is asked for
// its size and nothing else.
func NewScreen(out io.Writer, env func(string) string) Screen {
	s := Screen{out: out, width: defaultWidth}
	f, ok := out.(*os.File)
	if ok && term.IsTerminal(int(f.Fd())) {
		s.tty = true
		s.colour = env("NO_COLOR") == "" && env("TERM") != "dumb"
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			s.width = w
		}
	}
	if w, err := strconv.Atoi(env("COLUMNS")); err == nil && w > 0 {
		s.width = w
	}
	s.width = max(s.width, leastWidth)
	return s
}

// Fixed returns a screen that shows like a terminal of the given width without
// colours, or like a pipe, whatever out is.
func Fixed(out io.Writer, width int, tty bool) Screen {
	return Screen{out: out, width: max(width, leastWidth), tty: tty}
}

// Plain returns the screen as a pipe would be: no layout and no colours.
func (s Screen) Plain() Screen {
	s.tty, s.colour = false, false
	return s
}

// IsTerminal says whether results are laid out for a person.
func (s Screen) IsTerminal() bool { return s.tty }

// Colour says whether escape sequences for colours and weights are written.
func (s Screen) Colour() bool { return s.colour }

// Width returns the width to lay out for, in columns.
func (s Screen) Width() int { return s.width }

// Clean returns s safe to write to a terminal: control characters (C0, DEL and
// C1, as single bytes too), the marks that reverse the direction of text and
// bytes that are not UTF-8 become U+FFFD, and line ends a newline. Newlines and
// tabs stay.
func Clean(s string) string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return r
		case isControl(r):
			return '\ufffd'
		}
		return r
	}, s) // Map turns bytes that are not UTF-8 into U+FFFD
}

func isControl(r rune) bool {
	return r < 0x20 || r >= 0x7f && r <= 0x9f ||
		r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 // UAX 9: embeddings, overrides, isolates
}

const defaultRows = 24 // lines, where nothing says how tall the terminal is

// Rows returns how many lines the terminal behind out has: LINES, its own size,
// or 24.
func Rows(out io.Writer, env func(string) string) int {
	if n, err := strconv.Atoi(env("LINES")); err == nil && n > 0 {
		return n
	}
	if f, ok := out.(*os.File); ok {
		if _, h, err := term.GetSize(int(f.Fd())); err == nil && h > 0 {
			return h
		}
	}
	return defaultRows
}
