package mqtt

import "time"

// Bounds of the backlog's end and beginning.
const (
	pause        = 250 * time.Millisecond // of a broker that has nothing more to send
	stall        = time.Second            // of our own reading, after which what waits is old
	shortestAway = 5 * time.Second
)

// backlog guesses whether messages come out of a queue, so that they may be older than
// their arrival says. MQTT has no mark for it. The rule:
//
//   - It begins when a connection resumes a session that the broker had kept, and when we
//     have read nothing for a second because the handler was busy (what was sent
//     meanwhile waited in the network).
//   - It ends when the broker has sent nothing for 250 ms although it owed us something at
//     no time in them: brokers hold a queue back while messages are unacknowledged, so such
//     a wait is no pause.
//   - A busy plant never pauses. So it also ends after twice the time for which we were
//     away, at least 5 s and at most the given bound, counting only time in which we read.
//     That holds where the queue drains at least 1.5 times as fast as it fills. After a
//     restart it is not known how long we were away; then the bound itself is taken.
//
// It errs towards backlog: only values without a time of their own are refused for it.
// Every method takes the time; not safe for concurrent use.
type backlog struct {
	bound time.Duration
	on    bool
	left  time.Duration // until it ends at the latest
	idle  time.Time     // since when the broker owes nothing and is silent
	last  time.Time     // when the last read ended
}

// resumed begins the backlog of a session that was kept, after an absence; unknown: 0.
func (b *backlog) resumed(now time.Time, away time.Duration) {
	if b.last = now; away <= 0 {
		away = b.bound
	}
	b.begin(now, away)
}

func (b *backlog) begin(now time.Time, away time.Duration) {
	b.on, b.idle = true, now
	b.left = min(max(2*away, shortestAway), b.bound)
}

// read tells that a read from the network ran from start to end and gave something;
// unacknowledged is the number of messages that waited for us at its end, settled when
// the last acknowledgement was written. It reports whether what was read is backlog.
func (b *backlog) read(start, end time.Time, unacknowledged int, settled time.Time) bool {
	busy := start.Sub(b.last)
	b.left -= min(busy, stall) + end.Sub(start)
	switch {
	case !b.last.IsZero() && busy >= stall:
		b.begin(end, max(busy, b.left/2))
	case b.on && (b.left <= 0 || unacknowledged == 0 && end.Sub(latest(b.idle, start, settled)) >= pause):
		b.on = false
	}
	b.idle, b.last = end, end
	return b.on
}

func latest(t time.Time, more ...time.Time) time.Time {
	for _, u := range more {
		if u.After(t) {
			t = u
		}
	}
	return t
}
