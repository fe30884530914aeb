package config

import (
	"strconv"
	"time"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

const headerExample = "header_low: { stations: 3, share: 30 %, hold_off: 10 s }"

// headerLow reads when many stations of a header are one alarm.
func (m *mapping) headerLow(p *rules.HeaderPolicy) {
	*p = rules.UsualHeader
	const expected = "a whole number from 2 to 1000"
	if s, ok := m.scalar("stations", expected, "stations: 3"); ok {
		n, err := strconv.Atoi(s)
		if err != nil || n < 2 || n > 1000 {
			m.failValue("stations", quote(s)+" is no such number", expected, "3")
		} else {
			p.Least = n
		}
	}
	quantity(m, "share", station.ParseRatio, atMost(1.0, "100 %"), &p.Share)
	hold := time.Duration(p.HoldNs)
	quantity(m, "hold_off", station.ParseDuration, between(time.Second, 5*time.Minute, "1 s to 5 min"), &hold)
	p.HoldNs = int64(hold)
	m.done(nil)
}

// header reads the header that a station hangs on.
func (m *mapping) header(into *string) {
	if m.has("header") {
		m.name("header", "west", into)
	}
	if *into == station.DefaultHeader {
		*into = ""
	}
}
