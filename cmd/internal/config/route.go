package config

import (
	"fmt"
	"slices"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	"strokewise/rules"
)

// Scope names sites, branches and stations; an empty list stands for all.
type Scope struct{ Sites, Branches, Stations []string }

// Route says which receivers are told of what.
type Route struct {
	Scope
	Priorities     []rules.Priority // empty: all
	When           string           // always, shift or outside-shift
	To             []string         // receivers
	Unacknowledged time.Duration    // zero: told at once
}

// Maintenance is a time in which nobody is told, by the clock of each site.
type Maintenance struct {
	Scope
	From, To time.Time // in UTC, standing for what the clock shows
	Reason   string
}

const (
	routeExample       = "{ priorities: [high], to: [on-call] }"
	maintenanceExample = `{ from: "2026-08-03 06:00", to: "2026-08-14 18:00", sites: [northdock], reason: summer stop }`
	clockLayout        = "2006-01-02 15:04"
)

// routes reads who is told of what, once all receivers are known.
func (d *decoder) routes(m *mapping, receivers map[string]int) {
	panels := map[string]bool{}
	for _, p := range d.cfg.Notify.Panels {
		panels[p.Name] = true
	}
	var names []string
	for n := range receivers {
		if !panels[n] {
			names = append(names, n)
		}
	}
	slices.Sort(names)
	m.each("routes", "routes: ["+routeExample+"]", func(n *yaml.Node, path string) {
		if r := d.item(n, path, "a route", routeExample); r != nil {
			d.route(r, names)
		}
	})
	m.each("maintenance", "maintenance: ["+maintenanceExample+"]", func(n *yaml.Node, path string) {
		if w := d.item(n, path, "a time of maintenance", maintenanceExample); w != nil {
			d.maintenance(w)
		}
	})
}

func (d *decoder) route(m *mapping, receivers []string) {
	r := Route{When: "always"}
	d.scope(m, &r.Scope)
	words := []string{rules.Finding.String(), rules.Low.String(), rules.Medium.String(), rules.High.String()}
	var priorities []string
	m.words("priorities", "priorities: [high, medium]", list(words), words, &priorities)
	for _, p := range priorities {
		r.Priorities = append(r.Priorities, rules.Priority(slices.Index(words, p)))
	}
	when := []string{"always", "shift", "outside-shift"}
	if i, ok := m.choice("when", when...); ok {
		r.When = when[i]
	}
	m.words("to", "to: [on-call]", list(receivers)+" (panels are not routed)", receivers, &r.To)
	if n := m.get("to"); n == nil || n.Kind == yaml.SequenceNode && len(n.Content) == 0 {
		m.fail("to", "names no receiver", "at least one of "+list(receivers), "to: [on-call]")
	}
	quantity(m, "unacknowledged", station.ParseDuration, between(minute, 7*day, "1 min to 7 d"), &r.Unacknowledged)
	m.done(nil)
	d.cfg.Notify.Routes = append(d.cfg.Notify.Routes, r)
}

func (d *decoder) maintenance(m *mapping) {
	var w Maintenance
	from, to := m.moment("from", &w.From), m.moment("to", &w.To)
	if from && to && !w.From.Before(w.To) {
		m.fail("to", "is not after from", "the end of the maintenance", `to: "2026-08-14 18:00"`)
	}
	d.scope(m, &w.Scope)
	if !m.has("reason") {
		m.fail("reason", "is missing", "what is done", "reason: summer stop")
	}
	m.text("reason", &w.Reason, "what is done", "reason: summer stop")
	m.done(nil)
	d.cfg.Notify.Maintenance = append(d.cfg.Notify.Maintenance, w)
}

// moment reads a day and a time of a site's clock.
func (m *mapping) moment(key string, into *time.Time) bool {
	const expected = "a day and a time of the site's clock, in quotes"
	example := key + `: "2026-08-03 06:00"`
	if !m.has(key) {
		m.get(key)
		m.fail(key, "is missing", expected, example)
		return false
	}
	s, ok := m.scalar(key, expected, example)
	if !ok {
		return false
	}
	t, err := time.Parse(clockLayout, s)
	if err != nil {
		m.fail(key, quote(s)+" is no such time", expected, example)
		return false
	}
	*into = t
	return true
}

// scope reads which stations are meant, by names that the file has.
func (d *decoder) scope(m *mapping, s *Scope) {
	var sites, branches, stations []string
	for i := range d.cfg.Sites {
		sites = append(sites, d.cfg.Sites[i].ID)
	}
	for i := range d.cfg.Stations {
		p := &d.cfg.Stations[i].Plate
		stations = append(stations, p.Key.Station)
		if p.Branch != "" && !slices.Contains(branches, p.Branch) {
			branches = append(branches, p.Branch)
		}
	}
	m.words("sites", "sites: [northdock]", "a site of this file", sites, &s.Sites)
	m.words("branches", "branches: [forming]", "a branch of a station of this file", branches, &s.Branches)
	m.words("stations", "stations: [press-4]", "a station of this file", stations, &s.Stations)
}

// words reads a list of some known words.
func (m *mapping) words(key, example, what string, known []string, into *[]string) {
	m.each(key, example, func(n *yaml.Node, path string) {
		if n.Kind == yaml.ScalarNode && slices.Contains(known, n.Value) {
			*into = append(*into, n.Value)
			return
		}
		problem := quote(n.Value) + " is not known"
		if near := nearest(n.Value, known); near != "" {
			problem += fmt.Sprintf(" (did you mean %s?)", near)
		}
		m.d.fail(n, path, problem, what, "")
	})
}
