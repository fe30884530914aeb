// Package discover listens to a broker that nobody has described, and concludes what may be behind it: how
// payloads are written, which values are pressures and which are counters, in what unit, which of them move
// together, and so which stations there may be. It is pure: messages with their times go in, findings come
// out. Whatever a broker sends, it stays within its bounds.
package discover

import (
	"strings"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/sparkplug"
)

// Bounds of what is remembered. Own choice: a plant's gateways have some hundred values, and 1,000 of them
// take 6 MB here.
const (
	maxTopics  = 1000
	maxSeries  = 1000
	maxOfTopic = 64       // values of one topic
	maxName    = 256      // bytes of a topic, and of a name in a payload
	maxPayload = 64 << 10 // bytes of a payload that is read
	maxValues  = 2000     // of one message
)

// Message is what came over a topic.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool // the broker had kept it: when it was sent is not known
	At       station.Instant
}

// Listener gathers what is heard. The zero value is not usable; see New.
type Listener struct {
	began, newest station.Instant
	width         int64 // of a slot, ns
	topics        []*heard
	byName        map[string]*heard
	series        []*series
	births        births
	messages      int64
	bytes         int64
	left          int64              // messages and values beyond the bounds
	grids         map[gridKey]*trace // while findings are worked out
}

// heard is a topic.
type heard struct {
	name     string
	messages int64
	bytes    int64
	retained int64
	formats  map[payload.Format]int64
	unread   int64
	problem  string // of the newest message that could not be read
	comma    bool   // numbers have a decimal comma
	time     clockOf
	shape    shape
	sender   string // of line protocol: measurement and tags of the first point
	several  bool   // there are others
	series   map[string]*series
}

// shape is how a list of objects names its values; each is "" where there is none.
type shape struct {
	each, name, value string
	listed            bool
}

// New returns a listener that has heard nothing yet.
func New() *Listener {
	return &Listener{width: firstWidth, byName: make(map[string]*heard)}
}

// Take adds a message to what was heard. Messages come in the order of their times.
func (l *Listener) Take(m *Message) {
	l.messages++
	l.bytes += int64(len(m.Payload))
	if l.began == 0 {
		l.began = m.At
	}
	l.newest = max(l.newest, m.At)
	t := l.topic(m.Topic)
	if t == nil {
		l.left++
		return
	}
	t.messages++
	t.bytes += int64(len(m.Payload))
	if len(m.Payload) > maxPayload {
		t.unread++
		t.problem = "longer than 64 KiB"
		return
	}
	if m.Retained {
		t.retained++
	}
	x := extraction{topic: t, message: m, births: &l.births}
	x.read()
	if x.problem != "" {
		t.unread++
		t.problem = x.problem
		return
	}
	t.formats[x.format]++
	if m.Retained {
		return // its value may be of last week
	}
	l.widen(m.At)
	last := x.newest()
	for i := range x.values {
		v := &x.values[i]
		s := l.seriesOf(t, v)
		if s == nil {
			l.left++
			continue
		}
		at := m.At
		if v.at != 0 { // clocks of senders may be off: only distances within a message count
			at = m.At.Add(v.at.Sub(last))
		}
		s.add(v, at, l.slot(at))
	}
}

// topic returns what is known of a topic, nil beyond the bounds. The topics of a Sparkplug sender's data,
// births and deaths are one.
func (l *Listener) topic(name string) *heard {
	if len(name) > maxName {
		return nil
	}
	if id, ok := sparkplug.Parse(name); ok {
		name = sparkplugPrefix + id.Path(3)
		name = strings.TrimSuffix(name, "/"+sparkplug.Unnamed)
	}
	t := l.byName[name]
	if t == nil && len(l.topics) < maxTopics {
		t = &heard{name: name, formats: make(map[payload.Format]int64, 1), series: make(map[string]*series, 1)}
		l.topics, l.byName[name] = append(l.topics, t), t
	}
	return t
}

// sparkplugPrefix begins the names of Sparkplug senders: group, edge node and device follow.
const sparkplugPrefix = "spBv1.0/"

// seriesOf returns the series of a value, nil beyond the bounds.
func (l *Listener) seriesOf(t *heard, v *value) *series {
	s := t.series[v.name]
	if s != nil || len(v.name) > maxName || len(t.series) >= maxOfTopic || len(l.series) >= maxSeries {
		return s
	}
	s = &series{id: len(l.series), topic: t, name: v.name, whole: true, binary: true}
	t.series[v.name] = s
	l.series = append(l.series, s)
	return s
}

// format returns the format that most messages of a topic are written in.
func (t *heard) format() payload.Format {
	best := payload.Auto
	for f := payload.Auto; int(f) < len(payload.FormatNames()); f++ {
		if t.formats[f] > t.formats[best] {
			best = f
		}
	}
	return best
}
