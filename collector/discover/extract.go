package discover

import (
	"fmt"
	"strings"

	"strokewise/analyzer/station"
	"strokewise/collector/mapping"
	"strokewise/collector/payload"
	"strokewise/collector/sparkplug"
)

// value is a number in a message.
type value struct {
	name    string // a JSON Pointer, the payload's own name, or "" for the only value
	v       float64
	unit    string          // that the payload says
	channel station.Channel // that the name says, where named
	named   bool
	word    bool            // on, off, open, closed, true or false
	at      station.Instant // 0: the payload says none
}

// extraction reads one message.
type extraction struct {
	topic   *heard
	message *Message
	births  *births
	format  payload.Format
	values  []value
	problem string
}

// add appends a value.
func (x *extraction) add(v value) {
	if len(x.values) < maxValues {
		x.values = append(x.values, v)
	}
}

// newest returns the newest time in the message, 0 where there is none.
func (x *extraction) newest() station.Instant {
	var t station.Instant
	for i := range x.values {
		t = max(t, x.values[i].at)
	}
	return t
}

// read finds out how the message is written and reads its values.
func (x *extraction) read() {
	m := x.message
	switch x.format = payload.Detect(m.Topic, m.Payload); x.format {
	case payload.Auto:
		x.problem = "empty"
	case payload.Scalar:
		x.scalar()
	case payload.Block:
		if !x.block() {
			x.json()
		}
	case payload.SenML:
		if !x.records(x.senml) {
			x.json()
		}
	case payload.Line:
		x.lines()
	case payload.Sparkplug:
		x.sparkplug()
	}
}

// scalar reads a plain number, or a word for open and closed.
func (x *extraction) scalar() {
	c := payload.Context{HasChannel: true, Channel: station.Cycles, Arrival: x.message.At} // a count: its number stays as it is
	list, r := payload.Decode(payload.Scalar, x.message.Payload, &c, nil)
	if r != nil {
		c.Comma = true
		if list, r2 := payload.Decode(payload.Scalar, x.message.Payload, &c, nil); r2 == nil {
			x.topic.comma = true
			x.add(value{v: list[0].Values[0]})
			return
		}
		c.Channel = station.SupplyOpen
		list, r2 := payload.Decode(payload.Scalar, x.message.Payload, &c, nil)
		if r2 != nil {
			x.problem = r.Error()
			return
		}
		x.add(value{v: list[0].Values[0], word: true})
		return
	}
	x.add(value{v: list[0].Values[0]})
}

// block reads a block of strokewise's own, and reports whether it was one.
func (x *extraction) block() bool {
	const v = station.SupplyOpen // stands for the topic's channel: its numbers stay as they are
	c := payload.Context{HasChannel: true, Channel: v, PressureUnit: 1, Arrival: x.message.At}
	list, r := payload.Decode(payload.Block, x.message.Payload, &c, nil)
	if r != nil || len(list) == 0 {
		return false
	}
	for i := range list {
		b := &list[i]
		name := ""
		if b.Channel != v {
			name = b.Channel.String()
		}
		for k := range b.Values {
			one := value{name: name, v: b.Values[k], channel: b.Channel, named: name != "", at: b.At(k)}
			if b.Channel == station.TankTemperature {
				one.unit = "K"
			}
			x.add(one)
		}
	}
	return true
}

// anything accepts every name in a payload, as a value of one channel.
type anything struct{ channel station.Channel }

// Find implements payload.Names.
func (a anything) Find(string) (payload.Place, bool) { return payload.Place{Channel: a.channel}, true }

// kinds are the channels as which values with names are read, one after the other until the unit fits, with
// the unit of SI in which they then are.
var kinds = [...]struct {
	channel station.Channel
	unit    string
}{{station.InletPressure, "Pa"}, {station.TankTemperature, "K"}, {station.InletFlow, "m3/s"}, {station.Cycles, ""}}

// records reads a payload of named readings by a decoder, and reports whether any was read.
func (x *extraction) records(decode func(c *payload.Context) ([]payload.Reading, *payload.Refusal)) bool {
	done := make(map[int]bool)
	for _, k := range kinds {
		c := payload.Context{PressureUnit: 1, Arrival: x.message.At, Names: anything{k.channel}}
		list, r := decode(&c)
		if r != nil {
			x.problem = r.Error()
			return false
		}
		missing := false
		for i := range list {
			switch y := &list[i]; {
			case done[i]:
			case y.Why != nil:
				missing = missing || y.Why.Reason == payload.BadUnit
			default:
				done[i] = true
				v := value{name: y.Name, v: y.Value, unit: k.unit}
				if y.Bare {
					v.unit = ""
				}
				if y.Stamp == station.StampDevice {
					v.at = y.At
				}
				v.channel, v.named = station.ParseChannel(y.Name[strings.LastIndexAny(y.Name, "/:.")+1:])
				x.add(v)
			}
		}
		if !missing {
			break
		}
	}
	if len(x.values) == 0 {
		x.problem = "no number is in it"
	}
	return len(x.values) > 0
}

func (x *extraction) senml(c *payload.Context) ([]payload.Reading, *payload.Refusal) {
	return payload.Read(x.message.Payload, c, nil)
}

// lines reads line protocol.
func (x *extraction) lines() {
	docs, err := mapping.Points(x.message.Payload, maxValues)
	if err != nil {
		x.problem = err.Error()
		return
	}
	for _, d := range docs {
		if from := fmt.Sprint(d["measurement"], d["tags"]); x.topic.sender == "" {
			x.topic.sender = from
		} else if x.topic.sender != from {
			x.topic.several = true
		}
		w := walk{x: x}
		w.under("/fields", d["fields"], 1)
		if t, ok := d["time"]; ok {
			w.dated(t)
		}
	}
}

// births remembers what Sparkplug edge nodes said, within a bound.
type births struct {
	sparkplug.Session
	bytes int
}

// maxBirths is how many bytes of births are remembered.
const maxBirths = 4 << 20

// sparkplug reads a message of an edge node. What comes before its birth cannot be read.
func (x *extraction) sparkplug() {
	id, ok := sparkplug.Parse(x.message.Topic)
	if !ok {
		x.problem = "no message of a Sparkplug edge node"
		return
	}
	if strings.HasSuffix(id.Type, "BIRTH") {
		if x.births.bytes += len(x.message.Payload); x.births.bytes > maxBirths {
			x.problem = "more births than are remembered here"
			return
		}
	}
	x.records(func(c *payload.Context) ([]payload.Reading, *payload.Refusal) {
		return x.births.Read(id, x.message.Payload, sparkplug.How{}, c, nil)
	})
}
