package clock

import (
	"fmt"
	"slices"
	"time"

	"strokewise/analyzer/station"
)

// Report is how the clock does.
type Report struct {
	State  State
	Reason string // why it is doubted, or what people must know of a trusted one; "": nothing
	// Moved is by how much the program's time moved when the clock came to be trusted again, ns. It
	// is told once.
	Moved int64
}

// Judge weighs the witnesses. Call it every second or so.
func (c *Clock) Judge(t time.Time) Report {
	c.At(t) // notices a step while nothing comes in
	mono := c.mono(t)
	c.mu.Lock()
	defer c.mu.Unlock()
	s := c.ahead(t, mono)
	v := c.votes(mono, s)
	switch c.state {
	case Trusted:
		c.judgeTrusted(mono, &v)
	case Kept:
		c.judgeKept(mono, s, &v)
	case Unsure:
		c.judgeUnsure(mono, s, &v)
	}
	r := Report{State: c.state, Reason: c.reason(mono, s, &v), Moved: c.correction}
	if c.state == Trusted {
		c.correction = 0
	} else {
		r.Moved = 0
	}
	return r
}

// votes are what the devices say that were heard lately and steadily.
type votes struct {
	heard int
	need  int
	fits  int // the wall clock is within what the intake accepts
	wall  int // nearer to the wall clock than to the program's time
	// of those that do not fit the wall clock, or lie more than the limit behind it
	apart  int   // that agree with each other
	median int64 // by how much they are ahead of the wall clock, ns
}

// most reports whether so many votes decide.
func (v *votes) most(n int) bool { return n >= v.need && 2*n > v.heard }

// votes counts, where the wall clock is ahead of the program's time by s.
func (c *Clock) votes(mono, s int64) votes {
	v := votes{need: max(1, min(least, c.opt.Stations()))}
	var apart []int64
	for k, w := range c.words {
		switch {
		case mono-w.at > 10*recent:
			delete(c.words, k)
			continue
		case mono-w.at > recent || mono-w.since < int64(c.opt.Steady):
			continue
		}
		v.heard++
		d := w.diff - s
		if d <= limit && d >= -int64(c.opt.MaxAge) {
			v.fits++
		}
		if size(d) < size(w.diff) {
			v.wall++
		}
		if size(d) > limit {
			apart = append(apart, d)
		}
	}
	if len(apart) == 0 {
		return v
	}
	slices.Sort(apart)
	v.median = apart[len(apart)/2]
	for _, d := range apart {
		if size(d-v.median) <= agree {
			v.apart++
		}
	}
	return v
}

func size(d int64) int64 { return max(d, -d) }

// against reports whether most devices together say a time that the intake refuses.
func (c *Clock) against(v *votes) bool {
	return v.most(v.apart) && (v.median > limit || v.median < -int64(c.opt.MaxAge))
}

func (c *Clock) judgeTrusted(mono int64, v *votes) {
	if c.overruled {
		c.overruled = !v.most(v.fits)
		return
	}
	if c.against(v) {
		c.doubt(mono, Unsure, devices)
	}
}

func (c *Clock) judgeKept(mono, s int64, v *votes) {
	if size(s-c.step) > step { // it stepped again, or was set right
		c.step, c.stepped = s, mono
	}
	switch {
	case size(s) <= step, v.most(v.wall):
		c.accept(mono, s)
	case v.most(v.heard - v.wall):
	case mono-c.stepped >= alone:
		c.accept(mono, s)
	}
}

func (c *Clock) judgeUnsure(mono, s int64, v *votes) {
	switch {
	case v.most(v.fits):
		c.accept(mono, s)
	case c.against(v):
		c.ground = devices
	case c.ground == floor && s >= -limit, c.ground == longPause && mono-c.changed >= unopposed:
		c.accept(mono, s)
	}
}

// reason returns why the clock is doubted.
func (c *Clock) reason(mono, s int64, v *votes) string {
	const mend = "check the time service of this machine"
	wall := station.Instant(mono + c.offset + s)
	switch {
	case c.state == Kept:
		return fmt.Sprintf("our clock stepped by %s and reads %s; the time is kept by the monotonic clock, nothing is lost; %s", span(c.step), wall, mend)
	case c.state == Unsure && c.ground == floor:
		return fmt.Sprintf("our clock reads %s, which lies before the newest entry of the log (%s): messages are held until it is right; %s, or say that it is right: strokewise refused trust", wall, c.opt.Newest, mend)
	case c.state == Unsure && c.ground == longPause:
		return fmt.Sprintf("our clock reads %s and the log ends at %s: messages are held for a minute, in which devices may disagree", wall, c.opt.Newest)
	case c.state == Unsure:
		return fmt.Sprintf("%d of %d stations say a time that differs from ours (%s) by %s, together: messages are held; %s and that of the devices, or say that ours is right: strokewise refused trust", v.apart, v.heard, wall, span(v.median), mend)
	case v.most(v.apart) && v.median < 0:
		return fmt.Sprintf("%d of %d stations send times that lie %s behind our clock: %s, and whether their messages come late", v.apart, v.heard, span(-v.median), mend)
	case c.overruled:
		return "a person has said that our clock is right; the devices still disagree"
	}
	return ""
}

func span(ns int64) string { return time.Duration(ns).Round(time.Second).String() }
