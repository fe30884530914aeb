package config

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"strokewise/analyzer/station"
)

const year = 365 * day

// yearUnit is the unit of a year in spans of the history.
const yearUnit = "y"

// history reads how long the database keeps what it holds.
func (d *decoder) history(m *mapping) {
	h := &d.cfg.History
	quantity(m, "minutes", parseSpan, between(2*day, 20*year, "2 days to 20 years"), &h.Minutes)
	quantity(m, "hours", parseSpan, between(2*day, 100*year, "2 days to 100 years"), &h.Hours)
	m.readable("backup_key_file", "/etc/strokewise/backup.key", &h.BackupKeyFile)
	if h.Hours < h.Minutes {
		m.failValue("hours", "is shorter than history.minutes: hours stand for minutes that are gone", "at least as long as minutes", "5 y")
	}
	m.done(nil)
}

// parseSpan reads a duration that may be in years of 365 days.
func parseSpan(s string) (time.Duration, error) {
	if n, ok := strings.CutSuffix(strings.TrimSpace(s), yearUnit); ok {
		if v, err := strconv.ParseFloat(strings.TrimSpace(n), 64); err == nil && v >= 0 && v <= 200 {
			return time.Duration(v * float64(year)), nil
		}
	}
	v, err := station.ParseDuration(s)
	var q *station.QuantityError
	if errors.As(err, &q) {
		q.Expected = "a duration in h, d or y (365 d)"
	}
	return v, err
}
