//go:build !linux

package soak

import (
	"errors"
	"time"
)

// usage fails: the soak is measured on Linux.
func usage() (resident int64, processor time.Duration, err error) {
	return 0, 0, errors.New("cannot measure memory and processor time: the soak runs on Linux only")
}
