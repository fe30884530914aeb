package app

import (
	"sync"
	"time"
)

// Commands stay in the audit for ever, so a program that runs wild is slowed down: so many
// at once, which covers a plant that is acknowledged after a mass event, then so many a
// second.
const (
	commandBurst = 2000
	commandRate  = 10.0 // a second
)

// pace is a bucket of permissions that fills up with time.
type pace struct {
	mu   sync.Mutex
	used float64 // permissions given out and not yet refilled
	at   time.Time
}

// take tells whether one more may pass now.
func (p *pace) take(now time.Time) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if passed := now.Sub(p.at).Seconds(); passed > 0 {
		p.used = max(p.used-passed*commandRate, 0)
	}
	p.at = now
	if p.used+1 > commandBurst {
		return false
	}
	p.used++
	return true
}
