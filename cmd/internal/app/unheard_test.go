package app

import (
	"path/filepath"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// What the page of costs sums up says of how many minutes nothing is known: those of silences, closed and open, not those before the
// station was first heard, nor those that are not over.
func TestUsedCountsWhatWasNotHeard(t *testing.T) {
	s, err := history.Open(filepath.Join(t.TempDir(), "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	k := station.Key{Site: "s", Station: "p"}
	t0 := station.Instant(1767225600 * station.Second)
	at := func(minute int64) station.Instant { return t0.Add(minute * station.Minute60) }
	var ms []station.Minute
	add := func(from, to int64) {
		for m := from; m < to; m++ {
			ms = append(ms, station.Minute{Start: at(m), Covered: 60e9, StrokeMethod: station.MethodCounter})
		}
	}
	add(30, 90)   // first heard at half past
	add(400, 500) // after a silence of five hours and ten minutes
	if err := s.Commit(t.Context(), []history.Commit{{Position: 1, Stations: []history.StationMinutes{{Key: k, Minutes: ms, Gaps: []station.Gap{{From: at(90), To: at(400)}}}}}}); err != nil {
		t.Fatal(err)
	}
	h := hours{s}
	for _, c := range []struct {
		what          string
		from, to, now int64
		want          int64
	}{
		{"the hours behind the first: [60, 480) less those stored, 30 and 80", 0, 480, 485 + 10, 420 - 110},
		{"an hour that is not over", 420, 540, 500, 0},
		{"the same, and the one behind it, when all is silent", 420, 600, 700, 60*3 - 80},
		{"before the station was known", -6000, 0, 700, 0},
		{"from before to after", -6000, 60, 700, 0},
	} {
		list, err := s.Hours(t.Context(), k, at(c.from), at(c.to))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := h.unheard(t.Context(), k, list, at(c.from), at(c.to), at(c.now), nil); err != nil || got != c.want {
			t.Errorf("%s: %d minutes, want %d, %v", c.what, got, c.want, err)
		}
	}
	// long ago, so all hours are over
	sum, err := h.Used(t.Context(), k, at(0), at(480))
	if err != nil || sum.Airless != 310 || sum.Minutes != 60+80+310 {
		t.Errorf("%+v, %v", sum, err)
	}
	if used, lost, err := s.Strokes(t.Context(), k, at(0), at(480)); err != nil || used != 0 || lost != 310 {
		t.Errorf("%d strokes, %d minutes lost, want those of the gap, %v", used, lost, err)
	}
}
