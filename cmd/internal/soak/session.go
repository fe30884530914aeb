package soak

import (
	"fmt"
	"slices"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
)

// session is a stretch of readings of one station, rendered once and published again and again at
// other times. Its blocks begin at time 0 and its counter at 0.
type session struct {
	blocks []station.Block
	cycles float64 // counted from its first reading to its last
}

// variants is how many sessions differ in their consumers and their noise. Stations take them in
// turn, another one each day.
const variants = 8

// rate is how many samples a second the sensors take. The counter is read as often.
const rate = 5

// render returns session number n of so many s: a charged station feeds consumers that draw a third
// of the time.
func render(n int, seconds int64) (session, error) {
	specs, err := rig.Plant(0)
	if err != nil {
		return session{}, fmt.Errorf("cannot make the virtual station: %w", err)
	}
	spec, err := rig.Find(specs, "press-4")
	if err != nil {
		return session{}, fmt.Errorf("cannot make the virtual station: %w", err)
	}
	spec.Seed += uint64(n)
	spec.Rhythm = rig.Rhythm{Flow: 6e-3, Period: 20 + float64(n), Share: 0.3, Zone: time.UTC}
	spec.Sensors.Rate, spec.Sensors.Counter, spec.Sensors.CountHz, spec.Sensors.Counts = rate, true, 0, station.CountsCycles
	spec.Faults = nil
	const begin = station.Instant(1000 * 3600 * station.Second) // of the rig's own time, which must not be 0
	var out session
	for _, b := range rig.New(spec, begin, 0).Until(begin.Add(seconds * station.Second)) {
		if b.Len() == 0 {
			continue
		}
		b.Start, b.Values, b.Times = b.Start-begin, slices.Clone(b.Values), slices.Clone(b.Times)
		for k := range b.Times {
			b.Times[k] -= begin
		}
		if b.Channel == station.Cycles {
			v := b.Values
			first := v[0]
			for k := range v {
				v[k] -= first
			}
			out.cycles = max(out.cycles, v[len(v)-1])
		}
		out.blocks = append(out.blocks, b)
	}
	return out, nil
}

// at returns the session's readings from a time on, of a counter that stands at count.
func (s *session) at(start station.Instant, count float64) []station.Block {
	out := make([]station.Block, len(s.blocks))
	for i, b := range s.blocks {
		b.Start = b.Start.Add(int64(start))
		if b.Times != nil {
			b.Times = slices.Clone(b.Times)
			for k := range b.Times {
				b.Times[k] = b.Times[k].Add(int64(start))
			}
		}
		if b.Channel == station.Cycles {
			b.Values = slices.Clone(b.Values)
			for k := range b.Values {
				b.Values[k] += count
			}
		}
		out[i] = b
	}
	return out
}
