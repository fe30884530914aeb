package access

import (
	"sync"
	"time"
)

// Pace bounds how often each of many may do something.
type Pace struct {
	mu      sync.Mutex
	buckets buckets
}

// Orders at once, and then a second, of whoever is logged in or has a token. A mechanic with gloves acknowledges
// what a shift left within the first; a script goes on at the second. Own choice, no source.
const (
	orderBurst = 60
	orderRate  = 1.0
)

// Order returns how long who has to wait with an order, 0: not at all.
func (p *Pace) Order(who string, now time.Time) time.Duration {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.buckets == nil {
		p.buckets = buckets{}
	}
	return p.buckets.take(who, orderBurst, orderRate, now)
}

// buckets are permissions by who takes them.
type buckets map[string]*bucket

// bucket is what somebody has used and what is not refilled yet.
type bucket struct {
	used float64
	at   time.Time
}

// take uses up a permission, of which there are burst at once and rate a second, and returns how long to wait where
// there is none.
func (l buckets) take(who string, burst, rate float64, now time.Time) time.Duration {
	b := l[who]
	if b == nil {
		makeRoom(l, func(x *bucket) time.Time { return x.at })
		b = &bucket{at: now}
		l[who] = b
	}
	b.used, b.at = Refill(b.used, rate, b.at, now)
	if b.used+1 > burst {
		return time.Duration(float64(time.Second) / rate)
	}
	b.used++
	return 0
}

// clockBack is by how much a clock that was set back differs at least from requests that overtake each other.
const clockBack = time.Minute

// Refill returns what is left of the used permissions at now, when rate a second come back, and the time up to which they have.
// Times that come in another order, as those of requests at once do, bring none back twice; a clock that was set back goes on from there.
func Refill(used, rate float64, at, now time.Time) (float64, time.Time) {
	switch passed := now.Sub(at); {
	case passed > 0:
		return max(used-passed.Seconds()*rate, 0), now
	case passed < -clockBack:
		return used, now
	}
	return used, at
}
