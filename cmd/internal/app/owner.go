package app

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// mendOwners closes to others what an older program left open to them. What cannot be used at all
// has been said by then.
func (a *App) mendOwners() {
	n, err := ownersOnly(a.opt.Data)
	if n > 0 {
		a.log.Info("what others could read is for the user that runs strokewise alone from now on", "folder", a.opt.Data, "files", n)
	}
	a.warn("others may read what is in the data folder", err)
}

// ownersOnly closes the data folder and all in it to everybody but its owner, as older programs
// left them, and returns how many files and folders that were. Links are not followed.
func ownersOnly(folder string) (n int, err error) {
	var errs []error
	walk := filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			if !errors.Is(err, fs.ErrNotExist) {
				errs = append(errs, err)
			}
			return nil
		}
		info, err := d.Info()
		if err != nil || info.Mode()&fs.ModeSymlink != 0 || info.Mode().Perm()&0o077 == 0 {
			return nil
		}
		if err := os.Chmod(path, info.Mode().Perm()&0o700); err != nil && !errors.Is(err, fs.ErrNotExist) {
			errs = append(errs, fmt.Errorf("%w; it is of another user: give it to the one that runs strokewise", err))
			return nil
		}
		n++
		return nil
	})
	if len(errs) > 3 {
		errs = append(errs[:3], fmt.Errorf("and %d more", len(errs)-3))
	}
	return n, errors.Join(append(errs, walk)...)
}
