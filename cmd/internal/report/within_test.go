package report

import (
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// What lies in a span: minutes by their beginning, states clipped, alarms by their raise, with
// the end of those raised in it even where it is later.
func TestWithin(t *testing.T) {
	min := func(n int64) station.Instant { return station.Instant(n * 60 * station.Second) }
	o := pipeline.Output{
		Minutes:   []station.Minute{{Start: min(1)}, {Start: min(2)}, {Start: min(3)}},
		Intervals: []station.Interval{{State: station.Holding, From: min(1), To: min(4)}},
		Strokes:   []station.Stroke{{At: min(1)}, {At: min(2)}, {At: min(3)}},
		Transitions: []rules.Transition{
			{Alarm: "a", To: rules.Unacknowledged, At: min(1)}, {Alarm: "b", To: rules.Unacknowledged, At: min(2)},
			{Alarm: "a", From: rules.Unacknowledged, To: rules.ReturnedUnacknowledged, At: min(2)},
			{Alarm: "b", From: rules.Unacknowledged, To: rules.ReturnedUnacknowledged, At: min(9)}},
	}
	w := Within(&o, min(2), min(3))
	if len(w.Minutes) != 1 || w.Minutes[0].Start != min(2) || len(w.Strokes) != 1 ||
		len(w.Intervals) != 1 || w.Intervals[0].From != min(2) || w.Intervals[0].To != min(3) {
		t.Errorf("%+v", w)
	}
	if as := alarms(w.Transitions, min(2), min(3)); len(as) != 1 || as[0].Alarm != "b" || as[0].Cleared == nil || *as[0].Cleared != min(9).String() {
		t.Errorf("%+v", as)
	}
	if w := Within(&o, 0, 0); len(w.Minutes) != 3 || w.Intervals[0] != o.Intervals[0] {
		t.Errorf("an open span leaves something out: %+v", w)
	}
}
