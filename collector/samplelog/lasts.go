package samplelog

import (
	"fmt"
	"math"
	"time"
)

// BytesPerPressure, BytesPerCount and BytesPerMessage are what samples take in the log: a pressure in
// pascals and a counter's reading are stored as the difference to the one before; a message has its
// times, its station and, where it does not share one, its entry. TestBytesOfSamples measures them with
// this encoder on the shipped recordings, of which they are upper bounds. Noisier sensors, or ones of
// more digits, take up to 3 bytes a pressure.
const (
	BytesPerPressure = 2.5
	BytesPerCount    = 1.25
	BytesPerMessage  = 220
)

// Rate returns the bytes a second of stations that each send two pressures and a counter, so many
// samples a second of each, in a message a second.
//
//	stations (BytesPerMessage + hertz (2 BytesPerPressure + BytesPerCount))
func Rate(stations int, hertz float64) float64 {
	return float64(stations) * (BytesPerMessage + hertz*(2*BytesPerPressure+BytesPerCount))
}

// Hertz returns the samples a second and channel at which stations like those of Rate grow the log at
// a rate, 0 where they cannot be that slow.
func Hertz(stations int, perSecond float64) float64 {
	return max(0, (perSecond/float64(stations)-BytesPerMessage)/(2*BytesPerPressure+BytesPerCount))
}

// Lasts returns how far back a log of at most so many bytes reaches when it grows by so many bytes a
// second: it is trimmed to TrimTo of its bound. 0: for ever, or not known.
func Lasts(maxBytes int64, perSecond float64) time.Duration {
	if maxBytes <= 0 || perSecond <= 0 {
		return 0
	}
	s := TrimTo * float64(maxBytes) / perSecond
	if s > math.MaxInt64/1e9 {
		return 0
	}
	return time.Duration(s * 1e9)
}

// Needs returns the bound, bytes, of a log that is to reach back so far.
func Needs(keep time.Duration, perSecond float64) int64 {
	return int64(math.Ceil(keep.Seconds() * perSecond / TrimTo))
}

// Bytes returns a number of bytes as the configuration states it, rounded up to two or three digits.
func Bytes(n int64) string {
	for _, u := range []struct {
		name string
		size int64
	}{{"TB", 1e12}, {"GB", 1e9}, {"MB", 1e6}} {
		if n >= 10*u.size || u.size == 1e6 {
			return fmt.Sprintf("%d %s", (n+u.size-1)/u.size, u.name)
		}
	}
	return ""
}
