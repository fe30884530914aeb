package accuracy

import (
	"math"

	"strokewise/analyzer/station"
)

// cycle is the strokes of a cycle: what a cycle counter cannot tell.
const cycle = 2

// fewest is the number of strokes from which air is compared: the stroke that is cut at either end of
// the told minutes is then at most 5 % of it.
const fewest = 20

// Scores are the scores of a case, by Figure.
type Scores [NumFigures]Score

// compare returns how what was told agrees with the truth.
func compare(t *told, truth *Truth, counter bool) (s Scores) {
	s[Strokes], s[Times] = compareStrokes(t, truth, counter)
	s[Duty], s[States] = compareStates(t, truth)
	compareAir(&s, t, truth, counter)
	s[Supply] = compareEstimate(&t.estimates[station.SupplyConductance], truth.Line, Supply)
	s[Leak] = compareEstimate(&t.estimates[station.LeakConductance], truth.Leak, Leak)
	compareTight(&s[FalseLeaks], &t.estimates[station.LeakFlow], truth)
	compareAlarms(&s, t, truth)
	return s
}

// judge sets a told error.
func (s *Score) judge(f Figure, err float64) {
	s.Applies, s.Told, s.Err = true, true, err
	s.Within, s.Wrong = math.Abs(err) <= targets[f], math.Abs(err) > wrong
}

// compareStrokes compares the number of strokes and their times over the minutes of which strokes are
// told, if that is half of them. Unknown minutes are left out on both sides.
func compareStrokes(t *told, truth *Truth, counter bool) (n, times Score) {
	n.Applies, times.Applies = true, true
	known, got := map[int]bool{}, 0.0
	for i := range t.minutes {
		if m := &t.minutes[i]; m.StrokeMethod != station.MethodNone {
			known[minute(m)] = true
			got += float64(m.Strokes)
		}
	}
	if 2*len(known) < len(truth.Minutes) {
		return n, times
	}
	ends := truth.endsIn(known, counter)
	off := got - float64(len(ends))
	n.judge(Strokes, 100*off/math.Max(1, float64(len(ends))))
	if counter {
		n.Within = math.Abs(off) <= cycle
	} else {
		n.Within = n.Within || math.Abs(off) <= 1
	}
	n.Wrong = n.Wrong && math.Abs(off) > cycle
	if len(ends) == 0 {
		return n, Score{}
	}
	times.judge(Times, 100*(1-Hits(ends, t.ends, t.sampleEvery)))
	if counter {
		times.Within = times.Err <= countedTimes
	}
	return n, times
}

// compareStates compares the seconds in states, if at least half of the fed time is told.
func compareStates(t *told, truth *Truth) (duty, states Score) {
	if math.IsNaN(truth.Stroking) || truth.Fed == 0 {
		return duty, states
	}
	duty.Applies, states.Applies = true, true
	work := t.states[station.Charging] + t.states[station.Stroking]
	holding, starved := t.states[station.Holding], t.states[station.Starved]
	fed := work + holding + starved
	if fed < truth.Fed/2 {
		return duty, states
	}
	duty.judge(Duty, 100*(work/fed-truth.Stroking/truth.Fed))
	duty = duty.within(t.stroking[0]/fed, truth.Stroking/truth.Fed, t.stroking[1]/fed)
	worst := math.Abs(work - truth.Stroking)
	if h, s, split := truth.stall(); split {
		worst = max(worst, math.Abs(holding-h), math.Abs(starved-s))
	} else {
		worst = max(worst, math.Abs(holding+starved-truth.Fed+truth.Stroking))
	}
	states.judge(States, 100*worst/truth.Fed)
	states.Within = states.Within || worst <= 2
	return duty, states
}

// compareAir compares the three volumes over the minutes of which air is told, if that is half of
// them.
func compareAir(s *Scores, t *told, truth *Truth, counter bool) {
	if len(truth.Ends) < fewest || math.IsNaN(truth.Minutes[0].All.Delivered) {
		return
	}
	var got, low, high, want Air
	known := map[int]bool{}
	for i := range t.minutes {
		m := &t.minutes[i]
		k := minute(m)
		if m.AirReason != "" || k < 0 || k >= len(truth.Minutes) {
			continue
		}
		known[k] = true
		got.add(m.Delivered.Litres(), m.Inlet.Litres(), m.Exhaust.Litres())
		least, most := m.ExhaustBand()
		low.add(m.DeliveredLow.Litres(), m.InletLow.Litres(), least.Litres())
		high.add(m.DeliveredHigh.Litres(), m.InletHigh.Litres(), most.Litres())
		w := &truth.Minutes[k].Seen
		if counter {
			w = &truth.Minutes[k].All
		}
		want.add(w.Delivered, w.Inlet, w.Exhaust)
	}
	enough := 2*len(known) >= len(truth.Minutes) && len(truth.endsIn(known, counter)) >= fewest
	s[Delivered] = compareVolume(Delivered, got.Delivered, want.Delivered, enough).within(low.Delivered, want.Delivered, high.Delivered)
	s[Inlet] = compareVolume(Inlet, got.Inlet, want.Inlet, enough).within(low.Inlet, want.Inlet, high.Inlet)
	s[Exhaust] = compareVolume(Exhaust, got.Exhaust, want.Exhaust, enough).within(low.Exhaust, want.Exhaust, high.Exhaust)
}

func (a *Air) add(delivered, inlet, exhaust float64) {
	a.Delivered, a.Inlet, a.Exhaust = a.Delivered+delivered, a.Inlet+inlet, a.Exhaust+exhaust
}

// compareVolume compares a volume of air that is told of enough minutes.
func compareVolume(f Figure, got, want float64, enough bool) (s Score) {
	if s.Applies = true; enough && want > 0 {
		s.judge(f, 100*(got/want-1))
	}
	return s
}

// within returns the score with its band, if the figure was told.
func (s Score) within(low, want, high float64) Score {
	if s.Told {
		s.Band, s.Held = true, low <= want && want <= high
	}
	return s
}

// compareEstimate compares a slow figure at the end of the case.
func compareEstimate(e *station.Estimate, want float64, f Figure) (s Score) {
	if math.IsNaN(want) || want <= 0 {
		return s
	}
	if s.Applies = true; !e.Known() {
		return s
	}
	s.judge(f, 100*(e.Value/want-1))
	if e.Low != 0 || e.High != 0 {
		s = s.within(e.Low, want, e.High)
	}
	return s
}

// compareTight counts a leak that is told of a station that has none.
func compareTight(s *Score, leak *station.Estimate, truth *Truth) {
	if truth.Leak != 0 { // also where it is not known
		return
	}
	s.Applies, s.N, s.Good = true, 1, 1
	if leak.Known() && leak.Value > 0 {
		s.Good, s.Bad = 0, 1
	}
}
