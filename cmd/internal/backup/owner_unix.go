//go:build unix

package backup

import (
	"fmt"
	"os"
	"syscall"
)

// giveTo gives files to the owner of a folder: a restore by root must not leave a service
// with files that it cannot write. For anybody else there is nothing to do.
func giveTo(folder string, paths ...string) error {
	if os.Geteuid() != 0 {
		return nil
	}
	info, err := os.Stat(folder)
	if err != nil {
		return err
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	if !ok {
		return nil
	}
	for _, p := range paths {
		if err := os.Chown(p, int(st.Uid), int(st.Gid)); err != nil {
			return fmt.Errorf("cannot give %q to the owner of %q: %w", p, folder, err)
		}
	}
	return nil
}
