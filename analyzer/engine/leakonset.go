package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/signal"
	"strokewise/analyzer/station"
)

const (
	pastMost  = 32
	pastEvery = 15 * station.Minute60
	trendLeft = 2 * 60 * station.Minute60 // span from which a trend is stated
	trendFew  = 6
	onsetFew  = 4
	onsetRel  = 0.25 // least change of the conductance, share of the earlier one
)

// leakPast is the history of a station's leak, thinned: the older half is halved where it is
// full, so that it reaches far back in few points. Fields are exported for snapshots only.
type leakPast struct {
	Points [pastMost]leakPoint
	N      int
	Taken  station.Instant // At of the leak figure that was last taken
	Onset  station.Instant // of the first point since the leak is larger, 0: unknown
}

// leakPoint is a leak figure: conductance and standard error, m³/(s·Pa).
type leakPoint struct {
	At     station.Instant // end of its window
	C, Err float32
}

// leakMinute takes what a finished minute tells of the leak.
func (e *Engine) leakMinute(m *station.Minute) {
	e.floorMinute(m)
	g := &e.Mix.Joined
	if !g.Known() || g.At == e.Past.Taken {
		return
	}
	e.Past.Taken = g.At
	e.Past.add(leakPoint{At: g.At, C: float32(g.Value), Err: float32(spread(g, g.At))})
	e.leakOnset(m.Start.Add(station.Minute60))
	e.leakTrend(m.Start.Add(station.Minute60))
}

// add appends a point, or replaces the newest while that is within a quarter of an hour of
// the one before it.
func (h *leakPast) add(p leakPoint) {
	if h.N >= 2 && p.At.Sub(h.Points[h.N-2].At) < pastEvery {
		h.Points[h.N-1] = p
		return
	}
	if h.N == pastMost {
		h.thin()
	}
	h.Points[h.N] = p
	h.N++
}

// thin drops every second point of the older half, and keeps the first.
func (h *leakPast) thin() {
	k := 1
	for i := 2; i < h.N; i++ {
		if i >= pastMost/2 || i%2 == 0 {
			h.Points[k] = h.Points[i]
			k++
		}
	}
	h.N = k
}

// drop forgets the first n points.
func (h *leakPast) drop(n int) {
	copy(h.Points[:], h.Points[n:h.N])
	h.N -= n
}

// series gives times (s since the first), conductances and standard errors.
func (h *leakPast) series(t, c, s *[pastMost]float64) (ts, cs, ss []float64) {
	for i := range h.N {
		p := &h.Points[i]
		t[i], c[i], s[i] = float64(p.At.Sub(h.Points[0].At))*1e-9, float64(p.C), float64(p.Err)
	}
	return t[:h.N], c[:h.N], s[:h.N]
}

// leakOnset states since when the leak is larger than before. What lies before a fall, a
// leak that was mended, is forgotten.
func (e *Engine) leakOnset(at station.Instant) {
	h := &e.Past
	var t, c, s [pastMost]float64
	ts, cs, ss := h.series(&t, &c, &s)
	was := h.since(h.Onset)
	h.Onset = 0
	if h.N < onsetFew || ts[h.N-1] < 3600 {
		e.Est[station.LeakOnset] = station.Unknown(firstReasons[station.LeakOnset])
		return
	}
	if o, ok := changed(ts[was:], cs[was:], ss[was:]); ok && o.After < o.Before {
		h.drop(was + o.Index)
		e.Est[station.LeakOnset] = station.Unknown("the leak has become smaller")
		return
	}
	o, ok := changed(ts, cs, ss)
	least := 0.0
	if e.Plate.TankVolume > 0 {
		least = air.DetectionLimit * e.Plate.TankVolume / float64(air.P0ANR)
	}
	if !ok || o.After-o.Before < max(onsetRel*o.Before, least) {
		e.Est[station.LeakOnset] = station.Unknown("the leak has not changed since it is watched")
		return
	}
	h.Onset = h.Points[o.Index].At
	unix := func(s float64) float64 { return float64(h.Points[0].At)*1e-9 + s }
	e.Est[station.LeakOnset] = station.Estimate{Value: unix(o.At), Low: unix(o.Low), High: unix(o.High),
		Method: station.MethodTrend, Confidence: 0.6, From: h.Points[0].At, At: at}
}

// changed finds the change of a series. Two figures must stand on the new level: one may be
// wrong.
func changed(t, c, s []float64) (signal.Onset, bool) {
	if len(t) < onsetFew {
		return signal.Onset{}, false
	}
	o, ok := signal.FindOnset(t, c, s)
	return o, ok && math.Abs(c[len(c)-2]-o.Before) > math.Abs(o.After-o.Before)/2
}

// since gives the index of the first point at or after a time, 0 where there is none.
func (h *leakPast) since(at station.Instant) int {
	for i := range h.N {
		if at != 0 && h.Points[i].At >= at {
			return i
		}
	}
	return 0
}

// leakTrend states by how much the leak grows, at the operating pressure: Sen's slope with
// its 90 % band, since the onset where there is one.
func (e *Engine) leakTrend(at station.Instant) {
	h := &e.Past
	var t, c, s [pastMost]float64
	ts, cs, _ := h.series(&t, &c, &s)
	k := h.since(h.Onset)
	ts, cs = ts[k:], cs[k:]
	if len(ts) < trendFew || ts[len(ts)-1]-ts[0] < float64(trendLeft)*1e-9 {
		e.Est[station.LeakTrend] = station.Unknown(firstReasons[station.LeakTrend])
		return
	}
	sen, ok := signal.Sen(ts, cs, nil, 1)
	if !ok {
		return
	}
	p := e.operating()
	e.Basis.Growth = p
	p *= e.airTemperature().Root() // the flow of a conductance of 1
	e.Est[station.LeakTrend] = station.Estimate{Value: sen.Value * p, Low: sen.Low * p, High: sen.High * p,
		Method: station.MethodTrend, Confidence: 0.6, From: h.Points[k].At, At: at}
}
