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

// take takes a permission, of which there are burst at once and rate a second, and returns how long to wait where
// there is none.
func (l buckets) take(who string, burst, rate float64, now time.Time) time.Duration {
	b := l[who]
	if b == nil {
		makeRoom(l, func(x *bucket) time.Time { return x.at })
		b = &bucket{at: now}
		l[who] = b
	}
	if passed := now.Sub(b.at).Seconds(); passed > 0 {
		b.used = max(b.used-passed*rate, 0)
	}
	b.at = now
	if b.used+1 > burst {
		return time.Duration(float64(time.Second) / rate)
	}
	b.used++
	return 0
}
