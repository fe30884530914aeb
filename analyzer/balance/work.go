package balance

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// known is the share of a cycle's flow by which the header's course since the last rest may leave it
	// uncertain for k to be learned from it. Own choice. A header that is known less well tells nothing of the
	// line: it is followed by the line that is known. A third more or less admits strokes of some seconds more or less.
	known = 0.3
	// airSpread is the standard deviation of the air of a cycle about that of its neighbors, share of it:
	// ends are dated to a sample, sides differ. Own choice.
	airSpread = 0.05
	// unknownK is the variance of k before any cycle, in squares of what the first one tells. Own choice.
	unknownK = 25.0
	// changed is how many cycles in a row must contradict before the state gives way. Own choice.
	changed = 6
	// changeKnown is the share of a cycle's flow by which the header may then be uncertain for the line to
	// have changed, and not the header. Own choice.
	changeKnown = 0.1
	// fitKeep is the weight of a cycle in Fit: a memory of some minutes of work; fitMost bounds what one counts
	// for: one of eight standard deviations. Own choices.
	fitKeep, fitMost = 0.01, 64.0
)

// drew takes a cycle of work.
func (l *Line) drew(from, at station.Instant, air, noise float64) {
	s := &l.State
	mid := from.Add(at.Sub(from) / 2)
	l.sensed(mid, noise)
	if s.At == 0 || air <= 0 || mid <= s.At {
		return
	}
	s.predict(mid, l.Slew)
	d, ok := l.Cells.pulled(from, at, s.aim(), noise)
	if !ok {
		return
	}
	unsure := d.Slope * l.Anchor.sd(mid, l.Slew)
	if s.X[resist] == 0 && !l.first(&d, air, unsure) {
		return
	}
	l.Run++
	l.take(&d, air, unsure)
}

// first sets k from the first cycle, if the header is known at it.
func (l *Line) first(d *pull, air, unsure float64) bool {
	if unsure > known*d.I {
		return false
	}
	s := &l.State
	s.X[resist], l.Fit = d.I/air, 1
	s.P[resist][resist] = unknownK * s.X[resist] * s.X[resist]
	return true
}

// take updates the state by a cycle's pull. unsure is the deviation of it by the header's course since the
// last rest.
func (l *Line) take(d *pull, air, unsure float64) {
	s := &l.State
	k, more := s.X[resist], 1+s.X[bias]
	r := d.Var + math.Pow(airSpread*air*k, 2)
	h := row{resist: air * more, level: -d.Slope, bias: air * k}
	nu := d.I - air*k*more
	z := nu * nu / (s.variance(h) + r)
	l.Fit += fitKeep * (min(z, fitMost) - l.Fit)
	if z > contradicts*contradicts {
		l.contradicted(nu/air, nu/d.Slope, d.I > 0 && unsure < changeKnown*air*k)
		return
	}
	l.Odd, l.Newest = 0, s.At
	fresh := seconds(l.Anchor.At, s.At) < slopeLasts
	s.update(h, nu, r, fresh && unsure < known*air*(k+math.Sqrt(s.P[resist][resist])))
}

// contradicted handles a cycle that contradicts the state by dk of k or by dh Pa of the header. Several in
// a row show that the header moved. Where it is known, and none since the last rest agreed, the line changed.
func (l *Line) contradicted(dk, dh float64, headerKnown bool) {
	if l.Odd++; l.Odd < changed {
		return
	}
	fresh := l.Odd == l.Run
	l.Odd = 0
	if headerKnown && fresh {
		l.State.P[resist][resist] += dk * dk
	} else {
		l.State.P[level][level] += dh * dh
	}
}
