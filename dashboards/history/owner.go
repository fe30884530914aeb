package history

import (
	"errors"
	"fmt"
	"os"
)

// ownersOnly makes the database file where there is none, and takes it from everybody but its
// owner: what SQLite puts beside it has the same permissions, whatever the umask.
func ownersOnly(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("cannot open history database %q: %w; it and its folder must be writable for the user that runs strokewise", path, err)
	}
	if err := f.Close(); err != nil {
		return fmt.Errorf("cannot open history database %q: %w", path, err)
	}
	for _, name := range []string{path, path + "-wal", path + "-shm"} {
		info, err := os.Stat(name)
		if err != nil || info.Mode().Perm()&0o077 == 0 {
			continue
		}
		if err := os.Chmod(name, info.Mode().Perm()&0o700); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("others may read history database %q: %w; give it to the user that runs strokewise", name, err)
		}
	}
	return nil
}
