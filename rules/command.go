package rules

import (
	"fmt"
	"strings"

	"strokewise/analyzer/station"
)

// commands are what a person can do to an alarm.
var commands = map[string]func(*Evaluator, int, *station.Command, station.Instant) error{
	"acknowledge": (*Evaluator).acknowledge, "shelve": (*Evaluator).shelve, "unshelve": (*Evaluator).unshelve,
	"out-of-service": (*Evaluator).outOfService, "in-service": (*Evaluator).inService,
	"vented": (*Evaluator).vented, "note": (*Evaluator).note, "close": (*Evaluator).note,
	"at-work": (*Evaluator).beginWork, "work-ended": (*Evaluator).endWork,
	"done": (*Evaluator).doneService, "inspected": (*Evaluator).doneService,
}

// Commands gives the kinds of command that concern alarms.
func Commands() []string {
	return []string{"acknowledge", "shelve", "unshelve", "out-of-service", "in-service", "vented", "at-work", "work-ended", "note", "close", "done", "inspected"}
}

// Command takes a person's word at an arrival time. What it changes is reported as a
// transition with who and why; a refusal changes nothing and says what to do instead.
// "shelve" without an end is for once: it ends when the condition does.
func (v *Evaluator) Command(c *station.Command, at station.Instant) error {
	v.policy()
	do, ok := commands[c.Kind]
	if !ok {
		return refuse(c, "no such command%s", meant(c.Kind, Commands()))
	}
	name := c.Alarm
	switch {
	case name != "":
	case c.Kind == "vented":
		name = PressureLeft
	case c.Kind == "at-work", c.Kind == "work-ended":
		name = PressureAtWork
	case c.Kind == "done", c.Kind == "inspected":
		name = ServiceDue
	}
	i := v.index(name)
	if i < 0 {
		return refuse(c, "no alarm of this name%s", meant(name, namesOf(v.set)))
	}
	if c.Kind != "acknowledge" {
		if strings.TrimSpace(c.By) == "" {
			return refuse(c, "give your name")
		}
		if o, _ := FindOrder(c.Kind); o.Reason && strings.TrimSpace(textOf(c)) == "" {
			return refuse(c, "give the reason")
		}
	}
	// strictly later than what was before, so that transitions can be told apart
	return do(v, i, c, max(at, v.Alarms[i].LastTime+1))
}

// Acknowledge takes a person's acknowledgement and tells whether it changed anything.
func (v *Evaluator) Acknowledge(name string, at station.Instant) bool {
	return v.Command(&station.Command{Kind: "acknowledge", Alarm: name}, at) == nil
}

func refuse(c *station.Command, format string, args ...any) error {
	return fmt.Errorf("%s: %s", strings.TrimSpace(c.Kind+" "+c.Alarm), fmt.Sprintf(format, args...))
}

func meant(name string, among []string) string {
	if n := nearest(name, among); n != "" {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	return ""
}

// word is the verdict that a command amounts to: it answers nothing about the condition.
func word(c *station.Command) verdict {
	return verdict{by: strings.TrimSpace(c.By), why: strings.TrimSpace(c.Note), cause: c.Cause}
}

func (v *Evaluator) acknowledge(i int, c *station.Command, at station.Instant) error {
	a := &v.Alarms[i]
	to := Acknowledged
	switch a.State {
	case Unacknowledged:
		if v.set[i].Name == PressureReturned { // the return is known
			v.Past.Vents = vents{}
		}
	case ReturnedUnacknowledged:
		to = Normal
	default:
		return refuse(c, "the alarm is %s: there is nothing to acknowledge", a.State)
	}
	a.LastTime, a.Told = at, at
	v.move(i, to, at, word(c))
	return nil
}

func (v *Evaluator) shelve(i int, c *station.Command, at station.Instant) error {
	a, def := &v.Alarms[i], &v.set[i]
	switch {
	case a.State == OutOfService:
		return refuse(c, "the alarm is out of service: put it back in service first")
	case c.Until != 0 && c.Until <= at:
		return refuse(c, "its end, %s, is past", v.clock(c.Until))
	case c.Until.Sub(at) > def.ShelveAtMost:
		return refuse(c, "%s is too long: %s at most", spanOf(c.Until.Sub(at)), spanOf(def.ShelveAtMost))
	}
	a.Until, a.Once = c.Until, c.Until == 0
	if a.Once {
		a.Until = at.Add(def.ShelveAtMost)
	}
	a.LastTime = at
	v.move(i, Shelved, at, word(c))
	return nil
}

func (v *Evaluator) unshelve(i int, c *station.Command, at station.Instant) error {
	return v.back(i, c, at, Shelved)
}

func (v *Evaluator) outOfService(i int, c *station.Command, at station.Instant) error {
	a, def := &v.Alarms[i], &v.set[i]
	switch {
	case def.FailSafe:
		return refuse(c, "it guards people and is never out of service; shelve it, for %s at most", spanOf(def.ShelveAtMost))
	case a.State == OutOfService:
		return refuse(c, "the alarm is out of service already")
	}
	a.Until, a.Once, a.LastTime = 0, false, at
	v.move(i, OutOfService, at, word(c))
	return nil
}

func (v *Evaluator) inService(i int, c *station.Command, at station.Instant) error {
	return v.back(i, c, at, OutOfService)
}

// back ends what a person began.
func (v *Evaluator) back(i int, c *station.Command, at station.Instant, from AlarmState) error {
	a := &v.Alarms[i]
	if a.State != from {
		return refuse(c, "the alarm is %s, not %s", a.State, from)
	}
	a.LastTime = at
	v.release(i, at, word(c))
	return nil
}

// vented takes a person's word that the line was vented. A live sensor that says otherwise
// is believed rather than the person; the word holds for this shutdown and until the outlet
// is read above the limit again.
func (v *Evaluator) vented(i int, c *station.Command, at station.Instant) error {
	if v.Silent {
		v.shut = v.told(v.last(), at)
	}
	s, shut := v.last(), v.shut
	read := !v.Silent || v.plate.Cadence == station.OnChange // a reading on change holds until the next
	switch {
	case v.set[i].Name != PressureLeft:
		return refuse(c, "only %s is cleared by a word", PressureLeft)
	case !v.HaveStep || shut.at == 0 || s.State.Fed() && !v.Silent:
		return refuse(c, "the supply is not known to be closed: close it first")
	case read && v.contradicts(s):
		return refuse(c, "the inlet still reads %s and the outlet %s: %s. Treat both as charged, vent both sides, then read the local gauges again", v.plate.Reading.Gauge(s.Inlet.Value), v.outletReads(), whyContradicts)
	case read && v.seesTank(s) && s.Outlet.Value > ChargedMin:
		return refuse(c, "the outlet still reads %s: vent it, then read the local gauge again", v.plate.Reading.Gauge(s.Outlet.Value))
	case read && s.Inlet.Known() && s.Inlet.Value > ChargedMin:
		return refuse(c, "the inlet still reads %s: vent both sides, then read the local gauges again", v.plate.Reading.Gauge(s.Inlet.Value))
	}
	said := word(c)
	v.Past.vent(shut.at, Vented(v.Past.Vents.Words, c, at, false), v.ventedBy(said.by, at))
	v.Past.Vents.rest(s)
	said.answer = no
	said.message = said.by + " says that the line is vented. Nothing here verifies it."
	v.advance(i, at, said)
	v.advance(v.index(InletPressureLeft), at, said)
	v.expose(v.index(PressureReturned), at, said)
	return nil
}

// expose ends the shelving of an alarm whose condition a person's word has ended: who gives it relies
// on the alarm from now on.
func (v *Evaluator) expose(i int, at station.Instant, said verdict) {
	if a := &v.Alarms[i]; a.State == Shelved {
		a.Present, a.True, a.LastTime = false, 0, max(at, a.LastTime+1)
		v.release(i, a.LastTime, said)
	}
}

// ventedBy words a person's word.
func (v *Evaluator) ventedBy(who string, at station.Instant) string {
	return fmt.Sprintf("the word of %s at %s", who, v.clock(at))
}

// note keeps what somebody wrote with the alarm: a transition that leaves the state as it is.
func (v *Evaluator) note(i int, c *station.Command, at station.Instant) error {
	if c.Kind == "close" && v.Gone {
		return v.closeGone(i, c, at)
	}
	if c.Kind == "close" && v.takesAsUsual(i, c) {
		return v.newUsual(i, c, at)
	}
	if c.Kind == "close" && v.Alarms[i].Present {
		return refuse(c, "the condition is still present: close the alarm once it has ended")
	}
	a := &v.Alarms[i]
	a.LastTime = at
	said := word(c)
	if v.set[i].Name == OutletLeak && (c.Cause == station.CauseLeak || c.Cause == station.CauseWear) {
		v.LeakUse = leakUse{} // somebody mended it: what ended by itself was no use
	}
	if a.State == ReturnedUnacknowledged && c.Kind == "close" {
		v.move(i, Normal, at, said)
		return nil
	}
	v.move(i, a.State, at, said)
	return nil
}

// outletReads words the outlet's reading.
func (v *Evaluator) outletReads() string {
	if e := &v.last().Outlet; e.Known() {
		return v.plate.Reading.Gauge(e.Value)
	}
	return "is not known"
}
