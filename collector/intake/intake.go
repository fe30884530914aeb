// Package intake decides what comes in: it maps a message to a configured station,
// decodes it, and turns away what cannot be true, each under a reason that is counted.
package intake

import (
	"errors"
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

// The reasons of a message that decodes but is not taken.
const (
	UnknownTopic        payload.Reason = "unknown-topic"
	UnknownStation      payload.Reason = "unknown-station"
	TooLarge            payload.Reason = "too-large"
	TimeAhead           payload.Reason = "time-ahead"
	TimeTooOld          payload.Reason = "time-too-old"
	RetainedScalar      payload.Reason = "retained-scalar"
	StaleBacklog        payload.Reason = "stale-backlog"
	ImplausiblePressure payload.Reason = "implausible-pressure"
	ImplausibleCount    payload.Reason = "implausible-count"
	ImplausibleState    payload.Reason = "implausible-state"
	DecoderFault        payload.Reason = "decoder-fault" // of this program
)

// Bounds of what can be true.
const (
	maxAhead    = 5 * 60 * station.Second
	lowestGauge = -110e3 // Pa: below vacuum
	highest     = 100e6  // Pa gauge
	largest     = 1 << 53
)

// Reasons lists every reason under which a message may be turned away.
func Reasons() []payload.Reason {
	return append(payload.Reasons(), UnknownTopic, UnknownStation, TooLarge, TimeAhead, TimeTooOld, RetainedScalar,
		StaleBacklog, ImplausiblePressure, ImplausibleCount, ImplausibleState, DecoderFault)
}

// Message is a message from a broker.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool
	Backlog  bool // from the queue that the broker kept for us: it may be old
	Arrival  station.Instant
	// Undated says that Arrival is only now, and when the message arrived is not known.
	Undated bool
}

// Route says how messages of a topic are read.
type Route struct {
	Pattern      *topic.Pattern
	Format       payload.Format
	PressureUnit float64 // Pa of one unit, 0: 1 kPa
}

// Fixed maps one topic that fits no pattern.
type Fixed struct {
	Fields       topic.Fields
	Format       payload.Format
	PressureUnit float64
}

// Options of an Intake.
type Options struct {
	Routes   []Route
	Fixed    map[string]Fixed // by topic; it comes before the routes
	Site     string           // where topics name none
	Stations []station.Key
	MaxAge   time.Duration // of a device time, 0: 48 h
	// Heard is told the newest time in a message of a known station that brings its own, accepted or not,
	// unless the message may have waited in a queue; nil: nobody is.
	Heard func(k station.Key, device, arrival station.Instant)
}

// Intake is safe for concurrent use.
type Intake struct {
	opt      Options
	stations atomic.Pointer[map[station.Key]bool]
	maxAge   int64
	refused  *counter
	decode   func(payload.Format, []byte, *payload.Context, []station.Block) ([]station.Block, *payload.Refusal)
}

// New gives an intake.
func New(opt Options) (*Intake, error) {
	if len(opt.Routes)+len(opt.Fixed) == 0 {
		return nil, errors.New("cannot take messages without any topic pattern: give mqtt.topics")
	}
	in := &Intake{opt: opt, maxAge: int64(opt.MaxAge), refused: newCounter(), decode: payload.Decode}
	if in.maxAge <= 0 {
		in.maxAge = 48 * 60 * station.Minute60
	}
	in.SetStations(opt.Stations)
	return in, nil
}

// SetStations replaces the stations that are known.
func (in *Intake) SetStations(keys []station.Key) {
	known := make(map[station.Key]bool, len(keys))
	for _, k := range keys {
		known[k] = true
	}
	in.stations.Store(&known)
}

// Filters gives the MQTT subscription filters.
func (in *Intake) Filters() []string {
	var out []string
	seen := map[string]bool{}
	add := func(f string) {
		if !seen[f] {
			out, seen[f] = append(out, f), true
		}
	}
	for i := range in.opt.Routes {
		add(in.opt.Routes[i].Pattern.Filter())
	}
	for t := range in.opt.Fixed {
		add(t)
	}
	return out
}

// Accept returns the record of a message, or why it is refused; a refused message is
// counted. A message is accepted or refused as a whole.
func (in *Intake) Accept(m *Message) (station.Record, *payload.Refusal) {
	rec, r := in.Decide(m)
	if r != nil {
		in.Refuse(r)
	}
	return rec, r
}

// Refuse counts a message that Decide refused.
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

// blocks decodes a payload. One on which the decoder fails is refused: unacknowledged it would come
// again at each start, and end the program again.
func (in *Intake) blocks(f payload.Format, data []byte, c *payload.Context) (out []station.Block, r *payload.Refusal) {
	defer func() {
		if p := recover(); p != nil {
			out, r = nil, &payload.Refusal{Reason: DecoderFault,
				Detail: fmt.Sprintf("a fault of this program: %v; report it with the message, and accept it again after an upgrade", p)}
		}
	}()
	return in.decode(f, data, c, nil)
}

// Decide returns the record of a message, or why it is refused, and counts nothing.
func (in *Intake) Decide(m *Message) (station.Record, *payload.Refusal) {
	rec := station.Record{Arrival: m.Arrival}
	fields, format, unit, r := in.route(m.Topic)
	if r != nil {
		return rec, r
	}
	rec.Key = station.Key{Site: fields.Site, Station: fields.Station}
	if !(*in.stations.Load())[rec.Key] {
		in.refused.stranger(rec.Key)
		return rec, &payload.Refusal{Reason: UnknownStation, Detail: fmt.Sprintf("the station %.80q is not configured: add it, or mend the topic", rec.Key.String())}
	}
	c := payload.Context{PressureUnit: unit, Arrival: m.Arrival}
	if fields.Channel != "" {
		if c.Channel, c.HasChannel = station.ParseChannel(fields.Channel); !c.HasChannel {
			return rec, &payload.Refusal{Reason: payload.UnknownChannel, Detail: fmt.Sprintf("no channel is called %.40q", fields.Channel)}
		}
	}
	rec.Blocks, r = in.blocks(format, m.Payload, &c)
	if r != nil {
		return rec, r
	}
	newest, own := newestOwn(rec.Blocks)
	if own && in.opt.Heard != nil && !m.Retained && !m.Backlog && !m.Undated {
		in.opt.Heard(rec.Key, newest, m.Arrival)
	}
	for i := range rec.Blocks {
		if r := in.plausible(&rec.Blocks[i], m); r != nil {
			return rec, r
		}
	}
	if m.Undated && own {
		rec.Arrival = min(rec.Arrival, newest)
	}
	return rec, nil
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

// route finds the fields and the format of a topic.
func (in *Intake) route(name string) (topic.Fields, payload.Format, float64, *payload.Refusal) {
	if f, ok := in.opt.Fixed[name]; ok {
		return in.site(f.Fields), f.Format, f.PressureUnit, nil
	}
	for i := range in.opt.Routes {
		r := &in.opt.Routes[i]
		if f, ok := r.Pattern.Match(name); ok {
			return in.site(f), r.Format, r.PressureUnit, nil
		}
	}
	return topic.Fields{}, 0, 0, &payload.Refusal{Reason: UnknownTopic, Detail: "the topic fits none of the configured patterns"}
}

func (in *Intake) site(f topic.Fields) topic.Fields {
	if f.Site == "" {
		f.Site = in.opt.Site
	}
	return f
}

// plausible refuses times and values that cannot be true.
func (in *Intake) plausible(b *station.Block, m *Message) *payload.Refusal {
	if b.Stamp == station.StampArrival {
		switch {
		case m.Retained:
			return &payload.Refusal{Reason: RetainedScalar, Detail: "a retained value without a time of its own may be of any age; publish it without the retain flag, or with its time"}
		case m.Backlog, m.Undated:
			return &payload.Refusal{Reason: StaleBacklog, Detail: "a value without a time of its own waited in the broker's queue; its time is not known. Send blocks with t0"}
		}
	}
	first, last := b.At(0), b.At(b.Len()-1)
	if last.Sub(m.Arrival) > maxAhead {
		return &payload.Refusal{Reason: TimeAhead, Detail: fmt.Sprintf("the device's time %s is more than 5 min ahead of ours; set its clock", last)}
	}
	if m.Arrival.Sub(first) > in.maxAge || first <= 0 {
		return &payload.Refusal{Reason: TimeTooOld, Detail: fmt.Sprintf("the device's time %s is older than %s; set its clock, or replay old data from a file", first, time.Duration(in.maxAge))}
	}
	for i, v := range b.Values {
		if r := plausibleValue(b.Channel, v); r != nil {
			r.Detail += fmt.Sprintf(" (%s, value %d of the block)", b.Channel, i+1)
			return r
		}
	}
	return nil
}

func plausibleValue(c station.Channel, v float64) *payload.Refusal {
	switch {
	case c.IsPressure() && (v < lowestGauge || v > highest):
		return &payload.Refusal{Reason: ImplausiblePressure, Detail: fmt.Sprintf("%.6g kPa gauge is no pressure of a boost station; check the unit and the wiring", v/1e3)}
	case c == station.Cycles && (v < 0 || v > largest || v != math.Trunc(v)):
		return &payload.Refusal{Reason: ImplausibleCount, Detail: fmt.Sprintf("%g is no count", v)}
	case c == station.SupplyOpen && v != 0 && v != 1:
		return &payload.Refusal{Reason: ImplausibleState, Detail: fmt.Sprintf("%g is neither 0 (closed) nor 1 (open)", v)}
	}
	return nil
}
