//go:build unix

package main

import (
	"os"
	"syscall"
)

// private lets what this process writes be for its owner only, by whatever library, until undo.
func private() (undo func()) {
	old := syscall.Umask(0o077)
	return func() { syscall.Umask(old) }
}

// umask returns the process's umask.
func umask() os.FileMode {
	old := syscall.Umask(0o077)
	syscall.Umask(old)
	return os.FileMode(old)
}
