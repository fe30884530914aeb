package app

import (
	"math"
	"testing"
	"time"

	"strokewise/cmd/internal/health"
)

// A day of a plant: 1,000 messages in five minutes while it works, and a stray sender of 20 all day.
func TestRefusalsAreAShareOfTheUsualMessages(t *testing.T) {
	now := time.Unix(1e9, 0)
	reg := health.New(func() time.Time { return now })
	part := reg.Part("refused", 0)
	var r refusal
	var c counted
	level := func() health.Level { return reg.List()[0].Level }
	pass := func(d time.Duration, accepted, refused float64) { // messages a minute
		for range int(d / (15 * time.Second)) {
			now = now.Add(15 * time.Second)
			c.at = now
			c.accepted += int64(accepted / 4)
			c.refused += int64(refused / 4)
			r.step(c)
			r.report(part)
		}
	}
	pass(8*time.Hour, 200, 4)
	if got := r.ratio(); level() != health.Works || math.Abs(got-4.0/204) > 1e-3 {
		t.Fatalf("at work: %v, share %v, want works and 4/204", level(), got)
	}
	pass(14*time.Hour, 0, 4) // the night: the sensors are off, the stray sender is not
	if got := r.ratio(); level() != health.Works || math.Abs(got-20.0/1000) > 2e-3 {
		t.Fatalf("at night: %v, share %v, want works and 20 of the usual 1,000", level(), got)
	}
	pass(time.Hour, 160, 40) // a gateway with a fifth of the sensors is set up wrongly
	if got := r.ratio(); level() != health.Doubtful || math.Abs(got-0.2) > 0.01 {
		t.Fatalf("a fifth: %v, share %v, want doubtful and 0.2", level(), got)
	}
	pass(10*time.Minute, 0, 200)
	if got := r.ratio(); level() != health.Fails || got < 0.99 {
		t.Fatalf("all refused: %v, share %v, want fails and 1", level(), got)
	}
	pass(10*time.Minute, 200, 0)
	if level() != health.Works {
		t.Fatalf("mended: %v, want works", level())
	}
}

func TestFewMessagesTellNothing(t *testing.T) {
	now := time.Unix(1e9, 0)
	reg := health.New(func() time.Time { return now })
	part := reg.Part("refused", 0)
	var r refusal
	r.step(counted{at: now})
	r.step(counted{at: now.Add(time.Minute), refused: refusalLeast - 1})
	r.report(part)
	if got := reg.List()[0].Level; got != health.Works || !math.IsNaN(r.ratio()) {
		t.Fatalf("got %v and %v of nine messages, want works and unknown", got, r.ratio())
	}
	r.step(counted{at: now.Add(2 * time.Minute), refused: refusalLeast})
	r.report(part)
	if got := reg.List()[0].Level; got != health.Fails || r.ratio() != 1 {
		t.Fatalf("got %v and %v of ten, want fails and 1: nothing was ever accepted", got, r.ratio())
	}
}
