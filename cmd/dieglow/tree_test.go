package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"dieglow/cmd/dieglow/internal/cli"
)

// helpOf returns what the program prints for a command line.
func helpOf(t *testing.T, words ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	app := &cli.App{In: strings.NewReader(""), Out: &out, Err: &errs, Env: func(string) string { return "" }, Source: steadySource(1)}
	if status := cli.Main(app, append(slices.Clone(words), "--help")); status != 0 || errs.Len() > 0 {
		t.Fatalf("dieglow %s --help ends with %d and says %q", strings.Join(words, " "), status, errs.String())
	}
	return out.String()
}

// commandLine matches a line of a list of commands: the name, and what it is for.
func commandLine() *regexp.Regexp { return regexp.MustCompile(`^  ([a-z][a-z0-9-]*) {2,}(\S.*)$`) }

// children returns the commands a help text lists.
func children(t *testing.T, help string) []string {
	t.Helper()
	_, list, _ := strings.Cut(help, "\nUsage:")
	if _, rest, ok := strings.Cut(list, "\nExamples:"); ok { // an example is not a command
		_, list, _ = strings.Cut(rest, "\n\n")
	}
	list, _, _ = strings.Cut(list, "\nFlags:")
	var names []string
	for _, line := range strings.Split(list, "\n") {
		if m := commandLine().FindStringSubmatch(line); m != nil && m[1] != "help" {
			names = append(names, m[1])
		}
	}
	return names
}

// walk calls visit with every command of the tree and its help.
func walk(t *testing.T, words []string, visit func(words []string, help string, leaf bool)) {
	t.Helper()
	help := helpOf(t, words...)
	below := children(t, help)
	visit(words, help, len(below) == 0)
	for _, name := range below {
		walk(t, append(slices.Clone(words), name), visit)
	}
}

// TestEveryCommandHasHelpWithAnExample walks the tree: each command says what it
// is for and shows an example, and each example names a command there is, with
// flags it has.
func TestEveryCommandHasHelpWithAnExample(t *testing.T) {
	helps := map[string]string{}
	leaves := 0
	walk(t, nil, func(words []string, help string, leaf bool) {
		name := strings.Join(append([]string{"dieglow"}, words...), " ")
		helps[name] = help
		if leaf {
			leaves++
		}
		if first, _, _ := strings.Cut(help, "\n"); strings.TrimSpace(first) == "" {
			t.Errorf("%s --help does not begin with what it is for", name)
		}
		if !strings.Contains(help, "\nExamples:\n") {
			t.Errorf("%s --help shows no example", name)
		}
	})
	if leaves < 40 {
		t.Errorf("found %d commands without commands of their own; the walk has lost some", leaves)
	}
	for name, help := range helps {
		for _, line := range examples(help) {
			checkExample(t, name, line, helps)
		}
	}
}

// examples returns the command lines of a help text's examples.
func examples(help string) []string {
	_, text, _ := strings.Cut(help, "\nExamples:\n")
	text, _, _ = strings.Cut(text, "\n\n")
	var lines []string
	for _, line := range strings.Split(strings.ReplaceAll(text, "\\\n", " "), "\n") {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	return lines
}

func checkExample(t *testing.T, of, line string, helps map[string]string) {
	t.Helper()
	words := strings.Fields(line)
	if words[0] != "dieglow" {
		return // the output of a command, or another program's line
	}
	command := "dieglow"
	for _, word := range words[1:] {
		if _, ok := helps[command+" "+word]; !ok {
			break
		}
		command += " " + word
	}
	if command == "dieglow" {
		t.Errorf("%s --help: the example %q names no command", of, line)
	}
	if !strings.HasPrefix(command, of) {
		t.Errorf("%s --help: the example %q is of another command", of, line)
	}
	for _, word := range words {
		flag, _, _ := strings.Cut(word, "=")
		if strings.HasPrefix(flag, "--") && !regexp.MustCompile(regexp.QuoteMeta(flag)+`(\s|$)`).MatchString(helps[command]) {
			t.Errorf("%s --help: the example %q uses %s, which %s does not have", of, line, flag, command)
		}
	}
}

// TestReadingCommandsPrintJSON runs every command that reads on the invented
// notebook: JSON that stands alone, with snake_case keys, the same twice.
func TestReadingCommandsPrintJSON(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and run without -short")
	}
	dir := filepath.Join(t.TempDir(), "demo")
	printed := func(words ...string) []byte {
		t.Helper()
		var out, errs bytes.Buffer
		app := &cli.App{In: strings.NewReader(""), Out: &out, Err: &errs, Env: func(string) string { return "" }, Source: steadySource(1)}
		if status := cli.Main(app, words); status != 0 {
			t.Fatalf("dieglow %s ends with %d: %s", strings.Join(words, " "), status, errs.String())
		}
		return out.Bytes()
	}
	printed("demo", dir)
	for _, line := range []string{
		"material list", "material show germanium", "lens list", "lens show ge25", "camera list", "camera show cam-a", "artefact list", "artefact show wire-50",
		"instrument list", "instrument show dmm", "setup list", "setup show close", "setup show close --explain", "setup show close --exact", "setup plan --camera cam-a --resolve 50um --field 3mm --budget 120EUR", "project list", "project show kestrel",
		"specimen list", "specimen show drv-1", "specimen prepare drv-1 --step clean --look", "capture list", "capture show capture-5", "outcome list", "outcome show outcome-1", "expense list",
		"find setups --resolved 50um", "find setups --predicted 50um", "find captures", "find specimens", "find losses", "find gaps",
		"report setup close", "report specimen drv-1", "report capture capture-5", "report project kestrel", "report losses", "report resolved 50um",
		"specimen headroom drv-1 --to 1W", "capture recompute finding-2", "capture recompute finding-9", "capture recompute finding-10", "capture recompute finding-12", "calc spread --shape disk --size 50um --conductivity 148",
		"calc diffusion --diffusivity 0.88cm2/s --frequency 1Hz", "trail capture-6", "trail lens-1", "trail outcome-1", "verify", "calc index --material germanium --wavelength 10um", "calc lens --index 4 --r1 50mm --r2 plane --thickness 2mm",
	} {
		words := append(strings.Fields(line), "--json", "--notebook", dir)
		first := printed(words...)
		var v any
		if err := json.Unmarshal(first, &v); err != nil {
			t.Errorf("dieglow %s --json: %v", line, err)
		}
		if bad := badKeys(v); len(bad) > 0 {
			t.Errorf("dieglow %s --json has keys that are not snake_case: %q", line, bad)
		}
		if !bytes.Equal(first, printed(words...)) {
			t.Errorf("dieglow %s --json prints something else the second time", line)
		}
	}
}

// badKeys returns the keys anywhere in v that are not snake_case.
func badKeys(v any) []string {
	var bad []string
	switch v := v.(type) {
	case map[string]any:
		for key, child := range v {
			if !regexp.MustCompile(`^[a-z][a-z0-9_]*$`).MatchString(key) {
				bad = append(bad, key)
			}
			bad = append(bad, badKeys(child)...)
		}
	case []any:
		for _, child := range v {
			bad = append(bad, badKeys(child)...)
		}
	}
	slices.Sort(bad)
	return slices.Compact(bad)
}
