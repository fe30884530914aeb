package discover

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Write returns a configuration file of a plan. What is not known stands in it as a comment that begins with
// needed.
func Write(f *Findings, p *Plan) []byte {
	w := writer{f: f, p: p}
	w.line("# Proposed by listening to the broker for %.0f s. Nothing here is certain: read it, and compare it with the plant.", f.Seconds)
	w.line("# What is not known is marked \"needed for\". Then: strokewise check --config FILE")
	w.line("version: 1")
	if p.Listen != "" {
		w.line("http: { listen: %s }", quoted(p.Listen))
	}
	if p.Data != "" {
		w.line("data: %s", quoted(p.Data))
	}
	w.line("mqtt:")
	w.line("  broker: %s", quoted(p.Broker))
	if p.User != "" {
		w.line("  user: %s", quoted(p.User))
		w.line("  # password_file: /etc/strokewise/mqtt.password   # needed for the login: a file that holds the password alone")
	}
	w.topics()
	zone := ""
	if p.Zone != "" {
		zone = ", zone: " + quoted(p.Zone)
	}
	w.line("sites: [{ id: %s%s }]", quoted(p.Site), zone)
	if zone == "" {
		w.line("# zone: Europe/Lisbon   # needed for days and shifts by the site's clock: UTC until then, inside the braces above")
	}
	w.line("stations:")
	for i := range p.Stations {
		w.station(&p.Stations[i])
	}
	return w.out.Bytes()
}

type writer struct {
	f   *Findings
	p   *Plan
	out bytes.Buffer
}

func (w *writer) line(format string, args ...any) { fmt.Fprintf(&w.out, format+"\n", args...) }

// quoted writes a text as YAML, in double quotes where it is no plain word.
func quoted(s string) string {
	plain := s != "" && strings.IndexFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./", r))
	}) < 0 && strings.ContainsAny(s[:1], "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ/")
	switch strings.ToLower(s) {
	case "true", "false", "yes", "no", "on", "off", "null", "y", "n":
		plain = false
	}
	if plain {
		return s
	}
	return strconv.Quote(s)
}

// remark makes a text fit for a comment.
func remark(s string) string {
	s = strings.Map(func(r rune) rune {
		if !strconv.IsPrint(r) {
			return ' '
		}
		return r
	}, s)
	const longest = 300
	if len(s) > longest {
		s = strings.ToValidUTF8(s[:longest], "") + "..."
	}
	return s
}

// planned is a choice with its station.
type planned struct {
	Choice
	station string
}

// topics writes the topics that are used, in the order in which they were heard.
func (w *writer) topics() {
	by := make(map[int][]planned)
	for i := range w.p.Stations {
		s := &w.p.Stations[i]
		for _, c := range s.Channels {
			t := w.f.Series[c.Series].Topic
			by[t] = append(by[t], planned{c, s.ID})
		}
	}
	w.line("  topics:%s", map[bool]string{true: " []   # needed for everything: no value is taken for a channel yet"}[len(by) == 0])
	for t := range w.f.Topics {
		if list := by[t]; len(list) > 0 {
			w.topic(&w.f.Topics[t], list)
		}
	}
}

// topic writes the entry of a topic.
func (w *writer) topic(t *Topic, list []planned) {
	for _, c := range list {
		s := &w.f.Series[c.Series]
		w.line("    # %s", remark(fmt.Sprintf("%s %s: %s values a second, %s to %s. %s", c.station, c.Channel, plain(s.Rate), plain(s.Low), plain(s.High), s.reason(&c.Choice))))
	}
	if t.Several {
		w.line("    # needed for more than one of them: several senders use this topic; tell them apart by station: /tags/NAME (docs/payloads.md)")
	}
	off := ""
	if slices.ContainsFunc(list, func(c planned) bool { return c.open() }) {
		off = "# "
		w.line("    # needed for all of this topic: the sensor's range in span, then take the # away")
	}
	dash := "- "
	put := func(format string, args ...any) {
		w.line("    %s%s%s", off, dash, fmt.Sprintf(format, args...))
		dash = "  "
	}
	format, _ := payload.ParseFormat(t.Payload)
	single := len(list) == 1 && w.f.Series[list[0].Series].Name == ""
	switch {
	case format == payload.Sparkplug:
		put("match: %s", quoted(strings.TrimPrefix(t.Name, sparkplugPrefix)))
	case single:
		put("fixed: { %s: %s }", strconv.Quote(t.Name), quoted(w.p.Site+"/"+list[0].station+"/"+list[0].Channel.String()))
	default:
		put("fixed: { %s: %s }", strconv.Quote(t.Name), quoted(w.p.Site+"/"+list[0].station))
	}
	put("payload: %s", t.Payload)
	if t.Comma {
		put("decimal: comma")
	}
	w.time(t, format, put)
	w.values(t, format, list, put)
}

// time writes where the time of values is.
func (w *writer) time(t *Topic, format payload.Format, put func(string, ...any)) {
	switch {
	case format != payload.JSON || t.TimeAt == "":
	case t.TimeOff:
		put("time: arrival   # the time at %s is more than 5 min off; set the device's clock", remark(t.TimeAt))
	default:
		put("time: { at: %s }", strconv.Quote(t.TimeAt))
	}
}

// values writes what the values of a topic are.
func (w *writer) values(t *Topic, format payload.Format, list []planned, put func(string, ...any)) {
	first := &w.f.Series[list[0].Series]
	if format == payload.Scalar || format == payload.Block {
		switch c := &list[0].Choice; {
		case c.raw():
			put("values: [{ channel: %s%s }]", c.Channel, c.scale())
		case c.Channel.IsPressure() && c.Unit != "":
			put("pressure_unit: %s", quoted(c.Unit))
		}
		for _, c := range list {
			if s := &w.f.Series[c.Series]; s.Channel != "" && s.Channel != c.Channel.String() {
				w.line("      # needed for %s: the block calls it %s, and what a block calls a channel is taken for it", c.Channel, s.Channel)
			}
		}
		return
	}
	if t.Listed {
		put("each: %s", strconv.Quote(t.Each))
		put("name_at: %s", strconv.Quote(t.NameAt))
		put("value_at: %s", strconv.Quote(t.ValueAt))
	}
	if first.Name == "" && len(list) == 1 && format == payload.SenML {
		return
	}
	put("values:")
	for _, c := range list {
		s := &w.f.Series[c.Series]
		key := "name"
		if !t.Listed && (format == payload.JSON || format == payload.Line) {
			key = "at"
		}
		where := ""
		if format == payload.Sparkplug {
			where = ", site: " + quoted(w.p.Site) + ", station: " + quoted(c.station)
		} else if c.station != list[0].station {
			where = ", station: " + quoted(c.station)
		}
		put("  - { %s: %s%s, channel: %s%s }", key, strconv.Quote(s.Name), where, c.Channel, c.scale())
	}
}

// open reports whether the choice lacks what it cannot be without.
func (c *Choice) open() bool { return c.raw() && c.Span == "" }

// raw reports whether the number of a current loop has to be scaled.
func (c *Choice) raw() bool {
	return c.Channel.IsPressure() && (c.Unit == Counts || c.Unit == Milliamps)
}

// scale writes the unit or the scaling of a choice.
func (c *Choice) scale() string {
	span := c.Span
	if span == "" {
		span = "0 bar..16 bar"
	}
	low, high, _ := strings.Cut(span, "..")
	span = fmt.Sprintf("span: [%s, %s]", quoted(strings.TrimSpace(low)), quoted(strings.TrimSpace(high)))
	switch {
	case !c.Channel.IsPressure() || c.Unit == "":
		return ""
	case c.Unit == Milliamps:
		return ", loop: [4, 20], " + span
	case c.Unit == Counts:
		low, high, _ := strings.Cut(c.Scale, "..")
		return fmt.Sprintf(", loop: [%s, %s], %s", whole(low, "0"), whole(high, "27648"), span)
	}
	return ", unit: " + quoted(c.Unit)
}

// whole returns a text that is a number, else another.
func whole(text, otherwise string) string {
	if v, err := strconv.ParseFloat(strings.TrimSpace(text), 64); err == nil && number(v) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	return otherwise
}

// reason returns why a series is taken for a channel.
func (s *Series) reason(c *Choice) string {
	if c.Channel.IsPressure() && c.Unit != "" {
		for _, g := range s.Guesses {
			if g.Is == Pressure && g.Unit == c.Unit {
				return fmt.Sprintf("%s at %.0f %%: %s", c.Unit, 100*g.Sure, g.Why)
			}
		}
		return c.Unit + " as chosen"
	}
	g := s.Best()
	return fmt.Sprintf("%s at %.0f %%: %s", g.Is, 100*g.Sure, g.Why)
}

// station writes a station with its plate data, known or not.
func (w *writer) station(s *Planned) {
	w.line("  - id: %s", quoted(s.ID))
	has := func(c station.Channel) bool {
		return slices.ContainsFunc(s.Channels, func(x Choice) bool { return x.Channel == c })
	}
	for _, c := range [...]struct {
		channel station.Channel
		buys    string
	}{{station.OutletPressure, "pressure left after the shift, bursts, leaks"}, {station.InletPressure, "the supply"}, {station.Cycles, "strokes where traces are slow or noisy, and their exact number"}} {
		if !has(c.channel) {
			w.line("    # needed for %s: a topic that is its %s", c.buys, c.channel)
		}
	}
	w.plate(s.Plate)
}

// plate writes the sections of plate data: a section of which something is known as keys, with the others as
// comments.
func (w *writer) plate(known map[string]string) {
	var sections []string
	for _, step := range steps {
		for _, k := range step.Keys {
			if name, _, _ := strings.Cut(k.Name, "."); !slices.Contains(sections, name) {
				sections = append(sections, name)
			}
		}
	}
	for _, section := range sections {
		any := false
		for _, step := range steps {
			for _, k := range step.Keys {
				any = any || strings.HasPrefix(k.Name, section+".") && known[k.Name] != ""
			}
		}
		mark := "# "
		if any {
			mark = ""
		}
		w.line("    %s%s:", mark, section)
		for _, step := range steps {
			for _, k := range step.Keys {
				name, key, _ := strings.Cut(k.Name, ".")
				switch v := known[k.Name]; {
				case name != section:
				case v != "":
					w.line("      %s: %s", key, quoted(v))
				default:
					w.line("    #   %s: %s   # needed for %s", key, k.Example, step.Buys)
				}
			}
		}
	}
}
