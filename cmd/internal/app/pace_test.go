package app

import (
	"testing"
	"time"
)

func TestPace(t *testing.T) {
	var p pace
	now := time.Unix(1767225600, 0)
	pass := func(n int) (passed int) {
		for range n {
			if p.take(now) {
				passed++
			}
		}
		return passed
	}
	if n := pass(3000); n != commandBurst {
		t.Errorf("%d pass at once", n)
	}
	now = now.Add(time.Second)
	if n := pass(100); n != 10 {
		t.Errorf("%d pass a second later", n)
	}
	now = now.Add(-time.Hour) // our clock may be set back
	if n := pass(100); n != 0 {
		t.Errorf("%d pass with the clock set back", n)
	}
	now = now.Add(24 * time.Hour)
	if n := pass(3000); n != commandBurst {
		t.Errorf("%d pass a day later", n)
	}
}
