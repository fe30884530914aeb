package rules

import (
	"cmp"
	"slices"

	"strokewise/analyzer/station"
)

// Push takes an input. Those later than what is decided wait for their turn; one that comes
// after its turn is taken at once, and counts at its own time.
func (h *Header) Push(in HeaderInput) {
	i, _ := slices.BinarySearchFunc(h.Inbox, in, earlierInput)
	h.Inbox = slices.Insert(h.Inbox, i, in)
}

// earlierInput orders inputs by their time; the order of storing counts within a station
// alone, because stations are stored side by side.
func earlierInput(a, b HeaderInput) int {
	return cmp.Or(cmp.Compare(a.At, b.At), cmp.Compare(a.Station, b.Station), cmp.Compare(a.Seq, b.Seq))
}

// Advance decides everything up to a time before which no more inputs come.
func (h *Header) Advance(to station.Instant) {
	done := 0
	for {
		at, timer := h.timer()
		if done < len(h.Inbox) && h.Inbox[done].At <= to && (!timer || max(h.Inbox[done].At, h.Now) <= at) {
			in := &h.Inbox[done]
			h.Now = max(h.Now, in.At)
			h.take(in)
			done++
			continue
		}
		if !timer || at > to {
			break
		}
		h.Now = max(h.Now, at)
		h.ring()
	}
	h.Inbox = slices.Delete(h.Inbox, 0, done)
	h.Now = max(h.Now, to)
}

// timer gives when something happens by itself, false if nothing does.
func (h *Header) timer() (at station.Instant, ok bool) {
	sooner := func(t station.Instant) {
		if !ok || t < at {
			at, ok = t, true
		}
	}
	if h.Met != 0 {
		sooner(h.Try)
	}
	for i := range h.Waiting {
		sooner(h.Waiting[i].Due)
	}
	if h.Ending != 0 {
		sooner(h.Ending.Add(h.policy.HoldNs))
	}
	if h.EndedAt != 0 && h.Met == 0 { // else its stations may be low again
		sooner(h.EndedAt.Add(recoverNs))
	}
	if a := &h.life.Alarms[0]; a.State == Shelved {
		sooner(a.Until)
	}
	return at, ok
}

// ring does what is due now.
func (h *Header) ring() {
	if a := &h.life.Alarms[0]; a.State == Shelved && h.Now >= a.Until {
		h.life.advance(0, h.Now, verdict{})
	}
	if h.Met != 0 && h.Now >= h.Try {
		h.raise()
	}
	if h.Ending != 0 && h.Now >= h.Ending.Add(h.policy.HoldNs) {
		h.end()
	}
	if h.EndedAt != 0 && h.Met == 0 && h.Now >= h.EndedAt.Add(recoverNs) {
		h.recovered()
	}
	h.judgeDue()
}

// take takes one input.
func (h *Header) take(in *HeaderInput) {
	switch {
	case in.Feed != nil:
		h.feed(in)
	case in.Alarm != nil:
		h.alarm(in)
	case in.Command != nil:
		h.command(in)
	}
	h.consider()
}

// command carries a person's command about the header out. Where it ends the alarm, as a closing
// does of a header that is gone, what the alarm explained is notified as when the header is back.
func (h *Header) command(in *HeaderInput) {
	was := h.standing()
	o := Outcome{Result: Done} // a note about the header as a whole
	if in.Command.Kind != "note" || in.Command.Alarm != "" {
		o = OutcomeOf(h.life.Command(in.Command, in.At))
	}
	if was && !h.standing() {
		h.Ending, h.EndedAt = 0, h.Now
	}
	if h.Answered != nil {
		h.Answered(in.Command, in.At, o)
	}
}

// feed follows how a station is fed.
func (h *Header) feed(in *HeaderInput) {
	m, f := h.member(in.Station), in.Feed
	switch f.Change {
	case Fed:
		m.Fed = true
	case Unfed:
		m.Fed, m.UnfedAt = false, in.At
	case Fell:
		m.Fell, m.Inlet, m.Rest = in.At, f.Inlet, f.Rest
	case Back:
		m.Fell = 0
	}
}

// consider looks whether enough stations are low together, or no longer.
func (h *Header) consider() {
	switch {
	case h.standing():
		h.join()
		h.ending()
	case h.Met != 0:
		h.join()
	default:
		h.meet()
	}
}

// meet looks for stations that fell together.
func (h *Header) meet() {
	recent, fed := 0, 0
	for i := range h.Members {
		m := &h.Members[i]
		now := h.recent(m)
		if now {
			recent++
		}
		if now || m.Fed || m.UnfedAt != 0 && h.Now.Sub(m.UnfedAt) <= fallWindow {
			fed++
		}
	}
	if recent < h.need(fed) {
		return
	}
	h.Met, h.Try, h.Need, h.FedAtMost = h.Now, h.Now.Add(h.policy.HoldNs), h.need(fed), fed
	h.join()
}

// recent tells whether the station became low within the minute.
func (h *Header) recent(m *member) bool {
	return m.Fell != 0 && h.Now.Sub(m.Fell) <= fallWindow || m.Sign != 0 && h.Now.Sub(m.Sign) <= fallWindow
}

// join takes in the stations that fell since.
func (h *Header) join() {
	for i := range h.Members {
		m := &h.Members[i]
		m.Under = m.Under || h.recent(m)
	}
}

// low counts the stations under the alarm that are still low.
func (h *Header) low() int {
	n := 0
	for i := range h.Members {
		if m := &h.Members[i]; m.Under && m.low() {
			n++
		}
	}
	return n
}

// enough tells whether the stations that are still low keep the alarm up: half of what it
// took, and two at least.
func (h *Header) enough() bool { return h.low() >= max(2, (h.Need+1)/2) }

// raise raises the alarm, unless the stations were back within the hold-off.
func (h *Header) raise() {
	if !h.enough() {
		h.Met = 0
		h.part()
		return
	}
	h.life.advance(0, h.Now, verdict{answer: yes})
	if !h.standing() { // it chatters, and waits longer
		h.Try = h.Now.Add(h.policy.HoldNs)
		return
	}
	h.Met, h.EndedAt, h.Ending, h.Left = 0, 0, 0, nil
}

// ending looks whether too few are low.
func (h *Header) ending() {
	switch {
	case h.enough(), len(h.Members) == 0: // without stations only a person ends it
		h.Ending = 0
	case h.Ending == 0:
		h.Ending = h.Now
	}
}

// end clears the alarm.
func (h *Header) end() {
	h.Ending = 0
	h.life.advance(0, h.Now, verdict{answer: no})
	h.EndedAt = h.Now
}

// part lets the stations go.
func (h *Header) part() {
	for i := range h.Members {
		h.Members[i].Under = false
	}
}
