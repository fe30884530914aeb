package config

import (
	"fmt"
	"time"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
)

const stationExample = "{ id: press-4, booster: { set_pressure: 900 kPa } }"

// stations reads the stations.
func (d *decoder) stations(m *mapping) {
	seen := 0
	m.each("stations", "stations: ["+stationExample+"]", func(n *yaml.Node, path string) {
		if seen++; seen > MaxStations {
			return
		}
		if s := d.item(n, path, "a station", stationExample); s != nil {
			d.station(s)
		}
	})
	switch n := m.get("stations"); {
	case seen > MaxStations:
		m.fail("stations", fmt.Sprintf("holds %d stations", seen), fmt.Sprintf("at most %d", MaxStations), "")
	case n == nil || seen == 0 && (isNull(n) || n.Kind == yaml.SequenceNode):
		if d.opt.NoBroker {
			m.fail("stations", "names no station", "a list of stations", "stations: ["+stationExample+"]")
			return
		}
		m.warn("stations", "names no station: nothing is watched. The page First run, or strokewise discover, proposes some", "a list of stations", "stations: ["+stationExample+"]")
	}
}

// begins reports whether the file names no station yet: then there need be no broker and no site either.
func (m *mapping) begins() bool {
	n := m.get("stations")
	return !m.d.opt.NoBroker && (n == nil || isNull(n) || n.Kind == yaml.SequenceNode && len(n.Content) == 0)
}

// station reads one station.
func (d *decoder) station(m *mapping) {
	p := station.Plate{}
	named := m.name("id", "press-4", &p.Key.Station)
	sited := m.siteOf(&p.Key.Site)
	m.text("branch", &p.Branch, "the name of the branch", "branch: forming")
	m.header(&p.Header)
	if i, ok := m.choice("cadence", "periodic", "on_change"); ok && i == 1 {
		p.Cadence = station.OnChange
	}
	if i, ok := m.choice("outlet_sensor", "tank", "booster", "branch"); ok {
		p.Sensor = [...]station.OutletSensor{station.AtTank, station.AtBooster, station.AtBranch}[i]
	}
	if s := d.cfg.Site(p.Key.Site); s != nil {
		p.AirPrice, p.AirPrices = s.Air.first, s.Air.changes
	}
	p.Calendar = d.calendarText(p.Key.Site, m.afterShift())
	m.plate(&p)
	d.service(m, &p)
	m.done(map[string]string{"set_pressure": "it belongs under booster", "relief_pressure": "it belongs under tank"})
	if !named || !sited || !d.unique(m, p.Key) {
		return
	}
	p.Lateness = d.cfg.Lateness
	d.cfg.Stations = append(d.cfg.Stations, Station{Plate: p, Revision: Revision(&p)})
}

// unique tells whether the key is new.
func (d *decoder) unique(m *mapping, k station.Key) bool {
	if line, twice := d.lines[k]; twice {
		m.fail("id", fmt.Sprintf("the station %s is on line %d already", quote(k.String()), line), "an identifier for each station of a site", "id: press-5")
		return false
	}
	d.lines[k] = m.at("id").Line
	return true
}

// siteOf reads the site that a station belongs to.
func (m *mapping) siteOf(into *string) bool {
	d, expected := m.d, "the id of a site in this file"
	ids := make([]string, len(d.cfg.Sites))
	for i := range d.cfg.Sites {
		ids[i] = d.cfg.Sites[i].ID
	}
	if 0 < len(ids) && len(ids) <= 10 {
		expected = list(ids)
	}
	if !m.has("site") {
		m.get("site")
		return m.onlySite(ids, expected, into)
	}
	var s string
	if !m.name("site", "northdock", &s) {
		return false
	}
	if d.cfg.Site(s) != nil || d.invent(s) {
		*into = s
		return true
	}
	if !d.anonymous && len(ids) > 0 { // else the fault is with the sites
		problem := "there is no site " + quote(s)
		if near := nearest(s, ids); near != "" {
			problem += fmt.Sprintf(" (did you mean %s?)", near)
		}
		m.fail("site", problem, expected, "")
	}
	return false
}

// onlySite is for a station that names no site.
func (m *mapping) onlySite(ids []string, expected string, into *string) bool {
	switch {
	case len(ids) == 1:
		*into = ids[0]
		return true
	case len(ids) > 1:
		m.fail("site", fmt.Sprintf("is missing; it may be left out only where there is one site, and there are %d", len(ids)), expected, "")
	case m.d.invent(implicitSite):
		*into = implicitSite
		return true
	}
	return false
}

// invent makes a site for a replay whose file has none, and tells whether it did.
func (d *decoder) invent(id string) bool {
	if !d.opt.NoBroker || d.sitesGiven {
		return false
	}
	d.cfg.Sites = append(d.cfg.Sites, Site{ID: id, Zone: time.UTC})
	return true
}

// plate reads what is known of a station besides its names.
func (m *mapping) plate(p *station.Plate) {
	p.Ambient = m.d.ambient[p.Key.Site]
	quantity(m, "ambient_pressure", station.ParseAbsolute, between(minAmbient, maxAmbient, "30 to 120 kPa abs"), &p.Ambient)
	p.AirTemperature, p.Reading = m.d.temperature[p.Key.Site], m.d.reading[p.Key.Site]
	quantity(m, "air_temperature", station.ParseTemperature, airTemperatures, &p.AirTemperature)
	m.gauge("regulator_set", p, &p.RegulatorSet)
	m.gauge("required_pressure", p, &p.Required)
	m.flow("base_demand", p, &p.BaseDemand)
	quantity(m, "shutdown_grace", station.ParseDuration, atMost(day, "24 h"), &p.Grace)
	b, t := m.mapping("booster", "booster: { set_pressure: 900 kPa }"), m.mapping("tank", "tank: { volume: 20 L }")
	b.booster(p)
	m.strokeRate(b, p)
	b.done(nil)
	t.tank(p)
	line := m.mapping("supply", "supply: { bore: 9 mm, length: 12 m }")
	line.supply(p)
	c := m.mapping("counter", "counter: { counts: cycles }")
	if i, ok := c.choice("counts", "cycles", "strokes"); ok && i == 1 {
		p.Counts = station.CountsStrokes
	}
	c.done(nil)
	l := m.mapping("limits", "limits: { hose: 1200 kPa }")
	l.limits(p)
	m.contradictions(b, t, l, p)
	m.implausible(b, t, line, p)
}

// gauge reads a pressure above the ambient one.
func (m *mapping) gauge(key string, p *station.Plate, into *station.Gauge) bool {
	parse := func(s string) (station.Gauge, error) { return station.ParseGauge(s, p.AmbientPressure()) }
	return quantity(m, key, parse, atMost[station.Gauge](100e6, "100 MPa, gauge"), into)
}

// strokeRate reads the highest stroke rate, which stands with the station or its booster.
func (m *mapping) strokeRate(booster *mapping, p *station.Plate) {
	b := atMost(50.0, "50 /s")
	quantity(m, "max_stroke_rate", station.ParseRate, b, &p.MaxRate)
	quantity(booster, "max_stroke_rate", station.ParseRate, b, &p.MaxRate)
	if m.has("max_stroke_rate") && booster.has("max_stroke_rate") {
		m.fail("max_stroke_rate", "is given for the booster too", "one of the two", "")
	}
}

func (m *mapping) tank(p *station.Plate) {
	quantity(m, "volume", station.ParseVolume, atMost(1000.0, "1000 m3"), &p.TankVolume)
	m.gauge("relief_pressure", p, &p.Relief)
	m.gauge("ps", p, &p.TankPS)
	m.date("installed", &p.Installed)
	m.date("next_inspection", &p.Inspection)
	m.shared(p)
	m.done(nil)
	if p.Installed != "" && p.Inspection != "" && p.Inspection < p.Installed {
		m.fail("next_inspection", "is before the tank was installed ("+p.Installed+")", "a later day", "next_inspection: 2029-03-01")
	}
}

func (m *mapping) supply(p *station.Plate) {
	quantity(m, "bore", station.ParseLength, atMost(1.0, "1 m"), &p.SupplyBore)
	quantity(m, "length", station.ParseLength, atMost(10e3, "10 km"), &p.SupplyLength)
	m.flag("shared", &p.LineShared)
	m.done(nil)
}

// flow reads a flow, which the site means at its reference and the plate keeps at ANR.
func (m *mapping) flow(key string, p *station.Plate, into *float64) {
	if !quantity(m, key, station.ParseFlow, atMost(1.0, "60 m3/min"), into) {
		return
	}
	if s := m.d.cfg.Site(p.Key.Site); s != nil {
		*into /= s.Air.Reference.PerANR()
	}
}

// limits reads the limits of the station's alarms.
func (m *mapping) limits(p *station.Plate) {
	m.gauge("hose", p, &p.HoseLimit)
	m.flow("leak", p, &p.LeakLimit)
	quantity(m, "sag", station.ParseRatio, atMost(1.0, "100 %"), &p.SagLimit)
	quantity(m, "silence", station.ParseDuration, atMost(day, "24 h"), &p.Silence)
	m.done(nil)
}
