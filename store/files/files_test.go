package files

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/iotest"
	"time"

	"dieglow/catalog/fault"
)

func noise(n int, seed uint64) []byte {
	b := make([]byte, n)
	rng := rand.NewChaCha8([32]byte{byte(seed), byte(seed >> 8), byte(seed >> 16)})
	rng.Read(b)
	return b
}

func kinds(t *testing.T, s Store) map[Kind][]Found {
	t.Helper()
	all := map[Kind][]Found{}
	err := s.Walk(func(f Found) error {
		all[f.Kind] = append(all[f.Kind], f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestPutRoundTrip(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	if all := kinds(t, s); len(all) != 0 {
		t.Errorf("a new store holds %v", all)
	}
	for _, n := range []int{0, 1, chunkBytes - 1, chunkBytes, chunkBytes + 1, 3*chunkBytes + 7} {
		want := noise(n, uint64(n))
		// One byte at a time and all at once give the same file.
		ref, err := s.Put(t.Context(), iotest.HalfReader(bytes.NewReader(want)))
		if err != nil {
			t.Fatalf("Put of %d bytes: %v", n, err)
		}
		sum := sha256.Sum256(want)
		if ref.SHA256 != hex.EncodeToString(sum[:]) || ref.Size != int64(n) {
			t.Errorf("Put of %d bytes = %v, want %x", n, ref, sum)
		}
		again, err := s.Put(t.Context(), bytes.NewReader(want))
		if err != nil || again != ref {
			t.Errorf("second Put = %v, %v, want %v", again, err, ref)
		}
		r, err := s.Open(ref)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(r)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%d bytes read back as %d bytes, %v", n, len(got), err)
		}
		r.Close()
		info, err := os.Stat(s.path(ref))
		if err != nil || info.Mode().Perm() != 0o444 {
			t.Errorf("mode %v, %v, want 0444", info.Mode(), err)
		}
	}
	all := kinds(t, s)
	if len(all[Stored]) != 6 || len(all[Temp]) != 0 || len(all[Foreign]) != 0 {
		t.Errorf("Walk finds %v, want 6 stored files", all)
	}
	for _, f := range all[Stored] {
		if err := s.Verify(t.Context(), f.Ref); err != nil {
			t.Error(err)
		}
	}
}

// The digest of "abc" is from FIPS 180-2, appendix B.1.
func TestPutKnownName(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := Open(dir).Put(t.Context(), strings.NewReader("abc")); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(dir, "files", "ba", "7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"))
	if err != nil || string(got) != "abc" {
		t.Errorf("stored %q, %v, want abc", got, err)
	}
}

func TestPutSameContentAtOnce(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	want := noise(300<<10, 7)
	var wg sync.WaitGroup
	for range 12 {
		wg.Go(func() {
			if _, err := s.Put(t.Context(), bytes.NewReader(want)); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	if all := kinds(t, s); len(all[Stored]) != 1 || len(all[Temp]) != 0 {
		t.Errorf("Walk finds %v, want one stored file", all)
	}
}

func TestPutStopsCleanly(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	ctx, cancel := context.WithCancel(t.Context())
	data := noise(4*chunkBytes, 1)
	stopping := io.MultiReader(bytes.NewReader(data), readerFunc(func([]byte) (int, error) {
		cancel()
		return 0, io.EOF
	}), bytes.NewReader(data))
	if _, err := s.Put(ctx, io.MultiReader(stopping, bytes.NewReader(data))); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled Put: %v, want context.Canceled", err)
	}
	broken := errors.New("cable out")
	if _, err := s.Put(t.Context(), io.MultiReader(bytes.NewReader(data), iotest.ErrReader(broken))); !errors.Is(err, broken) {
		t.Errorf("Put of a broken reader: %v, want %v", err, broken)
	}
	if all := kinds(t, s); len(all) != 0 {
		t.Errorf("left behind: %v", all)
	}
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

func TestPutFile(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := Open(dir)
	path := filepath.Join(dir, "frame.csv")
	if err := os.WriteFile(path, []byte("1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	ref, fresh, err := s.PutFile(t.Context(), path)
	if err != nil || ref.Size != 4 || !fresh {
		t.Errorf("PutFile = %v, %v, %v, want 4 fresh bytes", ref, fresh, err)
	}
	if _, fresh, err := s.PutFile(t.Context(), path); err != nil || fresh {
		t.Errorf("PutFile again: fresh %v, %v", fresh, err)
	}
	if err := s.Discard(ref); err != nil || len(kinds(t, s)) != 0 {
		t.Errorf("Discard: %v, left %v", err, kinds(t, s))
	}
	if _, _, err := s.PutFile(t.Context(), filepath.Join(dir, "none")); fault.KindOf(err) != fault.NotFound {
		t.Errorf("PutFile of nothing: %v, want fault NotFound", err)
	}
	if _, _, err := s.PutFile(t.Context(), dir); fault.KindOf(err) != fault.Invalid {
		t.Errorf("PutFile of a folder: %v, want fault Invalid", err)
	}
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err == nil {
		if _, _, err := s.PutFile(t.Context(), pipe); fault.KindOf(err) != fault.Invalid {
			t.Errorf("PutFile of a pipe: %v, want fault Invalid", err)
		}
	}
	if _, _, err := Open(filepath.Join(dir, "none")).PutFile(t.Context(), path); fault.KindOf(err) != fault.Other || fault.HintOf(err) == "" {
		t.Errorf("PutFile without a notebook folder: %v, want fault Other with a hint", err)
	}
}

func TestDamageIsFound(t *testing.T) {
	t.Parallel()
	want := noise(2*chunkBytes+5, 3)
	tests := []struct {
		name, says string
		damage     func(path string) error
	}{
		{"missing", "is missing", os.Remove},
		{"cut", "bytes instead of", func(p string) error { return os.Truncate(p, 10) }},
		{"one bit", "holds other bytes", func(p string) error {
			b := bytes.Clone(want)
			b[len(b)-1] ^= 1
			return replace(p, b)
		}},
		{"a link", "not a regular file", func(p string) error {
			if err := os.Rename(p, p+"x"); err != nil {
				return err
			}
			return os.Symlink(p+"x", p)
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := Open(t.TempDir())
			ref, err := s.Put(t.Context(), bytes.NewReader(want))
			if err != nil {
				t.Fatal(err)
			}
			if err := tt.damage(s.path(ref)); err != nil {
				t.Fatal(err)
			}
			err = s.Verify(t.Context(), ref)
			if fault.KindOf(err) != fault.Corrupt || !strings.Contains(err.Error(), tt.says) {
				t.Errorf("Verify: %v, want fault Corrupt, %q", err, tt.says)
			}
			// Storing the bytes again heals what is missing and reports the rest.
			_, err = s.Put(t.Context(), bytes.NewReader(want))
			if tt.name == "missing" && err != nil || tt.name != "missing" && fault.KindOf(err) != fault.Corrupt {
				t.Errorf("Put over the damage: %v", err)
			}
			if all := kinds(t, s); len(all[Temp]) != 0 {
				t.Errorf("left behind: %v", all[Temp])
			}
		})
	}
}

func replace(path string, b []byte) error {
	if err := os.Remove(path); err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o444)
}

func TestRefsStayInside(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	for _, sum := range []string{"", "ab", "../../etc/passwd", strings.Repeat("A", 64), strings.Repeat("a", 63) + "/", strings.Repeat("a", 65)} {
		if _, err := s.Open(Ref{SHA256: sum}); fault.KindOf(err) != fault.Invalid {
			t.Errorf("Open(%q): %v, want fault Invalid", sum, err)
		}
	}
	if _, err := s.Open(Ref{SHA256: strings.Repeat("a", 64)}); fault.KindOf(err) != fault.Corrupt {
		t.Errorf("Open of missing bytes: %v, want fault Corrupt", err)
	}
}

func TestWalkAndRemoveTemps(t *testing.T) {
	t.Parallel()
	s := Open(t.TempDir())
	ref, err := s.Put(t.Context(), strings.NewReader("abc"))
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	for name, age := range map[string]time.Duration{"tmp-1": 48 * time.Hour, "tmp-2": time.Minute, "ba/notes.txt": 48 * time.Hour, ".index": 0} {
		path := filepath.Join(s.folder, name)
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, now, now.Add(-age)); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(filepath.Join(s.folder, "other", "deep"), 0o755); err != nil {
		t.Fatal(err)
	}
	all := kinds(t, s)
	if len(all[Stored]) != 1 || all[Stored][0].Ref != ref || len(all[Temp]) != 2 || len(all[Foreign]) != 3 {
		t.Errorf("Walk finds %v", all)
	}
	n, err := s.RemoveTemps(now.Add(-24 * time.Hour))
	if err != nil || n != 1 {
		t.Errorf("RemoveTemps = %d, %v, want 1", n, err)
	}
	all = kinds(t, s)
	if len(all[Stored]) != 1 || len(all[Temp]) != 1 || filepath.Base(all[Temp][0].Path) != "tmp-2" || len(all[Foreign]) != 3 {
		t.Errorf("after RemoveTemps Walk finds %v", all)
	}
	stop := errors.New("stop")
	if err := s.Walk(func(Found) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("Walk = %v, want the error of visit", err)
	}
}

func TestPlaceWithoutLinks(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	from, to := filepath.Join(dir, "from"), filepath.Join(dir, "to")
	if err := os.WriteFile(from, []byte("abc"), 0o444); err != nil {
		t.Fatal(err)
	}
	noLinks := func(from, to string) error {
		return &os.LinkError{Op: "link", Old: from, New: to, Err: syscall.EPERM}
	}
	if err := place(from, to, noLinks); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(to); err != nil || string(got) != "abc" {
		t.Errorf("placed %q, %v", got, err)
	}
}
