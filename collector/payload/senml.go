package payload

import (
	"strings"

	"strokewise/analyzer/station"
)

// relative is the time, s, below which SenML times are relative to now (RFC 8428, 4.5.3).
const relative = 1 << 28

// newest is the version of SenML that is understood (RFC 8428, 4.4).
const newest = 10

// base holds the base fields in force.
type base struct {
	name, unit string
	time, val  float64
}

// record is one SenML record as it is read.
type record struct {
	name, unit       string
	time             float64
	value            float64
	hasValue, isBool bool
	other            bool     // it holds a text, data or a sum
	why              *Refusal // what is wrong with this record
}

// readSenML reads a SenML JSON pack (RFC 8428). The channel is what the resolved name stands for, or
// the topic's.
func readSenML(s *scanner, c *Context, dst []Reading) ([]Reading, *Refusal) {
	if !s.take('[') {
		return dst, refuse(NotJSON, "expected a JSON array of SenML records")
	}
	p := packed{c: c, list: dst}
	for first := true; !s.take(']'); first = false {
		if !first && !s.take(',') {
			return dst, refuse(NotJSON, "expected , or ] at byte %d; the message may be cut off", s.pos)
		}
		var rec record
		if r := rec.read(s, &p.base); r != nil {
			return dst, r
		}
		if r := p.add(&rec); r != nil {
			return dst, r
		}
	}
	if s.space(); !s.end() {
		return dst, refuse(NotJSON, "there is more behind the array's end, at byte %d", s.pos)
	}
	return p.end(dst)
}

// packed gathers the readings of a pack.
type packed struct {
	c       *Context
	base    base
	records int
	foreign string // name of a record that is of no concern here
	list    []Reading
}

// add resolves a record.
func (p *packed) add(rec *record) *Refusal {
	if !rec.hasValue && !rec.other && rec.why == nil {
		return nil // base fields alone
	}
	if p.records++; p.records > MaxSamples {
		return refuse(TooLong, "more than %d records in one message; send shorter packs", MaxSamples)
	}
	name := p.base.name + rec.name
	if _, ok := p.c.Find(name); !ok {
		p.foreign = name
		return nil
	}
	p.list = append(p.list, rec.resolve(name, &p.base, p.c))
	return nil
}

// end returns the readings, or why there are none.
func (p *packed) end(dst []Reading) ([]Reading, *Refusal) {
	switch {
	case len(p.list) > len(dst):
		return p.list, nil
	case p.records == 0:
		return dst, refuse(Empty, "the pack holds no value")
	}
	return dst, refuse(UnknownChannel, "no name ends in a channel, as in %.60q; known are %s, or map the names with values", p.foreign, strings.Join(station.ChannelNames(), ", "))
}

// resolve applies the base fields.
func (rec *record) resolve(name string, b *base, c *Context) Reading {
	place, _ := c.Find(name)
	lost := Reading{Name: name, Site: place.Site, Station: place.Station, Channel: place.Channel, Why: rec.why}
	switch {
	case rec.why != nil:
		return lost
	case !rec.hasValue:
		lost.Why = refuse(BadSenML, "%.60q holds a text, data or a sum; send a number", name)
		return lost
	}
	v := rec.value
	if !rec.isBool {
		v += b.val
	}
	unit := rec.unit
	if unit == "" {
		unit = b.unit
	}
	r, t := c.At(place, name, v, unit), b.time+rec.time
	if t < relative {
		t, r.Stamp = c.Arrival.Seconds()+t, station.StampArrival
	}
	var ok bool
	if r.At, ok = station.InstantOfSeconds(t); !ok && r.Why == nil {
		r.Why = refuse(BadSenML, "%.60q: %g is no time", name, t)
	}
	return r
}
