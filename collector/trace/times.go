package trace

import (
	"fmt"
	"time"

	"strokewise/analyzer/station"
)

// maxSeconds is the first Unix second that is no longer taken (the year 2261): beyond it
// nanoseconds do not fit an Instant.
const maxSeconds = 9_200_000_000

const timeExample = "Unix seconds such as 1767225600.01, or RFC 3339 such as 2026-01-01T06:00:00.01Z"

// time reads the row's time.
func (r *Reader) time(line []byte) (station.Instant, error) {
	rest := line
	var cell []byte
	for range r.timeAt + 1 {
		cell, rest, _ = cut(rest)
	}
	t, ok := seconds(cell)
	if !ok {
		t, ok = stamp(cell)
	}
	switch {
	case !ok && len(cell) == 0:
		return 0, r.fail("time", "the cell is empty", "a time in each row: "+timeExample)
	case !ok && large(cell):
		return 0, r.fail("time", fmt.Sprintf("%.40q is no time in seconds (is it in milliseconds?)", cell), timeExample)
	case !ok:
		return 0, r.fail("time", fmt.Sprintf("%.40q is no time", cell), timeExample)
	}
	return t, nil
}

// large tells whether the cell begins like a number of more seconds than there are.
func large(b []byte) bool {
	n := 0
	for n < len(b) && b[n]-'0' < 10 {
		n++
	}
	return n >= 10 && (n == len(b) || b[n] == '.')
}

// seconds reads Unix seconds (decimals optional) exactly, and rounds half up to
// microseconds; float64 would carry a quarter of one.
func seconds(b []byte) (station.Instant, bool) {
	n := int64(0)
	i := 0
	for ; i < len(b) && b[i]-'0' < 10; i++ {
		if n = n*10 + int64(b[i]-'0'); n >= maxSeconds {
			return 0, false
		}
	}
	if i == 0 || i == len(b) {
		return station.Instant(n * station.Second), i > 0
	}
	if b[i] != '.' || i+1 == len(b) {
		return 0, false
	}
	us, scale := n*1e6, int64(1e6)
	for k, c := range b[i+1:] {
		if c -= '0'; c > 9 {
			return 0, false
		}
		switch {
		case k < 6:
			scale /= 10
			us += int64(c) * scale
		case k == 6 && c >= 5:
			us++
		}
	}
	return station.Instant(us * station.Microsecond), us < maxSeconds*1e6
}

// stamp reads RFC 3339 strictly, rounded half up to microseconds, from 1970 on.
func stamp(b []byte) (station.Instant, bool) {
	var t time.Time
	if len(b) > 64 || t.UnmarshalText(b) != nil {
		return 0, false
	}
	t = t.Round(time.Microsecond)
	if s := t.Unix(); s < 0 || s >= maxSeconds {
		return 0, false
	}
	return station.InstantOf(t), true
}
