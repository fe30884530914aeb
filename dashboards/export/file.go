package export

import (
	"fmt"
	"os"
	"path/filepath"
)

// File is a file that has its name once it is complete: until then it lies beside, under another.
type File struct {
	*os.File
	path string
	done func()
}

// Create begins a file. It refuses one that is there. unfinished is told the name that it has meanwhile, and returns what
// ends that.
func Create(path string, unfinished func(path string) (done func())) (*File, error) {
	if err := absent(path); err != nil {
		return nil, err
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*.part")
	if err != nil {
		return nil, fmt.Errorf("cannot write %q: %w", path, err)
	}
	return &File{File: f, path: path, done: unfinished(f.Name())}, nil
}

func absent(path string) error {
	if _, err := os.Lstat(path); !os.IsNotExist(err) {
		return fmt.Errorf("cannot write %q: it is there; remove it, or name another file", path)
	}
	return nil
}

// Commit renames the file to its name.
func (f *File) Commit() error {
	err := f.Sync()
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = absent(f.path)
	}
	if err == nil {
		err = os.Rename(f.Name(), f.path)
	}
	if err != nil {
		os.Remove(f.Name())
		err = fmt.Errorf("cannot write %q: %w", f.path, err)
	}
	f.done()
	return err
}

// Abort removes the file.
func (f *File) Abort() {
	f.Close()
	os.Remove(f.Name())
	f.done()
}
