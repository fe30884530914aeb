package report

import (
	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// Within gives what of an output lies in [from, to); a zero instant is open. Minutes count
// by their beginning, states are clipped. Alarms' transitions are all kept: Raised says which
// of them are shown.
func Within(o *pipeline.Output, from, to station.Instant) pipeline.Output {
	in := func(t station.Instant) bool { return t >= from && (to == 0 || t < to) }
	out := pipeline.Output{Transitions: o.Transitions}
	for i := range o.Minutes {
		if in(o.Minutes[i].Start) {
			out.Minutes = append(out.Minutes, o.Minutes[i])
		}
	}
	for _, g := range o.Gaps {
		// whole minutes that begin in the span
		if g = g.Within(from.Add(station.Minute60-1).Floor(station.Minute60), to.Add(station.Minute60-1).Floor(station.Minute60)); g.To > g.From {
			out.Gaps = append(out.Gaps, g)
		}
	}
	for _, v := range o.Intervals {
		if v.From = max(v.From, from); to != 0 {
			v.To = min(v.To, to)
		}
		if v.To > v.From {
			out.Intervals = append(out.Intervals, v)
		}
	}
	for _, s := range o.Strokes {
		if in(s.At) {
			out.Strokes = append(out.Strokes, s)
		}
	}
	return out
}

// Change is an alarm as two catalogues raise it: "as before", "new", or "no longer".
type Change struct {
	Alarm string      `json:"alarm"`
	Kind  string      `json:"kind"`
	Was   *Occurrence `json:"was"`
	Is    *Occurrence `json:"is"`
}

// Occurrence is one raise of an alarm.
type Occurrence struct {
	Raised string  `json:"raised"`
	Ended  *string `json:"ended"`
}
