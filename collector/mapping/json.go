package mapping

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"sort"
	"strconv"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// JSON appends the readings of a JSON message to dst.
func (m *Mapping) JSON(data []byte, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	if len(bytes.TrimSpace(data)) == 0 {
		return dst, payload.Refuse(payload.Empty, "the payload is empty; expected JSON")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	var doc any
	if err := d.Decode(&doc); err != nil {
		if errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("it ends too early; the message may be cut off")
		}
		return dst, payload.Refuse(payload.NotJSON, "cannot read the JSON: %v", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return dst, payload.Refuse(payload.NotJSON, "there is more behind the JSON's end, at byte %d", d.InputOffset())
	}
	return m.read(doc, c, dst)
}

// scope is where pointers look: in an item first, then in the message around it.
type scope struct{ item, whole any }

func (s *scope) find(p *Pointer) (any, bool) {
	if v, ok := p.in(s.item); ok {
		return v, true
	}
	return p.in(s.whole)
}

// read reads a document.
func (m *Mapping) read(doc any, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	items := []scope{{doc, doc}}
	if m.Each != nil {
		list, ok := m.Each.in(doc)
		if !ok {
			return dst, payload.Refuse(payload.NoMember, "the message has no %s; it has %s", where(m.Each), members(doc))
		}
		items = items[:0]
		switch x := list.(type) {
		case []any:
			for _, v := range x {
				items = append(items, scope{v, doc})
			}
		case map[string]any:
			names := make([]string, 0, len(x))
			for k := range x {
				names = append(names, k)
			}
			sort.Strings(names)
			for _, k := range names {
				items = append(items, scope{x[k], doc})
			}
		default:
			return dst, payload.Refuse(payload.NoMember, "%s is %s, not a list", where(m.Each), kind(list))
		}
	}
	before, foreign := len(dst), ""
	for i := range items {
		var other string
		if dst, other = m.item(&items[i], c, dst); other != "" {
			foreign = other
		}
		if len(dst) > payload.MaxSamples {
			return dst[:before], payload.Refuse(payload.TooLong, "more than %d values in one message; send shorter ones", payload.MaxSamples)
		}
	}
	switch {
	case len(dst) > before:
		return dst, nil
	case foreign != "":
		return dst, payload.Refuse(payload.UnknownChannel, "the name %.60q stands for no channel: map it in values", foreign)
	}
	return dst, payload.Refuse(payload.NoMember, "nothing that is mapped is in the message: not %s; it has %s", m.wanted(), members(items0(items, doc)))
}

// items0 returns the first item, for messages.
func items0(items []scope, doc any) any {
	if len(items) > 0 {
		return items[0].item
	}
	return doc
}

// item reads one item; a name that is of no concern here is returned.
func (m *Mapping) item(s *scope, c *payload.Context, dst []payload.Reading) (out []payload.Reading, foreign string) {
	if m.Name == nil {
		if m.Value != nil {
			dst = m.value(s, m.Value, m.topics(c), "", c, dst)
		}
		for i := range m.Values {
			if v := &m.Values[i]; v.At != nil {
				dst = m.value(s, v.At, m.place(v, c), v.At.text, c, dst)
			}
		}
		return dst, ""
	}
	named, ok := s.find(m.Name)
	name, isText := named.(string)
	if n, isNumber := named.(json.Number); isNumber {
		name, isText = n.String(), true
	}
	if !ok || !isText {
		return dst, ""
	}
	p, ok := m.Find(name)
	if ch, is := station.ParseChannel(name); !ok && is {
		p, ok = payload.Place{Channel: ch}, true
	}
	if !ok {
		return dst, name
	}
	at := m.Value
	for i := range m.Values {
		if v := &m.Values[i]; v.Name == name && v.At != nil {
			at = v.At
		}
	}
	if at == nil {
		return dst, name
	}
	return m.value(s, at, p, name, c, dst), ""
}

// place returns what a value stands for.
func (m *Mapping) place(v *Value, c *payload.Context) payload.Place {
	p := payload.Place{Site: v.Site, Station: v.Station, Channel: v.Channel, Scale: v.Scale}
	if !v.HasChannel {
		p.Channel = m.topics(c).Channel
	}
	return p
}

// topics returns what a value without a name stands for: the topic's channel.
func (m *Mapping) topics(c *payload.Context) payload.Place {
	p := payload.Place{Channel: station.NumChannels}
	if c.HasChannel {
		p.Channel = c.Channel
		if c.Scales != nil {
			p.Scale = c.Scales[c.Channel]
		}
	}
	return p
}

// value appends the reading of one value, if it is there.
func (m *Mapping) value(s *scope, at *Pointer, p payload.Place, name string, c *payload.Context, dst []payload.Reading) []payload.Reading {
	raw, ok := s.find(at)
	if !ok || raw == nil {
		return dst
	}
	lost := payload.Reading{Name: name, Site: p.Site, Station: p.Station, Channel: p.Channel}
	if lost.Site == "" {
		lost.Site = s.text(m.Site.At)
	}
	if lost.Station == "" {
		lost.Station = s.text(m.Station.At)
	}
	if p.Channel >= station.NumChannels {
		ch, ok := station.ParseChannel(s.text(m.Channel.At))
		if !ok {
			lost.Why = payload.Refuse(payload.NoChannel, "%s: neither the topic nor the mapping names its channel", where(at))
			return append(dst, lost)
		}
		p.Channel, lost.Channel = ch, ch
	}
	v, r := m.number(raw, p.Channel, at, c)
	if r != nil {
		lost.Why = r
		return append(dst, lost)
	}
	out := c.At(p, name, v, "")
	out.Site, out.Station = lost.Site, lost.Station
	out.At, out.Stamp, r = m.time(s, c)
	if out.Why == nil {
		out.Why = r
	}
	return append(dst, out)
}

// text returns the text, or the number, that a pointer refers to; "" where there is none.
func (s *scope) text(p *Pointer) string {
	if p == nil {
		return ""
	}
	switch x, _ := s.find(p); v := x.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	}
	return ""
}

// time returns the time of an item.
func (m *Mapping) time(s *scope, c *payload.Context) (station.Instant, station.Stamp, *payload.Refusal) {
	if m.Time.Arrival || m.Time.At == nil {
		return c.Arrival.Floor(station.Microsecond), station.StampArrival, nil
	}
	v, ok := s.find(m.Time.At)
	switch {
	case !ok && m.Time.optional:
		return c.Arrival.Floor(station.Microsecond), station.StampArrival, nil
	case !ok:
		return 0, station.StampDevice, noTime("the message has no %s, where its time should be", where(m.Time.At))
	}
	t, r := m.Time.Unit.parse(v)
	return t, station.StampDevice, r
}

// number returns a member as a number.
func (m *Mapping) number(raw any, ch station.Channel, at *Pointer, c *payload.Context) (float64, *payload.Refusal) {
	switch x := raw.(type) {
	case json.Number:
		v, err := strconv.ParseFloat(x.String(), 64)
		if err != nil {
			return 0, payload.Refuse(payload.NotFinite, "%s is beyond 1e15", where(at))
		}
		return v, nil
	case bool:
		if ch != station.SupplyOpen {
			return 0, payload.Refuse(payload.NotANumber, "%s is true or false, and %s is a number", where(at), ch)
		}
		if x {
			return 1, nil
		}
		return 0, nil
	case string:
		v, r := c.Number(ch, x)
		if r != nil {
			r.Detail = where(at) + ": " + r.Detail
		}
		return v, r
	case []any:
		return 0, payload.Refuse(payload.NotANumber, "%s is a list: name one of it as in %s/0, or go through it with each", where(at), at)
	}
	return 0, payload.Refuse(payload.NotANumber, "%s is %s, not a number", where(at), kind(raw))
}

// where names a pointer, for messages.
func where(p *Pointer) string {
	if p.text == "" {
		return "the whole message"
	}
	return p.text
}

// wanted lists what is mapped, for messages.
func (m *Mapping) wanted() string {
	var list []string
	add := func(p *Pointer) {
		if p != nil && !slices.Contains(list, where(p)) {
			list = append(list, where(p))
		}
	}
	add(m.Name)
	add(m.Value)
	for i := range m.Values {
		add(m.Values[i].At)
	}
	return short(list)
}

// members lists what a document has, for messages.
func members(doc any) string {
	x, ok := doc.(map[string]any)
	if !ok {
		return kind(doc)
	}
	var list []string
	for k := range x {
		list = append(list, "/"+strings.NewReplacer("~", "~0", "/", "~1").Replace(k[:min(len(k), 40)]))
	}
	sort.Strings(list)
	return short(list)
}

// short joins the first of a list.
func short(list []string) string {
	const most = 8
	switch n := len(list); {
	case n == 0:
		return "nothing"
	case n > most:
		return strings.Join(list[:most], ", ") + " and more"
	}
	return strings.Join(list, ", ")
}

// kind names what a member is, for messages.
func kind(v any) string {
	switch v.(type) {
	case nil:
		return "null"
	case map[string]any:
		return "an object"
	case []any:
		return "a list"
	case string:
		return "a text"
	case bool:
		return "true or false"
	}
	return "a number"
}
