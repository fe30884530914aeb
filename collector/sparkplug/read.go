package sparkplug

import (
	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	pb "strokewise/collector/sparkplug/sparkplugpb"
)

// stored reads a message out of a store. A birth has its names with it; data needs that its aliases
// meant the same when it was sent as they do now.
func (n *node) stored(id ID, p *pb.Payload, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	switch id.Type {
	case nodeDeath, deviceDeath:
		return dst, nil
	case nodeBirth, deviceBirth:
		alone := node{before: map[uint64]definition{}, metrics: map[metric]definition{}, aliases: map[uint64]metric{}, devices: map[string]bool{}}
		if r := alone.define(id.Device, p, c); r != nil {
			return dst, r
		}
		return alone.read(id.Device, p, true, c, dst)
	}
	sent := at(p.Timestamp, c.Arrival)
	for _, m := range p.Metrics {
		d, ok := n.find(id.Device, m)
		if !ok || m.Name == nil && d.since > sent {
			return dst, payload.Refuse(payload.NotBorn, "what the message means is not known: no birth from before it was sent was heard")
		}
	}
	return n.read(id.Device, p, false, c, dst)
}

// find returns what is known of a metric. An alias is one of the whole node.
func (n *node) find(device string, m *pb.Metric) (definition, bool) {
	if m.Name != nil {
		d, ok := n.metrics[metric{device, m.GetName()}]
		return d, ok
	}
	if m.Alias == nil {
		return definition{}, false
	}
	name, ok := n.aliases[m.GetAlias()]
	if !ok || name.device != device {
		return definition{}, false
	}
	return n.metrics[name], true
}

// read appends the readings of metrics. Those of names that are of no concern here are skipped.
func (n *node) read(device string, p *pb.Payload, birth bool, c *payload.Context, dst []payload.Reading) ([]payload.Reading, *payload.Refusal) {
	for _, m := range p.Metrics {
		d, ok := n.find(device, m)
		if !ok {
			dst = append(dst, payload.Reading{Name: m.GetName(), Why: payload.Refuse(payload.NotBorn, "a metric with the alias %d is in no birth", m.GetAlias())})
			continue
		}
		place, ok := c.Find(d.name)
		if !ok || m.GetIsNull() || m.Value == nil {
			continue
		}
		unit, good := properties(m)
		if unit == "" {
			unit = d.unit
		}
		datatype := m.GetDatatype()
		if datatype == 0 {
			datatype = d.datatype
		}
		t := at(p.Timestamp, c.Arrival)
		stamp := stampOf(m.Timestamp != nil || p.Timestamp != nil)
		if m.Timestamp != nil {
			t = at(m.Timestamp, c.Arrival)
		}
		if birth && c.Arrival.Sub(t) > oldest {
			continue // what was sent once already, long ago
		}
		v, r := number(m, datatype, place.Channel, c)
		if r == nil && !good {
			r = payload.Refuse(payload.BadSparkplug, "the edge node marks the value as bad or stale")
		}
		x := payload.Reading{Name: d.name, Site: place.Site, Station: place.Station, Channel: place.Channel, Why: r}
		if r == nil {
			x = c.At(place, d.name, v, unit)
		}
		x.At, x.Stamp = t, stamp
		dst = append(dst, x)
	}
	return dst, nil
}

func stampOf(own bool) station.Stamp {
	if own {
		return station.StampDevice
	}
	return station.StampArrival
}
