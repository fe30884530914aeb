package pipeline_test

import (
	"math"
	"sort"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
)

// look is how closely the truth of a scene is watched, ns.
const look = 50 * station.Millisecond

// A moment is what is true of a virtual station at a time, besides whether its piston stands.
type moment struct {
	outlet     float64 // Pa gauge
	shut, vent bool
	strokes    int
	governed   bool // the governor is shut: the piston stands, or creeps on unseen
	lost       bool // the sensors are silent
}

// scene is what a virtual station is put through, and its truth.
type scene struct {
	spec   rig.Spec
	acts   []act
	end    float64 // s
	lose   [2]float64
	truth  []span // states, without gaps
	stills []station.Interval
	at     []moment // every look from rigStart
}

// span is a true state. A piston that creeps on behind a shut governor, or stands for less than
// shortStand, may be told either way: from From back to Creeps, and where Either is set.
type span struct {
	station.Interval
	Creeps station.Instant // since when the governor was shut before From
	Either bool
}

// shortStand is the longest stop, ns, that is no stall.
const shortStand = 2 * station.Second

// act changes the station at a time.
type act struct {
	at float64 // s
	do func(*rig.Station)
}

// sec gives the event time some seconds into a scene.
func sec(s float64) station.Instant { return rigStart.Add(int64(s * 1e9)) }

// until makes a fault that lasts from one second to another.
func until(k rig.Kind, level, from, to float64) rig.Fault {
	return rig.Fault{Kind: k, Level: level, From: sec(from), Until: sec(to)}
}

// play runs the scene through units, with and without the counter, and fills in its truth.
func (s *scene) play(units [2]*pipeline.Unit) {
	v := rig.New(s.spec, rigStart, 100)
	acts := s.acts
	var lost []station.Block
	for at := rigStart; at < sec(s.end); at = at.Add(look) {
		for len(acts) > 0 && sec(acts[0].at) <= at {
			acts[0].do(v)
			acts = acts[1:]
		}
		m := moment{lost: at >= sec(s.lose[0]) && at < sec(s.lose[1])}
		for _, f := range v.Faults {
			if f.At(at) == 0 {
				continue
			}
			m.shut = m.shut || f.Kind == rig.Shutdown || f.Kind == rig.Vented
			m.vent = m.vent || f.Kind == rig.Vented
		}
		blocks := v.Until(at.Add(look))
		_, m.outlet = v.Pressures()
		m.governed, m.strokes = v.Governed(), v.Truth().Strokes
		s.at = append(s.at, m)
		if m.lost {
			blocks = lost
		}
		for i, u := range units {
			var kept []station.Block
			for _, b := range blocks {
				if i == 0 || b.Channel != station.Cycles {
					kept = append(kept, b)
				}
			}
			if len(kept) > 0 {
				u.Samples(kept, at.Add(look))
			}
		}
		s.stills = append(s.stills, v.TakeStills()...)
	}
	if since, stands := v.StandsSince(); stands && sec(s.end).Sub(since) >= station.Second/2 {
		s.stills = append(s.stills, station.Interval{From: since, To: sec(s.end)})
	}
	for _, u := range units {
		u.Flush()
	}
	s.tell()
}

// tell makes states of moments and standing times, by pneumatics: a shut station is charged,
// vented or off by its outlet; one that is fed holds or starves while its piston stands, by the
// governor's limit, and works otherwise, charging while its outlet comes up from a low one.
func (s *scene) tell() {
	g := s.spec.Params.Governor
	set, limit := g.SetGauge, g.SetGauge-g.Hysteresis-5e3
	low, k := false, 0
	for i, m := range s.at {
		t := rigStart.Add(int64(i) * look)
		for k < len(s.stills) && s.stills[k].To <= t {
			k++
		}
		stands := k < len(s.stills) && s.stills[k].From <= t
		short := stands && s.stills[k].To.Sub(s.stills[k].From) < shortStand
		switch {
		case m.outlet < 0.6*set:
			low = true
		case m.outlet >= 0.95*set:
			low = false
		}
		st := station.Stroking
		switch {
		case m.lost:
			st = station.Blind
		case m.shut && m.outlet < 20e3:
			st = station.Off
		case m.vent:
			st = station.Venting
		case m.shut:
			st = station.Residual
		case stands && !short && m.outlet >= limit:
			st = station.Holding
		case stands && !short:
			st, low = station.Starved, false
		case low:
			st = station.Charging
		}
		s.append(st, t, !m.lost && !m.shut && !m.vent && (short || m.governed && !stands))
	}
	for i := range s.truth {
		v := &s.truth[i]
		if v.State.Working() && s.strokesIn(v) == 0 {
			v.Either = true // it crawls, without a stroke
		}
		v.Creeps = v.From
		if i > 0 && s.truth[i-1].Either {
			v.Creeps = s.truth[i-1].From
		}
	}
}

// strokesIn gives how many strokes ended within a span.
func (s *scene) strokesIn(v *span) int {
	i := int(v.From.Sub(rigStart) / look)
	return s.at[min(int(v.To.Sub(rigStart)/look), len(s.at)-1)].strokes - s.at[max(i-1, 0)].strokes
}

func (s *scene) append(st station.State, t station.Instant, either bool) {
	if n := len(s.truth); n > 0 && s.truth[n-1].State == st && s.truth[n-1].Either == either {
		s.truth[n-1].To = t.Add(look)
		return
	}
	s.truth = append(s.truth, span{Interval: station.Interval{State: st, From: t, To: t.Add(look)}, Either: either})
}

// bound is what became of the beginnings of a state, or of its seconds.
type bound struct {
	n    int
	errs []float64 // s, of those found
}

func (b *bound) add(err float64, found bool) {
	if b.n++; found {
		b.errs = append(b.errs, math.Abs(err))
	}
}

// within gives how many are right within a limit, s.
func (b *bound) within(limit float64) (n int) {
	for _, e := range b.errs {
		if e <= limit {
			n++
		}
	}
	return n
}

// typical gives the median and the greatest error, s.
func (b *bound) typical() (median, worst float64) {
	if len(b.errs) == 0 {
		return math.NaN(), math.NaN()
	}
	sort.Float64s(b.errs)
	return b.errs[len(b.errs)/2], b.errs[len(b.errs)-1]
}

// counts tells whether the beginning of a span is to be told: one of a second and more.
func (s *scene) counts(n int) bool {
	v := &s.truth[n]
	return n > 0 && !v.Either && s.truth[n-1].State != v.State && v.To.Sub(v.From) >= station.Second
}

// near finds the told beginning of a state nearest to its true one, s off; false beyond 10 s.
func near(told []station.Interval, v *span) (off float64, ok bool) {
	off = 10
	for _, x := range told {
		if x.State != v.State {
			continue
		}
		d := float64(x.From.Sub(v.From)) * 1e-9
		if x.From < v.From {
			d = math.Min(0, float64(x.From.Sub(v.Creeps))*1e-9)
		}
		if math.Abs(d) < math.Abs(off) {
			off, ok = d, true
		}
	}
	return off, ok
}

// covered gives the seconds of [from, to) that are told as a state.
func covered(list []station.Interval, st station.State, from, to station.Instant) float64 {
	sum := int64(0)
	for _, v := range list {
		if v.State == st {
			sum += max(0, min(v.To, to).Sub(max(v.From, from)))
		}
	}
	return float64(sum) * 1e-9
}

// justified gives the seconds of [from, to) that are truly a state, or may be told so.
func (s *scene) justified(st station.State, from, to station.Instant) float64 {
	sum := int64(0)
	for _, v := range s.truth {
		if v.State == st || v.Either {
			sum += max(0, min(v.To, to).Sub(max(v.From, from)))
		}
	}
	return float64(sum) * 1e-9
}
