package engine

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/analyzer/stroke"
)

const (
	clippedAfter = 10 * station.Second // at the very same top, all told
	lively       = 200.0               // Pa within a slot: more than the steps of a sensor without noise
	liveNoise    = 0.7                 // resolutions of noise, from which on a rest does not read the same for 10 s
)

// clip follows whether a sensor ends at the top of its range. A live sensor that has noise
// reaches its highest reading once; one that is saturated shows it again and again, and
// nothing else while it does. One whose noise is below its resolution shows a steady header so too, and
// nothing is concluded from it. A reading above the top is the cure. Fields are exported for snapshots only.
type clip struct {
	Top   float64         // highest reading, Pa gauge
	Range float64         // Pa from lowest to highest within a slot, where the reading moves
	Edges int             // slots whose highest reading is the top and whose lowest is not
	For   int64           // ns at the top
	Since station.Instant // when it first was there
	White white           // whether the sensor has noise, below the top
	Is    bool            // it is saturated, until it reads more
	Step  float64         // the sensor's resolution, Pa
}

// slot handles a slot's readings; s has taken them, too. It reports whether the sensor is saturated.
func (c *clip) slot(l *level, s *still, d *stroke.Trace) bool {
	if l.N == 0 {
		return c.clipped()
	}
	if c.Step = s.Step; l.Low < c.Top && s.For == 0 {
		c.White.take(d, int64(l.N), c.Top)
	}
	flat := s.For > 0
	if !flat {
		if r := max(l.High-l.Low, math.Abs(l.Mean-l.Before)); c.Range == 0 {
			c.Range = r
		} else {
			c.Range += 0.05 * (r - c.Range)
		}
	}
	switch {
	case c.Top == 0 || l.High > c.Top:
		c.Top, c.Edges, c.For, c.Since, c.Is = l.High, 0, 0, l.Last, false
	case l.High < c.Top || c.Top <= vented:
	case flat:
		c.For += slotLen
	default:
		c.Edges++
	}
	return c.clipped()
}

// clipped reports whether the sensor ends at its top.
func (c *clip) clipped() bool {
	c.Is = c.Is || c.For >= clippedAfter && c.Edges >= 2 && c.Range > lively && c.White.noise() > liveNoise*c.Step
	return c.Is
}

// white separates noise from what the piston does: second differences of white noise are as large over every
// other sample as over each, those of smooth changes four times as large. Only the quieter slots are looked
// at. Fields are exported for snapshots only.
type white struct {
	Narrow, Wide, N float64
	Quiet           float64 // below it the fifth of the slots lies that moves least, Pa
}

const (
	whiteLeast = 50   // samples, before it is known
	whiteMost  = 2000 // samples remembered
	whiteRatio = 1.4  // of wide to narrow up to which it is noise: of 50 samples it differs by 14 %
	whiteQuiet = 1.2  // times Quiet up to which a slot counts
)

// take adds those of the last n samples of a trace that are below a top, with the five before them.
func (w *white) take(d *stroke.Trace, n int64, top float64) {
	narrow, wide, k, below := 0.0, 0.0, 0.0, 0
	for i := max(d.N-n-5, d.From+1); i < d.N-2; i++ {
		if below++; d.Level(i, i+1) > top-1 { // whole Pa
			below = 0
		}
		if below < 6 {
			continue
		}
		a, _ := d.Edge(i)
		b, _ := d.Edge(i - 1)
		c, _ := d.Edge(i - 2)
		f, ok := d.Edge(i - 3) // what is there of the oldest is there of all
		if ok {
			narrow, wide, k = narrow+math.Abs(a-b), wide+math.Abs(a+b-c-f), k+1
		}
	}
	if k == 0 {
		return
	}
	switch each := narrow / k; {
	case w.Quiet == 0:
		w.Quiet = each
	case each < w.Quiet:
		w.Quiet *= 1 - 0.08
	default:
		w.Quiet *= 1 + 0.02
	}
	if narrow > whiteQuiet*w.Quiet*k {
		return
	}
	if w.N > whiteMost {
		w.Narrow, w.Wide, w.N = w.Narrow/2, w.Wide/2, w.N/2
	}
	w.Narrow, w.Wide, w.N = w.Narrow+narrow, w.Wide+wide, w.N+k
}

// noise returns the standard deviation of the noise, Pa, 0 while it is not known to be any.
func (w *white) noise() float64 {
	if w.N < whiteLeast || w.Wide > whiteRatio*w.Narrow {
		return 0
	}
	return w.Narrow / w.N / 1.9544 // E|d2| = sigma sqrt(6) sqrt(2/pi)
}

// whyStill returns what a reading that stands still may mean.
func (c *clip) whyStill(w who, value float64) station.StateReason {
	if value >= c.Top {
		return station.StateReason{Is: station.SensorFrozenAtTop, Sides: w}
	}
	return station.StateReason{Is: station.SensorFrozen, Sides: w}
}
