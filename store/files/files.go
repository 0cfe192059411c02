// Package files keeps raw files under the SHA-256 of their content: the bytes
// with the hash abcd... are the file files/ab/cd... below the notebook folder.
//
// A stored file is never changed. It appears under its hash only when all of
// its bytes are on the disk, so at any moment, a crash included, the store
// holds whole files and perhaps temporary ones (tmp-*), which nothing refers to.
package files

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"dieglow/catalog/fault"
)

const (
	folderName = "files"
	tempPrefix = "tmp-"
)

// Ref names stored bytes.
type Ref struct {
	SHA256 string `json:"sha256"` // 64 lower case hexadecimal digits
	Size   int64  `json:"size"`   // bytes
}

// Store is the folder files/ of one notebook folder. It may be used by several
// goroutines and processes at once.
type Store struct {
	dir    string // the notebook folder
	folder string // dir/files
}

// Open returns the store of the notebook folder dir. Nothing is read or made;
// the first Put makes the folder files/.
func Open(dir string) Store {
	return Store{dir: dir, folder: filepath.Join(dir, folderName)}
}

// Put stores what r holds and returns its name. When Put returns without an
// error the bytes are on the disk. Bytes that are stored already are compared
// and kept.
//
// The errors are ctx's when it ended first, r's own, fault Corrupt when other
// bytes are stored under the same hash, and Other when the disk refuses.
func (s Store) Put(ctx context.Context, r io.Reader) (Ref, error) {
	ref, _, err := s.put(ctx, r)
	return ref, err
}

// put also says whether the bytes are new to the store.
func (s Store) put(ctx context.Context, r io.Reader) (ref Ref, fresh bool, err error) {
	if err := os.Mkdir(s.folder, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return Ref{}, false, s.refused(err)
	}
	temp, err := os.CreateTemp(s.folder, tempPrefix+"*")
	if err != nil {
		return Ref{}, false, s.refused(err)
	}
	ref, fresh, err = s.keep(ctx, temp, r)
	// The temporary name goes in every case: after success the file has its own.
	if gone := os.Remove(temp.Name()); err == nil && gone != nil && !errors.Is(gone, fs.ErrNotExist) {
		err = s.refused(gone)
	}
	if err != nil {
		return Ref{}, false, err
	}
	return ref, fresh, nil
}

// keep fills temp from r, closes it and gives it its name.
func (s Store) keep(ctx context.Context, temp *os.File, r io.Reader) (ref Ref, fresh bool, err error) {
	defer temp.Close()
	ref, err = copyHashing(ctx, temp, r)
	if err != nil {
		if w := (*writeError)(nil); errors.As(err, &w) {
			return Ref{}, false, s.refused(w.err)
		}
		return Ref{}, false, err
	}
	final := s.path(ref)
	if _, err := os.Lstat(final); errors.Is(err, fs.ErrNotExist) {
		if err := finish(temp); err != nil {
			return Ref{}, false, s.refused(err)
		}
		if err := os.Mkdir(filepath.Dir(final), 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
			return Ref{}, false, s.refused(err)
		}
		err = place(temp.Name(), final, os.Link)
		if err != nil && !errors.Is(err, fs.ErrExist) {
			return Ref{}, false, s.refused(err)
		}
		if err == nil {
			return ref, true, s.syncFolders(final)
		}
	}
	if err := s.Verify(ctx, ref); err != nil {
		return Ref{}, false, err
	}
	// Whoever stored the bytes may not have come as far as this.
	return ref, false, s.syncFolders(final)
}

// PutFile stores the file at path as Put does. Fault NotFound when there is
// none, Invalid when it is not a regular file, Conflict when it changed while
// it was read. fresh says whether the bytes are new to the store, which Discard
// then can take back.
func (s Store) PutFile(ctx context.Context, path string) (ref Ref, fresh bool, err error) {
	before, err := os.Stat(path) // first: opening a pipe would wait for a writer
	if errors.Is(err, fs.ErrNotExist) {
		return Ref{}, false, fault.NotFoundf("no file %s", path).WithHint("check the path, or list its folder with ls")
	}
	if err != nil {
		return Ref{}, false, fault.Otherf("file not read").Because(err)
	}
	if !before.Mode().IsRegular() {
		return Ref{}, false, fault.Invalidf("%s is not a regular file", path).WithHint("name one file; pack a folder into one first")
	}
	f, err := os.Open(path)
	if err != nil {
		return Ref{}, false, fault.Otherf("file not read").Because(err)
	}
	defer f.Close()
	ref, fresh, err = s.put(ctx, f)
	if err != nil {
		return Ref{}, false, err
	}
	after, err := f.Stat()
	if err != nil {
		return Ref{}, false, fault.Otherf("file not read").Because(err)
	}
	if after.Size() != ref.Size || !after.ModTime().Equal(before.ModTime()) {
		return Ref{}, false, fault.Conflictf("%s changed while it was read", path).WithHint("wait until it is written, then add it again")
	}
	return ref, fresh, nil
}

// Discard takes back bytes that PutFile called fresh, when the entry that was to
// name them is not written after all. The caller must know that nobody else can
// have come to rely on them meanwhile.
func (s Store) Discard(ref Ref) error {
	if err := ref.check(); err != nil {
		return err
	}
	path := s.path(ref)
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return s.refused(err)
	}
	os.Remove(filepath.Dir(path)) // these go only when they are empty now
	os.Remove(s.folder)
	return nil
}

// Open opens stored bytes for reading. Reading to the end checks them: instead
// of io.EOF a reader of damaged bytes returns fault Corrupt. Fault Invalid for
// a malformed ref, Corrupt when the file is missing or has another size.
func (s Store) Open(ref Ref) (io.ReadCloser, error) {
	if err := ref.check(); err != nil {
		return nil, err
	}
	path := s.path(ref)
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, corrupt(path, "is missing")
	case err != nil:
		return nil, fault.Otherf("stored file not read").Because(err)
	case !info.Mode().IsRegular():
		return nil, corrupt(path, "is not a regular file")
	case info.Size() != ref.Size:
		return nil, corrupt(path, fmt.Sprintf("has %d bytes instead of %d", info.Size(), ref.Size))
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fault.Otherf("stored file not read").Because(err)
	}
	return &checkedReader{f: f, path: path, want: ref, hash: sha256.New()}, nil
}

// Path returns where stored bytes lie, for programs that read files by name, once
// size and hash have been compared. Nothing may be written there. Faults as Verify.
func (s Store) Path(ctx context.Context, ref Ref) (string, error) {
	return s.path(ref), s.Verify(ctx, ref)
}

// Verify reads stored bytes and compares size and hash. Fault Corrupt when they
// are missing or differ, Invalid for a malformed ref.
func (s Store) Verify(ctx context.Context, ref Ref) error {
	f, err := s.Open(ref)
	if err != nil {
		return err
	}
	defer f.Close()
	buf := make([]byte, chunkBytes)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := f.Read(buf); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
	}
}

type checkedReader struct {
	f    *os.File
	path string
	want Ref
	hash hash.Hash
	n    int64
}

func (c *checkedReader) Read(p []byte) (int, error) {
	n, err := c.f.Read(p)
	c.hash.Write(p[:n])
	c.n += int64(n)
	switch {
	case err == nil:
		return n, nil
	case err != io.EOF:
		return n, fault.Otherf("stored file not read").Because(err)
	case c.n != c.want.Size:
		return n, corrupt(c.path, fmt.Sprintf("has %d bytes instead of %d", c.n, c.want.Size))
	case hex.EncodeToString(c.hash.Sum(nil)) != c.want.SHA256:
		return n, corrupt(c.path, "holds other bytes than were stored")
	}
	return n, io.EOF
}

func (c *checkedReader) Close() error { return c.f.Close() }

func corrupt(path, what string) error {
	return fault.Corruptf("stored file %s %s", path, what).
		WithHint("put back the file from a backup; keep a damaged one aside, not in its place")
}

// check refuses what is not the name of stored bytes, so that no ref leads out
// of the folder.
func (r Ref) check() error {
	if !isHash(r.SHA256) || r.Size < 0 {
		return fault.Invalidf("%q with %d bytes does not name a stored file", r.SHA256, r.Size).
			WithHint("a SHA-256 of 64 lower case hexadecimal digits and a size in bytes")
	}
	return nil
}

func isHash(s string) bool {
	if len(s) != 2*sha256.Size {
		return false
	}
	for _, c := range []byte(s) {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

func (s Store) path(ref Ref) string {
	return filepath.Join(s.folder, ref.SHA256[:2], ref.SHA256[2:])
}

// refused turns what the operating system said into what a person can do.
func (s Store) refused(err error) error {
	e := fault.Otherf("file not stored in %s", s.folder).Because(err)
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		return e.WithHint("free some space there, then add the file again; nothing was kept of it")
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return e.WithHint("make the folder writable, or copy the notebook to where you may write")
	case errors.Is(err, fs.ErrNotExist):
		return e.WithHint("check that the notebook folder %s exists", s.dir)
	case errors.Is(err, syscall.EIO):
		return e.WithHint("the disk may be failing: make a backup elsewhere")
	}
	return e
}
