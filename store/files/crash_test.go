package files

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"dieglow/catalog/fault"
)

// childFolder names the notebook folder to a child of the kill test.
const childFolder = "DIEGLOW_TEST_FILES_CHILD"

// TestKilledWhileStoring kills a process that stores files without pause. What
// it had reported must be whole; nothing may lie under a hash but whole files.
func TestKilledWhileStoring(t *testing.T) {
	if dir := os.Getenv(childFolder); dir != "" {
		storeForever(t, dir)
		return
	}
	t.Parallel()
	s := Open(t.TempDir())
	reported := 0
	for round := range 8 {
		cmd := exec.Command(os.Args[0], "-test.run=^TestKilledWhileStoring$")
		cmd.Env = append(os.Environ(), childFolder+"="+s.dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		var refs []Ref
		for lines.Scan() {
			if len(refs) == 0 { // it is at work
				time.AfterFunc(time.Duration(3+7*round)*time.Millisecond, func() { _ = cmd.Process.Kill() })
			}
			// A line that the kill cut short was not reported.
			var ref Ref
			if n, _ := fmt.Sscanf(lines.Text(), "%64s %d.", &ref.SHA256, &ref.Size); n == 2 && strings.HasSuffix(lines.Text(), ".") {
				refs = append(refs, ref)
			}
		}
		_ = cmd.Wait() // killed
		for _, ref := range refs {
			if err := s.Verify(t.Context(), ref); err != nil {
				t.Errorf("round %d, reported file: %v", round, err)
			}
		}
		reported += len(refs)
	}
	all := kinds(t, s)
	for _, f := range all[Stored] {
		if err := s.Verify(t.Context(), f.Ref); err != nil {
			t.Error(err)
		}
	}
	if reported == 0 || len(all[Stored]) < reported || len(all[Foreign]) != 0 {
		t.Errorf("%d reported, %d stored, foreign %v", reported, len(all[Stored]), all[Foreign])
	}
	t.Logf("%d files reported, %d stored, %d temporary", reported, len(all[Stored]), len(all[Temp]))
}

func storeForever(t *testing.T, dir string) {
	s := Open(dir)
	start := time.Now()
	for i := 0; time.Since(start) < 10*time.Second; i++ {
		data := append(noise(1<<(i%20), uint64(i)), fmt.Sprint(os.Getpid())...)
		ref, err := s.Put(t.Context(), bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		fmt.Printf("%s %d.\n", ref.SHA256, ref.Size)
	}
}

func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	if runtime.GOOS != "linux" || syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=1m") != nil {
		t.Skip("no small file system can be mounted here")
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, 0) })
	s := Open(dir)
	ref, err := s.Put(t.Context(), bytes.NewReader(noise(1<<10, 1)))
	if err != nil {
		t.Fatal(err)
	}
	_, err = s.Put(t.Context(), bytes.NewReader(noise(4<<20, 2)))
	if fault.KindOf(err) != fault.Other || !strings.Contains(err.Error(), "no space left") || !strings.Contains(fault.HintOf(err), "free some space") {
		t.Errorf("Put on a full disk: %v", err)
	}
	if all := kinds(t, s); len(all[Stored]) != 1 || len(all[Temp]) != 0 {
		t.Errorf("left behind: %v", all)
	}
	if err := s.Verify(t.Context(), ref); err != nil {
		t.Error(err)
	}
}

func TestReadOnlyFolder(t *testing.T) {
	t.Parallel()
	if os.Geteuid() == 0 {
		t.Skip("permissions do not bind root")
	}
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	_, err := Open(dir).Put(t.Context(), strings.NewReader("abc"))
	if fault.KindOf(err) != fault.Other || !strings.Contains(fault.HintOf(err), "writable") {
		t.Errorf("Put in a read-only folder: %v, want a hint to make it writable", err)
	}
}
