package web

import (
	"fmt"
	"math"
	"strconv"

	"strokewise/analyzer/station"
)

// clock gives date and time to the second, UTC.
func clock(t station.Instant) string { return t.Time().Format("2006-01-02 15:04:05") + " UTC" }

// span gives a length of time (ns) in its two largest units.
func span(ns int64) string {
	s := max(ns, 0) / station.Second
	switch {
	case s < 60:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return fmt.Sprintf("%d min %d s", s/60, s%60)
	case s < 86400:
		return fmt.Sprintf("%d h %d min", s/3600, s/60%60)
	}
	return fmt.Sprintf("%d d %d h", s/86400, s/3600%24)
}

// number gives v with so many decimals and without a minus before zero.
func number(v float64, decimals int) string {
	scale := math.Pow10(decimals)
	if r := math.Round(v*scale) / scale; r == 0 {
		v = 0
	}
	return strconv.FormatFloat(v, 'f', decimals, 64)
}

// gaugeUnit returns the unit of gauge pressures that people of a site read.
func gaugeUnit(in station.Reading) string { return in.String() + " gauge" }

func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return strconv.Itoa(n) + " " + noun + "s"
}

// orElse gives text, or other where it is empty.
func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// join puts "; " between two texts that are not empty.
func join(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + "; " + b
}
