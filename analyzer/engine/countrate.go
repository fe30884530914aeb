package engine

import (
	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

// countExcess states by how much the counter counts steadily faster than the plate lets expect.
func (e *Engine) countExcess(end station.Instant) {
	if end.Floor(station.Second) != end {
		return
	}
	g := &e.Est[station.CountExcess]
	if !e.Fuse.Seen {
		*g = station.Unknown(firstReasons[station.CountExcess])
		return
	}
	*g = station.Estimate{Value: e.Counter.Excess(), Method: station.MethodCounter, Confidence: 0.9, At: end}
}

func (e *Engine) excessInputs() []station.Input {
	h, n := &e.Counter.Held, 1.0
	if e.Counter.PerCycle {
		n = 2
	}
	out := []station.Input{plate("highest stroke rate", e.Plate.MaxRate, 60, "/min")}
	if e.Plate.MaxRate <= 0 {
		out = append(out, assumed("highest stroke rate in its place", 60*stroke.MaxRate, "/min", "common practice, no source"))
	}
	return append(out, words("counter", e.counterSays(), station.Measured),
		computed("limit, with what an unloaded piston is faster by", 60*n*e.Counter.Limit(), "/min"),
		measured("strokes counted over five seconds, the last time", 60*n*h.Rate, "/min"),
		measured("the most while the rate held", 60*n*h.Top, "/min"))
}
