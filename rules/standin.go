package rules

import "strokewise/analyzer/station"

// wordsUnwatched are the message of an alarm that is raised again, when its shelving ends, at a
// station that is not watched.
const wordsUnwatched = "The alarm was open when a fault of strokewise ended the watch over the station. Nothing watches it now."

// StandIn returns an evaluator that keeps the alarms of a station whose own evaluator or engine
// cannot go on. It decides nothing by readings: what is open stays open, people can acknowledge,
// shelve and annotate it, and reminders go on. The states come by Adopt.
func StandIn(plate *station.Plate, emit func(*Transition)) *Evaluator {
	v := NewEvaluator(plate, emit)
	v.standIn = true
	return v
}

// Unwatch raises the alarm that nothing watches the station, unless it stands already. People who
// are declared at work there are warned.
func (v *Evaluator) Unwatch(at station.Instant, why string) {
	i := v.index(StationNotWatched)
	if i < 0 {
		return
	}
	if v.Alarms[i].Present {
		return
	}
	v.advance(i, at, verdict{answer: yes, trigger: StationUnwatched,
		message:  "A fault of strokewise ended the watch over this station. Its readings are no longer judged: treat it as unknown and its outlet as charged.",
		evidence: []Evidence{{Name: "fault", Text: why}}})
	if w := v.index(PressureAtWork); w >= 0 && len(v.Work.People) > 0 {
		a := &v.Alarms[w]
		a.Present, a.True, a.Until, a.Once = true, at, 0, false
		v.raise(w, max(at, a.LastTime+1), verdict{message: v.workUnwatched(), trigger: StationUnwatched})
		a.LastTime = a.Raised
	}
}

// WatchAgain ends the alarm of Unwatch.
func (v *Evaluator) WatchAgain(at station.Instant) {
	i := v.index(StationNotWatched)
	if i < 0 || !v.Alarms[i].Present {
		return
	}
	v.advance(i, at, verdict{answer: no, message: "The station is watched again."})
}

// workUnwatched words that people are at work on a station that is not watched.
func (v *Evaluator) workUnwatched() string {
	return "A fault of strokewise ended the watch over this station: pressure that returns would not be seen. Warn them, and watch the local gauges. " + v.whoWorks() + " " + noLockOut
}

// wordsBlind returns the message of an alarm whose shelving ends while no readings come.
func (v *Evaluator) wordsBlind() string {
	if v.Gone {
		return wordsGone
	}
	return wordsUnwatched
}

// whatToDo returns how a reminder of an alarm ends that no reading can end.
func (v *Evaluator) whatToDo() string {
	if v.Gone {
		return askClose
	}
	return ": read the local gauges"
}
