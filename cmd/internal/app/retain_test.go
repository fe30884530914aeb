package app

import (
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// What is older than is to be kept goes while the program runs; hours stay longer.
func TestOldMinutesAreDeleted(t *testing.T) {
	o := options(t, peers.Mosquitto(t).Addr, "press-4")
	o.History = Retention{Minutes: 48 * time.Hour}
	o.Every.Retain = 20 * time.Millisecond
	a, stop := running(t, o)
	defer stop()
	k := station.Key{Site: playback.Site, Station: "press-4"}
	now := station.InstantOf(time.Now()).Floor(station.Minute60)
	var ms []station.Minute
	for _, hours := range []int64{6 * 365 * 24, 100, 60, 30, 1} {
		ms = append(ms, station.Minute{Start: now.Add(-hours * 60 * station.Minute60), Covered: station.Minute60, Strokes: hours})
	}
	if err := a.store.Import(t.Context(), history.StationMinutes{Key: k, Minutes: ms}); err != nil {
		t.Fatal(err)
	}
	waitFor(t, "deletion", func() bool {
		left, err := a.store.Minutes(t.Context(), k, 0, now+1)
		if err != nil {
			t.Fatal(err)
		}
		hours, err := a.store.Hours(t.Context(), k, 0, now+1)
		if err != nil {
			t.Fatal(err)
		}
		if len(left) < 2 || len(hours) < 4 {
			t.Fatalf("%d minutes and %d hours are left", len(left), len(hours))
		}
		return len(left) == 2 && left[0].Strokes == 30 && len(hours) == 4 && hours[0].Strokes == 100
	})
}
