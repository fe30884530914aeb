package access

import (
	"net/netip"
	"strings"
	"sync"
	"time"
)

// Throttle slows the guessing of passwords down without locking anybody else out. Failures are
// counted by pair: an account, and where it is tried from. The pair waits longer with each failure;
// the same account from elsewhere, or from a browser that has logged in to it before, waits for
// nothing. Besides, an address has a pace of its own over all accounts, from which such browsers
// are exempt.
type Throttle struct {
	mu        sync.Mutex
	pairs     map[string]*tries
	addresses buckets
}

type tries struct {
	failures int
	last     time.Time
}

const (
	freeTries = 3                // failures without a wait: a typing error or two
	firstWait = 2 * time.Second  // it doubles
	mostWait  = 15 * time.Minute // about a hundred guesses a day at one account
	forget    = 24 * time.Hour   // without a failure
	// mostTries bounds memory. At its pace an address needs hours to push another pair out.
	mostTries = 10_000
	// tryBurst and tryRate are an address's pace over all accounts: a shift that logs in behind one
	// address passes. Own choice, no source.
	tryBurst = 60
	tryRate  = 1.0 // a second
)

// Try returns how long the pair has to wait before a try is looked at, 0: not at all. What is looked
// at counts as a failure until Succeeded, so that tries at once are no way round. known says that
// the browser has logged in to the account before, and names it.
func (t *Throttle) Try(account, address, known string, now time.Time) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	key := pair(account, address, known)
	if x, ok := t.pairs[key]; ok {
		if wait := x.last.Add(delay(x.failures)).Sub(now); wait > 0 {
			return min(wait, mostWait)
		}
	}
	if known == "" {
		if t.addresses == nil {
			t.addresses = buckets{}
		}
		if wait := t.addresses.take(network(address), tryBurst, tryRate, now); wait > 0 {
			return wait
		}
	}
	t.failed(key, now)
	return 0
}

func (t *Throttle) failed(key string, now time.Time) {
	x := t.pairs[key]
	if x == nil || now.Sub(x.last) > forget {
		x = &tries{}
		if t.pairs == nil {
			t.pairs = map[string]*tries{}
		}
		makeRoom(t.pairs, func(x *tries) time.Time { return x.last })
		t.pairs[key] = x
	}
	x.failures, x.last = x.failures+1, now
}

// Succeeded forgets the pair's failures.
func (t *Throttle) Succeeded(account, address, known string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.pairs, pair(account, address, known))
}

// makeRoom removes the entry that was touched longest ago where a map is full.
func makeRoom[T any](m map[string]T, at func(T) time.Time) {
	if len(m) < mostTries {
		return
	}
	var oldest string
	for k, x := range m {
		if oldest == "" || at(x).Before(at(m[oldest])) {
			oldest = k
		}
	}
	delete(m, oldest)
}

// delay returns the wait after so many failures.
func delay(failures int) time.Duration {
	if failures <= freeTries {
		return 0
	}
	return min(firstWait<<min(failures-freeTries-1, 20), mostWait)
}

func pair(account, address, known string) string {
	account = digest(strings.ToLower(account)) // of one length, whatever was sent
	if known != "" {
		return account + " by " + digest(known)
	}
	return account + " at " + network(address)
}

// network returns the address that counts: of IPv6 the /64 that one holder has as a rule.
func network(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return digest(address)
	}
	if a = a.Unmap(); a.Is4() {
		return a.String()
	}
	p, _ := a.WithZone("").Prefix(64) // the length is right
	return p.String()
}
