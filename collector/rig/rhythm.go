package rig

import (
	"math"
	"time"

	"strokewise/analyzer/station"
)

// Rhythm is what the consumers of a branch draw: pulses of a machine's cycle within
// shifts, less in breaks, varying from hour to hour.
type Rhythm struct {
	Flow    float64 // m³/s ANR while a pulse lasts
	Period  float64 // s from pulse to pulse
	Share   float64 // of the period, 0..1
	Base    float64 // m³/s ANR all the time while the shift works
	Vary    float64 // share by which the flow varies from stretch to stretch
	Shifts  []Hours // local time; none: always
	Zone    *time.Location
	CloseUp bool // the supply is closed between shifts
}

// Hours is a working time of day, as parts of the day in hours; weekdays only if told.
type Hours struct {
	From, To float64
	Weekdays bool
}

// stretch is how long the pace of production stays the same.
const stretch = 10 * 60 * station.Second

// works reports whether a shift works at t.
func (r *Rhythm) works(t station.Instant) bool {
	if len(r.Shifts) == 0 {
		return true
	}
	zone := r.Zone
	if zone == nil {
		zone = time.UTC
	}
	l := t.Time().In(zone)
	h := float64(l.Hour()) + float64(l.Minute())/60 + float64(l.Second())/3600
	for _, s := range r.Shifts {
		if s.Weekdays && (l.Weekday() == time.Saturday || l.Weekday() == time.Sunday) {
			continue
		}
		if h >= s.From && h < s.To {
			return true
		}
	}
	return false
}

// demand returns the flow at t, m³/s ANR. It depends on t and seed alone, so that any
// stretch of time can be worked out by itself.
func (r *Rhythm) demand(t station.Instant, seed uint64) float64 {
	if !r.works(t) {
		return 0
	}
	pace := 1 + r.Vary*(2*chance(seed, int64(t)/stretch)-1)
	q := r.Base * pace
	if r.Period > 0 {
		period := int64(r.Period / math.Max(pace, 0.2) * 1e9)
		if phase := float64(int64(t)%period) / float64(period); phase < r.Share {
			q += r.Flow
		}
	}
	return q
}

// chance returns a number in [0, 1) that depends on seed and n alone (the finaliser of
// splitmix64, public domain).
func chance(seed uint64, n int64) float64 {
	x := seed + uint64(n)*0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	x ^= x >> 31
	return float64(x>>11) / (1 << 53)
}
