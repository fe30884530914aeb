package engine

import (
	"testing"

	"strokewise/analyzer/station"
)

// banded is an engine with a band of stroking time, fed slot by slot.
type banded struct {
	*Engine
	at station.Instant
}

// tell tells a state for some slots.
func (b *banded) tell(s station.State, slots int) {
	for range slots {
		end := b.at.Add(slotLen)
		b.Min.add(s, slotLen)
		b.Unsure.slot(b.Engine, s, b.at, end)
		b.at = end
	}
}

func newBanded(counted bool) *banded {
	b := &banded{New(testPlate(), discard{}), station.Instant(1767225600 * station.Second)}
	b.Fuse.Seen = counted
	b.Outlet.Mean, b.Outlet.N = 850e3, 25
	return b
}

// A run of 10 s between standing times of 20 s, with a counter. Of the run the first second is unsure; the
// standing time may be shorter by the second behind the run, and the one before it. The band is 1 % of 50 s wider.
func TestBandOfARun(t *testing.T) {
	b := newBanded(true)
	b.tell(station.Holding, 40)
	b.tell(station.Stroking, 20)
	b.tell(station.Holding, 40)
	b.Min.strokingBand()
	// the first standing time begins with the trace: its first second is unsure too
	low, high := int64(10e9-1e9-0.5e9), int64(10e9+3e9+0.5e9)
	if m := &b.Min.M; m.StrokingLow != low || m.StrokingHigh != high {
		t.Errorf("%g to %g s, by hand %g to %g", float64(m.StrokingLow)*1e-9, float64(m.StrokingHigh)*1e-9, float64(low)*1e-9, float64(high)*1e-9)
	}
}

// A pause of 1.5 s between two runs is unsure as a whole, and no more than once.
func TestBandOfAShortPause(t *testing.T) {
	b := newBanded(true)
	b.tell(station.Stroking, 20)
	b.tell(station.Holding, 3)
	b.tell(station.Stroking, 20)
	if b.Min.More != 1.5e9 {
		t.Errorf("a pause of 1.5 s may be travel for %g s", float64(b.Min.More)*1e-9)
	}
}

// Without a counter standing is unsure while the outlet does not fall: strokes that do not show may deliver what is
// drawn. An outlet that falls by 2 kPa/s is not filled.
func TestStandingWithoutACounter(t *testing.T) {
	for _, c := range []struct {
		counted   bool
		fall      float64 // Pa a slot
		low, high int64   // ns
	}{
		{false, 0, 16e9, 20e9},
		{false, 1e3, 0, 1e9},
		{true, 0, 0, 1e9},
	} {
		b := newBanded(c.counted)
		for range 40 {
			b.tell(station.Holding, 1)
			b.Outlet.Mean -= c.fall
		}
		if b.Min.More < c.low || b.Min.More > c.high {
			t.Errorf("%+v: 20 s of standing may be travel for %g s", c, float64(b.Min.More)*1e-9)
		}
	}
}

// Times that are not fed bear no band.
func TestNoBandWhileShut(t *testing.T) {
	b := newBanded(false)
	b.tell(station.Residual, 40)
	b.Min.strokingBand()
	if m := &b.Min.M; m.StrokingLow != 0 || m.StrokingHigh != 0 || b.Min.More != 0 || b.Min.Less != 0 {
		t.Errorf("%d to %d ns", m.StrokingLow, m.StrokingHigh)
	}
}
