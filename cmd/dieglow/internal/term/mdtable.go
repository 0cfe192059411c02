package term

import (
	"fmt"
	"html"
	"slices"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	extast "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

// cutTables takes the tables that stand by themselves, not in a list or a
// quotation, out of the Markdown source and leaves a paragraph with the number
// of the table, between marks, in the place of each.
func cutTables(source string) (string, []Table) {
	src := []byte(source)
	doc := goldmark.New(goldmark.WithExtensions(extension.GFM)).Parser().Parse(text.NewReader(src))
	type cut struct{ from, to int }
	var cuts []cut
	var tables []Table
	for n := doc.FirstChild(); n != nil; n = n.NextSibling() {
		node, ok := n.(*extast.Table)
		if !ok {
			continue
		}
		from, ok := rowStart(node.FirstChild())
		if !ok {
			continue
		}
		table, err := readTable(node, src).clean()
		if err != nil {
			continue
		}
		// The table ends with its last row, or with the line of dashes.
		to := lineEnd(src, lineEnd(src, from))
		if last, ok := rowStart(node.LastChild()); ok && last > from {
			to = max(to, lineEnd(src, last))
		}
		cuts = append(cuts, cut{lineStart(src, from), to})
		tables = append(tables, table)
	}
	for i, c := range slices.Backward(cuts) {
		mark := fmt.Sprintf("\n\n%c%d%c\n\n", tableMark, i, tableMark)
		src = slices.Replace(src, c.from, c.to, []byte(mark)...)
	}
	return string(src), tables
}

// rowStart returns where the first cell of a row is in the source.
func rowStart(row ast.Node) (int, bool) {
	if row == nil || row.FirstChild() == nil || row.FirstChild().Lines().Len() == 0 {
		return 0, false
	}
	return row.FirstChild().Lines().At(0).Start, true
}

func lineStart(src []byte, at int) int {
	for at > 0 && src[at-1] != '\n' {
		at--
	}
	return at
}

// lineEnd returns the position after the newline that ends the line of at.
func lineEnd(src []byte, at int) int {
	for at < len(src) && src[at] != '\n' {
		at++
	}
	return min(at+1, len(src))
}

func readTable(node *extast.Table, src []byte) Table {
	var t Table
	for row := node.FirstChild(); row != nil; row = row.NextSibling() {
		var cells []string
		for cell := row.FirstChild(); cell != nil; cell = cell.NextSibling() {
			var b strings.Builder
			inlineText(&b, cell, src)
			cells = append(cells, strings.TrimSpace(b.String()))
		}
		if row.Kind() != extast.KindTableHeader {
			t.Rows = append(t.Rows, cells)
			continue
		}
		for i, c := range cells {
			col := Column{Header: c}
			if i < len(node.Alignments) && node.Alignments[i] == extast.AlignRight {
				col.Align = Right
			}
			t.Columns = append(t.Columns, col)
		}
	}
	return t
}

// inlineText writes what a reader sees of the content of n, without its markup.
func inlineText(b *strings.Builder, n ast.Node, src []byte) {
	for c := n.FirstChild(); c != nil; c = c.NextSibling() {
		switch c := c.(type) {
		case *ast.Text:
			b.WriteString(html.UnescapeString(string(util.UnescapePunctuations(c.Segment.Value(src)))))
		case *ast.CodeSpan:
			for s := c.FirstChild(); s != nil; s = s.NextSibling() {
				if t, ok := s.(*ast.Text); ok {
					b.Write(t.Segment.Value(src))
				}
			}
		case *ast.AutoLink:
			b.Write(c.Label(src))
		case *ast.RawHTML:
			if tag := string(c.Segments.Value(src)); strings.HasPrefix(strings.ToLower(tag), "<br") {
				b.WriteByte('\n')
			}
		case *ast.Link:
			var label strings.Builder
			inlineText(&label, c, src)
			b.WriteString(label.String())
			if to := string(c.Destination); to != label.String() {
				b.WriteString(" (" + to + ")")
			}
		default:
			inlineText(b, c, src)
		}
	}
}
