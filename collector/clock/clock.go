// Package clock decides whether this machine's clock can be trusted, and keeps the program's time
// while it cannot. Its witnesses are the monotonic clock, which nobody sets, the newest time that
// is written in the log, and the clocks of devices that send their own time.
package clock

import (
	"sync"
	"time"

	"strokewise/analyzer/station"
)

// State is how far the wall clock is trusted.
type State uint8

const (
	// Trusted: the program's time is the wall clock's.
	Trusted State = iota
	// Kept: the wall clock stepped against the monotonic clock. The program's time is the last
	// trusted time plus what has passed since on the monotonic clock.
	Kept
	// Unsure: nothing trusted is known. Messages are held until it is.
	Unsure
)

// String returns the state as a label.
func (s State) String() string { return [...]string{"trusted", "kept", "unsure"}[s] }

// Limits. None has a source; each is our own choice.
const (
	// step is the least step of the wall clock against the monotonic clock that is doubted, ns.
	// Time servers slew below 0.13 s and step above. A step of less than 10 s moves no alarm
	// (silence counts 30 s and more), and the next tick has forgotten it.
	step = 10 * station.Second
	// limit is how far devices may differ from us; the intake refuses times that are further ahead.
	limit = 5 * station.Minute60
	// agree is how far devices that agree may differ from each other, ns.
	agree = station.Minute60
	// recent is how long the word of a device counts, ns.
	recent = station.Minute60
	// least is how many stations must agree, or all where there are fewer.
	least = 3
	// alone is how long a stepped wall clock must stand before it is believed without witnesses, ns.
	alone = 10 * station.Minute60
	// gap is the longest pause of the log after which the wall clock is believed at once, ns.
	gap = 7 * 24 * 60 * station.Minute60
	// unopposed is how long devices may object after a longer pause, ns.
	unopposed = station.Minute60
	// wander is how far a device's difference may move without being a new one, ns. A queue that is
	// worked off moves further, so it is no witness.
	wander = 10 * station.Second
)

// Options of a Clock.
type Options struct {
	// Wall returns what the wall clock reads at a moment; nil: the moment's own reading.
	Wall func(time.Time) time.Time
	// Newest is the newest arrival time in the log, 0 where there is none. Time before it has passed.
	Newest station.Instant
	// Stations returns how many stations there are.
	Stations func() int
	// MaxAge is the age from which device times are refused; 0: 48 h.
	MaxAge time.Duration
	// Steady is how long a device's difference must stand before it counts; 0: 10 s.
	Steady time.Duration
}

// ground is why the state is Unsure.
type ground uint8

const (
	_         ground = iota
	floor            // the wall clock reads a time that has passed
	longPause        // the log ends long ago
	devices          // most devices disagree with us together
)

// Clock is safe for concurrent use.
type Clock struct {
	opt    Options
	origin time.Time // of the monotonic clock

	mu         sync.Mutex
	state      State
	ground     ground
	offset     int64 // program's time less monotonic time, ns
	changed    int64 // monotonic time of the newest change of state
	step       int64 // wall less program's time when it was last seen to step
	stepped    int64 // monotonic time of that
	overruled  bool  // a person trusts the clock against the devices
	doubts     int64
	correction int64 // of the newest return to Trusted
	words      map[station.Key]*word
}

// word is what a device's clock says.
type word struct {
	diff  int64 // device less program's time, ns
	from  int64 // the difference since it stands
	since int64 // monotonic time since when it stands
	at    int64 // monotonic time of the newest message
}

// New returns a clock that is looked at for the first time at now.
func New(now time.Time, opt Options) *Clock {
	if opt.Wall == nil {
		opt.Wall = func(t time.Time) time.Time { return t }
	}
	if opt.Stations == nil {
		opt.Stations = func() int { return least }
	}
	if opt.MaxAge <= 0 {
		opt.MaxAge = 48 * time.Hour
	}
	if opt.Steady <= 0 {
		opt.Steady = 10 * time.Second
	}
	c := &Clock{opt: opt, origin: now, words: make(map[station.Key]*word)}
	began := station.InstantOf(opt.Wall(now))
	c.offset = int64(began)
	switch since := began.Sub(opt.Newest); {
	case opt.Newest == 0:
	case since < -limit:
		c.offset = int64(opt.Newest)
		c.doubt(0, Unsure, floor)
	case since > gap:
		c.doubt(0, Unsure, longPause)
	}
	return c
}

func (c *Clock) doubt(mono int64, s State, g ground) {
	if c.state == Trusted {
		c.doubts++
	}
	c.state, c.ground, c.changed = s, g, mono
}

// mono returns a moment on the monotonic clock.
func (c *Clock) mono(t time.Time) int64 { return int64(t.Sub(c.origin)) }

// ahead returns how far the wall clock is ahead of the program's time, ns.
func (c *Clock) ahead(t time.Time, mono int64) int64 {
	return int64(station.InstantOf(c.opt.Wall(t))) - mono - c.offset
}

// At returns the program's time of a moment, the moment on the monotonic clock, ns, and how far
// the time is to be trusted. It notices a step of the wall clock at once.
func (c *Clock) At(t time.Time) (station.Instant, int64, State) {
	mono := c.mono(t)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.state == Trusted && mono >= c.changed { // a moment before the change says nothing of after it
		if s := c.ahead(t, mono); s <= step && s >= -step {
			c.offset += s
		} else {
			c.doubt(mono, Kept, 0)
			c.step, c.stepped = s, mono
		}
	}
	return station.Instant(mono + c.offset), mono, c.state
}

// Of returns the program's time, as it is known now, of a moment on the monotonic clock.
func (c *Clock) Of(mono int64) station.Instant {
	c.mu.Lock()
	defer c.mu.Unlock()
	return station.Instant(mono + c.offset)
}

// State returns how far the time is trusted.
func (c *Clock) State() State {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.state
}

// Doubts returns how often the clock came to be doubted since the start.
func (c *Clock) Doubts() int64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.doubts
}

// Heard notes at t the newest time in a message of a device that sends its own, and the program's
// time of the message. A message that may have waited in a queue is no witness.
func (c *Clock) Heard(t time.Time, k station.Key, device, at station.Instant) {
	diff, mono := device.Sub(at), c.mono(t)
	c.mu.Lock()
	defer c.mu.Unlock()
	w := c.words[k]
	if w == nil {
		w = &word{from: diff, since: mono}
		c.words[k] = w
	}
	if d := diff - w.from; d > wander || d < -wander {
		w.from, w.since = diff, mono
	}
	w.diff, w.at = diff, mono
}

// Trust ends a doubt by a person's word: the wall clock is right. Devices that disagree are not
// listened to until they have agreed once.
func (c *Clock) Trust(t time.Time) {
	mono := c.mono(t)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.state != Trusted {
		c.accept(mono, c.ahead(t, mono))
		c.overruled = true
	}
}

// accept makes the wall clock the program's time again, which moves by s.
func (c *Clock) accept(mono, s int64) {
	c.offset += s
	for _, w := range c.words {
		w.diff -= s
		w.from -= s
	}
	c.state, c.ground, c.changed, c.correction = Trusted, 0, mono, s
}
