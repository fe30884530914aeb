package rules

import (
	"encoding/gob"
	"fmt"
	"io"
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// HeaderPolicy says when many stations are one alarm.
type HeaderPolicy struct {
	Least  int     // stations
	Share  float64 // of the fed ones
	HoldNs int64   // hold-off: the alarm, and what it may explain, wait for so long

	Reading station.Reading // unit of pressures in its messages
}

// UsualHeader is what a site has that says nothing else (common practice, no source).
var UsualHeader = HeaderPolicy{Least: 3, Share: 0.3, HoldNs: 10 * station.Second}

const (
	fallWindow = 60 * station.Second  // in which stations fall together
	recoverNs  = 300 * station.Second // after the header is back, for its stations to recover
)

// HeaderInput is one thing that a header's alarms are decided by: a change of a station's
// feed, a transition that waits to be told, or a person's word about the header itself.
type HeaderInput struct {
	Seq     int64 // place in the order in which inputs were stored
	At      station.Instant
	Station string
	Feed    *Feed
	Alarm   *HeaderTransition
	Command *station.Command
}

// HeaderTransition is what matters of a station's transition.
type HeaderTransition struct {
	Seq    int64 // in the history
	Alarm  string
	To     AlarmState
	Raised station.Instant
}

// Judgement says whether people are told of a station's transition that waited.
type Judgement struct {
	Seq  int64 // of the transition in the history
	Tell bool
	Why  string // what explains it, where it is not told
}

// member is a station of the header. Fields are exported for snapshots only.
type member struct {
	Station string
	Fed     bool
	UnfedAt station.Instant
	Fell    station.Instant // 0: its inlet is as usual
	Sign    station.Instant // a sign was raised and stands, 0: none
	SignOf  string
	Under   bool // the alarm of the header is about it
	Inlet   float64
	Rest    float64
	Apart   station.Instant // its inlet is not where the others show the header since, see Levels; 0: it is
}

// low tells whether the station shows that the header is low.
func (m *member) low() bool { return m.Fell != 0 || m.Sign != 0 }

// occurrence is one of an alarm of a station.
type occurrence struct {
	Station, Alarm string
	Raised         station.Instant
}

// folded is an occurrence that nobody was told of.
type folded struct {
	Of     occurrence
	Seq    int64 // of its raise
	Active bool
}

// waiting is a transition that waits for its judgement.
type waiting struct {
	Of    occurrence
	Seq   int64
	Raise bool
	On    bool // the condition is present
	Over  bool // the occurrence has ended and was seen
	Due   station.Instant
}

// headerMemory is the whole state of a Header. Fields are exported for snapshots only.
type headerMemory struct {
	Life      memory // of the alarm
	Members   []member
	Inbox     []HeaderInput // in order of At, Station, Seq; all later than Now
	Waiting   []waiting
	Folded    []folded
	Now       station.Instant // decided up to here
	Met       station.Instant // enough stations are low since, 0: they are not
	Try       station.Instant // when to raise
	Need      int             // stations that it took
	Ending    station.Instant // too few are low since, 0: enough are
	EndedAt   station.Instant // of the alarm, until its stations have had time to recover
	FedAtMost int             // stations that were fed when it was met
	Left      []string        // stations that were under the alarm and hang on the header no longer
	Over      overSite        // of a site
}

// Header decides the alarms of one header from its stations, in event time: results depend
// on the inputs' times, and not on the order in which they come, as long as they come
// before Advance has passed them. It is not safe for concurrent use.
type Header struct {
	headerMemory
	key    station.Key
	policy HeaderPolicy
	life   *Evaluator
	emit   func(*Transition)
	judge  func(Judgement)
	at     map[string]int // place in Members

	// Answered is called with the outcome of each command, nil: nobody asks.
	Answered func(c *station.Command, arrival station.Instant, o Outcome)
}

// NewHeader gives the alarms of a header that report transitions to emit and judgements to
// judge.
func NewHeader(key station.Key, policy HeaderPolicy, emit func(*Transition), judge func(Judgement)) *Header {
	h := &Header{key: key, policy: policy, emit: emit, judge: judge, at: map[string]int{}}
	h.life = &Evaluator{plate: &station.Plate{Key: key, Reading: policy.Reading}, set: headerSet, emit: h.transition}
	if key.WholeSite() {
		h.life.set = siteSet
	}
	h.life.arrange()
	return h
}

// Save writes the whole state.
func (h *Header) Save(w io.Writer) error {
	h.Life = h.life.memory
	if err := gob.NewEncoder(w).Encode(&h.headerMemory); err != nil {
		return fmt.Errorf("cannot write the state of %s: %w", h.key, err)
	}
	return nil
}

// RestoreHeader gives the header in the state that Save wrote.
func RestoreHeader(r io.Reader, key station.Key, policy HeaderPolicy, emit func(*Transition), judge func(Judgement)) (*Header, error) {
	h := NewHeader(key, policy, emit, judge)
	if err := gob.NewDecoder(r).Decode(&h.headerMemory); err != nil {
		return nil, fmt.Errorf("cannot read the state of %s: %w", key, err)
	}
	h.life.memory = h.Life
	h.life.arrange()
	for i := range h.Members {
		h.at[h.Members[i].Station] = i
	}
	return h, nil
}

// Adopt sets the alarm to what is known of it elsewhere, see Evaluator.Adopt.
func (h *Header) Adopt(open []Transition) {
	h.life.Adopt(open)
	if h.standing() {
		h.Need = h.policy.Least
	}
}

// Seed says how a station stands that no input told of: the header's state was lost, or is
// of another program. It tells whether it did.
func (h *Header) Seed(id string, s FeedState) bool {
	if _, ok := h.at[id]; ok {
		return false
	}
	m := h.member(id)
	m.Fed, m.Fell, m.Rest, m.Sign, m.SignOf = s.Fed, s.Fell, s.Rest, s.Sign, s.SignOf
	m.Under = h.standing() && m.low()
	return true
}

// AdoptExplained takes up an occurrence that nobody was told of, by the history: seq is its
// raise there. Where the header is back it is told, if it still stands.
func (h *Header) AdoptExplained(id, alarm string, raised station.Instant, seq int64, active bool) {
	h.Folded = append(h.Folded, folded{Of: occurrence{id, alarm, raised}, Seq: seq, Active: active})
	if !h.standing() && h.EndedAt == 0 {
		h.EndedAt = raised
	}
}

// Forget takes a station out that hangs on this header no longer.
func (h *Header) Forget(id string) {
	i, ok := h.at[id]
	if !ok {
		return
	}
	h.leave(&h.Members[i])
	h.Members = append(h.Members[:i], h.Members[i+1:]...)
	clear(h.at)
	for i := range h.Members {
		h.at[h.Members[i].Station] = i
	}
	if h.standing() {
		h.consider()
	}
}

// Stations lists those that the header's state knows.
func (h *Header) Stations() []string {
	out := make([]string, len(h.Members))
	for i := range h.Members {
		out[i] = h.Members[i].Station
	}
	return out
}

// Under lists the stations that the standing alarm is about, by name.
func (h *Header) Under() []string {
	switch {
	case !h.standing():
		return nil
	case h.key.WholeSite():
		return slices.Clone(h.Over.Stations)
	}
	return h.under()
}

// Busy tells whether something waits for time to pass.
func (h *Header) Busy() bool {
	a := &h.life.Alarms[0]
	return len(h.Inbox)+len(h.Waiting) > 0 || h.Met != 0 || h.Ending != 0 || h.EndedAt != 0 || a.State == Shelved
}

// Kept gives every occurrence that people are not told of, or not yet.
func (h *Header) Kept(each func(id, alarm string, raised station.Instant)) {
	for i := range h.Waiting {
		o := &h.Waiting[i].Of
		each(o.Station, o.Alarm, o.Raised)
	}
	for i := range h.Folded {
		o := &h.Folded[i].Of
		each(o.Station, o.Alarm, o.Raised)
	}
}

func (h *Header) member(id string) *member {
	i, ok := h.at[id]
	if !ok {
		i = len(h.Members)
		h.at[id] = i
		h.Members = append(h.Members, member{Station: id})
		h.life.Return()
	}
	return &h.Members[i]
}

// standing tells whether the alarm's condition is present.
func (h *Header) standing() bool { return h.life.Alarms[0].Present }

// explains tells whether the alarm stands where people see it, or its stations still
// recover. One that is shelved or out of service explains nothing: nobody would be told.
func (h *Header) explains() bool {
	s := h.life.Alarms[0].State
	return (h.standing() || h.EndedAt != 0) && s != Shelved && s != OutOfService
}

// need gives how many stations make a low header of so many fed ones.
func (h *Header) need(fed int) int {
	return max(h.policy.Least, int(math.Ceil(h.policy.Share*float64(fed)-1e-9)))
}
