package stroke

import "strokewise/analyzer/station"

const (
	// heldWindow is the time over which a rate is taken, heldFor how long it must stay above the limit to
	// be taken for real, and heldPast how long below it until the limit is in force again: the piston rests between runs. Contacts bounce for
	// milliseconds, and a switch that chatters does not do so evenly for a third of a minute (own choice, no source).
	heldWindow = 5 * station.Second
	heldFor    = 20 * station.Second
	heldPast   = 60 * station.Minute60
	// burst is the rate, in limits, that no piston follows: counts that come closer together are bounce.
	burst = 4.0
)

// Held follows whether counts come steadily faster than the limit: then they are strokes, and the
// limit or the kind of count in the plate is wrong. Fields are exported for snapshots only.
type Held struct {
	Limit   float64         // increments a second that the plate lets expect at most
	From    station.Instant // of the present window, 0: none
	N       float64         // increments in it
	Raw     station.Instant // of the last increment, counted or dropped
	Burst   bool            // the window has increments closer together than strokes
	Above   int64           // ns for which the rate has held
	Below   int64           // ns since it did not
	Dropped int64           // increments dropped as bounce meanwhile
	Fast    bool            // the rate is taken for real
	Rate    float64         // increments a second of the last window
	Top     float64         // highest of windows in which the rate held, 1/s
}

// Expect sets the rate that the plate lets expect at most, beyond which a lasting one is told.
func (c *Counter) Expect(p *station.Plate) {
	stated := p.MaxRate
	if stated <= 0 {
		stated = MaxRate
	}
	if c.Held.Limit = overRate * stated; c.PerCycle {
		c.Held.Limit /= 2
	}
}

// Limit returns the rate, 1/s, that is taken for high: the expected one, or the one above which
// increments are dropped.
func (c *Counter) Limit() float64 {
	if c.Held.Limit > 0 {
		return min(c.Held.Limit, c.Max)
	}
	return c.Max
}

// rate returns the rate, 1/s, above which increments are bounce.
func (c *Counter) rate() float64 {
	if c.Held.Fast {
		return max(c.Max, burst*c.Limit())
	}
	return c.Max
}

// Excess returns by how much the highest rate that held is above the limit, share of it; 0 where none
// has within the hour.
func (c *Counter) Excess() float64 {
	if !c.Held.Fast {
		return 0
	}
	return max(0, c.Held.Top/c.Limit()-1)
}

// hold handles n increments of a reading dt after the last one, and returns those that were dropped as
// bounce and turn out to be strokes.
func (c *Counter) hold(t station.Instant, dt, n float64) int64 {
	h := &c.Held
	if h.From == 0 {
		h.From = t
		return 0
	}
	if n > 0 {
		if most := burst * c.Limit(); n-1 > most*dt || h.Raw != 0 && float64(t.Sub(h.Raw))*1e-9*most < 1 {
			h.Burst = true
		}
		h.Raw = t
		h.N += n
	}
	span := t.Sub(h.From)
	if span < heldWindow {
		return 0
	}
	h.Rate = h.N / (float64(span) * 1e-9)
	above := h.Rate > c.Limit() && !h.Burst
	h.From, h.N, h.Burst = t, 0, false
	late := h.judge(above, span)
	c.Bounced -= late
	return late
}

// judge handles a finished window.
func (h *Held) judge(above bool, span int64) int64 {
	if !above {
		h.Above, h.Dropped = 0, 0
		if h.Below += span; h.Below >= heldPast {
			h.Fast, h.Top = false, 0
		}
		return 0
	}
	h.Above, h.Below, h.Top = h.Above+span, 0, max(h.Top, h.Rate)
	if h.Above < heldFor || h.Fast {
		return 0
	}
	late := h.Dropped
	h.Fast, h.Dropped = true, 0
	return late
}
