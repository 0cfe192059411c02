package store

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"dieglow/notebook"
	"dieglow/notebook/journal"
)

// The child of the tests below records captures with a raw file each and says
// after each commit how many it has done.
const (
	childDir   = "DIEGLOW_TEST_APPEND_DIR"
	childCount = "DIEGLOW_TEST_APPEND_COUNT"
)

func TestAppendChild(t *testing.T) {
	dir := os.Getenv(childDir)
	if dir == "" {
		t.Skip("only as a child of the kill tests")
	}
	runtime.LockOSThread() // strace counts the calls of each thread by itself
	var count int
	if _, err := fmt.Sscan(os.Getenv(childCount), &count); err != nil {
		t.Fatal(err)
	}
	db, err := OpenWrite(t.Context(), dir, testSource())
	for i := 0; err == nil && i < count; i++ {
		if err = appendOne(db, fmt.Sprintf("frame %d of process %d", i, os.Getpid())); err == nil {
			fmt.Printf("acknowledged %d.\n", i+1)
		}
	}
	if err != nil {
		fmt.Println("child:", err)
		os.Exit(3)
	}
	os.Exit(0)
}

// appendOne stores a raw file and records one entry that vouches for it.
func appendOne(db *DB, content string) error {
	ctx := context.Background()
	ref, err := db.Files().Put(ctx, strings.NewReader(content))
	if err != nil {
		return err
	}
	return db.Update(ctx, "R. Tester", func(tx *Tx) error {
		c := notebook.Capture{
			Purpose: notebook.Check, Attachments: []notebook.Attachment{{Name: "a", SHA256: ref.SHA256, Size: ref.Size}},
		}
		artefact, err := tx.GetRaw("artefact-1")
		if err != nil {
			return err
		}
		setup, err := tx.GetRaw("setup-1")
		if err != nil {
			return err
		}
		c.Artefact, c.Setup = &artefact.Ref, setup.Ref
		_, err = Add(tx, c, Placement{Files: []journal.File{{SHA256: ref.SHA256, Size: ref.Size}}})
		return err
	})
}

// child starts the child, under the command before it if any.
func child(dir string, count int, before ...string) *exec.Cmd {
	args := append(before, os.Args[0], "-test.run=^TestAppendChild$")
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Env = append(os.Environ(), childDir+"="+dir, fmt.Sprint(childCount, "=", count), "GOMAXPROCS=1", "GOCOVERDIR="+os.TempDir())
	return cmd
}

// acknowledged reads the last number the child said; a line cut short does not count.
func acknowledged(out []byte) (n int64) {
	for line := range bytes.Lines(out) {
		if bytes.HasSuffix(line, []byte(".\n")) {
			_, _ = fmt.Sscanf(string(line), "acknowledged %d.", &n)
		}
	}
	return n
}

// afterKill opens and verifies the notebook. All acknowledged entries are there,
// and at most one that the kill kept from being acknowledged.
func afterKill(t *testing.T, dir, how string, before, acked int64) (found int64) {
	t.Helper()
	db, err := OpenRead(t.Context(), dir, testSource())
	if err != nil {
		t.Fatalf("%s: %v", how, err)
	}
	defer db.Close()
	c, err := db.Verify(t.Context())
	if err != nil {
		t.Fatalf("%s: %v", how, err)
	}
	found = c.Entries - before
	if len(c.Problems) > 0 || found < acked || found > acked+1 {
		t.Errorf("%s: %d acknowledged, %d found, problems %v", how, acked, found, c.Problems)
	}
	return found
}

// worldOf makes a notebook with one of everything, closed.
func worldOf(t *testing.T) (dir string, entries int64) {
	t.Helper()
	db, dir := newNotebook(t)
	newWorld(t, db, 1)
	c := mustVerify(t, db)
	db.Close()
	return dir, c.Entries
}

func TestKilledAtRandom(t *testing.T) {
	t.Parallel()
	dir, entries := worldOf(t)
	rounds := 12
	if testing.Short() {
		rounds = 3
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for round := range rounds {
		cmd := child(dir, 1<<30)
		pipe, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		for lines := bufio.NewReader(pipe); ; {
			line, err := lines.ReadBytes('\n')
			if out.Len() == 0 { // it is at work
				time.AfterFunc(time.Duration(rng.IntN(40000))*time.Microsecond, func() { _ = cmd.Process.Kill() })
			}
			out.Write(line)
			if err != nil {
				break
			}
		}
		_ = cmd.Wait()
		acked := acknowledged(out.Bytes())
		if acked == 0 {
			t.Fatalf("the child did nothing: %s", out.Bytes())
		}
		entries += afterKill(t, dir, fmt.Sprintf("round %d", round), entries, acked)
	}
	t.Logf("%d entries after %d kills", entries, rounds)
}

// outside returns the path of a program the test cannot do without.
func outside(t *testing.T, program string) string {
	t.Helper()
	if os.Getenv("DIEGLOW_OUTSIDE") != "1" {
		t.Skipf("needs %s; set DIEGLOW_OUTSIDE=1 to run it", program)
	}
	path, err := exec.LookPath(program)
	if err != nil {
		t.Fatalf("DIEGLOW_OUTSIDE=1, and there is no %s: %v", program, err)
	}
	return path
}

// strace returns a command line that injects into the n-th call of a program's
// main thread that writes something that has to last.
func strace(path, calls, what string, n int) []string {
	return []string{path, "-f", "-qq", "-o", os.DevNull, "-e", "trace=" + calls, "-e", fmt.Sprintf("inject=%s:%s:when=%d", calls, what, n)}
}

// TestKilledAtEveryCall kills the child at its first, second, third ... call that
// changes something on the disk, until a run survives because it makes no more of them.
func TestKilledAtEveryCall(t *testing.T) {
	path := outside(t, "strace")
	for _, calls := range []string{"pwrite64", "fsync,fdatasync", "unlink,unlinkat", "link,linkat", "openat", "ftruncate,close"} {
		t.Run(calls, func(t *testing.T) {
			t.Parallel()
			dir, entries := worldOf(t)
			killed := 0
			for n := 1; n < 400; n++ {
				at := copyNotebook(t, dir)
				out, err := child(at, 2, strace(path, calls, "signal=SIGKILL", n)...).Output()
				afterKill(t, at, fmt.Sprintf("%s %d", calls, n), entries, acknowledged(out))
				if err == nil {
					break
				}
				if exit, ok := err.(*exec.ExitError); ok && exit.ExitCode() > 0 {
					t.Fatalf("%s %d: %v: %s", calls, n, err, out)
				}
				killed++
			}
			if killed == 0 && calls != "ftruncate,close" {
				t.Error("no run was killed")
			}
			t.Logf("killed at %d calls", killed)
		})
	}
}

// TestDiskErrors makes single calls fail. The child says what is wrong and ends,
// or copes; no entry is lost.
func TestDiskErrors(t *testing.T) {
	path := outside(t, "strace")
	for _, c := range []struct{ calls, what, says string }{
		{"pwrite64", "error=ENOSPC", "disk is full"},
		{"pwrite64", "error=EIO", "disk reported an error"},
		{"fsync,fdatasync", "error=EIO", "error"},
		{"fsync,fdatasync", "error=ENOSPC", ""},
		{"unlink,unlinkat", "error=EIO", ""},
		{"link,linkat", "error=ENOSPC", "no space left"},
		{"openat", "error=EMFILE", ""},
	} {
		t.Run(c.calls+" "+c.what, func(t *testing.T) {
			t.Parallel()
			dir, entries := worldOf(t)
			failed, last := 0, ""
			for n := 1; n < 400; n++ {
				at := copyNotebook(t, dir)
				cmd := child(at, 2, strace(path, c.calls, c.what, n)...)
				out, err := cmd.Output()
				acked := acknowledged(out)
				found := afterKill(t, at, fmt.Sprintf("%s %s %d", c.calls, c.what, n), entries, acked)
				if err != nil {
					failed++
					if _, text, ok := strings.Cut(string(out), "child:"); ok {
						last = text
						if strings.Contains(text, "nothing was recorded") && found != acked {
							t.Errorf("%s %s %d: something was recorded: %s", c.calls, c.what, n, text)
						}
						if c.says != "" && !strings.Contains(text, c.says) {
							t.Errorf("%s %s %d: the child says %s", c.calls, c.what, n, text)
						}
					}
				}
				if err == nil && acked == 2 && n > 12 {
					break
				}
			}
			t.Logf("%d runs failed, the last saying:%s", failed, last)
		})
	}
}

// Several processes append at once: every acknowledged entry is there, in one chain.
func TestProcessesAtOnce(t *testing.T) {
	t.Parallel()
	for _, processes := range []int{2, 4} {
		dir, entries := worldOf(t)
		const each = 15
		var all sync.WaitGroup
		for range processes {
			all.Go(func() {
				out, err := child(dir, each).Output()
				if err != nil || acknowledged(out) != each {
					t.Errorf("child: %v: %s", err, out)
				}
			})
		}
		all.Wait()
		c := mustVerify(t, openRead(t, dir))
		if want := entries + int64(processes*each); c.Entries != want || c.RawFiles < processes*each {
			t.Errorf("%d processes: %d entries and %d files, want %d entries", processes, c.Entries, c.RawFiles, want)
		}
	}
}
