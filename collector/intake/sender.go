package intake

import (
	"strokewise/collector/payload"
	"strokewise/collector/sparkplug"
	"strokewise/collector/topic"
)

// match reads a topic by the pattern of the route. For Sparkplug the pattern is one of group, node and,
// if it has three levels, device.
func (r *Route) match(name string) (topic.Fields, bool) {
	if r.Format != payload.Sparkplug {
		return r.Pattern.Match(name)
	}
	id, ok := sparkplug.Parse(name)
	if !ok {
		return topic.Fields{}, false
	}
	f, ok := r.Pattern.Match(id.Path(len(r.Pattern.Levels())))
	for _, x := range []*string{&f.Site, &f.Station, &f.Channel} {
		if *x == sparkplug.Unnamed {
			*x = ""
		}
	}
	return f, ok
}

// sparkplug reads a message of an edge node.
func (in *Intake) sparkplug(w *way, m *Message, c *payload.Context) ([]payload.Reading, *payload.Refusal) {
	id, ok := sparkplug.Parse(m.Topic)
	if !ok {
		return nil, payload.Refuse(payload.BadSparkplug, "the topic is none of an edge node: expected spBv1.0/group/type/node, and the device behind it")
	}
	return in.births.Read(id, m.Payload, sparkplug.How{Again: m.Again, Ask: !w.mapping.Mute}, c, nil)
}
