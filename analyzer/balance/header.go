package balance

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// restLen, ns, is how much of a rest is taken at once. Own choice.
	restLen = station.Second / 2
	// firstSlew is the slope of a header before any is learned, Pa/s: a compressor's band of 30 kPa in
	// 100 s. Own choice. A third more or less changes weights alone.
	firstSlew = 300.0
	// slewKeep is the weight of a rest's half second in Slew: a memory of a minute; slewMost bounds what one
	// counts for, in squares of the usual slope. Own choices.
	slewKeep, slewMost = 0.01, 16.0
	// contradicts is how many standard deviations an innovation may have. Own choice: beyond it the header
	// moved as it usually does not, or the line changed.
	contradicts = 4.0
	// offLasts, ns, is how long a rest that contradicts waits for a second one. Own choice.
	offLasts = 2 * station.Second
)

// off is a rest's mean that contradicts the course of the header.
type off struct {
	At    station.Instant // 0: none
	P     float64
	Below bool
}

// anchor is the header as the last rest left it: variances of level and slope, their covariance.
type anchor struct {
	At       station.Instant
	H, HV, V float64
}

// sd returns the deviation of the header at a time by its course since the rest alone, Pa.
func (a *anchor) sd(at station.Instant, slew float64) float64 {
	c := course(seconds(a.At, at))
	return math.Sqrt(a.H + 2*c.ahead*a.HV + c.ahead*c.ahead*a.V + slew*c.level)
}

// rest takes the cells of a stand that began with the cycle's end last, up to a time.
func (l *Line) rest(last, to station.Instant, usual, noise float64) {
	l.sensed(to, noise)
	from := max(last.Add(ns(runIn*usual)), l.Seen)
	for to.Sub(from) >= restLen {
		next := from.Add(restLen)
		m, ok := l.Cells.mean(from, next)
		if l.Seen = next; ok {
			l.Stood = m.At
			l.header(&m, noise)
		}
		from = next
	}
}

// sensed takes the readings of the header up to a time.
func (l *Line) sensed(to station.Instant, noise float64) {
	for {
		m, ok := l.Sensed.next(to)
		if !ok {
			return
		}
		l.Seen = max(l.Seen, m.At.Add(restLen/2))
		l.header(&m, noise)
	}
}

// header takes a mean of the header.
func (l *Line) header(m *cellMean, noise float64) {
	s, v := &l.State, noise*noise/m.N
	if l.Slew == 0 {
		l.Slew = firstSlew * firstSlew
	}
	if s.At != 0 && m.At <= s.At {
		return
	}
	if s.At == 0 {
		s.begin(m.At, m.P, 0, v, l.Slew)
	} else if !l.follow(m, v) {
		return
	}
	l.Run, l.Odd = 0, 0
	l.Anchor = anchor{s.At, s.P[level][level], s.P[level][slope], s.P[slope][slope]}
	l.Before = resistance{s.X[resist], s.P[resist][resist]}
}

// follow carries the header on to a mean of variance v, and reports whether it is believed. A single one
// that contradicts may be the tail of a stroke. With a second one the header moved as no course tells, and
// what the run before ties to it is void.
func (l *Line) follow(m *cellMean, v float64) bool {
	s := &l.State
	s.predict(m.At, l.Slew)
	nu := m.P - s.X[level]
	switch below := nu < 0; {
	case nu*nu <= contradicts*contradicts*(s.P[level][level]+v):
		s.update(row{level: 1}, nu, v, true)
		l.Slew += slewKeep * (min(s.X[slope]*s.X[slope], slewMost*l.Slew) - l.Slew)
	case l.Off.At == 0 || m.At.Sub(l.Off.At) > offLasts || below != l.Off.Below:
		l.Off = off{m.At, m.P, below}
		return false
	case m.At.Sub(l.Off.At) < restLen/2: // as good as the same
		return false
	default:
		if l.Run > 0 {
			s.X[resist], s.P[resist] = l.Before.K, row{resist: l.Before.Var}
			s.P[bias][resist] = 0
		}
		dt := seconds(l.Off.At, m.At)
		s.begin(m.At, m.P, (m.P-l.Off.P)/dt, v, 2*v/(dt*dt)+l.Slew)
	}
	l.Off = off{}
	return true
}
