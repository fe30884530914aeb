//go:build unix

package backup

import (
	"os"

	"golang.org/x/sys/unix"
)

// diskFree returns how many bytes this process may still write to the disk of a folder.
func diskFree(folder string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}

// syncDir makes the names in a folder last.
func syncDir(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer f.Close()
	return f.Sync()
}
