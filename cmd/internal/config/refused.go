package config

import "strokewise/analyzer/station"

// Refused is how much is kept of messages that are not accepted.
type Refused struct {
	MaxBytes int64 // of refused messages together, and once more of those that wait for our clock
}

// refused reads how much is kept of refused messages.
func (d *decoder) refused(m *mapping) {
	quantity(m, "max_bytes", station.ParseBytes, between[int64](1<<20, 1<<50, "1 MiB to 1024 TiB"), &d.cfg.Refused.MaxBytes)
	m.done(nil)
}
