package main

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// TestLibcIsTheDriversOwn holds modernc.org/libc at the version the SQLite driver
// was generated against: the driver is translated C, and its authors ask for just
// that version (documentation of modernc.org/sqlite, "Fragile modernc.org/libc
// dependency").
func TestLibcIsTheDriversOwn(t *testing.T) {
	list := exec.Command("go", "list", "-m", "-f", "{{.GoMod}}", "modernc.org/sqlite")
	list.Env = append(os.Environ(), "GOFLAGS=-mod=mod", "GOPROXY=off")
	out, err := list.Output()
	if err != nil {
		t.Fatalf("ask go where the driver's go.mod lies: %v", err)
	}
	want := libcVersion(t, strings.TrimSpace(string(out)))
	if got := libcVersion(t, "../../go.mod"); got != want {
		t.Errorf("go.mod has modernc.org/libc %s, and modernc.org/sqlite was made for %s; run go get modernc.org/libc@%s", got, want, want)
	}
}

// libcVersion returns the version of modernc.org/libc a go.mod file requires.
func libcVersion(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	m := regexp.MustCompile(`(?m)^\s*(?:require )?modernc\.org/libc (v\S+)`).FindSubmatch(data)
	if m == nil {
		t.Fatalf("%s does not require modernc.org/libc", path)
	}
	return string(m[1])
}
