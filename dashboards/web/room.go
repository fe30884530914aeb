package web

import "strokewise/analyzer/station"

// The fullest minute says what a station can do once it has worked for most of it.
const (
	atSetMost   = 54 * station.Second // of a minute, to be taken for one at set
	fullestFrom = 10                  // such minutes
)

// room tells how near a station came to what it has been seen to do: the mean delivery over
// minutes at set beside that of the fullest one. Charging and starved minutes deliver at a
// lower outlet pressure and say nothing of it. A booster that never had to work as hard as
// it can can do more, so the free capacity is a lower bound.
func room(minutes []station.Minute) []row {
	const load, free = "Mean against the fullest minute", "Reserve seen today" // not the engine's load and free capacity
	n, sum := 0, station.Microlitres(0)
	var top *station.Minute
	for i := range minutes {
		m := &minutes[i]
		if m.AirReason != "" || atSet(m) < atSetMost {
			continue
		}
		n++
		sum += m.Delivered
		if top == nil || m.Delivered > top.Delivered {
			top = m
		}
	}
	if n < fullestFrom {
		const why = "fewer than ten closed minutes in which it worked or stood at set throughout, since midnight"
		return []row{{Name: load, Why: why}, {Name: free, Why: why}}
	}
	if top.Delivered <= 0 {
		const why = "it delivered nothing in any minute at set since midnight"
		return []row{{Name: load, Why: why}, {Name: free, Why: why}}
	}
	mean, most := sum.CubicMetres()/float64(n), top.Delivered.CubicMetres()
	how := "mean over minutes at set beside the fullest one since midnight, " + number(most*1e3, 1) + " L/min ANR at " + clock(top.Start)
	return []row{
		{Name: load, Value: number(100*mean/most, 0), Unit: "%", How: how},
		{Name: free, Value: "at least " + number((most-mean)*1e3, 1), Unit: "L/min ANR", How: "more than the mean, seen at the outlet pressure and inlet of that minute; what it never had to deliver is not known"},
	}
}

// atSet is the time of a minute, ns, in which the piston worked or stood at set.
func atSet(m *station.Minute) int64 { return m.StateNs[station.Stroking] + m.StateNs[station.Holding] }
