package mapping

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Time is where the time of values stands.
type Time struct {
	Arrival bool     // it is that of the arrival, whatever the payload says
	At      *Pointer // nil: as Arrival where the format has none of its own
	Unit    Unit

	optional bool // without it the time is that of the arrival
}

// Unit is the way a time is written.
type Unit uint8

// The ways. BySize tells s, ms, us and ns apart by their size, which leaves no doubt between the years
// 1973 and 5138, and reads texts as ISO 8601.
const (
	BySize Unit = iota
	Seconds
	Millis
	Micros
	Nanos
	ISO
	numUnits
)

var unitNames = [numUnits]string{"any", "s", "ms", "us", "ns", "iso8601"}

// UnitNames lists the names used in the configuration.
func UnitNames() []string { return append([]string(nil), unitNames[:]...) }

// ParseUnit finds a unit by its name.
func ParseUnit(name string) (Unit, bool) {
	for i, n := range unitNames {
		if n == name {
			return Unit(i), true
		}
	}
	return BySize, false
}

// perSecond is how many of a unit are a second.
var perSecond = [numUnits]float64{Seconds: 1, Millis: 1e3, Micros: 1e6, Nanos: 1e9}

// parse reads a time, rounded to microseconds.
func (u Unit) parse(v any) (station.Instant, *payload.Refusal) {
	switch x := v.(type) {
	case json.Number:
		return u.number(x.String())
	case string:
		x = strings.TrimSpace(x)
		if _, err := strconv.ParseFloat(x, 64); err == nil && u != ISO {
			return u.number(x)
		}
		if u != BySize && u != ISO {
			return 0, noTime("%.40q is no number of %s", x, unitNames[u])
		}
		return iso(x)
	}
	return 0, noTime("the time is %s", kind(v))
}

func (u Unit) number(text string) (station.Instant, *payload.Refusal) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || u == ISO {
		return 0, noTime("%.40q is no time of %s", text, unitNames[u])
	}
	if u == BySize {
		for u = Seconds; u < Nanos && math.Abs(v) >= 1e11*perSecond[u]; u++ {
		}
	}
	if whole, err := strconv.ParseInt(text, 10, 64); err == nil && u == Nanos {
		return station.Instant(whole).Floor(station.Microsecond), nil
	}
	t, ok := station.InstantOfSeconds(v / perSecond[u])
	if !ok {
		return 0, noTime("%.40q is no time in %s", text, unitNames[u])
	}
	return t, nil
}

// layouts are the forms of ISO 8601 that are read: extended and basic, with seconds, with a fraction
// after a point or a comma, with a zone.
var layouts = []string{
	"2006-01-02T15:04:05Z07:00", "2006-01-02T15:04:05Z0700", "2006-01-02T15:04:05Z07",
	"20060102T150405Z07:00", "20060102T150405Z0700", "20060102T150405Z07",
	"2006-01-02T15:04Z07:00", "2006-01-02T15:04Z0700",
}

// iso reads a date and time of ISO 8601. Without a zone it is no time: a plant's clock changes twice a
// year.
func iso(text string) (station.Instant, *payload.Refusal) {
	s := strings.ToUpper(strings.Replace(text, " ", "T", 1))
	for _, l := range layouts {
		if t, err := time.Parse(l, s); err == nil {
			if y := t.Year(); y < 1678 || y > 2261 {
				return 0, noTime("%.40q is beyond what a time can be", text)
			}
			return station.InstantOf(t.Round(time.Microsecond)), nil
		}
	}
	for _, l := range []string{"2006-01-02T15:04:05", "20060102T150405"} {
		if _, err := time.Parse(l, s); err == nil {
			return 0, noTime("%.40q says no zone; have it sent with Z or an offset such as +01:00", text)
		}
	}
	return 0, noTime("%.40q is no date and time of ISO 8601 such as 2026-01-01T00:00:00.25Z", text)
}

func noTime(format string, args ...any) *payload.Refusal {
	return payload.Refuse(payload.BadTime, "%s", fmt.Sprintf(format, args...))
}
