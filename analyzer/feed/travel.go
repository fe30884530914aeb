package feed

import "strokewise/analyzer/station"

// Stroke handles the end of a stroke, or of a cycle where only cycles are told. hidden says that most
// of what strokes draw was not seen since the end before: the piston traveled at a slow pace, whose
// draw drowns in the noise. It is taken to go on until half an interval after the next end is due.
func (f *Follower) Stroke(at station.Instant, hidden bool) {
	before := f.EndAt
	if at <= before {
		return
	}
	f.EndAt = at
	took := at.Sub(before)
	if before == 0 || took > 2*station.SlowestStroke || !hidden {
		return
	}
	if f.Slow < at {
		f.SlowAt = max(before, f.Since)
	}
	f.Slow = at.Add(took * 3 / 2)
}

// DrewSinceEnd reports whether the inlet was seen to sag between the newest end and t.
func (f *Follower) DrewSinceEnd(t station.Instant) bool {
	from := f.EndAt.Add(FrameLen)
	if f.Rests {
		return f.Drew[0] && f.BreakAt < t && f.Since > from
	}
	return f.Drew[0] && f.BreakAt < t || f.Drew[1] && f.Before > from
}
