package soak

import (
	"syscall"
	"time"
)

// usage returns the memory of this process at its highest so far, bytes, and its processor time.
func usage() (resident int64, processor time.Duration, err error) {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0, 0, err
	}
	return u.Maxrss << 10, time.Duration(u.Utime.Nano() + u.Stime.Nano()), nil // Linux counts KiB
}
