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

// folderHint says what to do about a folder that cannot be used.
const folderHint = "the folder and all in it must be writable for the user that runs strokewise: give it to that user, or name another folder under data"

// writable makes the folder and tries whether it takes files.
func writable(dir string) error {
	err := os.MkdirAll(dir, 0o700)
	if err == nil {
		var f *os.File
		if f, err = os.CreateTemp(dir, "try"); err == nil {
			err = errors.Join(f.Close(), os.Remove(f.Name()))
		}
	}
	if err != nil {
		return fmt.Errorf("cannot write to data folder %q: %w; %s", dir, err, folderHint)
	}
	return nil
}

// lockDir takes the folder for this process until the file is closed or the process
// ends, however it ends.
func lockDir(dir string) (*os.File, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make data folder: %w; %s", err, folderHint)
	}
	path := filepath.Join(dir, "lock")
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("cannot open lock: %w; %s", err, folderHint)
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
