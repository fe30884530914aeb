package samplelog

import (
	"errors"
	"log/slog"
	"sync"
	"testing"
	"time"
)

// twoClocks are a machine's clocks that a test moves.
type twoClocks struct {
	mu         sync.Mutex
	mono, wall time.Duration // ahead of the machine's own
}

func (c *twoClocks) now() moment {
	c.mu.Lock()
	defer c.mu.Unlock()
	t := time.Now()
	return moment{t.Add(c.mono), t.Round(0).Add(c.wall)}
}

func (c *twoClocks) move(mono, wall time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.mono, c.wall = c.mono+mono, c.wall+wall
}

// still is a lease that nobody renews, asked for by the clocks just now.
func still(c *twoClocks) *lease {
	return &lease{ttl: leaseTTL, now: c.now, asked: c.now(), gone: make(chan struct{}), log: slog.New(slog.DiscardHandler)}
}

// What a holder knows by its clocks alone. A process that is stopped for 30 s has a monotonic
// clock that ran on; on a machine that slept it stood, and the wall clock ran on
// (clock_gettime(2), CLOCK_MONOTONIC). A wall clock that is set back proves nothing.
func TestALeaseIsInDoubtByEitherClock(t *testing.T) {
	for _, x := range []struct {
		what       string
		mono, wall time.Duration
		want       error
	}{
		{"nothing happens", 0, 0, nil},
		{"just renewed", leaseTTL - time.Second, leaseTTL - time.Second, nil},
		{"stopped for 30 s", 30 * time.Second, 30 * time.Second, ErrDoubt},
		{"slept for 30 s", 0, 30 * time.Second, ErrDoubt},
		{"stopped for 30 s, clock set back by an hour", 30 * time.Second, -time.Hour, ErrDoubt},
		{"clock set back by an hour", 0, -time.Hour, nil},
	} {
		var c twoClocks
		l := still(&c)
		c.move(x.mono, x.wall)
		if err := l.holds(); !errors.Is(err, x.want) {
			t.Errorf("%s: %v, want %v", x.what, err, x.want)
		}
	}
}

// shared opens a log at a server of its own, with clocks that can be moved.
func shared(t *testing.T, url string, ttl time.Duration) (*JetStream, *twoClocks) {
	t.Helper()
	c := new(twoClocks)
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, LeaseTTL: ttl, clocks: c.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { j.Close() })
	return j, c
}

// The first thing that a holder knows after it was stopped is that it may not speak, before any
// answer of a server. Where nobody took over it speaks again.
func TestAHolderThatWasStoppedDoesNotSpeak(t *testing.T) {
	j, clock := shared(t, startCluster(t, 1).url(), time.Hour)
	if err := j.Speaks(); err != nil {
		t.Fatal(err)
	}
	clock.move(2*time.Hour, 2*time.Hour)
	if err := j.Speaks(); !errors.Is(err, ErrDoubt) {
		t.Fatalf("stopped for two hours, it may speak: %v", err)
	}
	until(t, "the right to speak again", func() bool { return j.Speaks() == nil })
}

// A lease that somebody else has held meanwhile is lost, though it is free now: what the other one
// has told must not be told again.
func TestALeaseThatAnotherHeldMeanwhileIsLost(t *testing.T) {
	url := startCluster(t, 1).url()
	first, clock := shared(t, url, time.Hour)
	first.lease.stop() // as if stopped by a debugger: it renews no more
	<-first.lease.done
	if err := first.lease.kv.Delete(t.Context(), leaseKey); err != nil { // its time is over
		t.Fatal(err)
	}
	second, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, LeaseTTL: time.Hour})
	if err != nil {
		t.Fatal(err)
	}
	if err := second.SetTold(t.Context(), []byte("second")); err != nil {
		t.Fatal(err)
	}
	if err := second.Close(); err != nil { // gives the lease free
		t.Fatal(err)
	}
	clock.move(2*time.Hour, 2*time.Hour)
	first.lease.done = make(chan struct{})
	first.lease.begin(t.Context())
	select {
	case <-first.Lost():
	case <-time.After(patience):
		t.Fatal("the first holder does not notice")
	}
	if err := first.Speaks(); !errors.Is(err, ErrLease) {
		t.Errorf("it may speak: %v", err)
	}
	if err := first.SetTold(t.Context(), []byte("first")); !errors.Is(err, ErrLease) {
		t.Errorf("it notes what it told: %v", err)
	}
	third, _ := shared(t, url, time.Hour)
	if string(third.Told()) != "second" {
		t.Errorf("the next one reads %q", third.Told())
	}
}

// The lease of an embedded log may be in doubt while the machine is busy or its disk full. The
// folder is locked, so nobody else speaks.
func TestAnEmbeddedLogSpeaksByItsLock(t *testing.T) {
	c := new(twoClocks)
	j, err := Open(t.Context(), Options{Dir: t.TempDir(), LeaseTTL: time.Hour, clocks: c.now})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	j.lease.stop()
	<-j.lease.done
	c.move(2*time.Hour, 2*time.Hour)
	if _, err := j.Append(t.Context(), 0, tick(1)); !errors.Is(err, ErrDoubt) {
		t.Errorf("appending gives %v", err)
	}
	if err := j.Speaks(); err != nil {
		t.Errorf("it does not speak: %v", err)
	}
}

// Two plants share a server: neither reads what is the other's, nor waits for its lease.
func TestPrefixesKeepLogsApart(t *testing.T) {
	url := startCluster(t, 1).url()
	var logs []*JetStream
	for _, p := range []string{"", "plant-a", "plant-b"} {
		j, err := Open(t.Context(), Options{Dir: t.TempDir(), URL: url, Prefix: p})
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		logs = append(logs, j)
	}
	for i, j := range logs {
		mustAppend(t, j, 0, i+1)
	}
	for i, j := range logs {
		if got, _ := read(t, j, 0, 0, 1); got[0] != i+1 {
			t.Errorf("log %d holds %v", i, got)
		}
		s, err := j.Size(t.Context())
		if err != nil || s.Last != 1 {
			t.Errorf("log %d ends at %d: %v", i, s.Last, err)
		}
	}
}
