package cli

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"dieglow/catalog/fault"
	"dieglow/store"
)

func newCaptureImport(app *App) *cobra.Command {
	return &cobra.Command{
		Use:   "import TABLE",
		Short: "Record a table of captures, all of them or none",
		Long: `TABLE is tab-separated text, one capture a line. Its first line names the columns
by the flags of capture add, without the dashes: specimen, setup, power, ambient,
when, file, unit and so on. An empty cell is a condition not recorded. Where a
flag may be repeated, values are separated by semicolons. File names start from
the folder of the table.`,
		Example: "  dieglow capture import captures.tsv",
		Args:    args("the table's file name"),
		RunE:    func(cmd *cobra.Command, args []string) error { return app.importCaptures(cmd, args[0]) },
	}
}

// imported is what capture import gives as JSON.
type imported struct {
	Captures int    `json:"captures"`
	First    string `json:"first"`
	Last     string `json:"last"`
	WithGaps int    `json:"with_gaps"` // captures with conditions not recorded
	Warnings int    `json:"warnings"`
}

func (app *App) importCaptures(cmd *cobra.Command, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return fault.NotFoundf("the table cannot be opened").Because(err).WithHint("name a tab-separated file")
	}
	defer f.Close()
	rows, err := newCaptureTable(f, newCaptureAdd(app))
	if err != nil {
		return err
	}
	var out imported
	err = app.updateAs(cmd.Context(), func(tx *store.Tx, who string) error {
		desk := newCaptureDesk(tx, who)
		desk.dir = filepath.Dir(path)
		in := app.input(cmd)
		in.prefix, in.given, in.lists = "column ", rows.cell, rows.cells
		for {
			more, err := rows.next()
			if err != nil || !more {
				return err
			}
			if err := out.take(desk, in); err != nil {
				return rows.at(err)
			}
		}
	})
	if err != nil {
		return err
	}
	if out.WithGaps > 0 {
		app.notef("%s with conditions not recorded; dieglow find gaps lists them", counted(out.WithGaps, "capture"))
	}
	if out.Warnings > 0 {
		app.notef("warning: %s about limits, calibrations or parts", counted(out.Warnings, "remark"))
	}
	return app.emit(out, func() error {
		_, err := fmt.Fprintf(app.Out, "recorded %s, %s to %s\n", counted(out.Captures, "capture"), out.First, out.Last)
		return err
	})
}

// take records one line of the table.
func (out *imported) take(desk *captureDesk, in *input) error {
	c, at, err := desk.read(in)
	if err != nil {
		return err
	}
	r, err := store.Add(desk.tx, c, at)
	if err != nil {
		return err
	}
	warnings, err := desk.warnings(c)
	if out.Captures == 0 {
		out.First = r.Handle
	}
	out.Captures++
	out.Last = r.Handle
	out.Warnings += len(warnings)
	if len(c.Missing()) > 0 {
		out.WithGaps++
	}
	return err
}

// captureTable reads the lines of a table of captures.
type captureTable struct {
	lines   *csv.Reader
	columns map[string]int
	line    int
	cellsOf []string
}

func newCaptureTable(r io.Reader, add *cobra.Command) (*captureTable, error) {
	lines := csv.NewReader(r)
	lines.Comma, lines.LazyQuotes, lines.ReuseRecord = '\t', true, true
	t := &captureTable{lines: lines, columns: map[string]int{}, line: 1}
	head, err := lines.Read()
	if errors.Is(err, io.EOF) {
		return nil, fault.Invalidf("the table is empty").WithHint("its first line names the columns, for example specimen, setup and power, with tabs between")
	}
	if err != nil {
		return nil, t.at(err)
	}
	for i, name := range head {
		name = strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))
		if f := add.Flags().Lookup(name); f == nil || name == "help" {
			return nil, fault.Invalidf("the table has a column %q, which capture add does not know", name).WithHint("dieglow capture add --help lists the flags; the columns are separated by tabs")
		}
		if _, twice := t.columns[name]; twice {
			return nil, fault.Invalidf("the table has two columns %q", name).WithHint("separate the values of a repeated flag by semicolons in one cell")
		}
		t.columns[name] = i
	}
	lines.FieldsPerRecord = len(head)
	return t, nil
}

func (t *captureTable) next() (bool, error) {
	cells, err := t.lines.Read()
	t.line++
	if errors.Is(err, io.EOF) {
		return false, nil
	}
	t.cellsOf = cells
	return err == nil, t.at(err)
}

// at says in which line of the table an error arose.
func (t *captureTable) at(err error) error {
	if err == nil {
		return nil
	}
	e := &fault.Error{Kind: fault.KindOf(err), Msg: fmt.Sprintf("line %d of the table; nothing was recorded", t.line)}
	if syntax := (*csv.ParseError)(nil); errors.As(err, &syntax) {
		e.Kind = fault.Invalid
		e.Hint = fmt.Sprintf("each line has %s with tabs between, as the first line names them; leave a cell empty for what was not recorded", counted(len(t.columns), "cell"))
		err = syntax.Err
	}
	return e.Because(err)
}

// cell returns the text of a column, if it is there and not empty.
func (t *captureTable) cell(column string) (string, bool) {
	i, ok := t.columns[column]
	if !ok {
		return "", false
	}
	s := strings.TrimSpace(t.cellsOf[i])
	return s, s != ""
}

// cells returns the values of a column that may hold several.
func (t *captureTable) cells(column string) ([]string, bool) {
	s, ok := t.cell(column)
	if !ok {
		return nil, false
	}
	parts := strings.Split(s, ";")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return slices.DeleteFunc(parts, func(p string) bool { return p == "" }), true
}
