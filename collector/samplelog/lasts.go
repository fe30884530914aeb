package samplelog

import (
	"fmt"
	"math"
	"time"
)

// BytesPerSample and BytesPerBlock are what samples take in the log: a pressure in whole pascals,
// stored as the difference to the sample before, and what goes with each block of one channel besides
// (its start, step, its share of record and entry). TestBytesOfSamples measures both with this encoder
// on the shipped recordings; sensors with more noise or more digits take up to 3 bytes a sample.
const (
	BytesPerSample = 2.0
	BytesPerBlock  = 60
)

// Rate returns the bytes a second that channels of so many samples a second take, sent as blocks of
// one second.
//
//	channels (hertz BytesPerSample + BytesPerBlock)
func Rate(channels int, hertz float64) float64 {
	return float64(channels) * (hertz*BytesPerSample + BytesPerBlock)
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
