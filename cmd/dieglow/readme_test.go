package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The README's session is run as it stands, each command in a shell, and must
// print what the README says.
func TestReadmeSession(t *testing.T) {
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	block := regexp.MustCompile("(?s)```console\n(.*?)```").FindSubmatch(readme)
	if block == nil {
		t.Fatal("README.md has no console session")
	}
	work := t.TempDir()
	if err := os.CopyFS(filepath.Join(work, "testdata"), os.DirFS("../../testdata")); err != nil {
		t.Fatal(err)
	}
	dir := work
	for _, part := range strings.Split("\n"+string(block[1]), "\n$ ")[1:] {
		command, want, _ := strings.Cut(part, "\n")
		want = strings.TrimSuffix(want, "\n")
		if to, ok := strings.CutPrefix(command, "cd "); ok {
			dir = filepath.Join(dir, to)
			continue
		}
		cmd := exec.Command("sh", "-c", command)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), runsVar+"="+filepath.Join(work, "runs"))
		got, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("$ %s: %v\n%s", command, err, got)
		}
		if g := strings.TrimSuffix(string(got), "\n"); g != want {
			t.Errorf("$ %s\ngot:\n%s\nwant:\n%s", command, g, want)
		}
	}
}
