package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "dieglow"

// room is a folder with Go files, and what it may import.
type room struct {
	ours    []string // of this module; "x/..." is x and all below it
	outside []string // of other modules, by the beginning of the path
	why     string   // the reason, printed with a breach
}

// rooms lists every folder of the module that holds, or is planned to hold, Go files.
func rooms() map[string]room {
	const pure = "numbers must be testable and reusable without a database, a terminal or a command line"
	return map[string]room{
		"catalog/fault":    {why: "the error leaf is imported by everything, so it imports nothing"},
		"catalog/quantity": {ours: []string{"catalog/fault"}, outside: []string{"golang.org/x/text/"}, why: pure},
		"catalog/material": {ours: []string{"catalog/fault", "catalog/quantity"}, outside: []string{"gonum.org/"}, why: pure},
		"catalog/optics":   {ours: []string{"catalog/fault", "catalog/quantity", "catalog/material"}, outside: []string{"gonum.org/"}, why: pure},
		"catalog/drawing": {ours: []string{"catalog/fault", "catalog/quantity", "catalog/optics"}, outside: []string{"gonum.org/v1/plot", "golang.org/x/image/font"},
			why: "a drawing is made from what the optics computed alone, whoever asks for it"},
		"catalog/optics/plan": {ours: []string{"catalog/fault", "catalog/optics"}, why: pure},
		"catalog":             {ours: []string{"catalog/..."}, why: "what the bench owns knows its own leaves and not what is done with it, stored or shown"},

		"notebook/frame":         {ours: []string{"catalog/fault", "catalog/quantity"}, outside: []string{"golang.org/x/image/tiff/lzw"}, why: pure},
		"notebook/frame/picture": {ours: []string{"catalog/fault", "catalog/quantity", "notebook/frame"}, outside: []string{"golang.org/x/image/"}, why: "a picture is drawn from a frame alone"},
		"notebook/journal":       {ours: []string{"catalog/fault"}, outside: []string{"github.com/gowebpki/jcs"}, why: "the chain must be checkable without the database that holds it"},
		"notebook/uncertainty":   {ours: []string{"catalog/fault", "catalog/quantity"}, outside: []string{"gonum.org/"}, why: pure},
		"notebook/radiometry":    {ours: []string{"catalog/fault", "catalog/quantity", "notebook/uncertainty"}, outside: []string{"gonum.org/"}, why: pure},
		"notebook/heat":          {ours: []string{"catalog/fault", "catalog/quantity", "notebook/uncertainty", "notebook/frame"}, outside: []string{"gonum.org/"}, why: pure},
		"notebook/heat/lockin":   {ours: []string{"catalog/fault", "notebook/frame"}, outside: []string{"gonum.org/"}, why: pure},
		"notebook/heat/powermap": {ours: []string{"catalog/fault", "catalog/quantity", "notebook/frame"}, outside: []string{"gonum.org/"}, why: pure},
		"notebook/heat/model":    {ours: []string{"catalog/fault", "catalog/quantity", "notebook/frame", "notebook/radiometry"}, outside: []string{"gonum.org/"}, why: pure + "; a model is laid on a frame as two frames are on each other"},
		"notebook/sharpness":     {ours: []string{"catalog/fault", "catalog/quantity", "notebook/uncertainty", "notebook/frame"}, outside: []string{"gonum.org/"}, why: pure},
		"notebook/hotspot":       {ours: []string{"catalog/fault", "catalog/quantity", "notebook/frame", "notebook/radiometry"}, outside: []string{"gonum.org/"}, why: pure + "; whether two frames have moved is for radiometry to say"},
		"notebook/chart":         {ours: []string{"catalog/fault"}, outside: []string{"gonum.org/v1/plot"}, why: "a chart is drawn from numbers alone, whatever they are of"},
		"notebook/temperature":   {ours: []string{"catalog/fault", "catalog/quantity", "notebook/frame", "notebook/radiometry", "notebook/uncertainty"}, why: pure},
		"notebook": {ours: []string{"catalog/...", "notebook/frame", "notebook/journal", "notebook/temperature"},
			why: "what was done knows the catalogue and the leaves; nothing here knows how it is stored or shown"},
		"notebook/report": {ours: []string{"catalog/...", "notebook", "notebook/frame", "notebook/journal", "notebook/temperature"},
			why: "a report is made from the records handed to it, so that it can be made from any of them; it opens no database"},

		"notebook/bundle": {ours: []string{"catalog/...", "notebook", "notebook/journal"},
			why: "what leaves and enters the notebook is handed records and files; it opens no database"},

		"migrations":  {why: "the scripts are read by the store and know nothing"},
		"store/files": {ours: []string{"catalog/fault"}, why: "raw files are kept by their hash alone"},
		"store": {ours: []string{"catalog/...", "notebook", "notebook/journal", "migrations", "store/files"},
			outside: []string{"modernc.org/sqlite", "github.com/google/uuid", "github.com/gowebpki/jcs"},
			why:     "the store knows what it keeps, and neither how it is shown nor who asked"},

		"cmd/dieglow/internal/term": {ours: []string{"catalog/fault"},
			outside: []string{"github.com/charmbracelet/", "github.com/muesli/", "github.com/rivo/uniseg", "github.com/yuin/goldmark", "golang.org/x/term"},
			why:     "what only a terminal needs knows no domain, so that any result can be shown with it"},
		"cmd/dieglow/internal/demo": {why: "the scenario is commands as typed and frames made from closed forms; it must not reach around the command line"},
		"cmd/dieglow/internal/cli": {ours: []string{"catalog/...", "notebook/...", "store/...", "cmd/dieglow/internal/term", "cmd/dieglow/internal/demo"},
			outside: []string{"github.com/spf13/", "github.com/google/uuid"},
			why:     "the command tree wires the rooms and holds neither arithmetic nor SQL"},
		"cmd/dieglow": {ours: []string{"cmd/dieglow/internal/cli"}, why: "main is a few lines"},
	}
}

// only names what a single room may import, whatever else the rooms allow.
func only() []struct{ path, room, why string } {
	const offline = "the program does not use the network"
	return []struct{ path, room, why string }{
		{"database/sql", "store", "the store is the only way to the records"},
		{"modernc.org/sqlite/...", "store", "the store is the only room that knows the database"},
		{"github.com/charmbracelet/glamour/...", "cmd/dieglow/internal/term", "glamour is slow to start and belongs to the terminal alone"},
		{"github.com/spf13/cobra/...", "cmd/dieglow/internal/cli", "the command tree is the only room that knows the command line"},
		{"net/http/...", "", offline},
		{"net", "", offline},
		{"os/exec", "", "nothing here runs other programs"},
		{"unsafe", "", "nothing here needs it"},
		{"math/rand", "", "use math/rand/v2 with a seed"},
	}
}

// source is one Go file that is not a test.
type source struct {
	path string
	room string
	file *ast.File
}

// sources parses every Go file of the module but the tests.
func sources(t *testing.T) []source {
	t.Helper()
	root := filepath.Join("..", "..")
	var all []source
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := d.Name()
		if d.IsDir() && (name == "testdata" || len(name) > 2 && name[0] == '.') {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return nil
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		all = append(all, source{filepath.ToSlash(rel), filepath.ToSlash(filepath.Dir(rel)), file})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func (s source) imports(t *testing.T) []string {
	t.Helper()
	var paths []string
	for _, spec := range s.file.Imports {
		path, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			t.Fatal(err)
		}
		paths = append(paths, path)
	}
	return paths
}

// TestWhoMayImportWhom holds the shape of the house. Each room names what it may
// import; since every room does, what a room reaches through others is held too.
func TestWhoMayImportWhom(t *testing.T) {
	rooms := rooms()
	for _, s := range sources(t) {
		rule, known := rooms[s.room]
		if !known {
			t.Errorf("%s: the room %s has no rule; add one with its reason", s.path, s.room)
			continue
		}
		for _, path := range s.imports(t) {
			if !rule.allows(path) {
				t.Errorf("%s imports %s, which %s may not: %s", s.path, path, s.room, rule.why)
			}
			for _, o := range only() {
				if matches(path, o.path) && s.room != o.room {
					t.Errorf("%s imports %s: %s", s.path, path, o.why)
				}
			}
		}
	}
}

func (r room) allows(path string) bool {
	if ours, ok := strings.CutPrefix(path, module+"/"); ok {
		return slices.ContainsFunc(r.ours, func(allowed string) bool { return matches(ours, allowed) })
	}
	first, _, _ := strings.Cut(path, "/")
	if !strings.Contains(first, ".") {
		return true // the standard library
	}
	return slices.ContainsFunc(r.outside, func(allowed string) bool { return strings.HasPrefix(path, allowed) })
}

// matches reports whether path is what pattern names: "x" is x alone, "x/..." is
// x and all below it.
func matches(path, pattern string) bool {
	parent, all := strings.CutSuffix(pattern, "/...")
	return path == parent || all && strings.HasPrefix(path, parent+"/")
}

// TestRulesCatchABreach shows that the rules are not empty: each of these imports
// would be one.
func TestRulesCatchABreach(t *testing.T) {
	rooms := rooms()
	for _, b := range []struct{ room, path string }{
		{"catalog/optics", "dieglow/store"}, {"catalog/optics", "github.com/spf13/cobra"}, {"catalog", "dieglow/notebook"},
		{"notebook", "dieglow/store"}, {"notebook/report", "dieglow/store"}, {"notebook/report", "github.com/charmbracelet/glamour"},
		{"notebook/journal", "modernc.org/sqlite"}, {"store", "dieglow/cmd/dieglow/internal/cli"}, {"store", "dieglow/notebook/report"},
		{"cmd/dieglow/internal/term", "dieglow/catalog"}, {"cmd/dieglow/internal/cli", "modernc.org/sqlite"}, {"catalog/fault", "dieglow/catalog/quantity"},
	} {
		if rooms[b.room].allows(b.path) {
			t.Errorf("%s may import %s, and should not", b.room, b.path)
		}
	}
}

// TestRoomsHaveTelltaleNames refuses rooms named after nothing.
func TestRoomsHaveTelltaleNames(t *testing.T) {
	for _, s := range sources(t) {
		for _, part := range strings.Split(s.room, "/") {
			if slices.Contains([]string{"util", "utils", "common", "helper", "helpers", "misc", "shared", "base", "lib"}, part) {
				t.Errorf("%s: a room named %q says nothing about what it holds", s.path, part)
			}
		}
		if name := s.file.Name.Name; slices.Contains([]string{"util", "utils", "common", "helper", "helpers", "misc"}, name) {
			t.Errorf("%s: package %s says nothing about what it holds", s.path, name)
		}
	}
}

// fixed are the package-level variables that stand for constants Go has no word
// for: nothing assigns to them after the program has started.
func fixed() []string {
	return []string{
		"cmd/dieglow/internal/term/markdown.go numericEntity",    // a compiled expression
		"cmd/dieglow/internal/term/markdown.go graphicRendition", // a compiled expression
		"migrations/migrations.go scripts",                       // embedded files
		"notebook/frame/decimal.go pow10",                        // a table of powers of ten
		"notebook/frame/open.go foreign",                         // a table of file marks
		"notebook/frame/open.go known",                           // a table of file marks
		"notebook/frame/stack.go errEnd",                         // a sentinel error
		"notebook/frame/text.go spreadsheetErrors",               // a table of words
		"store/dsn.go errWAL",                                    // a sentinel error
		"store/verify.go errStop",                                // a sentinel error
	}
}

// TestNothingHappensAtStart refuses init functions and package-level variables:
// work before main cannot be tested or refused, and shared state outlives a test.
func TestNothingHappensAtStart(t *testing.T) {
	allowed, met := fixed(), map[string]bool{}
	for _, s := range sources(t) {
		assigned := assignments(s.file)
		for _, decl := range s.file.Decls {
			switch d := decl.(type) {
			case *ast.FuncDecl:
				if d.Recv == nil && d.Name.Name == "init" {
					t.Errorf("%s has an init function; do the work where it is asked for", s.path)
				}
			case *ast.GenDecl:
				for _, name := range variables(d) {
					id := s.path + " " + name
					met[id] = true
					if !slices.Contains(allowed, id) {
						t.Errorf("%s: package-level variable %s; hand the value to who needs it, or list it with why it is fixed", s.path, name)
					}
					if assigned[name] {
						t.Errorf("%s assigns to the package-level variable %s, which is held to be fixed", s.path, name)
					}
				}
			}
		}
	}
	for _, id := range allowed {
		if !met[id] {
			t.Errorf("%q is listed as fixed and is not there", id)
		}
	}
}

// variables returns the names a declaration gives to variables, "_" aside.
func variables(d *ast.GenDecl) []string {
	var names []string
	if d.Tok != token.VAR {
		return nil
	}
	for _, spec := range d.Specs {
		for _, name := range spec.(*ast.ValueSpec).Names {
			if name.Name != "_" {
				names = append(names, name.Name)
			}
		}
	}
	return names
}

// assignments returns the names on the left of a plain assignment in a file,
// those of elements and fields too.
func assignments(file *ast.File) map[string]bool {
	names := map[string]bool{}
	note := func(e ast.Expr) {
		for {
			switch x := e.(type) {
			case *ast.IndexExpr:
				e = x.X
			case *ast.SelectorExpr:
				e = x.X
			case *ast.Ident:
				names[x.Name] = true
				return
			default:
				return
			}
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.AssignStmt:
			if n.Tok != token.DEFINE {
				for _, e := range n.Lhs {
					note(e)
				}
			}
		case *ast.IncDecStmt:
			note(n.X)
		}
		return true
	})
	return names
}
