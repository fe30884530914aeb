package intake

import (
	"fmt"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// readings decides a message of single readings. One that cannot be read, or cannot be true, is lost
// alone; the message is refused where none is left.
func (in *Intake) readings(w *way, fields topic.Fields, f payload.Format, m *Message) (Taken, *payload.Refusal) {
	t := Taken{Record: station.Record{Key: station.Key{Site: fields.Site, Station: fields.Station}, Arrival: m.Arrival}}
	c, r := w.context(fields, m)
	if r != nil {
		return t, r
	}
	list, r := in.read(w, f, m, &c)
	if r != nil {
		return t, r
	}
	groups := in.sift(&t, list, w, m)
	if len(groups) == 0 && len(t.Lost) > 0 {
		r := *t.Lost[0]
		if more := len(t.Lost) - 1; more > 0 {
			r.Detail += fmt.Sprintf(" (and %d more of this message are refused)", more)
		}
		t.Lost = nil
		return t, &r
	}
	for i := range groups {
		g := &groups[i]
		rec := station.Record{Key: g.key, Arrival: m.Arrival, Blocks: payload.Gather(g.list, nil)}
		if newest, own := newestOwn(rec.Blocks); own {
			in.heard(rec.Key, newest, m)
			if m.Undated {
				rec.Arrival = min(rec.Arrival, newest)
			}
		}
		if i == 0 {
			t.Record = rec
		} else {
			t.More = append(t.More, rec)
		}
	}
	return t, nil
}

// read decodes a payload of single readings.
func (in *Intake) read(w *way, f payload.Format, m *Message, c *payload.Context) ([]payload.Reading, *payload.Refusal) {
	var list []payload.Reading
	var r *payload.Refusal
	switch f {
	case payload.SenML:
		list, r = payload.Read(m.Payload, c, nil)
	case payload.JSON:
		return w.mapping.JSON(m.Payload, c, nil)
	case payload.Line:
		return w.mapping.Line(m.Payload, c, nil)
	case payload.Sparkplug:
		list, r = in.sparkplug(w, m, c)
	}
	if w.mapping.Time.Arrival {
		for i := range list {
			list[i].At, list[i].Stamp = m.Arrival.Floor(station.Microsecond), station.StampArrival
		}
	}
	return list, r
}

// group is the sound readings of one station.
type group struct {
	key  station.Key
	list []payload.Reading
}

// sift parts the readings by station. What is not sound is noted as lost.
func (in *Intake) sift(t *Taken, list []payload.Reading, w *way, m *Message) (groups []group) {
	unknown := map[station.Key]*payload.Refusal{}
	for i := range list {
		r := &list[i]
		k := t.Key
		if r.Site != "" {
			k.Site = r.Site
		}
		if r.Station != "" {
			k.Station = r.Station
		}
		why := r.Why
		if why == nil {
			why = w.sound(r, m)
		}
		if why != nil {
			why.Detail += of(r)
			t.Lost = append(t.Lost, why)
			continue
		}
		at := slices.IndexFunc(groups, func(g group) bool { return g.key == k })
		if at < 0 {
			if unknown[k] == nil {
				if unknown[k] = in.known(k); unknown[k] == nil {
					at, groups = len(groups), append(groups, group{key: k})
				} else {
					t.Lost = append(t.Lost, unknown[k])
				}
			}
			if at < 0 {
				continue
			}
		}
		groups[at].list = append(groups[at].list, *r)
	}
	return groups
}

// sound refuses a reading that cannot be true.
func (w *way) sound(r *payload.Reading, m *Message) *payload.Refusal {
	if why := w.times(r.Stamp, r.At, r.At, m); why != nil {
		return why
	}
	unit := 0.0
	if r.Bare {
		unit = w.unit()
	}
	return plausibleValue(r.Channel, r.Value, unit)
}

// of names a reading, for messages.
func of(r *payload.Reading) string {
	if r.Name == "" {
		return ""
	}
	return fmt.Sprintf(" (%.60q)", r.Name)
}
