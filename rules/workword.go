package rules

import (
	"fmt"
	"slices"
	"strings"

	"strokewise/analyzer/station"
)

// findWork returns the place of a person's declaration that was given by at, -1 if there is none.
func findWork(list []AtWork, who string, at station.Instant) int {
	return slices.IndexFunc(list, func(p AtWork) bool { return sameName(p.Who, who) && p.From <= at })
}

// Worked returns who is at work after a command "at-work" or "work-ended" that had effect. A
// second declaration of the same name prolongs the first; an end of a name that is not
// declared ends the work of those whom its reason names.
func Worked(list []AtWork, c *station.Command, at station.Instant) []AtWork {
	who, out := strings.TrimSpace(c.By), slices.Clone(list)
	i := findWork(out, who, at)
	switch {
	case c.Kind == "at-work" && i >= 0:
		out[i].What, out[i].Until, out[i].Asleep = strings.TrimSpace(c.Note), c.Until, false
	case c.Kind == "at-work":
		out = slices.DeleteFunc(out, func(p AtWork) bool { return sameName(p.Who, who) }) // recalled, and given again by the log
		out = append(out, AtWork{Who: who, What: strings.TrimSpace(c.Note), From: at, Until: c.Until})
	case i >= 0:
		out = slices.Delete(out, i, i+1)
	default:
		out = slices.DeleteFunc(out, func(p AtWork) bool { return p.From <= at && mentions(c.Note, p.Who) })
	}
	return out
}

// beginWork handles a declaration of work. What must not be while people are at work is told
// at once: a charged line, one that is not seen, an open supply.
func (v *Evaluator) beginWork(i int, c *station.Command, at station.Instant) error {
	w := &v.Work
	switch {
	case v.Gone:
		return refuse(c, "the station is no longer configured, and nothing watches it")
	case v.standIn:
		return refuse(c, "the station is not watched now (%s)", StationNotWatched)
	case c.Until <= at:
		return refuse(c, "its end, %s, is past", v.clock(c.Until))
	case c.Until.Sub(at) > LongestWork:
		return refuse(c, "%s is too long: 24 h at most; declare it again when the time is over", spanOf(c.Until.Sub(at)))
	case len(w.People) >= mostAtWork && findWork(w.People, strings.TrimSpace(c.By), at) < 0:
		return refuse(c, "%d people are declared at work here already: end the work of those who have gone", mostAtWork)
	}
	known := findWork(w.People, strings.TrimSpace(c.By), at) >= 0
	if w.people() == 0 {
		w.begin()
	}
	w.People = Worked(w.People, c, at)
	said := word(c)
	v.workOver(at, said)
	any, fresh := v.workBegins(at)
	w.Moved = w.moves(v.last().At)
	v.workDeclared(i, at, said, known, any, any && (fresh || !known))
	return nil
}

// workDeclared moves the alarm with a declaration: any says that there is a sign, news that there is
// one which is to be told. Who begins to work does not know that the alarm was shelved before.
func (v *Evaluator) workDeclared(i int, at station.Instant, said verdict, known, any, news bool) {
	a := &v.Alarms[i]
	told := said
	told.answer, told.say = yes, (*Evaluator).atWork
	said.message = v.whoWorks() + " " + noLockOut
	if v.plate.Cadence == station.OnChange {
		said.message = "The sensors here publish on change: one that fails is not noticed. " + said.message
	}
	switch {
	case a.State == Shelved && !known && any:
		a.Present = true
		v.release(i, at, told)
	case a.State == Shelved && !known:
		a.Present = false
		v.release(i, at, said)
	case news && a.State == Acknowledged:
		v.raise(i, at, told)
	case news && a.State != Unacknowledged:
		v.advance(i, at, told)
	default:
		a.LastTime = at
		v.move(i, a.State, at, said)
	}
}

// workBegins looks at the newest step as people begin to work.
func (v *Evaluator) workBegins(at station.Instant) (any, fresh bool) {
	if !v.HaveStep || v.Silent && v.plate.Cadence == station.Periodic {
		return true, v.Work.see(silentSign, at)
	}
	s := v.last()
	v.Work.Strokes = s.Strokes
	return v.watch(s, s.At, 0)
}

// endWork handles the word that work has ended: of the person who gives it, or of others whom the
// reason names, so that no slip in one's own name ends the watch over somebody else. With the last
// one the word "vented" of the same person ends too, and given where nobody is declared it ends
// that of anybody: then a return of pressure is expected.
func (v *Evaluator) endWork(i int, c *station.Command, at station.Instant) error {
	w, said, was := &v.Work, word(c), v.Work.People
	left := Worked(was, c, at)
	switch {
	case len(was) == 0 && !v.Past.Vents.said():
		return refuse(c, "nobody is declared at work here")
	case len(was) > 0 && len(left) == len(was):
		return refuse(c, "no work of %s is declared here, but that of %s: give the reason to end it for them, with their names", said.by, namesAtWork(was))
	}
	w.People = left
	if ended := endedWork(was, left); len(ended) == 1 && sameName(ended[0].Who, said.by) {
		said.message = "The work of " + said.by + " here has ended."
	} else if len(ended) > 0 {
		said.message = fmt.Sprintf("%s has ended the work of %s here.", said.by, namesAtWork(ended))
	}
	if len(left) == 0 {
		v.endWord(c, at, len(was) == 0)
		said.message, said.answer = strings.TrimSpace(said.message+" "+v.nobodyWorks()), no
	} else {
		said.message += " " + v.whoWorks()
	}
	v.workOver(at, verdict{by: said.by, why: said.why})
	before := v.Alarms[i].State
	v.advance(i, at, said)
	if v.Alarms[i].State == before {
		v.move(i, before, at, said)
	}
	return nil
}

// endWord ends the word "vented" of a person, or of anybody where alone says that nobody was at work.
func (v *Evaluator) endWord(c *station.Command, at station.Instant, alone bool) {
	left := Vented(v.Past.Vents.Words, c, at, alone)
	switch {
	case len(left) > 0:
		v.Past.Vents.Words = left
	default:
		v.Past.Vents = vents{}
	}
}

// nobodyWorks words that the last declared work has ended.
func (v *Evaluator) nobodyWorks() string {
	if words := v.Past.Vents.Words; len(words) > 0 {
		return fmt.Sprintf("Nobody is declared at work here now. The word of %s that the line is vented still stands: pressure that returns raises an alarm.", spokenNames(words))
	}
	return "Nobody is declared at work here now; pressure that returns is expected."
}

// endedWork lists who is no longer at work.
func endedWork(was, left []AtWork) []AtWork {
	return slices.DeleteFunc(slices.Clone(was), func(p AtWork) bool {
		return slices.ContainsFunc(left, func(q AtWork) bool { return q.Who == p.Who && q.From == p.From })
	})
}

// noLockOut stands in every message on declared work.
const noLockOut = "This is no lock-out and protects nobody."

// namesAtWork lists the names of people.
func namesAtWork(list []AtWork) string {
	var out []string
	for i := range list {
		out = append(out, list[i].Who)
	}
	return strings.Join(out, ", ")
}

// whoWorks lists who is at work, until when and on what.
func (v *Evaluator) whoWorks() string {
	var out []string
	for i := range v.Work.People {
		out = append(out, v.working(&v.Work.People[i]))
	}
	return "At work here: " + strings.Join(out, "; ") + "."
}

func (v *Evaluator) working(p *AtWork) string {
	return fmt.Sprintf("%s until %s (%s)", p.Who, v.clock(p.Until), p.What)
}

// clock returns a time by the site's clock where the plate has a calendar, else in UTC.
func (v *Evaluator) clock(t station.Instant) string {
	v.roster.read(v.plate.Calendar)
	return v.roster.clock(t)
}

// atWork words the alarm on what happens while people are at work.
func (v *Evaluator) atWork() (string, []Evidence) {
	s, w := v.last(), &v.Work
	t := s.At
	for _, x := range w.Seen {
		t = max(t, x)
	}
	var out []string
	do := "Warn them now."
	if w.recent(struckSign, t) {
		out = append(out, "The booster has stroked.")
	}
	if w.recent(openSign, t) {
		out = append(out, "The supply valve signals open.")
	}
	r := readings(s)
	for i, name := range [2]string{"inlet", "outlet"} {
		side := sign(i)
		switch {
		case w.recent(inletRose+side, t):
			out = append(out, fmt.Sprintf("The %s has risen from %s to %s.", name, v.plate.Reading.Number(w.From[i]), v.plate.Reading.Gauge(w.To[i])))
		case w.recent(inletCharged+side, t):
			out = append(out, fmt.Sprintf("The %s reads %s: it is charged.", name, v.plate.Reading.Gauge(r[i])))
		}
	}
	if len(out) == 0 {
		out, do = v.notSeen(t), "Warn them, and watch the local gauges."
	}
	return strings.Join(out, " ") + " " + do + " " + v.whoWorks() + " " + noLockOut, v.workEvidence(r)
}

// notSeen words what keeps a return of pressure from being seen.
func (v *Evaluator) notSeen(t station.Instant) (out []string) {
	s, w := v.last(), &v.Work
	if w.recent(silentSign, t) {
		return []string{"No samples come from the station: pressure that returns would not be seen."}
	}
	if w.recent(behindSign, t) {
		return []string{"The samples that arrive have times in the past (a clock that was set back?) and do not count yet: pressure that returns would not be seen."}
	}
	for i, e := range [2]*station.Estimate{&s.Inlet, &s.Outlet} {
		if w.recent(inletUnseen+sign(i), t) {
			why := e.Reason
			if e.Known() {
				why = "the outlet sensor does not see the tank"
			}
			out = append(out, fmt.Sprintf("The %s pressure is not known (%s): pressure that returns might not be seen.", [2]string{"inlet", "outlet"}[i], why))
		}
	}
	if out == nil {
		out = []string{"Nothing new was seen in the last minute."}
	}
	return out
}

// workEvidence lists who is at work, and the readings.
func (v *Evaluator) workEvidence(r [2]float64) []Evidence {
	var out []Evidence
	for i := range v.Work.People {
		out = append(out, Evidence{Name: "at_work", Text: v.working(&v.Work.People[i])})
	}
	s := v.last()
	out = append(out, pressureEvidence("inlet_pressure", &s.Inlet), pressureEvidence("outlet_pressure", &s.Outlet))
	for i, e := range [2]*station.Estimate{&s.Inlet, &s.Outlet} {
		if !e.Known() && finite(r[i]) {
			out = append(out, Evidence{Name: [2]string{"inlet_reads", "outlet_reads"}[i], Value: r[i], Unit: "Pa gauge"})
		}
	}
	return append(out, Evidence{Name: "supply_valve", Text: [...]string{"unknown", "closed", "open"}[s.Valve%3]})
}

// overdue words the alarm on declared work whose time is over.
func (v *Evaluator) overdue() (string, []Evidence) {
	var names []string
	var e []Evidence
	for i := range v.Work.People {
		if p := &v.Work.People[i]; slices.Contains(v.Work.Over, p.Who) {
			names = append(names, v.working(p))
			e = append(e, Evidence{Name: "at_work", Text: v.working(p)})
		}
	}
	return "The declared time of work is over, and nobody has said that it has ended: " + strings.Join(names, "; ") +
		". Ask them. The watch goes on until the work is ended or prolonged. " + noLockOut, e
}
