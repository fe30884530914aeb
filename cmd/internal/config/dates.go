package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

const (
	serviceExample = "{ what: relief-test, last: 2026-01-10, every: 12 months }"
	remindExample  = "30 days"
	mostCycles     = 1e12
)

// service reads what comes due at a station besides the tank's next inspection.
func (d *decoder) service(m *mapping, p *station.Plate) {
	var all []station.Service
	m.each("service", "service: ["+serviceExample+"]", func(n *yaml.Node, path string) {
		item := d.item(n, path, "what comes due", serviceExample)
		if item == nil {
			return
		}
		s, ok := item.service()
		if ok && slices.ContainsFunc(all, func(x station.Service) bool { return x.What == s.What }) {
			item.fail("what", quote(s.What.String())+" is given twice for the station", "one entry for each kind", "")
		}
		all = append(all, s)
		if s.What == station.TankInspection && p.Inspection != "" {
			item.fail("what", "the tank's inspection has a date under tank too", "one of the two", "")
		}
	})
	p.Service = station.ServiceText(all)
}

// service reads one entry.
func (m *mapping) service() (s station.Service, ok bool) {
	kinds := rules.ServiceKinds()
	i, ok := m.choice("what", kinds...)
	if !m.has("what") {
		m.fail("what", "is missing", list(kinds), "what: relief-test")
	}
	if ok {
		s.What = station.ServiceKinds()[i]
	}
	m.date("last", &s.Last)
	m.date("next", &s.Next)
	m.interval("every", "12 months", &s.Months, &s.Days)
	m.count("every_cycles", "2000000", &s.Cycles)
	m.count("cycles_before", "350000", &s.Before)
	m.count("remind_cycles", "100000", &s.RemindCycles)
	months := 0
	s.Remind = 30
	if m.interval("remind", remindExample, &months, &s.Remind); months > 0 {
		m.fail("remind", "is in months", "a number of days or weeks", "remind: "+remindExample)
	}
	m.done(nil)
	if s.RemindCycles == 0 {
		s.RemindCycles = s.Cycles / 20
	}
	m.agree(&s)
	return s, ok
}

// agree looks at what an entry's keys say together.
func (m *mapping) agree(s *station.Service) {
	dated := s.Months > 0 || s.Days > 0
	switch {
	case !m.has("every") && !m.has("every_cycles") && !m.has("next"):
		m.fail("every", "is missing, and so are every_cycles and next: there is no interval without a setting", "when it is due: local law and the maker's papers tell", "every: 12 months")
	case dated && !m.has("last") && !m.has("next"):
		m.fail("last", "is missing: an interval counts from a date", "the day on which it was last done, or next", "last: 2026-01-10")
	case s.Last != "" && s.Next != "" && s.Next <= s.Last:
		m.fail("next", "is not after last ("+s.Last+")", "a later day", "next: 2028-05-01")
	case s.Before > 0 && s.Cycles == 0:
		m.fail("cycles_before", "is given without every_cycles", "both or none", "every_cycles: 2000000")
	}
}

// interval reads "12 months", "90 days", "2 years" or "6 weeks".
func (m *mapping) interval(key, example string, months, days *int) {
	const expected = "a number of days, weeks, months or years"
	text, ok := m.scalar(key, expected, key+": "+example)
	if !ok {
		return
	}
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || n > 40_000 {
		m.failValue(key, quote(text)+" is no such time", expected, example)
		return
	}
	switch strings.TrimSuffix(strings.TrimSpace(unit), "s") {
	case "day", "d":
		*days = n
	case "week":
		*days = 7 * n
	case "month":
		*months, *days = n, 0
	case "year", "y":
		*months, *days = 12*n, 0
	default:
		m.failValue(key, quote(text)+" has no unit of a calendar", expected, example)
	}
}

// count reads a whole number above zero.
func (m *mapping) count(key, example string, into *int64) {
	expected := fmt.Sprintf("a whole number from 1 to %.0g", float64(mostCycles))
	text, ok := m.scalar(key, expected, key+": "+example)
	if !ok {
		return
	}
	n, err := strconv.ParseInt(strings.ReplaceAll(text, "_", ""), 10, 64)
	if err != nil || n < 1 || n > mostCycles {
		m.failValue(key, quote(text)+" is no such number", expected, example)
		return
	}
	*into = n
}
