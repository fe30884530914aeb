package accuracy

import (
	"math"
	"testing"

	"strokewise/analyzer/station"
)

// Half of the ends are told 20 ms late, the others not at all. Source: by hand.
func TestHits(t *testing.T) {
	truth := []float64{1, 2, 3, 4}
	for _, c := range []struct {
		name  string
		found []float64
		want  float64
	}{
		{"all", []float64{1, 2, 3, 4}, 1},
		{"half, 20 ms late", []float64{1.02, 3.02}, 0.5},
		{"60 ms late: more than 50 ms", []float64{1.06, 2.06, 3.06, 4.06}, 0},
		{"one for two", []float64{1.5}, 0},
		{"twice the same", []float64{2, 2}, 0.25},
		{"out of order", []float64{4, 1}, 0.5},
	} {
		if got := Hits(truth, c.found, 0.01); got != c.want {
			t.Errorf("%s: %g, want %g", c.name, got, c.want)
		}
	}
	// 15 % of 0.2 s is 30 ms.
	if got := Hits([]float64{1, 1.2, 1.4}, []float64{1.04, 1.22, 1.4}, 0.01); math.Abs(got-2.0/3) > 1e-9 {
		t.Errorf("close strokes: %g", got)
	}
}

// told with one minute of each: known strokes, unknown strokes.
func twoMinutes(strokes, unknown int64) *told {
	return &told{minutes: []station.Minute{
		{Start: start, Strokes: strokes, StrokeMethod: station.MethodTraces},
		{Start: start.Add(station.Minute60), Strokes: unknown},
	}, sampleEvery: 0.01}
}

// What is unknown is left out on both sides; less than half is not told. Source: by hand.
func TestUnknownMinutesAreLeftOut(t *testing.T) {
	truth := &Truth{Minutes: make([]Minute, 2)}
	for i := range 100 { // 50 strokes a minute
		truth.Ends = append(truth.Ends, 1.2*float64(i)+0.1)
	}
	n, _ := compareStrokes(twoMinutes(50, 7), truth, false)
	if !n.Told || n.Err != 0 || !n.Within || n.Wrong {
		t.Errorf("50 of 50 in the known minute: %+v", n)
	}
	n, _ = compareStrokes(twoMinutes(60, 50), truth, false)
	if !n.Told || n.Err != 20 || n.Within || !n.Wrong {
		t.Errorf("60 of 50 in the known minute: %+v", n)
	}
	if n, _ = compareStrokes(twoMinutes(52, 0), truth, true); !n.Within || n.Wrong {
		t.Errorf("within a cycle with the counter: %+v", n)
	}
	if n, _ = compareStrokes(twoMinutes(52, 0), truth, false); n.Within || n.Wrong {
		t.Errorf("4 %% off without it: %+v", n)
	}
	truth.Minutes = make([]Minute, 3)
	n, times := compareStrokes(twoMinutes(50, 50), truth, false)
	if !n.Applies || n.Told || times.Told {
		t.Errorf("one minute of three is told: %+v", n)
	}
	truth.Minutes, truth.Lost = make([]Minute, 2), func(at float64) bool { return at < 30 }
	if n, _ = compareStrokes(twoMinutes(25, 0), truth, false); n.Err != 0 {
		t.Errorf("25 of 50 outside of the gap: %+v", n)
	}
	if n, _ = compareStrokes(twoMinutes(50, 0), truth, true); n.Err != 0 {
		t.Errorf("50 of 50 with the counter, which knows what was in the gap: %+v", n)
	}
}

// A station that strokes for 30 of 100 fed seconds. Source: by hand.
func TestStatesAreCompared(t *testing.T) {
	truth := &Truth{Fed: 100, Stroking: 30, Holding: 60, Starved: 10}
	got := &told{}
	got.states[station.Charging], got.states[station.Stroking], got.states[station.Holding], got.states[station.Starved] = 11, 22, 54, 13
	got.stroking = [2]float64{30, 36}
	duty, states := compareStates(got, truth)
	if math.Abs(duty.Err-3) > 1e-9 || math.Abs(states.Err-6) > 1e-9 || states.Within || !duty.Band || !duty.Held {
		t.Errorf("duty %+v, states %+v", duty, states)
	}
	got.stroking[0] = 31
	if duty, _ = compareStates(got, truth); duty.Held {
		t.Errorf("31 to 36 s hold 30: %+v", duty)
	}
	truth.Holding, truth.Starved = math.NaN(), math.NaN() // stall is known as their sum: 70, told 67
	if _, states = compareStates(got, truth); math.Abs(states.Err-3) > 1e-9 {
		t.Errorf("stall as a sum: %+v", states)
	}
	got.states = [station.NumStates]float64{station.Blind: 60, station.Stroking: 40}
	if duty, _ = compareStates(got, truth); duty.Told {
		t.Errorf("blind for more than half: %+v", duty)
	}
}

// An alarm is due from its fault on and until its time is up. Source: rules/catalogue has pressure-left
// and starved as serious and duty-high as a finding.
func TestAlarmsAreCompared(t *testing.T) {
	truth := &Truth{Due: []Due{{"pressure-left", 100, 200}, {"duty-high", 0, 100}}, Traps: []string{"hunting"}}
	got := &told{raised: []raised{{"pressure-left", 150}, {"starved", 50}, {"hunting", 60}, {"slow-strokes", 70}}}
	var s Scores
	compareAlarms(&s, got, truth)
	if d := s[DueAlarms]; d.N != 2 || d.Good != 1 || d.Bad != 1 {
		t.Errorf("due: %+v", d)
	}
	if f := s[FalseAlarms]; f.Good != 0 || f.Bad != 1 {
		t.Errorf("starved is serious and not due: %+v", f)
	}
	if f := s[Traps]; f.Good != 0 || f.Bad != 1 {
		t.Errorf("hunting is a trap: %+v", f)
	}
	truth.May = []string{"starved"}
	if compareAlarms(&s, got, truth); s[FalseAlarms].Bad != 0 {
		t.Errorf("starved may be raised: %+v", s[FalseAlarms])
	}
	got.raised = []raised{{"pressure-left", 50}, {"pressure-left", 250}}
	compareAlarms(&s, got, truth)
	if s[DueAlarms].Good != 0 || s[FalseAlarms].Bad != 1 {
		t.Errorf("too early is false, too late is not in time: %+v %+v", s[DueAlarms], s[FalseAlarms])
	}
}

// Estimates and bands, and a leak that is told of a tight station. Source: by hand.
func TestEstimatesAreCompared(t *testing.T) {
	e := station.Estimate{Value: 1.1, Low: 0.9, High: 1.05, Method: station.MethodDecay}
	if s := compareEstimate(&e, 1, Leak); math.Abs(s.Err-10) > 1e-6 || s.Wrong && s.Err <= 10 || !s.Band || !s.Held {
		t.Errorf("%+v", s)
	}
	if s := compareEstimate(&e, 1.2, Supply); !s.Within || s.Held {
		t.Errorf("%+v", s)
	}
	unknown := station.Unknown("no quiet time")
	if s := compareEstimate(&unknown, 1, Leak); !s.Applies || s.Told || s.Within {
		t.Errorf("%+v", s)
	}
	for _, c := range []struct {
		truth   float64
		applies bool
		bad     int
	}{{0, true, 1}, {1e-9, false, 0}, {math.NaN(), false, 0}} {
		var s Score
		if compareTight(&s, &e, &Truth{Leak: c.truth}); s.Applies != c.applies || s.Bad != c.bad {
			t.Errorf("leak %g: %+v", c.truth, s)
		}
	}
}

// Quantiles are values of the sample: of 1 to 10 the median is 5 and the 90th percentile 9. Source: definition.
func TestQuantile(t *testing.T) {
	v := []float64{10, 9, 8, 7, 6, 5, 4, 3, 2, 1}
	if a, b := quantile(v, 0.5), quantile(v, 0.9); a != 5 || b != 9 {
		t.Errorf("%g, %g", a, b)
	}
	if quantile(nil, 0.5) != 0 || quantile([]float64{3}, 0.9) != 3 {
		t.Error("short samples")
	}
}
