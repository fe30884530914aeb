package config

import (
	"fmt"
	"time"
	_ "time/tzdata" // zones wherever we run

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const siteExample = "sites: [{ id: northdock, zone: Europe/Lisbon }]"

// Bounds of the ambient pressure, wide enough for any boost station: they catch slips of
// the unit, not odd plants.
const (
	minAmbient station.Absolute = 30e3 // Pa, 9 km above the sea
	maxAmbient station.Absolute = 120e3
)

// airTemperatures are those that the air drawn in may have: wide enough for any plant, they catch
// slips of the unit.
var airTemperatures = between(233.15, 333.15, "-40 to 60 C")

// sites reads the sites.
func (d *decoder) sites(m *mapping) {
	lines := map[string]int{}
	d.sitesGiven = m.has("sites")
	m.each("sites", siteExample, func(n *yaml.Node, path string) {
		if s := d.item(n, path, "a site", "{ id: northdock }"); s != nil {
			d.site(s, lines)
		} else {
			d.anonymous = true
		}
	})
	if n := m.get("sites"); !d.opt.NoBroker && !m.begins() && (n == nil || isNull(n) || n.Kind == yaml.SequenceNode && len(n.Content) == 0) {
		m.fail("sites", "names no site", "a list of sites", siteExample)
	}
}

func (d *decoder) site(m *mapping, lines map[string]int) {
	s := Site{Zone: time.UTC}
	known := m.name("id", "northdock", &s.ID)
	m.zone(&s.Zone)
	d.calendar(m, &s)
	d.air(m.mapping("air", "air: { reference: anr }"), &s)
	if h := m.mapping("header_low", headerExample); m.has("header_low") {
		h.headerLow(&s.HeaderLow)
	}
	ambient := station.Absolute(0)
	quantity(m, "ambient_pressure", station.ParseAbsolute, between(minAmbient, maxAmbient, "30 to 120 kPa abs"), &ambient)
	temperature := 0.0
	quantity(m, "air_temperature", station.ParseTemperature, airTemperatures, &temperature)
	i, _ := m.choice("pressure_in", station.ReadingNames()...)
	s.Reading = station.Reading(i)
	m.done(nil)
	if !known {
		d.anonymous = true
		return
	}
	if line, twice := lines[s.ID]; twice {
		m.fail("id", fmt.Sprintf("the site %s is on line %d already", quote(s.ID), line), "an identifier for each site", "id: southdock")
		return
	}
	lines[s.ID], d.ambient[s.ID], d.temperature[s.ID] = m.at("id").Line, ambient, temperature
	d.reading[s.ID] = s.Reading
	d.cfg.Sites = append(d.cfg.Sites, s)
}

// zone reads a time zone.
func (m *mapping) zone(into **time.Location) {
	const expected, example = "a zone of the IANA time zone database", "Europe/Lisbon"
	s, ok := m.scalar("zone", expected, "zone: "+example)
	if !ok {
		return
	}
	loc, err := time.LoadLocation(s)
	if err != nil || s == "" || s == "Local" { // Local would differ from machine to machine
		m.failValue("zone", quote(s)+" is no time zone", expected, example)
		return
	}
	*into = loc
}
