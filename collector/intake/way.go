package intake

import (
	"cmp"
	"sync/atomic"

	"strokewise/analyzer/station"
	"strokewise/collector/mapping"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// way is how the messages of a route are read.
type way struct {
	name     string // of the route, for messages
	format   payload.Format
	mapping  *mapping.Mapping // never nil
	place    topic.Fields     // what the mapping fixes
	base     payload.Context  // what does not change from message to message
	maxAge   int64            // of a device time, ns
	detected *atomic.Uint32   // the formats that auto took payloads for, a bit each
}

// newWay returns the way of a route.
func newWay(name string, f payload.Format, pressureUnit float64, m *mapping.Mapping) way {
	w := way{name: name, format: f, mapping: m, detected: new(atomic.Uint32), base: payload.Context{PressureUnit: pressureUnit}}
	if m == nil {
		w.mapping = &mapping.Mapping{}
		return w
	}
	w.place = topic.Fields{Site: m.Site.Fixed, Station: m.Station.Fixed, Channel: m.Channel.Fixed}
	w.base.Scales, w.base.Ignore, w.base.Comma = m.Scales(), m.Ignore, m.Comma
	if m.Names != nil || len(m.Values) > 0 {
		w.base.Names = m
	}
	return w
}

// as returns the format of a message.
func (in *Intake) as(w *way, m *Message) payload.Format {
	if w.format != payload.Auto {
		return w.format
	}
	f := payload.Detect(m.Topic, m.Payload)
	if bit := uint32(1) << f; f != payload.Auto && w.detected.Load()&bit == 0 && w.detected.Or(bit)&bit == 0 && in.opt.Took != nil {
		in.opt.Took(w.name, f)
	}
	return f
}

// route finds the way of a topic, and what the topic and the mapping say of its messages.
func (in *Intake) route(m *Message) (*way, topic.Fields, *payload.Refusal) {
	name, site := m.Topic, cmp.Or(m.Site, in.opt.Site)
	if f, ok := in.opt.Fixed[name]; ok {
		w := in.fixed[name]
		return &w, w.complete(f.Fields, site), nil
	}
	for i := range in.opt.Routes {
		if f, ok := in.opt.Routes[i].match(name); ok {
			w := &in.ways[i]
			return w, w.complete(f, site), nil
		}
	}
	return nil, topic.Fields{}, &payload.Refusal{Reason: UnknownTopic, Detail: "the topic fits none of the configured patterns"}
}

// complete completes the fields by what is fixed, and by the site of the broker or the only one.
func (w *way) complete(f topic.Fields, site string) topic.Fields {
	if f.Site == "" {
		f.Site = w.place.Site
	}
	if f.Site == "" {
		f.Site = site
	}
	if f.Station == "" {
		f.Station = w.place.Station
	}
	if f.Channel == "" {
		f.Channel = w.place.Channel
	}
	return f
}

// context returns what is known of a message beside its payload.
func (w *way) context(f topic.Fields, m *Message) (c payload.Context, r *payload.Refusal) {
	c = w.base
	c.Arrival = m.Arrival
	if f.Channel == "" {
		return c, nil
	}
	if c.Channel, c.HasChannel = station.ParseChannel(f.Channel); !c.HasChannel && w.base.Names != nil {
		if p, ok := w.mapping.Find(f.Channel); ok {
			c.Channel, c.HasChannel = p.Channel, true
		}
	}
	if !c.HasChannel {
		return c, payload.Refuse(payload.UnknownChannel, "no channel is called %.40q; map it in values, by its name", f.Channel)
	}
	return c, nil
}
