package main

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/rogpeppe/go-internal/testscript"

	"dieglow/cmd/dieglow/internal/cli"
	"dieglow/notebook/journal"
	"dieglow/store"
)

// runsVar names the file that counts the runs of the program in a transcript.
const runsVar = "DIEGLOW_TEST_RUNS"

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"dieglow": steadyMain})
}

// steadyMain is main with a clock, ids and salts that follow from the number of
// the run, so that the same transcript gives the same bytes.
func steadyMain() {
	app := cli.System()
	app.Local = time.UTC
	run, err := nextRun(os.Getenv(runsVar))
	if err != nil {
		fmt.Fprintln(os.Stderr, "transcript:", err)
		os.Exit(125)
	}
	app.Source = steadySource(run)
	os.Exit(cli.Main(app, os.Args[1:]))
}

// nextRun counts this run in the file at path, a byte for each.
func nextRun(path string) (int64, error) {
	f, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	if _, err := f.Write([]byte{'.'}); err != nil {
		return 0, err
	}
	info, err := f.Stat()
	return info.Size(), err
}

// steadySource has the first run at 2026-03-01 09:01 UTC and each later one a minute on.
func steadySource(run int64) store.Source {
	now := time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC).Add(time.Duration(run) * time.Minute)
	drawn := 0
	draw := func() [sha256.Size]byte {
		drawn++
		return sha256.Sum256(fmt.Appendf(nil, "run %d, draw %d", run, drawn))
	}
	id := func(version byte) uuid.UUID {
		sum := draw()
		u := uuid.UUID(sum[:16])
		if version == 7 {
			binary.BigEndian.PutUint64(u[:8], uint64(now.UnixMilli())<<16|uint64(drawn))
		}
		u[6] = u[6]&0x0f | version<<4
		u[8] = u[8]&0x3f | 0x80
		return u
	}
	return store.Source{
		Now:   func() time.Time { return now },
		NewV4: func() (uuid.UUID, error) { return id(4), nil },
		NewV7: func() (uuid.UUID, error) { return id(7), nil },
		NewSalt: func() (salt [journal.SaltSize]byte, err error) {
			sum := draw()
			copy(salt[:], sum[:])
			return salt, nil
		},
		Tool: "dieglow (transcript)",
	}
}

var update = flag.Bool("update", false, "write what the transcripts print into them")

// With -short, as under the race detector, which makes the start of a program
// many times slower, only the transcripts that record and read most are run.
func TestTranscripts(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "script")
	var files []string
	if testing.Short() {
		for _, name := range []string{"path_whole", "capture_import", "capture_findings", "frame_emissivity"} {
			files = append(files, filepath.Join(dir, name+".txtar"))
		}
		dir = ""
	}
	testscript.Run(t, testscript.Params{
		Dir: dir, Files: files,
		RequireUniqueNames:  true,
		RequireExplicitExec: true,
		UpdateScripts:       *update,
		Setup:               setUp,
		Condition:           condition,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status":  cmdStatus,
			"refused": cmdRefused,
			"damaged": cmdDamaged,
			"tables":  cmdTables,
			"tabs":    cmdTabs,
		},
	})
}

// damagedKey holds the notebooks of a transcript that are not expected to verify.
type damagedKey struct{}

func setUp(env *testscript.Env) error {
	env.Setenv(runsVar, filepath.Join(env.WorkDir, ".runs"))
	env.Setenv("DIEGLOW_SHARED", os.Getenv("DIEGLOW_SHARED"))
	env.Setenv("NO_COLOR", "1")
	damaged := map[string]bool{}
	env.Values[damagedKey{}] = damaged
	env.Defer(func() {
		if err := verifyAll(env.WorkDir, damaged); err != nil {
			env.T().Fatal(err)
		}
	})
	return nil
}

// verifyAll checks every notebook that a transcript leaves behind.
func verifyAll(dir string, damaged map[string]bool) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		folder := filepath.Dir(path)
		if err != nil || d.IsDir() || d.Name() != store.FileName || damaged[folder] {
			return err
		}
		ctx := context.Background()
		db, err := store.OpenRead(ctx, folder, steadySource(0))
		if err != nil {
			return fmt.Errorf("at the end, %s: %w", folder, err)
		}
		defer db.Close()
		check, err := db.Verify(ctx)
		if err == nil && len(check.Problems) > 0 {
			err = fmt.Errorf("it does not verify: %v", check.Problems)
		}
		if err != nil {
			return fmt.Errorf("at the end, %s: %w", folder, err)
		}
		return nil
	})
}

// condition adds [shared], that DIEGLOW_SHARED names a folder, and [mounts],
// that a process can have mounts of its own.
func condition(name string) (bool, error) {
	switch name {
	case "shared":
		return os.Getenv("DIEGLOW_SHARED") != "", nil
	case "mounts":
		return exec.Command("unshare", "-rm", "sh", "-c", "mount -t tmpfs tmpfs /mnt").Run() == nil, nil
	}
	return false, fmt.Errorf("unknown condition %q", name)
}

// cmdStatus runs a program that is to end with an exit status: status 4 dieglow ...
func cmdStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N program [argument...]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	if got := run(ts, args[1:]); got != want {
		ts.Fatalf("exit status %d, want %d", got, want)
	}
}

func run(ts *testscript.TestScript, args []string) int {
	err := ts.Exec(args[0], args[1:]...)
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode()
	}
	ts.Check(err)
	return 0
}

// cmdRefused is status for what must be refused: nothing on standard output, an
// error with a hint on standard error, and every file in the transcript's folder
// as it was.
func cmdRefused(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: refused N program [argument...]")
	}
	before := snapshot(ts)
	cmdStatus(ts, false, args)
	if args[0] == "0" {
		ts.Fatalf("a refusal does not end with status 0")
	}
	if out := ts.ReadFile("stdout"); out != "" {
		ts.Fatalf("a refusal printed a result:\n%s", out)
	}
	said := ts.ReadFile("stderr")
	asJSON := strings.HasPrefix(said, `{"error":`) && strings.Contains(said, `"hint":"`) && !strings.Contains(said, `"hint":""`)
	if !asJSON && (!strings.Contains(said, "dieglow: error: ") || !strings.Contains(said, "dieglow: hint: ")) {
		ts.Fatalf("a refusal says what was wrong and what to type instead; this one says:\n%s", said)
	}
	after := snapshot(ts)
	for path, was := range before {
		if is, there := after[path]; !there {
			ts.Fatalf("%s is gone", path)
		} else if is != was {
			ts.Fatalf("%s has changed", path)
		}
	}
	for path := range after {
		if _, there := before[path]; !there {
			ts.Fatalf("%s was left behind", path)
		}
	}
}

// snapshot returns the mode and hash of everything in the transcript's folder
// but the count of runs.
func snapshot(ts *testscript.TestScript) map[string]string {
	work := ts.Getenv("WORK")
	seen := map[string]string{}
	ts.Check(filepath.WalkDir(work, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == ts.Getenv(runsVar) {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		seen[path] = info.Mode().String()
		if info.Mode().IsRegular() {
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			seen[path] += fmt.Sprintf(" %x", sha256.Sum256(data))
		}
		return nil
	}))
	return seen
}

// cmdDamaged says that a notebook is not expected to verify: damaged DIR
func cmdDamaged(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: damaged DIR")
	}
	ts.Value(damagedKey{}).(map[string]bool)[ts.MkAbs(args[0])] = true
}

// cmdTables checks that every row of every table in a Markdown file has as many
// cells as the header of its table: tables FILE
func cmdTables(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: tables FILE")
	}
	cells, found := 0, false
	for i, line := range strings.Split(ts.ReadFile(args[0]), "\n") {
		if !strings.HasPrefix(line, "|") {
			cells = 0
			continue
		}
		n := strings.Count(strings.ReplaceAll(strings.ReplaceAll(line, `\\`, ""), `\|`, ""), "|")
		if cells == 0 {
			cells, found = n, true
		}
		if n != cells || !strings.HasSuffix(line, "|") {
			ts.Fatalf("%s, line %d: %d cell borders where the header has %d:\n%s", args[0], i+1, n, cells, line)
		}
	}
	if !found {
		ts.Fatalf("%s holds no table", args[0])
	}
}

// cmdTabs checks that a file has so many lines, each with as many tabs as the
// first: tabs FILE LINES
func cmdTabs(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: tabs FILE LINES")
	}
	lines := strings.Split(strings.TrimSuffix(ts.ReadFile(args[0]), "\n"), "\n")
	if fmt.Sprint(len(lines)) != args[1] {
		ts.Fatalf("%d lines, want %s", len(lines), args[1])
	}
	for i, line := range lines {
		if got, want := strings.Count(line, "\t"), strings.Count(lines[0], "\t"); got != want {
			ts.Fatalf("line %d has %d tabs, the first has %d", i+1, got, want)
		}
	}
}
