package files

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"dieglow/catalog/fault"
)

// Kind sorts what lies in the store's folder.
type Kind int

// What Walk finds.
const (
	Stored  Kind = iota // a file under a hash; its content is not checked
	Temp                // a file that was being stored, perhaps still is
	Foreign             // anything else; the store did not put it there
)

// Found is one thing in the store's folder.
type Found struct {
	Kind    Kind
	Path    string // with the notebook folder
	Ref     Ref    // of a stored file: the hash its name says, the size it has
	ModTime time.Time
}

// Walk calls visit for everything in the store's folder, in the order of the
// names, and ends with the first error visit returns. A notebook without the
// folder has no stored files.
func (s Store) Walk(visit func(Found) error) error {
	err := filepath.WalkDir(s.folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			if errors.Is(err, fs.ErrNotExist) {
				return nil // no folder yet, or gone while walking
			}
			return fault.Otherf("stored files not listed").Because(err)
		}
		name, err := filepath.Rel(s.folder, path)
		if err != nil || name == "." {
			return err
		}
		if d.IsDir() && isPrefix(name) {
			return nil
		}
		info, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		if err != nil {
			return fault.Otherf("stored files not listed").Because(err)
		}
		if err := visit(found(path, name, info)); err != nil {
			return err
		}
		if d.IsDir() {
			return fs.SkipDir
		}
		return nil
	})
	return err
}

// isPrefix says whether name is that of a folder of stored files.
func isPrefix(name string) bool {
	return len(name) == 2 && isHash(strings.Repeat(name, 32))
}

func found(path, name string, info fs.FileInfo) Found {
	f := Found{Kind: Foreign, Path: path, ModTime: info.ModTime()}
	sum := strings.Replace(filepath.ToSlash(name), "/", "", 1)
	switch {
	case !info.Mode().IsRegular():
	case strings.HasPrefix(name, tempPrefix) && filepath.Base(name) == name:
		f.Kind = Temp
	case isHash(sum) && isPrefix(filepath.Dir(name)):
		f.Kind = Stored
		f.Ref = Ref{SHA256: sum, Size: info.Size()}
	}
	return f
}

// RemoveTemps removes the temporary files last written before the given time
// and returns how many. The time must leave out what another process may still
// be storing: a day ago is early enough for any copy.
func (s Store) RemoveTemps(before time.Time) (int, error) {
	removed := 0
	err := s.Walk(func(f Found) error {
		if f.Kind != Temp || !f.ModTime.Before(before) {
			return nil
		}
		err := os.Remove(f.Path)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return s.refused(err)
		}
		if err == nil {
			removed++
		}
		return nil
	})
	return removed, err
}
