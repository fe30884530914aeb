package api

import (
	"math"

	"strokewise/analyzer/station"
)

// known returns a number, nil where it is none.
func known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// litres returns a volume in litres, each of them scale at the reference that is chosen.
func litres(v station.Microlitres, scale float64) *float64 { return known(float64(v) / 1e6 * scale) }

// seconds returns a time in seconds.
func seconds(ns int64) float64 { return float64(ns) / 1e9 }

// moment returns a time in words of RFC 3339, "" where there is none.
func moment(t station.Instant) string {
	if t == 0 {
		return ""
	}
	return t.String()
}
