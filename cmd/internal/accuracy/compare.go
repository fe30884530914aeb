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
	compareAir(&s, t, truth)
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
	ends := truth.endsIn(known)
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
	times.judge(Times, 100*(1-hits(ends, t.ends, t.sampleEvery)))
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
func compareAir(s *Scores, t *told, truth *Truth) {
	known := map[int]bool{}
	var got, want, low, high [3]float64
	for i := range t.minutes {
		m := &t.minutes[i]
		k := minute(m)
		if m.AirReason != "" || k < 0 || k >= len(truth.Minutes) {
			continue
		}
		known[k] = true
		w := &truth.Minutes[k]
		for j, v := range [3][2]float64{{m.Delivered.Litres(), w.Delivered}, {m.Inlet.Litres(), w.Inlet}, {m.Exhaust.Litres(), w.Exhaust}} {
			got[j], want[j] = got[j]+v[0], want[j]+v[1]
		}
		low[0], high[0] = low[0]+m.DeliveredLow.Litres(), high[0]+m.DeliveredHigh.Litres()
		low[1], high[1] = low[1]+m.InletLow.Litres(), high[1]+m.InletHigh.Litres()
	}
	if len(truth.Ends) < fewest {
		return
	}
	all := 2*len(known) >= len(truth.Minutes) && len(truth.endsIn(known)) >= fewest
	for j, f := range [3]Figure{Delivered, Inlet, Exhaust} {
		x := &s[f]
		if x.Applies = true; !all || want[j] <= 0 {
			continue
		}
		x.judge(f, 100*(got[j]/want[j]-1))
		if f != Exhaust {
			x.Band, x.Held = true, low[j] <= want[j] && want[j] <= high[j]
		}
	}
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
		s.Band, s.Held = true, e.Low <= want && want <= e.High
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
