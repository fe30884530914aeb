// Package balance estimates what changes slowly at a station from balances of air. Each estimate
// has a covariance: a band is a covariance, and what is unobservable has none.
package balance

import (
	"math"

	"strokewise/analyzer/station"
)

// Line estimates the resistance of a supply line together with the header before it, which moves. Each
// cycle of strokes draws a known volume of air through the line (ISO 6358 at small sag):
//
//	integral sqrt(2 h (h - p1)) (1 - x/4) dt = k air,   k = sqrt(1-b)/C,   x = (h - p1)/(h (1-b))
//
// and a piston that stands shows the header h itself. k, h, the slope of h and the error that the air of
// successive cycles has in common are the state of one Kalman filter. So a run of strokes ties k to the
// error of the header that the rest before it predicts, and the rest behind it separates the two. Pressures
// are Pa absolute. Fields are exported for snapshots only.
type Line struct {
	Cells  cells
	Sensed sensed
	State  state
	Before resistance      // k as the last rest left it
	Anchor anchor          // the header as the last rest left it
	Off    off             // a rest that contradicts the course of the header
	Last   station.Instant // end of the newest cycle, or first sample
	Partly bool            // the first sample: what moves then began before
	Seen   station.Instant // up to which rests are taken
	Stood  station.Instant // of the newest stand that was told by the strokes alone
	Slew   float64         // mean square slope of the header at rest, (Pa/s)²
	Run    int             // cycles since the header was seen
	Odd    int             // cycles in a row that contradict the state
	Fit    float64         // mean square of the standardised innovations of cycles: 1 where the model is right
	Newest station.Instant // mean time of the newest cycle that was taken
}

// resistance is k, Pa s/m³ ANR, with its variance.
type resistance struct{ K, Var float64 }

const (
	// runIn and runOut are how many usual cycles the piston may move behind one cycle's end and before the
	// next, where it stands in between. Own choice: of a stand of that length a tenth of the usual flow passes
	// at most, with a hundredth of the sag.
	runIn, runOut = 2.0, 1.5
	// pending, ns, is how long the end of a stroke may go untold.
	pending = 2 * station.Second
	// unstood, ns: common practice, no source.
	unstood = 10 * station.Minute60
	// firstUsual is the time of a cycle while none is known, s: longer than one at full speed. Own choice.
	firstUsual = 2.0
)

// Sample takes a sample of the inlet, in order of time.
func (l *Line) Sample(t station.Instant, p float64) {
	if l.Last == 0 {
		l.Last, l.Partly = t, true
	}
	l.Cells.add(t, p)
}

// Header takes a reading of the header, of its own sensor in terms of the inlet's or of the inlet while the piston is
// seen to stand: the mean of n samples.
func (l *Line) Header(t station.Instant, p float64, n int) {
	l.Sensed.add(cellMean{t, p, float64(n)})
}

// Unstood reports whether the strokes alone have not told the piston to stand for ten minutes: a stand that the
// inlet shows is then better than none. It may be a slow stroke.
func (l *Line) Unstood(now station.Instant) bool { return now.Sub(l.Stood) > unstood }

// Headless reports whether nothing is known of the header.
func (l *Line) Headless() bool { return l.State.At == 0 && l.Sensed.N == 0 }

// Stand handles the time up to now, in which no cycle ended. usual is the time of a cycle at work, s, 0: unknown; noise
// is the standard deviation of a sample, Pa.
func (l *Line) Stand(now station.Instant, usual, noise float64) {
	if usual <= 0 {
		usual = firstUsual
	}
	if l.Last != 0 {
		l.rest(l.Last, now.Add(-max(pending, ns(runOut*usual))), usual, noise)
	}
}

// Cycle handles the end of a cycle, or of a stroke where those are counted, that drew air, m³ ANR.
func (l *Line) Cycle(at station.Instant, air, usual, noise float64) {
	from, partly := l.Last, l.Partly
	if from == 0 || at <= from {
		return
	}
	if usual <= 0 {
		usual = firstUsual
	}
	l.Last, l.Partly = at, false
	switch {
	case at.Sub(from) > ns((runIn+runOut)*usual):
		l.rest(from, at.Add(-ns(runOut*usual)), usual, noise)
	case !partly:
		l.drew(from, at, air, noise)
	}
}

// Break drops what is pending and the header, as at a gap or a closed supply. k stays.
func (l *Line) Break() {
	l.Last, l.Seen, l.State.At = 0, 0, 0
	l.Cells, l.Sensed, l.Off, l.Run, l.Odd = cells{}, sensed{}, off{}, 0, 0
}

// Conductance returns C/sqrt(1-b), m³/(s·Pa) ANR, with its relative standard deviation; false while
// nothing is known. Where the innovations of cycles are larger than the model explains, the deviation grows
// with them (the ratio of Birge, 1932).
func (l *Line) Conductance() (c, sd float64, ok bool) {
	k := l.State.X[resist]
	if k <= 0 {
		return 0, 0, false
	}
	return 1 / k, math.Sqrt(l.State.P[resist][resist]*max(1, l.Fit)) / k, true
}

// Kept returns what outlives an upgrade: C/sqrt(1-b), m³/(s·Pa) ANR, its relative standard deviation, and the mean
// square slope of the header, (Pa/s)²; zeros while nothing is known.
func (l *Line) Kept() (c, sd, slew float64) {
	c, sd, _ = l.Conductance()
	return c, sd, l.Slew
}

// Recall sets what Kept returned, where it is surer than what the line has shown since; a slew of 0 is not known.
func (l *Line) Recall(c, sd, slew float64) {
	if _, now, ok := l.Conductance(); ok && now <= sd {
		return
	}
	s, k := &l.State, 1/c
	s.X[resist], s.P[resist] = k, row{resist: sd * sd * k * k}
	for i := range s.P {
		if i != resist {
			s.P[i][resist] = 0
		}
	}
	l.Before, l.Fit = resistance{k, s.P[resist][resist]}, 1
	if slew > 0 {
		l.Slew = slew
	}
}

func ns(s float64) int64 { return int64(s * 1e9) }

func seconds(from, to station.Instant) float64 { return float64(to.Sub(from)) * 1e-9 }
