package rules

import "strokewise/analyzer/station"

// FeedChange is a change of a station's feed that concerns the header it hangs on.
type FeedChange uint8

// The changes.
const (
	Unfed FeedChange = iota // the supply is closed or gone
	Fed
	Fell // the inlet fell by more than FallLimit
	Back // the inlet is back, or tells nothing of the header any more
)

// Feed tells the alarms of a header of a change at one of its stations. Of several equal
// ones in a row the later say nothing new.
type Feed struct {
	Key         station.Key
	Header      station.Key // see station.HeaderKey
	At          station.Instant
	Change      FeedChange
	Inlet, Rest float64 // Pa gauge: after and before the fall, 0: not known
}

// What makes a fall of the inlet (common practice, no source).
const (
	FallLimit   = 0.15                      // share of the highest inlet of ten minutes, gauge
	backAt      = 0.92                      // share of it at which the inlet is back
	fallSteps   = 2                         // s for which it must be seen
	backSteps   = 5                         // s
	recentlyFed = 10 * station.Second       // a header that is gone looks like a closed supply
	newLevel    = 8 * 60 * station.Minute60 // after which a lower inlet is the usual one
)

// feed follows how a station is fed. Fields are exported for snapshots only.
type feed struct {
	Header     string // as the plate names it
	Known, Fed bool
	FedAt      station.Instant // newest step at which it was fed
	Low, High  uint8           // steps in a row below the limit, or back above it
	Fell       station.Instant // 0: it did not
	Rest       float64         // Pa gauge, before the fall
}

// step takes one second of event time and gives what changed to tell.
//
//	fell: inlet < (1 - FallLimit) rest (1 - sag),   back: inlet > 0.92 rest (1 - sag)
//
// rest is the highest inlet of ten minutes while fed, gauge; sag the share that the supply
// line itself takes while the piston works (0 standing; SagLimit while it is not known). A
// station that its own valve closes says nothing of the header. Unknown changes nothing.
func (f *feed) step(s *station.Status, top, sag float64, tell func(FeedChange, float64, float64)) {
	if s.State == station.Blind {
		return
	}
	fed := s.State.Fed()
	if !f.Known || fed != f.Fed {
		f.Known, f.Fed = true, fed
		tell(map[bool]FeedChange{true: Fed, false: Unfed}[fed], 0, 0)
	}
	if fed || s.At < f.FedAt { // a clock that was set back
		f.FedAt = s.At
	}
	if !s.Inlet.Known() {
		f.Low, f.High = 0, 0
		return
	}
	allowed := 1.0
	if s.State.Working() {
		allowed = 1 - sag
	}
	inlet := s.Inlet.Value
	if f.Fell == 0 {
		f.look(s, inlet, top, allowed, tell)
		return
	}
	f.High++
	if inlet < backAt*f.Rest*allowed {
		f.High = 0
	}
	own := s.ShutdownAt != 0 && s.ShutdownBy == station.ByValve
	if f.High >= backSteps || own || fed && s.At.Sub(f.Fell) > newLevel {
		f.Fell, f.Low, f.High = 0, 0, 0
		tell(Back, inlet, f.Rest)
	}
}

// look looks for a fall.
func (f *feed) look(s *station.Status, inlet, top, allowed float64, tell func(FeedChange, float64, float64)) {
	f.Low++
	own := s.ShutdownAt != 0 && s.ShutdownBy == station.ByValve
	if !(inlet < (1-FallLimit)*top*allowed) || own || f.FedAt == 0 || s.At.Sub(f.FedAt) > recentlyFed {
		f.Low = 0
	}
	if f.Low >= fallSteps {
		f.Fell, f.Rest, f.Low, f.High = s.At, top, 0, 0
		tell(Fell, inlet, top)
	}
}

// FeedState is how a station is fed.
type FeedState struct {
	Fed  bool
	Fell station.Instant // 0: its inlet is as usual
	Rest float64         // Pa gauge, before the fall

	Sign   station.Instant // a sign of a low header was raised and stands, 0: none
	SignOf string
}

// FeedState returns how the station is fed.
func (v *Evaluator) FeedState() FeedState {
	s := FeedState{Fed: v.Feed.Fed, Fell: v.Feed.Fell, Rest: v.Feed.Rest}
	s.Sign, s.SignOf = v.sign()
	return s
}

// feed tells of changes of the feed, if anybody listens.
func (v *Evaluator) feed(s *station.Status) {
	if v.Feeds == nil {
		return
	}
	if v.Feed.Header != v.plate.Header {
		v.Feed = feed{Header: v.plate.Header}
	}
	v.Feed.step(s, v.now[qInletTop], v.sag(), func(c FeedChange, inlet, rest float64) {
		v.Feeds(&Feed{Key: v.plate.Key, Header: v.plate.HeaderKey(), At: s.At, Change: c, Inlet: inlet, Rest: rest})
	})
}

// sag returns the share that the supply line takes while the piston works, SagLimit where it is not known.
func (v *Evaluator) sag() float64 {
	if sag := v.now[qSag]; sag >= 0 && sag < 1 {
		return sag
	}
	return SagLimit
}
