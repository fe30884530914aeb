package station

import (
	"math"
	"time"
)

// Instant is a point in time: nanoseconds since the Unix epoch, UTC. Device times
// are rounded to microseconds where they are decoded, so that one sample has one
// identity whatever float it arrived as.
type Instant int64

// Common spans in nanoseconds.
const (
	Microsecond int64 = 1e3
	Millisecond int64 = 1e6
	Second      int64 = 1e9
	Minute60    int64 = 60 * Second
)

// InstantOf converts a time.Time.
func InstantOf(t time.Time) Instant { return Instant(t.UnixNano()) }

// InstantOfSeconds converts Unix seconds to an Instant rounded to microseconds. It
// reports false for values that are no finite time in the years 1678 to 2262.
func InstantOfSeconds(s float64) (Instant, bool) {
	if math.IsNaN(s) || math.Abs(s) > 9.2e9 {
		return 0, false
	}
	whole := math.Floor(s)
	micro := math.Round((s - whole) * 1e6)
	return Instant(int64(whole)*Second + int64(micro)*Microsecond), true
}

// Time converts to time.Time in UTC.
func (t Instant) Time() time.Time { return time.Unix(0, int64(t)).UTC() }

// Seconds gives Unix seconds.
func (t Instant) Seconds() float64 { return float64(t) / 1e9 }

// Add gives t shifted by d nanoseconds.
func (t Instant) Add(d int64) Instant { return t + Instant(d) }

// Sub gives t-u in nanoseconds.
func (t Instant) Sub(u Instant) int64 { return int64(t - u) }

// Floor gives the largest multiple of span (ns) that is not after t.
func (t Instant) Floor(span int64) Instant {
	r := int64(t) % span
	if r < 0 {
		r += span
	}
	return t - Instant(r)
}

// String gives RFC 3339 with as many decimals as needed, UTC.
func (t Instant) String() string { return t.Time().Format(time.RFC3339Nano) }
