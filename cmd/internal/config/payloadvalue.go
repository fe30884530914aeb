package config

import (
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	mapped "strokewise/collector/mapping"
	"strokewise/collector/payload"
)

// value reads one value of a topic's payloads.
func (d *decoder) value(m *mapping, t *Topic, all *mapped.Mapping, paths bool) (v mapped.Value) {
	if n, ok := m.scalar("name", "what the payload calls the value", "name: PT-101"); ok {
		v.Name = n
	}
	m.pointer("at", &v.At)
	if v.At != nil && !paths {
		m.fail("at", "is a path, and payload: "+t.Payload+" has none", "name, or payload: json", "name: PT-101")
	}
	m.identifier("site", &v.Site)
	m.identifier("station", &v.Station)
	fixed := all.Channel.Fixed
	if s, ok := m.scalar("channel", list(station.ChannelNames()), "channel: outlet_pressure"); ok {
		fixed = s
		if _, known := station.ParseChannel(s); !known {
			m.fail("channel", quote(s)+" is no channel", list(station.ChannelNames()), "channel: outlet_pressure")
		}
	}
	v.Channel, v.HasChannel = station.ParseChannel(fixed)
	if v.Name != "" && !v.HasChannel && !m.has("channel") {
		m.fail("name", "stands for no channel", "channel as well", "channel: outlet_pressure")
	}
	v.Scale = m.scale(v.Channel, v.HasChannel)
	m.done(nil)
	return v
}

// identifier reads a site or a station that a value belongs to.
func (m *mapping) identifier(key string, into *string) {
	s, ok := m.scalar(key, "an identifier", key+": press-4")
	if ok && !isName(s) {
		m.fail(key, quote(s)+" is no identifier", "at most 64 letters, digits, - and _", key+": press-4")
		return
	}
	*into = s
}

// scale reads how numbers become a quantity; nil where nothing is said.
func (m *mapping) scale(c station.Channel, known bool) *payload.Scale {
	var s payload.Scale
	unit, _ := m.scalar("unit", "a unit", "unit: bar")
	if unit != "" && known && !payload.KnowsUnit(c, unit) {
		m.fail("unit", quote(unit)+" is no unit of "+c.String(), payload.Units(c), "unit: "+usualUnit(c))
		unit = ""
	}
	s.Unit = unit
	m.plainNumber("factor", &s.Factor)
	m.plainNumber("offset", &s.Offset)
	if m.has("factor") && s.Factor == 0 {
		m.fail("factor", "is zero, or no number", "a number", "factor: 0.1")
	}
	s.Loop = m.has("loop")
	key := "counts"
	if s.Loop {
		key = "loop"
	}
	low, high, ok := m.pair(key, func(text string) (float64, bool) { return plainFloat(text) }, "two numbers, from and to", key+": [0, 27648]")
	span := m.span(c, &s)
	switch {
	case m.has("loop") && m.has("counts"):
		m.fail("counts", "is given beside loop", "one of the two", "")
	case m.has(key) != m.has("span"):
		given, lacking := key, "span"
		if m.has("span") {
			given, lacking = "span", "loop (numbers at 4 and 20 mA) or counts"
		}
		m.fail(given, "is given without "+lacking, "both", "{ loop: [0, 27648], span: [0 bar, 16 bar] }")
	case ok && low == high:
		m.fail(key, "begins and ends with the same number", "two different numbers", key+": [0, 27648]")
	case ok && span && (m.has("factor") || m.has("offset") || m.has("unit")):
		m.fail("span", "is given beside factor, offset or unit", "one way of scaling", "")
	case ok && span:
		s.Low, s.High = low, high
	}
	if s == (payload.Scale{}) {
		return nil
	}
	return &s
}

// usualUnit returns a unit of the channel, for examples.
func usualUnit(c station.Channel) string {
	switch {
	case c.IsPressure():
		return "bar"
	case c == station.TankTemperature:
		return "C"
	case c == station.InletFlow:
		return "l/min"
	}
	return "count"
}

// span reads the range of a sensor.
func (m *mapping) span(c station.Channel, s *payload.Scale) bool {
	parse, example := plainFloat, "span: [0, 100]"
	switch {
	case c == station.TankTemperature:
		parse, example = parsedBy(station.ParseTemperature), "span: [-20 C, 80 C]"
	case c == station.InletFlow:
		parse, example = parsedBy(station.ParseFlow), "span: [0 L/min, 500 L/min]"
	case c.IsPressure(), c >= station.NumChannels:
		parse, example = parsedBy(func(s string) (float64, error) {
			p, err := station.ParseGauge(s, station.StandardAtmosphere)
			return float64(p), err
		}), "span: [0 bar, 16 bar]"
	}
	low, high, ok := m.pair("span", parse, "two quantities with units: the sensor's range", example)
	s.From, s.To = low, high
	return ok
}

func parsedBy(parse func(string) (float64, error)) func(string) (float64, bool) {
	return func(s string) (float64, bool) {
		v, err := parse(s)
		return v, err == nil
	}
}

func plainFloat(s string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	return v, err == nil && v-v == 0
}

// plainNumber reads a number without unit.
func (m *mapping) plainNumber(key string, into *float64) {
	s, ok := m.scalar(key, "a number", key+": 0.1")
	if !ok {
		return
	}
	if *into, ok = plainFloat(s); !ok {
		m.fail(key, quote(s)+" is no number", "a number", key+": 0.1")
	}
}

// pair reads a list of two.
func (m *mapping) pair(key string, parse func(string) (float64, bool), expected, example string) (a, b float64, ok bool) {
	n := m.get(key)
	m.alsoList(key)
	if n == nil {
		return 0, 0, false
	}
	var got []float64
	if n.Kind == yaml.SequenceNode && len(n.Content) == 2 {
		for _, x := range n.Content {
			if x = follow(x); x.Kind == yaml.ScalarNode {
				if v, ok := parse(x.Value); ok {
					got = append(got, v)
				}
			}
		}
	}
	if len(got) != 2 {
		m.fail(key, "is not "+expected, expected, example)
		return 0, 0, false
	}
	return got[0], got[1], true
}
