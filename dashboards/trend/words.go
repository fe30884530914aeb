package trend

import (
	"math"
	"strconv"
	"time"
)

// Date writes a day, year first.
func Date(n int64) string {
	if n == Never {
		return "never"
	}
	return time.Unix(n*86400, 0).UTC().Format(time.DateOnly)
}

// In writes a value in the unit that people read, without it.
func (k *Kind) In(v float64) string { return decimals(v*k.Factor, k.Places) }

// slope writes a slope a week: with a decimal more than the values, since weeks are short.
func (k *Kind) slope(v float64) string { return decimals(7*v*k.Factor, k.Places+1) }

// SlopeInWords gives the slope a week with its 90 % interval.
func (s *Series) SlopeInWords() (value, band string) {
	return signed(s.slope(s.Slope.Value)), signed(s.slope(s.Slope.Low)) + " to " + signed(s.slope(s.Slope.High))
}

// Verdict says in a sentence what the series tells.
func (s *Series) Verdict() string {
	if s.Why != "" {
		return "unknown: " + s.Why
	}
	out := "no trend beyond chance (p " + chance(s.P) + ")"
	switch {
	case s.Slope.Var == 0:
		out = "the same on every day"
	case s.Told:
		way := "rises"
		if s.Slope.Value < 0 {
			way = "falls"
		}
		out = way + " (p " + chance(s.P) + ")"
	}
	for _, c := range s.Changes {
		out += "; a step of " + signed(s.In(c.Size)) + " " + s.Kind.Shown + " on " + Date(c.Day) + " (p up to " + chance(c.P) + ")"
	}
	if s.Late != nil {
		out += "; " + map[bool]string{true: "higher", false: "lower"}[s.Late.Up] + " than the weeks before since about " + Date(s.Late.Day)
	}
	return out
}

// PassingInWords says when the kind's limit will be passed, "" where it has none.
func (s *Series) PassingInWords() string {
	limit := s.In(s.Limit) + " " + s.Kind.Shown
	switch p := s.Passing; {
	case s.Limit == 0:
		return ""
	case p == nil:
		return "when it passes " + limit + " is unknown: " + s.NoDate
	case p.Late == Never:
		return "passes " + limit + " about " + Date(p.Day) + ", not before " + Date(p.Early) + ", perhaps not at all (90 %)"
	default:
		return "passes " + limit + " about " + Date(p.Day) + " (" + Date(p.Early) + " to " + Date(p.Late) + ", 90 %)"
	}
}

func chance(p float64) string {
	if p < 0.001 {
		return "under 0.001"
	}
	return strconv.FormatFloat(p, 'g', 2, 64)
}

// decimals writes v without a minus before zero.
func decimals(v float64, n int) string {
	scale := math.Pow10(n)
	if math.Round(v*scale) == 0 {
		v = 0
	}
	return strconv.FormatFloat(v, 'f', n, 64)
}

func signed(text string) string {
	if text[0] != '-' {
		return "+" + text
	}
	return text
}

func number(n int) string {
	if n == 1 {
		return "1 day"
	}
	return strconv.Itoa(n) + " days"
}
