package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"strokewise/analyzer/station"
)

// Names of the findings on what comes due.
const (
	InspectionDue = "inspection-due"
	ServiceDue    = "service-due"
)

// serviceMemory counts the station's cycles and keeps what people recorded as done. Fields
// are exported for snapshots only.
type serviceMemory struct {
	Strokes int64           // since First
	Minute  int64           // up to which they are counted, minutes since 1970
	First   station.Instant // of the counting
	Lost    int64           // minutes in which the strokes were not known
	Marks   []mark          // at most one for each kind
	Told    serviceSet      // the kinds that service-due was told for
}

// mark is when something was last done.
type mark struct {
	What     station.ServiceKind
	Plate    string // the plate's last date that was looked at
	Strokes  int64  // of the station when it was done; below zero for what was run before
	Lost     int64
	Since    station.Instant // when counting began
	Done     string          // date, by a person's record; "": none
	Document string
	By       string
}

// dates are the plate's services, read once.
type dates struct {
	text, inspection string
	read             bool
	list             []station.Service
	tank             station.Instant // when the tank's inspection is due, 0: not known
	tankDone         bool
	tankKnown        string // what tank was worked out from
}

// ServiceKinds returns the names of what can come due.
func ServiceKinds() []string {
	var out []string
	for _, k := range station.ServiceKinds() {
		out = append(out, k.String())
	}
	return out
}

// serviceSet is a set of kinds of services, a bit each.
type serviceSet uint32

func (s serviceSet) with(k station.ServiceKind) serviceSet { return s | 1<<k }

// beyond reports whether the set has a kind that another one has not.
func (s serviceSet) beyond(other serviceSet) bool { return s&^other != 0 }

// services gives what comes due by the plate.
func (v *Evaluator) services() []station.Service {
	d := &v.dates
	if !d.read || d.text != v.plate.Service || d.inspection != v.plate.Inspection {
		list, _ := v.plate.Services() // a text of another program names nothing
		*d = dates{text: v.plate.Service, inspection: v.plate.Inspection, read: true, list: list}
	}
	return d.list
}

// count takes the strokes of the minute that has just ended. A minute that brought no step
// at its end is lost, and so is one whose strokes are not known.
func (v *Evaluator) count(s *station.Status) {
	m, now := &v.Service, int64(s.At)/station.Minute60
	if m.First == 0 || now < m.Minute {
		m.First, m.Minute = orTime(m.First, s.At), now
	}
	if now == m.Minute {
		return
	}
	if !s.StrokeRate.Known() || int64(s.At)-now*station.Minute60 > 2*station.Second {
		m.Lost++
	} else {
		m.Strokes += s.StrokesMinute
	}
	m.Lost += min(now-m.Minute-1, 400*24*60)
	m.Minute = now
}

func orTime(a, b station.Instant) station.Instant {
	if a != 0 {
		return a
	}
	return b
}

// mark gives the mark of a kind, made or moved as the plate says. The newer of the plate's
// date and the record counts.
func (v *Evaluator) mark(x *station.Service, t station.Instant) *mark {
	m := &v.Service
	i := slices.IndexFunc(m.Marks, func(k mark) bool { return k.What == x.What })
	if i < 0 {
		m.Marks = append(m.Marks, mark{What: x.What, Plate: x.Last, Strokes: m.Strokes - 2*x.Before, Lost: m.Lost, Since: t})
		return &m.Marks[len(m.Marks)-1]
	}
	k := &m.Marks[i]
	if k.Plate != x.Last {
		k.Plate = x.Last
		if x.Last > k.Done {
			k.Strokes, k.Lost, k.Since = m.Strokes-2*x.Before, m.Lost, t
		}
	}
	return k
}

// last gives the newer of the two dates.
func (k *mark) last() string { return max(k.Done, k.Plate) }

// Due is something that comes due at a station, as it stands.
type Due struct {
	What       station.ServiceKind
	Date       string // on which it is due, "": not by date, or the next one is not given
	Last       string // date on which it was done, "": not known
	Interval   int64  // cycles, 0: not by cycles
	CyclesLeft int64  // negative: overdue
	Lost       int64  // minutes in which the cycles were not known: then fewer are left
	Since      station.Instant
	Document   string // of the newest record
	By         string
	Remind     int // days ahead
	soon       bool
}

// Dues gives what comes due at t, and what there is a record of, though nothing is due.
func (v *Evaluator) Dues(t station.Instant) []Due {
	var out []Due
	for _, x := range v.services() {
		k := v.mark(&x, t)
		d := Due{What: x.What, Date: x.Due(k.last()), Last: k.last(), Interval: x.Cycles, Since: k.Since, Document: k.Document, By: k.By, Remind: x.Remind}
		d.CyclesLeft = x.Cycles - (v.Service.Strokes-k.Strokes)/2
		d.Lost = v.Service.Lost - k.Lost
		days, known := daysTo(d.Date, t)
		d.soon = known && days <= x.Remind || x.Cycles > 0 && d.CyclesLeft <= x.RemindCycles
		out = append(out, d)
	}
	for i := range v.Service.Marks {
		if k := &v.Service.Marks[i]; k.Done != "" && !slices.ContainsFunc(out, func(d Due) bool { return d.What == k.What }) {
			out = append(out, Due{What: k.What, Last: k.Done, Document: k.Document, By: k.By})
		}
	}
	return out
}

// daysTo gives the days from the date of t (UTC) to a date: zero on the day itself, negative
// after it.
func daysTo(date string, t station.Instant) (int, bool) {
	d := dateOf(date)
	const day = 24 * 60 * station.Minute60
	return int(d.at.Sub(t.Floor(day)) / day), d.at != 0
}

// serviceDue: something other than the tank's inspection is due, or will be within the time
// of its reminder. Of an alarm that stands people are told again when more comes due.
func (v *Evaluator) serviceDue(t station.Instant) verdict {
	if len(v.services()) == 0 && len(v.Service.Marks) == 0 {
		return verdict{answer: no}
	}
	if at := int64(t) / station.Minute60; v.asked != at || at == 0 {
		v.asked, v.kinds = at, 0
		for _, d := range v.Dues(t) {
			if d.soon && d.What != station.TankInspection {
				v.kinds = v.kinds.with(d.What)
			}
		}
	}
	if v.kinds == 0 {
		v.Service.Told = 0
		return verdict{answer: no, message: "By dates and cycles nothing is due now."}
	}
	i := v.index(ServiceDue)
	if a := &v.Alarms[i]; a.State.Active() && v.Service.Told != 0 && v.kinds.beyond(v.Service.Told) {
		v.again(i, t, MoreDue, "")
	}
	v.Service.Told = v.kinds
	return verdict{answer: yes, say: (*Evaluator).servicesDue}
}

// servicesDue words it: each that is due, with what is left.
func (v *Evaluator) servicesDue() (string, []Evidence) {
	t := v.Alarms[v.index(ServiceDue)].LastTime
	var said []string
	var evidence []Evidence
	for _, d := range v.Dues(t) {
		if !d.soon || d.What == station.TankInspection {
			continue
		}
		name := d.What.String()
		var left []string
		if days, known := daysTo(d.Date, t); known {
			left = append(left, leftOf(int64(days), "day", ""))
			evidence = append(evidence, Evidence{Name: name + "_days", Value: float64(days), Unit: "d"}, Evidence{Name: name + "_due", Text: d.Date})
		}
		if d.Interval > 0 {
			left = append(left, leftOf(d.CyclesLeft, "cycle", ""))
			evidence = append(evidence, Evidence{Name: name + "_cycles_left", Value: float64(d.CyclesLeft), Unit: "1"})
			if d.Lost > 0 {
				evidence = append(evidence, Evidence{Name: name + "_minutes_not_counted", Value: float64(d.Lost), Unit: "1"})
			}
		}
		said = append(said, d.What.Words()+" "+strings.Join(left, " or "))
	}
	return "Due: " + strings.Join(said, "; ") + ". Local law and the maker's documents govern the intervals.", evidence
}

// leftOf words how much is left, in a unit: "in 5 days", "overdue by 1 day". What is not overdue
// begins with due.
func leftOf(n int64, unit, due string) string {
	if n != 1 && n != -1 {
		unit += "s"
	}
	switch {
	case n < 0:
		return fmt.Sprintf("overdue by %d %s", -n, unit)
	case n == 0 && unit == "days":
		return due + "today"
	}
	return fmt.Sprintf("%sin %d %s", due, n, unit)
}

// fillDates gives the quantities on the tank's inspection at t.
func (v *Evaluator) fillDates(t station.Instant) {
	q := &v.now
	q[qInspectionDays], q[qInspectionDone], q[qInspectionRemind] = nan, 0, 30
	for _, x := range v.services() {
		if x.What != station.TankInspection {
			continue
		}
		k := v.mark(&x, t)
		if known := k.last(); v.dates.tankKnown != known || v.dates.tank == 0 && !v.dates.tankDone {
			due := x.Due(known)
			v.dates.tank, v.dates.tankDone, v.dates.tankKnown = dateOf(due).at, due == "" && k.Done != "", known
		}
		if x.Remind > 0 {
			q[qInspectionRemind] = float64(x.Remind)
		}
		q[qInspectionDone] = truth(v.dates.tankDone)
		if v.dates.tank != 0 {
			q[qInspectionDays] = math.Floor(float64(v.dates.tank.Sub(t)) / 86400e9)
		}
	}
}

// recorded reports whether a command says what was done, on which day and with which document.
func recorded(c *station.Command) bool {
	_, err := time.Parse(time.DateOnly, c.Date)
	return c.Service != station.NoService && c.Service < station.NumServices && err == nil && strings.TrimSpace(c.Document) != ""
}

// Recorded returns what a command "done" or "inspected" records at an arrival time.
func Recorded(c *station.Command, at station.Instant) Due {
	d := Due{What: c.Service, Last: c.Date, Document: strings.TrimSpace(c.Document), By: strings.TrimSpace(c.By)}
	if c.Kind == "inspected" {
		d.What, d.Last = station.TankInspection, at.Time().Format(time.DateOnly)
	}
	return d
}

// doneService takes a person's record that something was done. A date older than what is
// recorded already changes nothing.
func (v *Evaluator) doneService(_ int, c *station.Command, at station.Instant) error {
	d := Recorded(c, at)
	if c.Kind == "done" && !recorded(c) {
		return refuse(c, "give what was done, on which day, and the reference of the document")
	}
	err := v.Recall(d, at)
	if err == nil && d.What.Renews() {
		v.Like.clear() // strokes of before are those of another machine
	}
	return err
}

// RunBefore says what was run since something was last done and is not in this evaluator's
// count: of one that is rebuilt without its snapshot, from the history.
func (v *Evaluator) RunBefore(what station.ServiceKind, strokes, lost int64, at station.Instant) {
	for _, x := range v.services() {
		if x.What == what {
			k := v.mark(&x, at)
			k.Strokes, k.Lost = k.Strokes-strokes, k.Lost-lost
		}
	}
}

// Below gives since when the outlet has read below the limit in the present shutdown, 0: it
// does not.
func (v *Evaluator) Below() station.Instant { return v.Past.Below }

// Recall puts a record of something done in force: of a person's command, or, in an
// evaluator that is rebuilt, of the history.
func (v *Evaluator) Recall(d Due, at station.Instant) error {
	x := station.Service{What: d.What}
	if i := slices.IndexFunc(v.services(), func(s station.Service) bool { return s.What == d.What }); i >= 0 {
		x = v.services()[i]
	}
	k := v.mark(&x, at)
	if d.Last < k.last() {
		return &Idle{fmt.Sprintf("cannot record %s as done on %s: a later date, %s, is recorded already", d.What, d.Last, k.last())}
	}
	k.Done, k.Document, k.By = d.Last, d.Document, d.By
	k.Strokes, k.Lost, k.Since = v.Service.Strokes, v.Service.Lost, at
	v.asked, v.dates.tankKnown = 0, "?"
	return nil
}
