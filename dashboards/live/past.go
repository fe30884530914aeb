package live

import (
	"sort"

	"strokewise/analyzer/station"
)

// Past takes strokes and states that were worked out behind what came in, in order of
// time. Those that are not older than all that is kept are left out, and so are the
// oldest where there is no room.
func (l *Live) Past(k station.Key, strokes []station.Stroke, intervals []station.Interval) {
	s := l.of(k)
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.strokes.kept) > 0 {
		first := s.strokes.at(0).At
		strokes = strokes[:sort.Search(len(strokes), func(i int) bool { return strokes[i].At >= first })]
	}
	s.strokes.before(strokes)
	if len(s.intervals.kept) > 0 {
		first := s.intervals.at(0).From
		intervals = intervals[:sort.Search(len(intervals), func(i int) bool { return intervals[i].To > first })]
	}
	s.intervals.before(intervals)
}

// Minutes fills the bins of the small lines that are still empty from minutes: what the
// history knows at the start.
func (l *Live) Minutes(k station.Key, minutes []station.Minute) {
	s := l.of(k)
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range minutes {
		m := &minutes[i]
		for t := m.Start; t < m.Start.Add(station.Minute60); t = t.Add(smallSpan) {
			s.lines[station.InletPressure].fill(t, float64(m.InletMean))
			s.lines[station.OutletPressure].fill(t, float64(m.OutletMean))
		}
		if end := m.Start.Add(station.Minute60 - 1); end > s.seeded {
			s.seeded = end
		}
	}
}
