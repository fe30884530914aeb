package web

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/dashboards/live"
)

// minuteLines makes lines of minutes in order of time, bins of at least least ns: the
// inlet from its mean, the outlet from its mean up to its highest.
func minuteLines(minutes []station.Minute, least int64) (inlet, outlet live.Line) {
	step := (least + station.Minute60 - 1) / station.Minute60 * station.Minute60
	step = max(step, station.Minute60)
	inlet.Step, outlet.Step = step, step
	for i := range minutes {
		m := &minutes[i]
		at := m.Start.Floor(step)
		widen(&inlet, at, float32(m.InletMean), float32(m.InletMean))
		widen(&outlet, at, float32(m.OutletMean), float32(m.OutletMax))
	}
	inlet.Break()
	outlet.Break()
	return inlet, outlet
}

// widen adds a value to the line's newest bin, or a bin. A clock set back is drawn over
// what is there only from where it is new again.
func widen(l *live.Line, at station.Instant, low, high float32) {
	if math.IsNaN(float64(low)) || math.IsNaN(float64(high)) {
		return
	}
	n := l.Len()
	switch {
	case n > 0 && l.At[n-1] == at:
		l.Low[n-1], l.High[n-1] = min(l.Low[n-1], low), max(l.High[n-1], high)
	case n == 0 || at > l.At[n-1]:
		l.At, l.Low, l.High = append(l.At, at), append(l.Low, low), append(l.High, high)
	}
}

// follow puts b behind a; where they overlap b counts.
func follow(a, b live.Line) live.Line {
	if b.Len() == 0 {
		return a
	}
	n := a.Len()
	for n > 0 && a.At[n-1] >= b.At[0] {
		n--
	}
	return live.Line{Step: b.Step, At: append(a.At[:n:n], b.At...), Low: append(a.Low[:n:n], b.Low...), High: append(a.High[:n:n], b.High...)}
}

// coarser gives the states in at most most bins, each with the state that filled most of
// it; a list that is short enough stays as it is.
func coarser(list []station.Interval, from, to station.Instant, most int) []station.Interval {
	if len(list) <= most || to <= from {
		return list
	}
	width := to.Sub(from)/int64(most) + 1
	shares := make([][station.NumStates]int64, most)
	for _, v := range list {
		at, end := max(v.From, from), min(v.To, to)
		for at < end {
			b := at.Sub(from) / width
			next := min(end, from.Add((b+1)*width))
			shares[b][v.State%station.NumStates] += next.Sub(at)
			at = next
		}
	}
	var out []station.Interval
	for b := range shares {
		state, ns := station.State(0), int64(0)
		for s, n := range shares[b] {
			if n > ns {
				state, ns = station.State(s), n
			}
		}
		if ns == 0 {
			continue
		}
		begin, end := from.Add(int64(b)*width), min(to, from.Add(int64(b+1)*width))
		if n := len(out); n > 0 && out[n-1].State == state && out[n-1].To == begin {
			out[n-1].To = end
		} else {
			out = append(out, station.Interval{State: state, From: begin, To: end})
		}
	}
	return out
}
