package samplelog

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/gofrs/flock"
)

// ErrLocked is wrapped by Open when another process uses the folder.
var ErrLocked = errors.New("another process uses it")

// folderHint says what to do about a folder that cannot be used.
const folderHint = "the folder and all in it must be writable for the user that runs strokewise: give it to that user, or name another folder under data"

// holderName is the file beside the lock that names the process. It is a file of its own, since
// Windows lets nobody read or write a locked one.
const holderName = "lock.pid"

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

// lockDir locks the folder for this process until the lock is closed or the process
// ends, however it ends.
func lockDir(dir string) (io.Closer, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot make data folder: %w; %s", err, folderHint)
	}
	path := filepath.Join(dir, "lock")
	l := flock.New(path, flock.SetFlag(os.O_CREATE|os.O_RDWR), flock.SetPermissions(0o600))
	got, err := l.TryLock()
	switch {
	case err != nil:
		return nil, fmt.Errorf("cannot lock %q: %w; %s", path, err, folderHint)
	case !got:
		return nil, fmt.Errorf("cannot use data folder %q: %w (process %s); stop it, or name another folder", dir, ErrLocked, holder(dir))
	}
	if err := os.WriteFile(filepath.Join(dir, holderName), []byte(strconv.Itoa(os.Getpid())+"\n"), 0o600); err != nil {
		return nil, errors.Join(fmt.Errorf("cannot write beside lock %q: %w", path, err), l.Close())
	}
	return l, nil
}

// holder returns the number of the process that holds the folder's lock.
func holder(dir string) string {
	f, err := os.Open(filepath.Join(dir, holderName))
	if err != nil {
		return "unknown"
	}
	defer f.Close()
	text, _ := io.ReadAll(io.LimitReader(f, 32))
	return strings.TrimSpace(string(text))
}
