package term

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/rivo/uniseg"
)

// wrap breaks s between words into lines of at most width columns. A word that
// is longer stays whole on a line of its own. It returns at least one line.
func wrap(s string, width int) []string {
	var lines []string
	for paragraph := range strings.SplitSeq(s, "\n") {
		line, used := "", 0
		for _, w := range words(paragraph) {
			n := uniseg.StringWidth(w)
			switch {
			case line == "":
				line, used = w, n
			case used+1+n <= width:
				line, used = line+" "+w, used+1+n
			default:
				lines = append(lines, line)
				line, used = w, n
			}
		}
		lines = append(lines, line)
	}
	return lines
}

// words splits s at blanks into the pieces that stay whole: single words, and
// numbers with what belongs to them, as in "23.1 ± 0.5 °C" or "8 x 6 mm".
func words(s string) []string {
	var out []string
	before := "" // the word before, when it may belong to the next one
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }) {
		joins := false
		switch {
		case isOperator(w):
			joins = endsInDigit(before)
		case isOperator(before):
			joins = true
		case isNumber(before):
			joins = !isNumber(w)
		}
		if joins {
			out[len(out)-1] += " " + w
		} else {
			out = append(out, w)
		}
		before = w
		if isOperator(w) && !joins {
			before = "" // a word of its own
		}
	}
	return out
}

// isNumber says whether w is a number that a unit may follow: it begins like
// one and ends in a digit or the bracket of an uncertainty.
func isNumber(w string) bool {
	first, _ := utf8.DecodeRuneInString(strings.TrimLeft(w, "+-−±<>≤≥≈~("))
	return unicode.IsDigit(first) && endsInDigit(w)
}

func endsInDigit(w string) bool {
	last, _ := utf8.DecodeLastRuneInString(strings.TrimRight(w, ")%"))
	return unicode.IsDigit(last)
}

func isOperator(w string) bool {
	switch w {
	case "±", "+-", "+/-", "x", "×", "·", "–", "=", "/":
		return true
	}
	return false
}
