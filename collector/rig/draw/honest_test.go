package draw

import (
	"math"
	"slices"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// lived is what a station went through between two times of its recording.
type lived struct {
	was, is           model.Totals
	rests             float64 // s that it stood in one piece at most
	stroking, resting float64 // Pa gauge, mean inlet while it strokes and while it stands
	low, high         float64 // Pa gauge, of the header
	outlet            float64 // Pa gauge, at the end
}

// live runs a case from its start and looks at the time between from and to, s.
func live(c *Case, from, to float64) (x lived) {
	s := rig.New(c.Spec, Start, 100)
	s.Until(Start.Add(int64(from * 1e9)))
	x.was, x.low, x.high = s.Truth(), 1e9, 0
	var n [2]float64
	step := station.Second / 4
	for at := Start.Add(int64(from * 1e9)); at < Start.Add(int64(to*1e9)); at = at.Add(step) {
		s.Until(at.Add(step))
		in, out := s.Pressures()
		since, stands := s.StandsSince()
		if x.outlet = out; stands {
			x.rests = max(x.rests, float64(at.Add(step).Sub(max(since, Start.Add(int64(from*1e9)))))*1e-9)
			x.resting, n[0] = x.resting+in, n[0]+1
		} else {
			x.stroking, n[1] = x.stroking+in, n[1]+1
		}
		h := s.Header()
		x.low, x.high = min(x.low, h), max(x.high, h)
	}
	x.is = s.Truth()
	x.resting /= max(n[0], 1)
	x.stroking /= max(n[1], 1)
	return x
}

// grounds are what must be true of a station before an alarm may be asked of it, by the alarm's own
// condition in rules/catalogue. Each gets the case and the alarm that is due.
var grounds = map[string]func(t *testing.T, c *Case, d Due){
	"outlet-leak": func(t *testing.T, c *Case, d Due) {
		f := c.Spec.Faults[len(c.Spec.Faults)-1]
		p := &c.Spec.Params
		if lost := 60e3 * f.Level * (p.Governor.SetGauge + p.Atmosphere); f.Kind != rig.OutletLeak || lost < 15 {
			t.Errorf("loses %.1f L/min", lost)
		}
		// the pause in which it shows: three minutes and more in which consumers draw nothing
		if x := live(c, d.By-120-180, d.By-120); x.is.Demand-x.was.Demand > 1 || x.is.Leak-x.was.Leak < 15 {
			t.Errorf("drawn %.1f L in three minutes, leaked %.1f", x.is.Demand-x.was.Demand, x.is.Leak-x.was.Leak)
		}
	},
	"supply-undersized": func(t *testing.T, c *Case, d Due) {
		x := live(c, d.From, d.By-120)
		if sag := 1 - x.stroking/x.resting; sag < 0.12 || x.is.Strokes-x.was.Strokes < 100 || x.rests < 2 {
			t.Errorf("sags by %.3f, %d strokes, rests for %g s", sag, x.is.Strokes-x.was.Strokes, x.rests)
		}
	},
	"relief-lifting": func(t *testing.T, c *Case, d Due) {
		x := live(c, d.By-240, d.By)
		if blown, n := x.is.Relief-x.was.Relief, x.is.Strokes-x.was.Strokes; blown < 20 || n < 8 {
			t.Errorf("blows %.1f L off in four minutes with %d strokes", blown, n)
		}
	},
	"header-low": func(t *testing.T, c *Case, d Due) {
		need := 1.1 * 0.95 * float64(c.Spec.Plate.Set) / (1 + c.Spec.Plate.AreaRatio)
		trip := &c.Spec.Params.Supply.Header.Trip
		x := live(c, trip.At+trip.Fall/trip.Rate, min(d.By, trip.At+trip.For))
		if x.high >= need || x.rests < 3 {
			t.Errorf("header up to %.0f kPa, needs %.0f; rests for %g s", x.high/1e3, need/1e3, x.rests)
		}
	},
	"pressure-left": func(t *testing.T, c *Case, d Due) {
		if x := live(c, d.From, d.By); x.outlet < 200e3 || x.is.Inlet-x.was.Inlet > 1 {
			t.Errorf("outlet %.0f kPa, drawn %g L", x.outlet/1e3, x.is.Inlet-x.was.Inlet)
		}
	},
	"count-mismatch": func(t *testing.T, c *Case, d Due) {
		if x := live(c, d.From, d.By-300); x.is.Strokes-x.was.Strokes < compared {
			t.Errorf("%d strokes until it must have been noticed", x.is.Strokes-x.was.Strokes)
		}
	},
	"pulsation": func(t *testing.T, c *Case, d Due) {
		if r := ripple(c, 300); r < 0.05 {
			t.Errorf("the outlet swings by %.3f of its mean with a stroke", r)
		}
	},
}

// ripple returns the median swing of the outlet from one stroke's end to the next, over its mean, of
// strokes that take less than 2 s.
func ripple(c *Case, seconds int64) float64 {
	s := rig.New(c.Spec, Start, 100)
	var swings []float64
	low, high, last := math.Inf(1), math.Inf(-1), Start
	for at := Start; at < Start.Add(seconds*station.Second); {
		at = at.Add(20 * station.Millisecond)
		s.Until(at)
		_, out := s.Pressures()
		low, high = min(low, out), max(high, out)
		if len(s.TakeStrokes()) > 0 {
			if at.Sub(last) < 2*station.Second {
				swings = append(swings, 2*(high-low)/(high+low))
			}
			low, high, last = out, out, at
		}
	}
	slices.Sort(swings)
	if len(swings) < 20 {
		return 0
	}
	return swings[len(swings)/2]
}

// The alarms that are asked of two cases of each kind have their grounds in what the stations live
// through.
func TestDueAlarmsHaveGrounds(t *testing.T) {
	for n := range 2 * len(kinds) {
		c := Draw(Tune, n)
		for _, d := range c.Due {
			t.Run(c.Kind+" "+d.Alarm, func(t *testing.T) {
				t.Parallel()
				check := grounds[d.Alarm]
				if check == nil {
					t.Fatal("no grounds are written down for it")
				}
				check(t, &c, d)
			})
		}
	}
}

// On every station but those whose header falls, the header stays above what the station needs by
// the alarm header-low.
func TestHeadersSuffice(t *testing.T) {
	for n := range 10 * len(kinds) {
		c := Draw(Tune, n)
		p := &c.Spec.Params
		if c.Kind == "header-low" || c.Spec.Plate.Set == 0 {
			continue
		}
		need := 1.1 * 0.95 * float64(c.Spec.Plate.Set) / (1 + c.Spec.Plate.AreaRatio)
		for at := 0.0; at < float64(c.Seconds); at++ {
			if h := p.Supply.HeaderGauge + p.Supply.Header.Swing(at); h < need {
				t.Errorf("%d, %s: header %.0f kPa at %g s, needs %.0f", n, c.Kind, h/1e3, at, need/1e3)
				break
			}
		}
	}
}
