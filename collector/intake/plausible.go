package intake

import (
	"fmt"
	"math"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Bounds of what can be true.
const (
	maxAhead    = 5 * 60 * station.Second
	lowestGauge = -110e3 // Pa: below vacuum
	highest     = 100e6  // Pa gauge
	largest     = 1 << 53
	// countsFrom is the pressure, Pa gauge, from which on a whole number without unit is taken for the raw
	// count of an analogue card. Pneumatic boosters end at 2 to 4 MPa; cards count to 4095, 27648, 32767
	// or 65535. Common practice, no source; a third more or less changes nothing where units are kPa.
	countsFrom  = 10e6
	lowestCount = 1000 // a negative number of so many is that of a card whose loop is open, -32768 mostly
)

// plausible refuses times that cannot be true.
func (w *way) plausible(b *station.Block, m *Message) *payload.Refusal {
	return w.times(b.Stamp, b.At(0), b.At(b.Len()-1), m)
}

// times refuses the first and the last time of samples where they cannot be true.
func (w *way) times(stamp station.Stamp, first, last station.Instant, m *Message) *payload.Refusal {
	if stamp == station.StampArrival {
		switch {
		case m.Retained:
			return &payload.Refusal{Reason: RetainedScalar, Detail: "a retained value without a time of its own may be of any age; publish it without the retain flag, or with its time"}
		case m.Backlog, m.Undated:
			return &payload.Refusal{Reason: StaleBacklog, Detail: "a value without a time of its own waited in the broker's queue; its time is not known. Send blocks with t0"}
		}
	}
	if last.Sub(m.Arrival) > maxAhead {
		return &payload.Refusal{Reason: TimeAhead, Detail: fmt.Sprintf("the device's time %s is more than 5 min ahead of ours; set its clock", last)}
	}
	if m.Arrival.Sub(first) > w.maxAge || first <= 0 {
		return &payload.Refusal{Reason: TimeTooOld, Detail: fmt.Sprintf("the device's time %s is older than %s; set its clock. If it is a buffer, set max_age of its topic in mqtt.topics; strokewise replay reads old data from a file", first, time.Duration(w.maxAge))}
	}
	return nil
}

// plausibleValue refuses a value that cannot be true. A pressure that came as a plain number came in
// units of unit Pa; else unit is 0.
func plausibleValue(c station.Channel, v, unit float64) *payload.Refusal {
	switch {
	case c.IsPressure() && unit > 0 && (v/unit <= -lowestCount || v > countsFrom) && whole(v/unit):
		return &payload.Refusal{Reason: RawCount, Detail: fmt.Sprintf("%.6g kPa gauge is no pressure of a boost station; if %.0f is the raw count of an analogue card, scale it with loop (or counts) and span in values, and if it is in another unit, set pressure_unit", v/1e3, v/unit)}
	case c.IsPressure() && (v < lowestGauge || v > highest):
		return &payload.Refusal{Reason: ImplausiblePressure, Detail: fmt.Sprintf("%.6g kPa gauge is no pressure of a boost station; check the unit and the wiring", v/1e3)}
	case c == station.Cycles && (v < 0 || v > largest || v != math.Trunc(v)):
		return &payload.Refusal{Reason: ImplausibleCount, Detail: fmt.Sprintf("%g is no count", v)}
	case c == station.SupplyOpen && v != 0 && v != 1:
		return &payload.Refusal{Reason: ImplausibleState, Detail: fmt.Sprintf("%g is neither 0 (closed) nor 1 (open)", v)}
	}
	return nil
}

// whole reports whether a number is as whole, and as small, as the count of a card: 16 bits with sign or
// without.
func whole(v float64) bool {
	return math.Abs(v-math.Round(v)) < 1e-6 && v >= math.MinInt16 && v <= math.MaxUint16
}
