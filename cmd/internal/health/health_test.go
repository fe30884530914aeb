package health_test

import (
	"testing"
	"time"

	"strokewise/cmd/internal/health"
)

func TestAPartThatFallsSilentFails(t *testing.T) {
	now := time.Unix(1e9, 0)
	r := health.New(func() time.Time { return now })
	p, other := r.Part("writer-3", 10*time.Second), r.Part("export", 0)
	p.Works()
	now = now.Add(10 * time.Second)
	if f := r.Failing(); len(f) != 0 {
		t.Fatalf("fails within its time: %+v", f)
	}
	now = now.Add(time.Second)
	f := r.Failing()
	if len(f) != 1 || f[0].Part != "writer-3" || !f[0].Since.Equal(now.Add(-time.Second)) {
		t.Fatalf("got %+v, want writer-3 since a second ago", f)
	}
	p.Works()
	other.Doubtful("%d entries lost", 3)
	if f := r.Failing(); len(f) != 0 {
		t.Fatalf("fails after it was heard again: %+v", f)
	}
	if l := r.List(); l[0].Part != "export" || l[0].Level != health.Doubtful || l[0].Reason != "3 entries lost" {
		t.Fatalf("got %+v, want export in doubt first", l)
	}
}

func TestSinceIsOfTheLevel(t *testing.T) {
	now := time.Unix(1e9, 0)
	r := health.New(func() time.Time { return now })
	p := r.Part("log", 0)
	p.Fails("away")
	began := now
	now = now.Add(time.Minute)
	p.Fails("still away")
	if s := r.Failing()[0]; !s.Since.Equal(began) || s.Reason != "still away" {
		t.Fatalf("got %+v, want since %v with the newest reason", s, began)
	}
	var none *health.Part
	none.Works() // reports to nobody
}
