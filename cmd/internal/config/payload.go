package config

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"strokewise/analyzer/station"
	mapped "strokewise/collector/mapping"
	"strokewise/collector/payload"
	"strokewise/collector/sparkplug"
	"strokewise/collector/topic"
)

// mappingKeys are the keys of a topic that say what its payloads mean. Each is documented with the formats
// it is for; where a key is given for another format, that is a fault.
var mappingKeys = []struct {
	key     string
	formats []payload.Format // none: all
	about   string
}{
	{"site", nil, "the site, or a path to it"},
	{"station", nil, "the station, or a path to it"},
	{"channel", nil, "the channel, or a path to it"},
	{"values", nil, "the values: name or at (where), channel, unit, loop, counts, span, factor, offset"},
	{"decimal", nil, "comma: numbers in texts have a decimal comma"},
	{"ignore", []payload.Format{payload.Auto, payload.Block}, `members of blocks that are left out; "*": all that name no channel`},
	{"each", []payload.Format{payload.JSON}, "path to a list whose items are read one by one; \"\": the message is the list"},
	{"name_at", []payload.Format{payload.JSON}, "path to what names a value"},
	{"value_at", []payload.Format{payload.JSON, payload.Line}, "path to the value of what has a name, or of the topic's channel"},
	{"names", []payload.Format{payload.JSON, payload.SenML, payload.Sparkplug}, "pattern of names in payloads, such as {station}.{channel}"},
	{"time", []payload.Format{payload.JSON, payload.Line, payload.SenML, payload.Sparkplug}, "at (a path) and unit of the time, or the word arrival"},
	{"ask_births", []payload.Format{payload.Sparkplug}, "false: edge nodes are not asked for a birth that was missed"},
}

// pathFormats are the formats whose values lie at paths.
var pathFormats = []payload.Format{payload.JSON, payload.Line}

// payloadMapping reads what the payloads of a topic mean; nil where nothing is said.
func (d *decoder) payloadMapping(m *mapping, t *Topic) *mapped.Mapping {
	format, _ := payload.ParseFormat(t.Payload)
	given := false
	for _, k := range mappingKeys {
		m.get(k.key) // makes it known
		if !m.has(k.key) {
			continue
		}
		given = true
		if k.formats != nil && !slices.Contains(k.formats, format) {
			m.fail(k.key, "is not for payload: "+t.Payload, "payload: "+formats(k.formats), "")
		}
	}
	out := &mapped.Mapping{}
	paths := slices.Contains(pathFormats, format)
	m.source("site", paths, &out.Site, nil)
	m.source("station", paths, &out.Station, nil)
	m.source("channel", paths, &out.Channel, func(s string) bool { _, ok := station.ParseChannel(s); return ok })
	m.pointer("each", &out.Each)
	m.pointer("name_at", &out.Name)
	m.pointer("value_at", &out.Value)
	m.names(&out.Names)
	m.decimal(&out.Comma)
	m.time(&out.Time, paths)
	if ask := true; m.has("ask_births") {
		m.flag("ask_births", &ask)
		out.Mute = !ask
	}
	m.each("ignore", "ignore: [rssi, battery]", func(n *yaml.Node, path string) {
		if n.Kind != yaml.ScalarNode || isNull(n) {
			d.fail(n, path, "is "+kind(n), "the name of a member", "ignore: [rssi, battery]")
			return
		}
		out.Ignore = append(out.Ignore, n.Value)
	})
	m.each("values", valuesExample, func(n *yaml.Node, path string) {
		if v := d.item(n, path, "a value", valuesExample); v != nil {
			out.Values = append(out.Values, d.value(v, t, out, paths))
		}
	})
	if format == payload.JSON && !m.has("value_at") && !slices.ContainsFunc(out.Values, func(v mapped.Value) bool { return v.At != nil }) {
		m.fail("payload", `is "json", and nothing says where its values are`, "values with at, or value_at", valuesExample)
	}
	if !given {
		return nil
	}
	return out
}

const valuesExample = "values: [{ at: /outlet/p, channel: outlet_pressure, unit: bar }]"

// formats lists formats, for messages.
func formats(list []payload.Format) string {
	names := make([]string, len(list))
	for i, f := range list {
		names[i] = f.String()
	}
	return strings.Join(names, ", ")
}

// source reads a fixed text, or where payloads have them a path to it.
func (m *mapping) source(key string, paths bool, into *mapped.Source, valid func(string) bool) {
	expected, example := "an identifier", key+": press-4"
	if valid != nil {
		expected, example = list(station.ChannelNames()), key+": outlet_pressure"
	}
	if paths {
		expected += ", or a path such as /machine"
	}
	s, ok := m.scalar(key, expected, example)
	switch {
	case !ok:
	case strings.HasPrefix(s, "/") && paths:
		m.pointer(key, &into.At)
	case valid == nil && !isName(s), valid != nil && !valid(s):
		m.fail(key, quote(s)+" is none", expected, example)
	default:
		into.Fixed = s
	}
}

// pointer reads a path into payloads.
func (m *mapping) pointer(key string, into **mapped.Pointer) {
	const expected = "a JSON Pointer (RFC 6901)"
	s, ok := m.scalar(key, expected, key+": /outlet/p")
	if !ok {
		return
	}
	p, err := mapped.ParsePointer(s)
	if err != nil {
		m.fail(key, quote(s)+" is no path: "+err.Error(), expected, key+": /outlet/p")
		return
	}
	*into = p
}

func (m *mapping) names(into **topic.Pattern) {
	const expected, example = "a pattern with {channel}, such as {station}.{channel}", "names: \"{station}.{channel}\""
	s, ok := m.scalar("names", expected, example)
	if !ok {
		return
	}
	p, err := topic.CompileName(s)
	switch {
	case err != nil:
		m.fail("names", quote(s)+" is no pattern: "+err.Error(), expected, example)
	case !p.HasChannel():
		m.fail("names", quote(s)+" names no {channel}", expected, example)
	default:
		*into = p
	}
}

func (m *mapping) decimal(comma *bool) {
	if i, ok := m.choice("decimal", "point", "comma"); ok {
		*comma = i == 1
	}
}

// time reads where the time of values is.
func (m *mapping) time(into *mapped.Time, paths bool) {
	const example = "time: { at: /ts, unit: ms }"
	n := m.get("time")
	m.single("time", "arrival, or at and unit", "arrival").only("arrival")
	if n == nil && m.d.rec == nil {
		return
	}
	if n != nil && n.Kind == yaml.ScalarNode && n.Value == "arrival" {
		into.Arrival = true
		return
	}
	t := m.mapping("time", example)
	if t.node == nil {
		return
	}
	if t.pointer("at", &into.At); into.At != nil && !paths {
		t.fail("at", "is a path, and such payloads have none", "the word arrival, or nothing: they carry their times", "time: arrival")
	}
	if names := mapped.UnitNames(); t.has("unit") {
		if i, ok := t.choice("unit", names...); ok {
			into.Unit, _ = mapped.ParseUnit(names[i])
		}
	}
	t.done(nil)
}

// namesSite reports whether the mapping names the site.
func (t *Topic) namesSite() bool {
	return t.Mapping != nil && t.Mapping.Site != mapped.Source{} || t.named()
}

// namesStation reports whether the mapping names the station.
func (t *Topic) namesStation() bool {
	return t.Mapping != nil && t.Mapping.Station != mapped.Source{} || t.named()
}

// namesChannel reports whether the mapping fixes the channel.
func (t *Topic) namesChannel() bool { return t.Mapping != nil && t.Mapping.Channel.Fixed != "" }

// named reports whether names within payloads, or all values, say where they belong.
func (t *Topic) named() bool {
	switch {
	case t.Payload == payload.Line.String():
		return true // tags
	case t.Mapping == nil:
		return false
	case t.Mapping.Names != nil && t.Mapping.Names.HasStation():
		return true
	}
	return len(t.Mapping.Values) > 0 && !slices.ContainsFunc(t.Mapping.Values, func(v mapped.Value) bool { return v.Station == "" })
}

// matchFor returns an example of a pattern for the topic's payload.
func (t *Topic) matchFor() string {
	if t.Payload == payload.Sparkplug.String() {
		return `"{site}/{station}"`
	}
	return matchExample
}

// pattern returns what is wrong with a topic pattern, "" if nothing is.
func (t *Topic) pattern(s string) string {
	compile := topic.Compile
	if t.namesStation() {
		compile = topic.CompilePartly
	}
	p, err := compile(s)
	if err != nil {
		return quote(s) + " is no topic pattern: " + err.Error()
	}
	if t.Payload == payload.Sparkplug.String() {
		if _, ok := sparkplug.Levels(p.String()); !ok {
			return quote(s) + " has not two or three levels, which for Sparkplug are group, edge node and, where it matters, device"
		}
	}
	return ""
}
