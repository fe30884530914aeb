package main

import (
	"testing"
	"time"
)

func TestUntilTime(t *testing.T) {
	zone := time.FixedZone("plant", 3600)
	now := time.Date(2026, 3, 2, 14, 10, 0, 0, zone)
	for text, want := range map[string]time.Duration{
		"14:30": 20 * time.Minute, "14:10": 24 * time.Hour, "06:00": 15*time.Hour + 50*time.Minute, "2h": 2 * time.Hour, "90m": 90 * time.Minute,
	} {
		if d, err := untilTime(text, now); err != nil || d != want {
			t.Errorf("%s: %s, %v, want %s", text, d, err, want)
		}
	}
	for _, text := range []string{"", "25:00", "2", "-1h", "tomorrow"} {
		if d, err := untilTime(text, now); err == nil {
			t.Errorf("%q is taken for %s", text, d)
		}
	}
}
