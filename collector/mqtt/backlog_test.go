package mqtt

import (
	"testing"
	"time"
)

// reading steps a backlog through reads.
type reading struct {
	b   backlog
	now time.Time
}

// read lets busy pass on our side, then wait on the network.
func (r *reading) read(busy, wait time.Duration, owed int, settled time.Time) bool {
	start := r.now.Add(busy)
	r.now = start.Add(wait)
	return r.b.read(start, r.now, owed, settled)
}

func resumed(away time.Duration) *reading {
	r := &reading{b: backlog{bound: 2 * time.Minute}, now: time.Unix(1767225600, 0)}
	r.b.resumed(r.now, away)
	return r
}

const ms = time.Millisecond

func TestBacklogEndsAtAPauseOnlyIfNothingIsOwed(t *testing.T) {
	var zero time.Time
	r := resumed(time.Hour)
	if !r.read(0, ms, 0, zero) || !r.read(0, 249*ms, 0, zero) {
		t.Error("short waits end it")
	}
	if !r.read(0, 900*ms, 3, zero) {
		t.Error("a wait while messages are unacknowledged ends it")
	}
	if !r.read(0, 900*ms, 0, r.now.Add(700*ms)) {
		t.Error("a wait of 200 ms since the last acknowledgement ends it")
	}
	if r.read(0, 250*ms, 0, zero) || r.read(0, ms, 0, zero) {
		t.Error("a pause does not end it")
	}
}

func TestBacklogOfABusyPlantEnds(t *testing.T) {
	for _, c := range []struct{ away, want time.Duration }{
		{100 * ms, 5 * time.Second}, {20 * time.Second, 40 * time.Second}, {time.Hour, 2 * time.Minute}, {0, 2 * time.Minute},
	} {
		r := resumed(c.away)
		from := r.now
		for r.read(ms, 9*ms, 1, time.Time{}) {
			if r.now.Sub(from) > time.Hour {
				t.Fatalf("away %s: it never ends", c.away)
			}
		}
		if got := r.now.Sub(from); got != c.want {
			t.Errorf("away %s: it ends after %s, want %s", c.away, got, c.want)
		}
	}
}

func TestAStallBeginsABacklog(t *testing.T) {
	r := &reading{b: backlog{bound: 2 * time.Minute}, now: time.Unix(1767225600, 0)}
	if r.read(0, ms, 0, time.Time{}) || r.read(900*ms, ms, 0, time.Time{}) {
		t.Error("live messages are taken for backlog")
	}
	if !r.read(1500*ms, 0, 0, time.Time{}) {
		t.Error("what waited for a second and a half is taken for live")
	}
	if r.read(0, 300*ms, 0, time.Time{}) {
		t.Error("it does not end")
	}
}
