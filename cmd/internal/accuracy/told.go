package accuracy

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// told is what the analyzer concluded of a case.
type told struct {
	minutes     []station.Minute
	ends        []float64 // of strokes, s from start
	states      [station.NumStates]float64
	stroking    [2]float64 // s, band
	estimates   station.Estimates
	raised      []raised
	sampleEvery float64 // s
}

// raised is an alarm that was raised, at s from start.
type raised struct {
	alarm string
	at    float64
}

// play runs a case through the analyzer: from the traces alone, and with the counter where there
// is one (nil otherwise).
func play(c *Case) (with, without *told, truth Truth, err error) {
	alone := newUnit(c)
	var counted *pipeline.Unit
	if c.Counter {
		counted = newUnit(c)
	}
	every := math.NaN()
	var kept []station.Block
	truth, err = c.Play(func(blocks []station.Block) {
		kept = kept[:0]
		newest := station.Instant(0)
		for _, b := range blocks {
			n := b.Len()
			if n == 0 {
				continue
			}
			newest = max(newest, b.At(n-1))
			if b.Channel != station.Cycles {
				kept = append(kept, b)
			}
			if b.Channel == station.OutletPressure && n > 1 && math.IsNaN(every) {
				every = float64(b.At(n-1).Sub(b.At(0))) * 1e-9 / float64(n-1)
			}
		}
		alone.Samples(kept, newest)
		if counted != nil {
			counted.Samples(blocks, newest)
		}
	})
	if err != nil {
		return nil, nil, truth, err
	}
	if counted != nil {
		with = conclude(counted, every)
	}
	return with, conclude(alone, every), truth, nil
}

func newUnit(c *Case) *pipeline.Unit {
	u := pipeline.New(c.Plate, "accuracy")
	u.KeepStrokes = true
	return u
}

// conclude ends a run and returns what was concluded.
func conclude(u *pipeline.Unit, every float64) *told {
	u.Flush()
	t := &told{minutes: u.Out.Minutes, estimates: u.Status.Estimates, sampleEvery: every}
	for _, s := range u.Out.Strokes {
		t.ends = append(t.ends, since(s.At))
	}
	for i := range t.minutes {
		t.stroking[0] += float64(t.minutes[i].StrokingLow) * 1e-9
		t.stroking[1] += float64(t.minutes[i].StrokingHigh) * 1e-9
		for s, ns := range t.minutes[i].StateNs {
			t.states[s] += float64(ns) * 1e-9
		}
	}
	for i := range u.Out.Transitions {
		if x := &u.Out.Transitions[i]; x.To == rules.Unacknowledged {
			t.raised = append(t.raised, raised{x.Alarm, since(x.At)})
		}
	}
	return t
}

// since returns s from start.
func since(at station.Instant) float64 { return float64(at.Sub(start)) * 1e-9 }

// minute returns which minute of the case it is.
func minute(m *station.Minute) int { return int(m.Start.Sub(start) / station.Minute60) }
