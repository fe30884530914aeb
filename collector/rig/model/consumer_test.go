package model

import "testing"

// Mean flows of consumers, by their definitions: all the time, half of the most in the mean, the
// share On/Every, of which a burst has two fifths, and triangles of which a rod side has 0.8.
func TestConsumersDrawWhatTheyAreGiven(t *testing.T) {
	for _, c := range []struct {
		c    Consumer
		mean float64
		tol  float64
	}{
		{Consumer{Kind: Steady, Flow: 1}, 1, 1e-12},
		{Consumer{Kind: Steps, Flow: 1, Every: 5}, 0.5, 0.03},
		{Consumer{Kind: Jet, Flow: 1, Every: 10, On: 1}, 0.1, 0.01},
		{Consumer{Kind: Burst, Flow: 1, Every: 30, On: 5}, 0.4 * 5 / 30, 0.01},
		{Consumer{Kind: Actuate, Flow: 1, Every: 8, On: 0.5}, 0.9 * 0.5 / 8, 0.01},
	} {
		c.c.Seed = 9
		sum, n := 0.0, 0
		for at := 0.0; at < 20e3; at += 0.01 {
			sum, n = sum+c.c.at(at), n+1
		}
		near(t, "mean flow", sum/float64(n), c.mean, c.tol)
	}
}

// Consumers pause together, and are shut off.
func TestConsumersPause(t *testing.T) {
	d := Demand{Consumers: []Consumer{{Kind: Steady, Flow: 1}, {Kind: Steady, Flow: 2}}, Work: 60, Pause: 30}
	for at, want := range map[float64]float64{0: 3, 59.9: 3, 60: 0, 89.9: 0, 90: 3} {
		if got := d.consumers(at); got != want {
			t.Errorf("at %g s: %g, want %g", at, got, want)
		}
	}
	d.Off = true
	if d.consumers(0) != 0 {
		t.Error("they draw though they are shut off")
	}
}

// A slow regulator passes the flow that is asked for with a first-order lag, 1 - exp(-t/tau), and
// what it passes over time is the same.
func TestSlowRegulatorLags(t *testing.T) {
	s := settled(func(p *Params) { p.Regulator.Lag = 2 })
	before := s.Totals().Demand
	s.Params.Demand.Consumers = []Consumer{{Kind: Steady, Flow: 1e-3}}
	from := s.State.Time
	for after, want := range map[float64]float64{2: 0.63212} { // 1 - 1/e
		s.Advance(from + after)
		near(t, "share of the flow", s.State.Flow/1e-3, want, 0.01)
	}
	s.Advance(from + 100)
	near(t, "L ANR in 100 s, less two of lag", s.Totals().Demand-before, 98, 0.005)
}
