package files

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

const benchBytes = 64 << 20

func BenchmarkPut64MiB(b *testing.B) {
	data := noise(benchBytes, 1)
	dir := b.TempDir()
	b.SetBytes(benchBytes)
	for b.Loop() {
		data[0]++ // another content each time
		ref, err := Open(dir).Put(b.Context(), bytes.NewReader(data))
		if err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		if err := os.Remove(Open(dir).path(ref)); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
	}
}

// BenchmarkCopyAndSync64MiB is the floor for BenchmarkPut64MiB: the same bytes
// written and synced without a hash.
func BenchmarkCopyAndSync64MiB(b *testing.B) {
	data := noise(benchBytes, 1)
	path := filepath.Join(b.TempDir(), "copy")
	b.SetBytes(benchBytes)
	for b.Loop() {
		f, err := os.Create(path)
		if err != nil {
			b.Fatal(err)
		}
		for i := 0; i < len(data); i += chunkBytes {
			if _, err := f.Write(data[i : i+chunkBytes]); err != nil {
				b.Fatal(err)
			}
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		f.Close()
		b.StopTimer()
		os.Remove(path)
		b.StartTimer()
	}
}

func BenchmarkPut512KiB(b *testing.B) {
	data := noise(512<<10, 1)
	s := Open(b.TempDir())
	b.SetBytes(int64(len(data)))
	for i := 0; b.Loop(); i++ {
		data[i%1000]++
		if _, err := s.Put(b.Context(), bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
}
