// Package intake decides what comes in: it maps a message to a configured station,
// decodes it, and turns away what cannot be true, each under a reason that is counted.
package intake

import (
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/mapping"
	"strokewise/collector/payload"
	"strokewise/collector/sparkplug"
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
	RawCount            payload.Reason = "raw-count"
	DecoderFault        payload.Reason = "decoder-fault" // of this program
)

// Reasons lists every reason under which a message may be turned away.
func Reasons() []payload.Reason {
	return append(payload.Reasons(), UnknownTopic, UnknownStation, TooLarge, TimeAhead, TimeTooOld, RetainedScalar,
		StaleBacklog, ImplausiblePressure, ImplausibleCount, ImplausibleState, RawCount, DecoderFault)
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
	// Site is that of the broker where topics name none, "": the usual.
	Site string
	// Again is true of a message that was decided before, and comes out of a store.
	Again bool
}

// Route says how messages of a topic are read.
type Route struct {
	Pattern      *topic.Pattern // of Sparkplug: of the edge node and the device, see collector/sparkplug
	Format       payload.Format
	PressureUnit float64          // Pa of one unit, 0: 1 kPa
	Mapping      *mapping.Mapping // nil: none
	MaxAge       time.Duration    // of a device time, 0: the usual
}

// Fixed maps one topic that fits no pattern.
type Fixed struct {
	Fields       topic.Fields
	Format       payload.Format
	PressureUnit float64
	Mapping      *mapping.Mapping
	MaxAge       time.Duration // of a device time, 0: the usual
}

// Options of an Intake.
type Options struct {
	Routes   []Route
	Fixed    map[string]Fixed // by topic; it comes before the routes
	Site     string           // where topics name none
	Stations []station.Key
	MaxAge   time.Duration // of a device time where a route says nothing, 0: DefaultMaxAge
	// Heard is told the newest time in a message of a known station that brings its own, accepted or not,
	// unless the message may have waited in a queue; nil: nobody is.
	Heard func(k station.Key, device, arrival station.Instant)
	// Took is told once of each topic pattern and format that auto took its payloads for; nil: nobody is.
	Took func(topic string, f payload.Format)
	// Ask publishes a request for the birth of a Sparkplug edge node; nil: nobody is asked.
	Ask func(topic string, data []byte)
}

// DefaultMaxAge is the usual age from which device times are refused: a gateway that is cut off over a weekend needs more.
const DefaultMaxAge = 48 * time.Hour

// Intake is safe for concurrent use.
type Intake struct {
	opt      Options
	ways     []way          // of the routes
	fixed    map[string]way // by topic
	stations atomic.Pointer[map[station.Key]bool]
	maxAge   int64
	refused  *counter
	births   sparkplug.Session
	decode   func(payload.Format, []byte, *payload.Context, []station.Block) ([]station.Block, *payload.Refusal)
}

// New returns an intake.
func New(opt Options) (*Intake, error) {
	in := &Intake{opt: opt, maxAge: int64(opt.MaxAge), refused: newCounter(), decode: payload.Decode, fixed: make(map[string]way, len(opt.Fixed))}
	in.births.Ask = opt.Ask
	if in.maxAge <= 0 {
		in.maxAge = int64(DefaultMaxAge)
	}
	for i := range opt.Routes {
		r := &opt.Routes[i]
		w := newWay(r.Pattern.String(), r.Format, r.PressureUnit, r.Mapping)
		w.maxAge = in.age(r.MaxAge)
		in.ways = append(in.ways, w)
	}
	for t, f := range opt.Fixed {
		w := newWay(t, f.Format, f.PressureUnit, f.Mapping)
		w.maxAge = in.age(f.MaxAge)
		in.fixed[t] = w
	}
	in.SetStations(opt.Stations)
	return in, nil
}

// age returns a route's greatest age, ns.
func (in *Intake) age(of time.Duration) int64 {
	if of <= 0 {
		return in.maxAge
	}
	return int64(of)
}

// MaxAge returns the greatest age of a device time that any route accepts.
func (in *Intake) MaxAge() time.Duration {
	out := in.maxAge
	for i := range in.ways {
		out = max(out, in.ways[i].maxAge)
	}
	for _, w := range in.fixed {
		out = max(out, w.maxAge)
	}
	return time.Duration(out)
}

// SetStations replaces the stations that are known.
func (in *Intake) SetStations(keys []station.Key) {
	known := make(map[station.Key]bool, len(keys))
	for _, k := range keys {
		known[k] = true
	}
	in.stations.Store(&known)
}

// Filters returns the MQTT subscription filters.
func (in *Intake) Filters() []string {
	var out []string
	seen := map[string]bool{}
	add := func(f string) {
		if !seen[f] {
			out, seen[f] = append(out, f), true
		}
	}
	for i := range in.opt.Routes {
		r := &in.opt.Routes[i]
		if r.Format != payload.Sparkplug {
			add(r.Pattern.Filter())
			continue
		}
		for _, f := range sparkplug.Filters(r.Pattern.Levels()) {
			add(f)
		}
	}
	for t := range in.opt.Fixed {
		add(t)
	}
	return out
}
