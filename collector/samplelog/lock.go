package samplelog

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// ErrLocked is wrapped by Open when another process uses the folder.
var ErrLocked = errors.New("another process uses it")

// lockDir takes the folder for this process until the file is closed or the process
// ends, however it ends.
func lockDir(dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("cannot make data folder: %w", err)
	}
	path := filepath.Join(dir, "lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o640)
	if err != nil {
		return nil, fmt.Errorf("cannot open lock: %w", err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		holder, _ := io.ReadAll(io.LimitReader(f, 32))
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) {
			return nil, fmt.Errorf("cannot use data folder %q: %w (process %s); stop it, or name another folder", dir, ErrLocked, strings.TrimSpace(string(holder)))
		}
		return nil, fmt.Errorf("cannot lock %q: %w", path, err)
	}
	if err := f.Truncate(0); err == nil {
		_, err = f.WriteAt([]byte(fmt.Sprintf("%d\n", os.Getpid())), 0)
		if err != nil {
			f.Close()
			return nil, fmt.Errorf("cannot write lock %q: %w", path, err)
		}
	}
	return f, nil
}
