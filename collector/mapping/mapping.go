// Package mapping reads values out of payloads that a gateway or a controller shaped for itself: any
// JSON, and InfluxDB line protocol, by paths to what is a time, a value and a name.
package mapping

import (
	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// Mapping is what the messages of a topic mean.
type Mapping struct {
	Site, Station, Channel Source         // zero: by the topic
	Each                   *Pointer       // to a list, or an object, whose items are read one by one; nil: the message is one
	Name                   *Pointer       // to what names a value; nil: nothing does
	Value                  *Pointer       // to the value of what has a name, or of the topic's channel
	Names                  *topic.Pattern // of names in payloads; nil: none
	Values                 []Value
	Time                   Time
	Comma                  bool     // numbers in texts have a decimal comma
	Ignore                 []string // members of blocks that are left out
	Mute                   bool     // Sparkplug edge nodes are not asked for births
}

// Source is a text that is fixed, or a member of the payload.
type Source struct {
	Fixed string
	At    *Pointer
}

// Value is one value of the messages.
type Value struct {
	Name          string   // what the payload calls it; "": nothing
	At            *Pointer // where it is; nil: where Mapping.Value is, or payloads have no members
	Site, Station string   // "": as for the message
	Channel       station.Channel
	HasChannel    bool // else it is the topic's
	Scale         *payload.Scale
}

// Scales returns the scales of channels that belong to no name or path: those of plain numbers and of
// blocks; nil where there are none.
func (m *Mapping) Scales() *payload.Scales {
	var out payload.Scales
	any := false
	for i := range m.Values {
		v := &m.Values[i]
		if v.Scale == nil || v.Name != "" || v.At != nil {
			continue
		}
		any = true
		if v.HasChannel {
			out[v.Channel] = v.Scale
			continue
		}
		for c := range out {
			if out[c] == nil {
				out[c] = v.Scale
			}
		}
	}
	if !any {
		return nil
	}
	return &out
}

// Find implements payload.Names: by the values' names, else by the pattern.
func (m *Mapping) Find(name string) (payload.Place, bool) {
	for i := range m.Values {
		if v := &m.Values[i]; v.Name != "" && v.Name == name && v.HasChannel {
			return payload.Place{Site: v.Site, Station: v.Station, Channel: v.Channel, Scale: v.Scale}, true
		}
	}
	if m.Names == nil {
		return payload.Place{}, false
	}
	f, ok := m.Names.Match(name)
	if !ok {
		return payload.Place{}, false
	}
	p := payload.Place{Site: f.Site, Station: f.Station}
	if f.Channel == "" {
		return p, false
	}
	p.Channel, ok = station.ParseChannel(f.Channel)
	if s := m.Scales(); ok && s != nil {
		p.Scale = s[p.Channel]
	}
	return p, ok
}
