package health_test

import (
	"errors"
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

func TestTheWorstOfSeveralSpeaks(t *testing.T) {
	r := health.New(time.Now)
	s := health.NewSeveral(r.Part("log", 0))
	s.Doubt("trim", errors.New("not trimmed"))
	s.Report("append", errors.New("no quorum"))
	s.Report("read", errors.New("no quorum")) // the same fault, seen twice
	if f := r.Failing(); len(f) != 1 || f[0].Reason != "no quorum" {
		t.Fatalf("got %+v, want the failures once", f)
	}
	s.Report("append", nil)
	s.Report("read", nil)
	if l := r.List(); l[0].Level != health.Doubtful || l[0].Reason != "not trimmed" {
		t.Fatalf("got %+v, want the doubt that is left", l)
	}
	s.Doubt("trim", nil)
	if l := r.List(); l[0].Level != health.Works || l[0].Reason != "" {
		t.Fatalf("got %+v, want a part that works", l)
	}
}

func TestRolesAndLooks(t *testing.T) {
	now := time.Unix(1e9, 0)
	r := health.New(func() time.Time { return now })
	export := r.Part("export", 0).As(health.Beside)
	r.Look(func() { export.Fails("away") })
	if f := r.Failing(health.Judges, health.Tells); len(f) != 0 {
		t.Fatalf("got %+v, want nothing of what stands beside", f)
	}
	if f := r.Failing(); len(f) != 1 || f[0].Role != health.Beside {
		t.Fatalf("got %+v, want the export", f)
	}
	w := r.Part("writer-1", 0)
	now = now.Add(time.Hour)
	r.Part("writer-1", time.Minute) // due from now on
	if f := r.Failing(health.Judges); len(f) != 0 {
		t.Fatalf("got %+v, want nothing: it was not due before", f)
	}
	r.Drop("writer-1")
	w.Fails("gone")
	if f := r.Failing(health.Judges); len(f) != 0 {
		t.Fatalf("got %+v of a part that was dropped", f)
	}
}
