package files

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
)

const (
	chunkBytes   = 256 << 10
	queuedChunks = 16
)

// writeError tells a refusal by the disk from one by the reader.
type writeError struct{ err error }

func (e *writeError) Error() string { return e.err.Error() }

// copyHashing copies r to w and hashes each chunk while the next ones are read
// and written. The queue is long enough that neither side waits often: to wake
// a waiting goroutine can cost as much as to hash a good part of a chunk.
func copyHashing(ctx context.Context, w io.Writer, r io.Reader) (Ref, error) {
	full := make(chan []byte, queuedChunks)
	free := make(chan []byte, queuedChunks)
	sum := make(chan []byte)
	go func() {
		h := sha256.New()
		for chunk := range full {
			h.Write(chunk)
			free <- chunk[:cap(chunk)]
		}
		sum <- h.Sum(nil)
	}()
	size, err := copyChunks(ctx, w, r, full, free)
	close(full)
	ref := Ref{SHA256: hex.EncodeToString(<-sum), Size: size}
	if err != nil {
		return Ref{}, err
	}
	return ref, nil
}

// copyChunks copies r to w and hands each chunk on to full when it is written.
// Buffers come back through free.
func copyChunks(ctx context.Context, w io.Writer, r io.Reader, full chan<- []byte, free <-chan []byte) (int64, error) {
	var size int64
	for made := 0; ; {
		if err := ctx.Err(); err != nil {
			return size, err
		}
		var chunk []byte
		if made < queuedChunks && len(free) == 0 {
			chunk = make([]byte, chunkBytes)
			made++
		} else {
			chunk = <-free
		}
		n, readErr := io.ReadFull(r, chunk)
		chunk = chunk[:n]
		if _, err := w.Write(chunk); err != nil {
			return size, &writeError{err}
		}
		size += int64(n)
		full <- chunk
		switch readErr {
		case nil:
		case io.EOF, io.ErrUnexpectedEOF:
			return size, nil
		default:
			return size, fmt.Errorf("read the file to store: %w", readErr)
		}
	}
}

// finish makes the temporary file read-only, brings it to the disk and closes it.
func finish(temp *os.File) error {
	if err := temp.Chmod(0o444); err != nil {
		return err
	}
	if err := temp.Sync(); err != nil {
		return err
	}
	return temp.Close()
}

// place gives the file temp its final name unless that is taken. A link does so
// in one step; file systems without links get a rename, which may replace a
// file that appeared meanwhile, but only by the same bytes.
func place(temp, final string, link func(from, to string) error) error {
	err := link(temp, final)
	switch {
	case errors.Is(err, syscall.EPERM), errors.Is(err, syscall.ENOTSUP), errors.Is(err, syscall.ENOSYS), errors.Is(err, syscall.EMLINK):
		return os.Rename(temp, final)
	}
	return err
}

// syncFolders brings the names that lead to the file to the disk.
func (s Store) syncFolders(final string) error {
	for _, folder := range [...]string{filepath.Dir(final), s.folder, s.dir} {
		if err := syncFolder(folder); err != nil {
			return s.refused(err)
		}
	}
	return nil
}

func syncFolder(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	err = f.Sync()
	// Some network file systems have no sync for folders and order names themselves.
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) {
		return nil
	}
	return err
}
