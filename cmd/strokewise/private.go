package main

import "syscall"

// private lets what this process writes from now on, by whatever library, be for its owner only.
func private() { syscall.Umask(0o077) }
