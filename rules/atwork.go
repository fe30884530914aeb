package rules

import (
	"math"
	"slices"

	"strokewise/analyzer/station"
)

// Names of the alarms on declared work.
const (
	PressureAtWork = "pressure-at-work"
	WorkTimeOver   = "work-time-over"
)

// LongestWork, ns, bounds the time that work is declared for at once.
const LongestWork = 24 * 60 * station.Minute60

// mostAtWork bounds the declarations of a station.
const mostAtWork = 32

// What counts as a rise while people are at work.
const (
	// leastRise, Pa: the drift of a sensor's zero and the weather stay below it for a shift
	// (common practice, no source). A third more or less changes nothing of a supply that
	// opens, which brings hundreds of kPa.
	leastRise = 5e3
	// riseOfNoise is the rise in standard deviations of a sample. Normal noise spans 8.2 of
	// them over the 43,200 readings of 12 h.
	riseOfNoise = 10
	// quietAfter, ns, is how long both sides must read low for the alarm to clear. Own choice.
	quietAfter = station.Minute60
	// unseenAfter, ns, is how long a side may go without a believed reading. Own choice.
	unseenAfter = 10 * station.Second
)

// AtWork is a person's declaration to be at work on a station.
type AtWork struct {
	Who, What   string
	From, Until station.Instant // arrival time
	Asleep      bool            // recalled from the history: it counts once From has come
}

// sign is something that must not happen while people are at work. The stronger come first.
type sign uint8

const (
	struckSign sign = iota
	openSign
	inletRose
	outletRose
	inletCharged
	outletCharged
	inletUnseen
	outletUnseen
	silentSign
	behindSign
	numSigns
)

// workMemory is what is known of people at work. Fields are exported for snapshots only.
type workMemory struct {
	People  []AtWork
	Strokes int64                     // up to the newest step
	Low     [2]float64                // least reading of inlet and outlet since the last rise, Pa gauge
	Has     [2]bool                   // there is such a reading
	From    [2]float64                // where the last rise began, Pa gauge
	To      [2]float64                // how far it went, Pa gauge
	Blind   [2]station.Instant        // no believed reading since, 0: there is one
	Seen    [numSigns]station.Instant // when each sign was seen last, 0: never
	Moved   bool                      // that something moves, and not only that it is not seen, was told of this occurrence
	Still   still                     // whether event time stands though samples arrive
	Over    []string                  // whose time was over when people were told last
}

// stillFor, ns, is how long event time may stand while samples arrive that are behind it: a message
// that is delivered again comes among others that go on. Own choice.
const stillFor = 5 * station.Second

// still follows event time that stands though samples arrive: a sensor's clock that was set back is
// believed after half a minute. Fields are exported for snapshots only.
type still struct {
	At    station.Instant // newest step
	Late  int64           // samples behind it, as the newest step found them
	Since station.Instant // arrival time since which more came and no step did, 0: they did not
}

// tick follows a tick, and reports whether event time stands for too long.
func (y *still) tick(now, newest station.Instant, late int64) bool {
	switch {
	case newest != y.At || late < y.Late:
		*y = still{At: newest, Late: late}
	case late > y.Late && y.Since == 0:
		y.Since = now
	}
	return y.Since != 0 && now.Sub(y.Since) >= stillFor
}

// people returns how many declarations count now.
func (w *workMemory) people() (n int) {
	for i := range w.People {
		if !w.People[i].Asleep {
			n++
		}
	}
	return n
}

// wake lets declarations count from their beginning on.
func (w *workMemory) wake(now station.Instant) {
	for i := range w.People {
		w.People[i].Asleep = w.People[i].Asleep && now < w.People[i].From
	}
}

// begin forgets what was seen before anybody was at work.
func (w *workMemory) begin() {
	w.Has, w.Blind, w.Seen = [2]bool{}, [2]station.Instant{}, [numSigns]station.Instant{}
}

// rebase moves the times of what was seen with the station's clock.
func (w *workMemory) rebase(by int64) {
	for i := range w.Seen {
		shift(by, &w.Seen[i])
	}
	for i := range w.Blind {
		shift(by, &w.Blind[i])
	}
}

// see notes a sign and reports whether it is new: not seen within the last minute.
func (w *workMemory) see(x sign, t station.Instant) bool {
	fresh := w.Seen[x] == 0 || t.Sub(w.Seen[x]) >= quietAfter
	w.Seen[x] = t
	return fresh
}

// recent reports whether a sign was seen within the last minute.
func (w *workMemory) recent(x sign, t station.Instant) bool {
	return w.Seen[x] != 0 && t.Sub(w.Seen[x]) < quietAfter
}

// readings returns what the two sensors read, believed or not, Pa gauge; NaN: nothing.
func readings(s *station.Status) [2]float64 {
	r := [2]float64{float64(s.InletReads), float64(s.OutletReads)}
	for i, e := range [2]*station.Estimate{&s.Inlet, &s.Outlet} {
		if e.Known() {
			r[i] = e.Value
		}
	}
	return r
}

// peaks returns the highest that the two sensors read since the step before, Pa gauge: a supply that
// is opened for less than a second is one that opens.
func peaks(s *station.Status) [2]float64 {
	p := [2]float64{float64(s.InletPeak), float64(s.OutletPeak)}
	for i := range p {
		if math.IsNaN(p[i]) {
			p[i] = math.Inf(-1)
		}
	}
	return p
}

// rise returns by how much a side must read above its least reading, Pa. More than a charged
// line it never is.
func rise(noise *station.Estimate) float64 {
	if !noise.Known() {
		return leastRise
	}
	return math.Min(ChargedMin, math.Max(leastRise, riseOfNoise*noise.Value))
}

// watch notes the signs of a step. It reports whether there is any, and whether one is new.
// A reading counts whether it is believed or not: a supply that opens at once looks like a
// fault of the sensor.
func (v *Evaluator) watch(s *station.Status, t station.Instant, blindAfter int64) (any, fresh bool) {
	w := &v.Work
	note := func(x sign, is bool) {
		if is {
			any, fresh = true, w.see(x, t) || fresh
		}
	}
	noise := [2]*station.Estimate{&s.Estimates[station.InletNoise], &s.Estimates[station.OutletNoise]}
	peaks := peaks(s)
	known := [2]bool{s.Inlet.Known(), s.Outlet.Known() && (v.seesTank(s) || v.Past.Vents.said())}
	for i, p := range readings(s) {
		side := sign(i)
		if !math.IsNaN(p) {
			if !w.Has[i] {
				w.Low[i], w.Has[i] = p, true
			}
			top := math.Max(p, peaks[i])
			rose := top > w.Low[i]+rise(noise[i])
			if rose && !w.recent(inletRose+side, t) {
				w.From[i], w.To[i] = w.Low[i], top
			}
			if rose {
				w.Low[i], w.To[i] = top, math.Max(w.To[i], top)
			}
			w.Low[i] = math.Min(w.Low[i], p)
			note(inletRose+side, rose)
			note(inletCharged+side, top > ChargedMin)
		}
		switch {
		case known[i]:
			w.Blind[i] = 0
		case w.Blind[i] == 0:
			w.Blind[i] = t
		}
		note(inletUnseen+side, !known[i] && t.Sub(w.Blind[i]) >= blindAfter)
	}
	note(struckSign, s.Strokes > w.Strokes)
	note(openSign, s.Valve == station.ValveOpen)
	return any, fresh
}

// pressureAtWork decides the alarm while people are declared at work, whatever calendar and
// state say. It latches: it clears once both sides are seen low for a minute without a sign,
// or when nobody is at work any more.
func (v *Evaluator) pressureAtWork(i int, s *station.Status) verdict {
	w := &v.Work
	if w.people() == 0 {
		w.Strokes = s.Strokes
		return verdict{answer: no, message: "Nobody is declared at work here now."}
	}
	w.Seen[silentSign] = min(w.Seen[silentSign], s.At) // they are of arrival time, and over
	w.Seen[behindSign] = min(w.Seen[behindSign], s.At)
	any, fresh := v.watch(s, s.At, unseenAfter)
	w.Strokes = s.Strokes
	return v.signsSeen(i, s.At, any, fresh)
}

// moves reports whether air was seen to come within the last minute.
func (w *workMemory) moves(t station.Instant) bool {
	for x := struckSign; x < inletUnseen; x++ {
		if w.recent(x, t) {
			return true
		}
	}
	return false
}

// signsSeen returns the verdict at t. A new sign is told also where the alarm was acknowledged or
// shelved: nobody knew of it then; and the first that shows air after what was only not seen.
func (v *Evaluator) signsSeen(i int, t station.Instant, any, fresh bool) verdict {
	w, a := &v.Work, &v.Alarms[i]
	c := verdict{answer: yes, say: (*Evaluator).atWork, news: any && fresh}
	moves := w.moves(t)
	first := moves && !w.Moved
	if w.Moved = moves || w.Moved && a.State == Unacknowledged; any && fresh {
		switch {
		case a.State == Acknowledged:
			v.raise(i, max(t, a.LastTime+1), c)
		case a.State == Unacknowledged && first:
			v.again(i, t, MoreDue, "until now it was only not seen")
		}
	}
	switch {
	case any:
		return c
	case !a.Present:
		return verdict{answer: no}
	case w.Blind != [2]station.Instant{}:
		return verdict{answer: between}
	}
	for x := range numSigns {
		if w.recent(x, t) {
			return verdict{answer: between}
		}
	}
	return verdict{answer: no, message: "Inlet and outlet have read low for a minute, and nothing stroked or opened; not verified. People are still declared at work here."}
}

// tickWork carries on what arrival time alone tells of declared work.
func (v *Evaluator) tickWork(now station.Instant, silent bool) {
	w := &v.Work
	before := w.people()
	w.wake(now)
	if before == 0 && w.people() > 0 {
		w.begin()
	}
	behind := w.Still.tick(now, v.LastAt, v.late)
	i := v.index(PressureAtWork)
	switch {
	case w.people() == 0:
	case silent && v.plate.Cadence == station.Periodic:
		v.advance(i, now, v.signsSeen(i, now, true, w.see(silentSign, now)))
	case behind:
		v.advance(i, now, v.signsSeen(i, now, true, w.see(behindSign, now)))
	}
	v.workOver(now, verdict{})
}

// workOver decides the alarm on declared work whose time is over; said is the word that
// changed something of it.
func (v *Evaluator) workOver(now station.Instant, said verdict) {
	w, i := &v.Work, v.index(WorkTimeOver)
	a := &v.Alarms[i]
	now = max(now, a.LastTime)
	var over []string
	for k := range w.People {
		if p := &w.People[k]; !p.Asleep && now >= p.Until {
			over = append(over, p.Who)
		}
	}
	if len(over) == 0 {
		w.Over, said.answer = nil, no
		if said.message == "" {
			said.message = "No declared work is past its time."
		}
		v.advance(i, now, said)
		return
	}
	more := anyMore(w.Over, over)
	if w.Over = over; more && a.State.Active() {
		v.again(i, now, MoreDue, "the time of more people is over")
	}
	v.advance(i, now, verdict{answer: yes, say: (*Evaluator).overdue, by: said.by, why: said.why, news: more})
	v.remindOf(i, now)
}

// anyMore reports whether a list of names has one that another does not have.
func anyMore(before, now []string) bool {
	return slices.ContainsFunc(now, func(who string) bool { return !slices.Contains(before, who) })
}

// AtWork returns who is declared at work.
func (v *Evaluator) AtWork() []AtWork { return slices.Clone(v.Work.People) }

// RecallWork sets who is declared at work to what the history knows by an arrival time, in an
// evaluator that is rebuilt or older than the history. A declaration counts once arrival time has
// come to its beginning, so that what the log holds from before is not judged by it. What was
// seen since somebody was at work stays known; where it is not, an alarm that stands goes on
// until a minute was seen.
func (v *Evaluator) RecallWork(list []AtWork, at station.Instant) {
	w := &v.Work
	before := w.people()
	w.People = slices.Clone(list)
	for i := range w.People {
		w.People[i].Asleep = w.People[i].From > at
	}
	if before > 0 || w.people() == 0 {
		return
	}
	w.begin()
	if v.Alarms[v.index(PressureAtWork)].Present {
		w.see(silentSign, at)
	}
}
