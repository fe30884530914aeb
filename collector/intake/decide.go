package intake

import (
	"fmt"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// Taken is what came of a message that is accepted: the record of a station, and those of others where
// it holds values of several.
type Taken struct {
	station.Record // without blocks where the message says nothing that is kept
	More           []station.Record
	Lost           []*payload.Refusal // of single readings, while the others are taken
	As             payload.Format     // what the payload was taken for
}

// Each calls do for each record that holds something.
func (t *Taken) Each(do func(r *station.Record)) {
	if len(t.Blocks) > 0 {
		do(&t.Record)
	}
	for i := range t.More {
		do(&t.More[i])
	}
}

// Accept returns what came of a message, or why it is refused; a refused message is counted, and so is
// each reading that is lost.
func (in *Intake) Accept(m *Message) (Taken, *payload.Refusal) {
	t, r := in.Decide(m)
	if r != nil {
		in.Refuse(r)
	}
	for _, l := range t.Lost {
		in.Refuse(l)
	}
	return t, r
}

// Refuse counts a message, or a reading, that Decide refused.
func (in *Intake) Refuse(r *payload.Refusal) { in.refused.add(r.Reason) }

// OfClock reports whether a message was refused for its time alone: it may be our clock that is wrong.
func OfClock(r *payload.Refusal) bool { return r.Reason == TimeAhead || r.Reason == TimeTooOld }

// Discarded counts a message that was turned away for its announced size before it was
// read, and returns why.
func (in *Intake) Discarded(size int64) *payload.Refusal {
	r := &payload.Refusal{Reason: TooLarge,
		Detail: fmt.Sprintf("a packet of %d bytes was announced; send shorter blocks, or raise mqtt.max_packet", size)}
	in.Refuse(r)
	return r
}

// Decide returns what comes of a message, or why it is refused, and counts nothing. A message on which
// a decoder fails is refused: unacknowledged it would come again at each start, and end the program again.
func (in *Intake) Decide(m *Message) (t Taken, r *payload.Refusal) {
	w, fields, r := in.route(m)
	if r != nil {
		return Taken{Record: station.Record{Arrival: m.Arrival}}, r
	}
	defer func() {
		if p := recover(); p != nil {
			t, r = Taken{Record: station.Record{Arrival: m.Arrival}}, &payload.Refusal{Reason: DecoderFault,
				Detail: fmt.Sprintf("a fault of this program: %v; report it with the message, and accept it again after an upgrade", p)}
		}
	}()
	f := in.as(w, m)
	if f <= payload.Block {
		t, r = in.blocks(w, fields, f, m)
	} else {
		t, r = in.readings(w, fields, f, m)
	}
	t.As = f
	if r != nil && w.format == payload.Auto && f > payload.Scalar {
		r.Detail += "; auto took the payload for " + words[f]
	}
	return t, r
}

// words name the formats, for messages.
var words = map[payload.Format]string{payload.Scalar: "a plain number", payload.Block: "a block", payload.SenML: "SenML",
	payload.JSON: "JSON", payload.Line: "line protocol", payload.Sparkplug: "Sparkplug"}

// blocks decides a message of blocks, all of one station: it is accepted or refused as a whole, but for
// the values of a broken wire.
func (in *Intake) blocks(w *way, fields topic.Fields, f payload.Format, m *Message) (Taken, *payload.Refusal) {
	t := Taken{Record: station.Record{Key: station.Key{Site: fields.Site, Station: fields.Station}, Arrival: m.Arrival}}
	if r := in.known(t.Key); r != nil {
		return t, r
	}
	if f == payload.Auto {
		return t, &payload.Refusal{Reason: payload.Empty, Detail: "the payload is empty; expected a number, a block or SenML"}
	}
	c, r := w.context(fields, m)
	if r != nil {
		return t, r
	}
	t.Blocks, r = in.decode(f, m.Payload, &c, nil)
	if r != nil && len(t.Blocks) == 0 {
		return t, r
	}
	if r != nil {
		t.Lost = []*payload.Refusal{r}
	}
	newest, own := newestOwn(t.Blocks)
	if own {
		in.heard(t.Key, newest, m)
	}
	for i := range t.Blocks {
		b := &t.Blocks[i]
		if r := w.plausible(b, m); r != nil {
			return t, r
		}
		unit := 0.0
		if c.Scales == nil || c.Scales[b.Channel] == nil {
			unit = w.unit()
		}
		for j, v := range b.Values {
			if r := plausibleValue(b.Channel, v, unit); r != nil {
				r.Detail += fmt.Sprintf(" (%s, value %d of the block)", b.Channel, j+1)
				return t, r
			}
		}
	}
	if m.Undated && own {
		t.Arrival = min(t.Arrival, newest)
	}
	return t, nil
}

// unit returns the Pa of one unit of plain numbers.
func (w *way) unit() float64 {
	if w.base.PressureUnit > 0 {
		return w.base.PressureUnit
	}
	return 1e3
}

// known refuses a station that is not configured, and counts it.
func (in *Intake) known(k station.Key) *payload.Refusal {
	if (*in.stations.Load())[k] {
		return nil
	}
	in.refused.stranger(k)
	return &payload.Refusal{Reason: UnknownStation, Detail: fmt.Sprintf("the station %.80q is not configured: add it, or mend the topic", k.String())}
}

// heard passes on the newest time that a device set.
func (in *Intake) heard(k station.Key, newest station.Instant, m *Message) {
	if in.opt.Heard != nil && !m.Retained && !m.Backlog && !m.Undated && !m.Again {
		in.opt.Heard(k, newest, m.Arrival)
	}
}

// newestOwn returns the newest time that a device set, false where none did.
func newestOwn(blocks []station.Block) (newest station.Instant, own bool) {
	for i := range blocks {
		if b := &blocks[i]; b.Stamp == station.StampDevice && b.Len() > 0 {
			newest, own = max(newest, b.At(b.Len()-1)), true
		}
	}
	return newest, own
}
