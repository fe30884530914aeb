package main

import "syscall"

// private lets what this process writes be for its owner only, by whatever library, until undo.
func private() (undo func()) {
	old := syscall.Umask(0o077)
	return func() { syscall.Umask(old) }
}
