package mqtt

import (
	"sync"
	"time"
)

// backlog tells whether messages come out of the queue that the broker kept while we
// were away. MQTT does not mark them. After a resumed session all are taken as backlog
// until the stream pauses for longer than the broker needs to answer, or until its rate
// has fallen to half of its peak: a queue is drained at full speed.
type backlog struct {
	mu    sync.Mutex
	on    bool
	pause time.Duration
	last  time.Time
	from  time.Time // of the window in which messages are counted
	count int
	peak  float64 // messages a second
}

const (
	leastPause = 25 * time.Millisecond
	rateWindow = 2 * time.Second
)

// connected starts over: session tells whether the broker had kept our session, rtt is
// how long it took to answer.
func (b *backlog) connected(session bool, rtt time.Duration, now time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.on, b.pause = session, max(leastPause, 4*rtt)
	b.last, b.from, b.count, b.peak = now, now, 0, 0
}

// message tells whether a message that arrived now is backlog.
func (b *backlog) message(now time.Time) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.on {
		return false
	}
	idle := now.Sub(b.last)
	b.last = now
	b.count++
	if idle >= b.pause {
		b.on = false
		return false
	}
	if d := now.Sub(b.from); d >= rateWindow {
		rate := float64(b.count) / d.Seconds()
		if b.on = rate > b.peak/2; !b.on {
			return false
		}
		b.peak = max(b.peak, rate)
		b.from, b.count = now, 0
	}
	return true
}

// handled notes that the handler has returned: the time it took is no pause of the stream.
func (b *backlog) handled(now time.Time) {
	b.mu.Lock()
	b.last = now
	b.mu.Unlock()
}
