package rules

import (
	"reflect"
	"testing"

	"strokewise/analyzer/station"
)

// heard plays a station's inlet by the second and gives what its header hears.
func heard(change func(i int, s *station.Status)) (got []FeedChange, at []int) {
	g := newStage(station.Plate{Key: station.Key{Site: "north", Station: "press-4"}, Header: "west"})
	g.v.Feeds = func(f *Feed) {
		if f.Header != station.HeaderKey("north", "west") {
			panic("another header: " + f.Header.String())
		}
		got, at = append(got, f.Change), append(at, int(f.At.Sub(t0)/station.Second))
	}
	g.play(900, change)
	return got, at
}

func TestWhatAHeaderHearsOfAStation(t *testing.T) {
	from, to := 300, 600
	within := func(i int) bool { return i >= from && i < to }
	for name, c := range map[string]struct {
		change func(i int, s *station.Status)
		want   []FeedChange
	}{
		"as usual": {func(int, *station.Status) {}, []FeedChange{Fed}},
		"a header that swings by 14 %": {func(i int, s *station.Status) {
			s.Inlet = known(600e3 - 84e3*float64(i/60%2))
		}, []FeedChange{Fed}},
		"a fall by 16 %, and back": {func(i int, s *station.Status) {
			s.Inlet = known(600e3)
			if within(i) {
				s.Inlet = known(504e3)
			}
		}, []FeedChange{Fed, Fell, Back}},
		"one reading": {func(i int, s *station.Status) {
			s.Inlet = known(600e3)
			if i == from {
				s.Inlet = known(100e3)
			}
		}, []FeedChange{Fed}},
		"strokes, with the sag of its line": {func(i int, s *station.Status) {
			s.State, s.Inlet = station.Holding, known(600e3)
			if within(i) {
				s.State, s.Inlet = station.Stroking, known(465e3)
			}
			s.Estimates[station.SupplySag] = known(0.2)
		}, []FeedChange{Fed}},
		"the header gone: shut by the inlet": {func(i int, s *station.Status) {
			s.State, s.Inlet, s.ShutdownAt, s.ShutdownBy = station.Holding, known(600e3), 0, station.NoShutdown
			if within(i) {
				s.Inlet = known(5e3)
			}
			if i >= from+3 && i < to {
				s.State, s.ShutdownAt, s.ShutdownBy = station.Residual, t0.Add(int64(from)*station.Second), ByInlet
			}
		}, []FeedChange{Fed, Fell, Unfed, Fed, Back}},
		"its own valve": {func(i int, s *station.Status) {
			s.State, s.Inlet, s.ShutdownAt, s.ShutdownBy = station.Holding, known(600e3), 0, station.NoShutdown
			if within(i) {
				s.State, s.Inlet, s.ShutdownAt, s.ShutdownBy = station.Residual, known(5e3), t0.Add(int64(from)*station.Second), ByValve
			}
		}, []FeedChange{Fed, Unfed, Fed}},
		"blind, then fallen": {func(i int, s *station.Status) {
			s.State, s.Inlet = station.Holding, known(600e3)
			if within(i) {
				s.State, s.Inlet = station.Blind, station.Unknown("no reading")
			}
			if i >= to {
				s.Inlet = known(400e3)
			}
		}, []FeedChange{Fed, Fell}},
	} {
		if got, at := heard(c.change); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v at %v, want %v", name, got, at, c.want)
		}
	}
	if got, at := heard(func(i int, s *station.Status) {
		s.Inlet = known(600e3)
		if within(i) {
			s.Inlet = known(400e3)
		}
	}); !reflect.DeepEqual(at[1:], []int{from + 1, to + 4}) {
		t.Errorf("%v at %v: seen in the second second, back in the fifth", got, at)
	}
}
