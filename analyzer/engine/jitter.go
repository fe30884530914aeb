package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	jitterEvery = 8 * station.Second // between looks
	unevenGap   = 0.05               // of the usual step by which a time is off a regular grid
	jittery     = 0.5                // share of such samples that says: stamped on arrival
)

// jitter tells times of a sensor's clock, which are regular, from times of arrival: what a
// network delays comes at uneven times, and a stroke's end is only as sure as they are.
// Fields are exported for snapshots only.
type jitter struct {
	Share float64 // of samples whose times are off a regular grid
	Known bool
}

// look takes the last samples of a trace; n came in this slot.
func (j *jitter) look(d *stroke.Trace, n int, end station.Instant) {
	if n < fewSamples || int64(end)%jitterEvery != 0 || d.Step <= 0 || d.N-d.From <= int64(n) {
		return
	}
	off := 0
	for i := d.N - int64(n); i < d.N; i++ {
		steps := float64(d.Gap(i)) * 1e-9 / d.Step // lost samples leave whole steps
		if math.Abs(steps-max(1, math.Round(steps))) > unevenGap {
			off++
		}
	}
	share := float64(off) / float64(n)
	if !j.Known {
		j.Share, j.Known = share, true
	}
	j.Share += 0.2 * (share - j.Share)
}

// timing gives how much of a confidence is left that rests on the times of samples.
func (e *Engine) timing() float64 {
	if e.Jitter.Share > jittery {
		return 0.6
	}
	return 1
}
