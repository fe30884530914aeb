package payload

import (
	"math"
	"sort"
	"strings"

	"strokewise/analyzer/station"
)

// relative is the time, s, below which SenML times are relative to now (RFC 8428, 4.5.3).
const relative = 1 << 28

// base holds the base fields in force.
type base struct {
	name, unit string
	time, val  float64
}

// entry is one resolved SenML record.
type entry struct {
	channel station.Channel
	at      station.Instant
	stamp   station.Stamp
	value   float64
}

// record is one SenML record as it is read.
type record struct {
	name, unit       string
	time             float64
	value            float64
	hasValue, isBool bool
	hasName          bool
}

// decodeSenML reads a SenML JSON pack (RFC 8428). The channel is the last part of the
// resolved name (behind a slash, colon or dot), or the topic's. Pressures are in Pa, or,
// without unit, in the topic's unit; temperatures in K or Cel.
func decodeSenML(s *scanner, c *Context, dst []station.Block) ([]station.Block, *Refusal) {
	if !s.take('[') {
		return dst, refuse(NotJSON, "expected a JSON array of SenML records")
	}
	var b base
	var list []entry
	for first := true; !s.take(']'); first = false {
		if !first && !s.take(',') {
			return dst, refuse(NotJSON, "expected , or ] at byte %d; the message may be cut off", s.pos)
		}
		var rec record
		if r := rec.read(s, &b); r != nil {
			return dst, r
		}
		if !rec.hasValue {
			continue // base fields alone
		}
		if len(list) == MaxSamples {
			return dst, refuse(TooLong, "more than %d records in one message; send shorter packs", MaxSamples)
		}
		e, r := rec.resolve(&b, c)
		if r != nil {
			return dst, r
		}
		list = append(list, e)
	}
	if s.space(); !s.end() {
		return dst, refuse(NotJSON, "there is more behind the array's end, at byte %d", s.pos)
	}
	if len(list) == 0 {
		return dst, refuse(Empty, "the pack holds no value")
	}
	return gather(list, dst), nil
}

// read reads one record and updates the base fields.
func (rec *record) read(s *scanner, b *base) *Refusal {
	if !s.take('{') {
		return refuse(NotJSON, "expected a SenML record at byte %d; the message may be cut off", s.pos)
	}
	for first := true; !s.take('}'); first = false {
		if !first && !s.take(',') {
			return refuse(NotJSON, "expected , or } at byte %d; the message may be cut off", s.pos)
		}
		key, ok := s.str()
		if !ok || !s.take(':') {
			return refuse(NotJSON, "expected a label and a colon at byte %d; the message may be cut off", s.pos)
		}
		if r := rec.field(s, string(key), b); r != nil {
			return r
		}
	}
	return nil
}

func (rec *record) field(s *scanner, key string, b *base) *Refusal {
	switch key {
	case "bn":
		return s.text(key, &b.name)
	case "bu":
		return s.text(key, &b.unit)
	case "n":
		rec.hasName = true
		return s.text(key, &rec.name)
	case "u":
		return s.text(key, &rec.unit)
	case "bt":
		return s.float(key, &b.time)
	case "bv":
		return s.float(key, &b.val)
	case "t":
		return s.float(key, &rec.time)
	case "v":
		rec.hasValue = true
		return s.float(key, &rec.value)
	case "vb":
		return rec.boolean(s)
	case "bver":
		var v float64
		if r := s.float(key, &v); r != nil {
			return r
		}
		if v > 10 {
			return refuse(BadSenML, "SenML version %g is newer than 10, the one of RFC 8428", v)
		}
		return nil
	case "s", "bs":
		return refuse(BadSenML, "sums (%q) are not taken; send values", key)
	case "vs", "vd":
		return refuse(BadSenML, "text and data values (%q) are not taken; send numbers", key)
	}
	if strings.HasSuffix(key, "_") {
		return refuse(BadSenML, "the label %.40q must be understood, and is not", key)
	}
	if !s.skip() {
		return refuse(NotJSON, "%.40q: expected a value at byte %d; the message may be cut off", key, s.pos)
	}
	return nil
}

func (rec *record) boolean(s *scanner) *Refusal {
	v, null, ok := s.literal()
	if !ok || null {
		return refuse(BadSenML, "vb must be true or false")
	}
	rec.hasValue, rec.isBool = true, true
	if v {
		rec.value = 1
	}
	return nil
}

func (s *scanner) text(key string, v *string) *Refusal {
	b, ok := s.str()
	if !ok {
		return refuse(NotJSON, "%s must be a string, at byte %d", key, s.pos)
	}
	*v = string(b)
	return nil
}

func (s *scanner) float(key string, v *float64) *Refusal {
	x, r := s.value(key)
	*v = x
	return r
}

// resolve applies the base fields.
func (rec *record) resolve(b *base, c *Context) (entry, *Refusal) {
	e := entry{value: rec.value}
	if !rec.isBool {
		e.value += b.val
	}
	name := b.name + rec.name
	ch, ok := station.ParseChannel(name[strings.LastIndexAny(name, "/:.")+1:])
	switch {
	case ok:
		e.channel = ch
	case c.HasChannel:
		e.channel = c.Channel
	default:
		return e, refuse(UnknownChannel, "the name %.60q does not end in a channel; known are %s", name, strings.Join(station.ChannelNames(), ", "))
	}
	t := b.time + rec.time
	if t < relative {
		t, e.stamp = c.Arrival.Seconds()+t, station.StampArrival
	}
	if e.at, ok = station.InstantOfSeconds(t); !ok {
		return e, refuse(BadSenML, "the time %g is no time", t)
	}
	unit := rec.unit
	if unit == "" {
		unit = b.unit
	}
	return e.convert(unit, c)
}

// convert brings the value to SI.
func (e entry) convert(unit string, c *Context) (entry, *Refusal) {
	known := true
	switch {
	case unit == "":
		e.value = e.channel.SI(e.value, c.pressureUnit())
	case e.channel.IsPressure():
		known = unit == "Pa"
	case e.channel == station.TankTemperature:
		if known = unit == "K" || unit == "Cel"; unit == "Cel" {
			e.value += 273.15
		}
	case e.channel == station.InletFlow:
		known = unit == "m3/s"
	default:
		known = unit == "count" || unit == "/"
	}
	if !known {
		return e, refuse(BadUnit, "%s cannot be in %.20q; SenML has Pa for pressure, K or Cel for temperature, m3/s for flow, count for counts", e.channel, unit)
	}
	if !finite(e.value) || math.IsInf(e.value, 0) {
		return e, refuse(NotFinite, "%s is beyond 1e15", e.channel)
	}
	return e, nil
}

// gather makes a block of each channel, in order of time; of two values with one time the
// first stays.
func gather(list []entry, dst []station.Block) []station.Block {
	sort.SliceStable(list, func(i, j int) bool {
		a, b := &list[i], &list[j]
		return a.channel < b.channel || a.channel == b.channel && a.at < b.at
	})
	for from := 0; from < len(list); {
		to := from
		for to < len(list) && list[to].channel == list[from].channel {
			to++
		}
		b := station.Block{Channel: list[from].channel, Stamp: list[from].stamp, Start: list[from].at}
		for _, e := range list[from:to] {
			if n := len(b.Times); n > 0 && b.Times[n-1] == e.at {
				continue
			}
			b.Times, b.Values = append(b.Times, e.at), append(b.Values, e.value)
		}
		b.Stamp = mixed(list[from:to])
		regular(&b)
		dst = append(dst, b)
		from = to
	}
	return dst
}

// mixed gives the weaker stamp of the entries.
func mixed(list []entry) station.Stamp {
	for _, e := range list {
		if e.stamp == station.StampArrival {
			return station.StampArrival
		}
	}
	return station.StampDevice
}

// regular drops the times of a block whose values are evenly spaced.
func regular(b *station.Block) {
	n := len(b.Times)
	if n == 1 {
		b.Times = nil
		return
	}
	step := b.Times[1].Sub(b.Times[0])
	for i := 2; i < n; i++ {
		if b.Times[i].Sub(b.Times[i-1]) != step {
			return
		}
	}
	b.Step, b.Times = step, nil
}
