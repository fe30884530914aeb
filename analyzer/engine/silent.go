package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	silentStrokes = 6                    // that must have been made, at least, without an increment: a cycle is two, and one may be late
	silentMargin  = 1.3                  // for efficiency, compression's heat and an error of the tank's volume
	silentStarts  = 20e3                 // Pa: two starts of the piston before an increment, seen at the port (several kPa each; no source)
	silentCounts  = 12                   // usual counts' time of pumping without an increment
	silentPump    = 120 * station.Second // the same where none was seen: two cycles at one stroke in 30 s
	trustStrokes  = 20                   // counted, that agree with the tank, before a counter serves again
)

// silence follows whether the counter is silent while the piston works. Above the inlet's pressure only
// strokes raise the outlet, each by
//
//	dp <= kappa p1 V_b eta/V_t (p2/p1)^((kappa-1)/kappa)
//
// with p1 absolute, V_b the swept volume, V_t the tank; silentMargin stands for eta and the last factor.
// Air that warms up after a fall of the outlet raises it by (kappa-1)/kappa of that fall at most, which is
// taken off. So the rises since the last increment ask for a least number of strokes. Only those in which
// the inlet draws count: another booster may fill the same tank. Where tank or bores are unknown, or consumers
// take most of the air, the time of pumping stands for it: the outlet rises while the inlet draws. A counter
// cannot be doubted where the outlet stands within its noise while strokes make up a steady draw. Fields are exported for snapshots only.
type silence struct {
	Low, High float64 // outlet since the last turn, Pa gauge
	Fell      float64 // Pa, of the fall before the present rise
	Up        bool
	Rise      float64 // Pa, of the finished rises since the last increment, less warming
	Slots     int     // of the present rise
	Draws     int     // of them those in which the inlet draws
	Pumped    int64   // ns since the last increment
	// since the counter is lost, or last was silent
	Counted int64   // strokes
	Need    float64 // strokes that the rises ask for
}

// watchSilence adds the slot that ended, in which so many strokes were counted.
func (e *Engine) watchSilence(counted int64, end station.Instant) {
	s := &e.Silence
	if counted > 0 {
		s.increment(e, counted)
	}
	if e.Outlet.N == 0 || e.Inlet.N == 0 || e.Doubt.Who != 0 || e.State.ShutdownAt != 0 || e.passing() || e.sharesTank() || e.Plate.Sensor == station.AtBranch {
		s.turn(e.Outlet.Mean)
		return
	}
	s.slot(e.Outlet.Mean, max(1e3, 8*e.Ends.Out.Noise()/math.Sqrt(float64(e.Outlet.N))), e.draws())
	read := e.Plate.Cadence == station.OnChange || end.Sub(e.Counter.At) <= 2*slotLen
	least := e.leastStrokes()
	if !read || least < silentStrokes && !e.pumpsSilently() {
		return
	}
	if !e.Fuse.Lost {
		past := max(e.Min.M.Start.Add(-longestWait), e.First)
		e.Fuse.Distrust(min(end, e.Ends.Out.Last), int64(max(least, silentStrokes)), past, e.emit)
	}
	*s = silence{Low: e.Outlet.Mean, High: e.Outlet.Mean}
}

// draws reports whether the inlet is seen to draw: it stands below its rest, or swings within the slot.
func (e *Engine) draws() bool {
	return e.drawing() || e.Inlet.High-e.Inlet.Low > 8*e.Ends.In.Noise()
}

// slot handles the outlet's mean over a slot; a turn counts from h Pa.
func (s *silence) slot(p, h float64, draws bool) {
	if s.Low == 0 && s.High == 0 {
		s.turn(p)
	}
	higher := p > s.High
	s.Low, s.High = min(s.Low, p), max(s.High, p)
	switch {
	case s.Up && p < s.High-h:
		s.Rise += s.present()
		s.Fell, s.Up, s.Low = s.High-p, false, p
	case s.Up:
		s.Slots++
		if draws {
			if s.Draws++; higher {
				s.Pumped += slotLen
			}
		}
	case p > s.Low+h:
		s.Fell = max(s.Fell, s.High-s.Low)
		s.Up, s.High, s.Slots, s.Draws = true, p, 0, 0
	}
}

// turn begins anew at an outlet of p.
func (s *silence) turn(p float64) { s.Low, s.High, s.Fell, s.Up = p, p, 0, false }

// present returns the present rise less what warming may have made, Pa, 0 where the inlet did not draw.
func (s *silence) present() float64 {
	if !s.Up || 2*s.Draws < s.Slots || s.Draws == 0 {
		return 0
	}
	return max(0, s.High-s.Low-(air.Kappa-1)/air.Kappa*s.Fell)
}

// leastStrokes returns how many strokes the rises since the last increment ask for at least.
func (e *Engine) leastStrokes() float64 {
	lift := e.strokeLift(1)
	if lift <= 0 {
		return 0
	}
	return (e.Silence.Rise + e.Silence.present() - silentStarts) / (silentMargin * lift)
}

// pumpsSilently reports whether the piston has pumped for much longer than a count usually takes.
func (e *Engine) pumpsSilently() bool {
	after := int64(silentPump)
	if usual := e.usualInterval(); usual > 0 && e.Fuse.Counted {
		after = max(10*station.Second, silentCounts*e.perCount()*usual)
	}
	return e.Silence.Pumped >= after
}

// increment handles counted strokes. A counter that was lost serves again once it has counted trustStrokes without
// being silent, and not fewer than the tank asks for.
func (s *silence) increment(e *Engine, counted int64) {
	if e.Fuse.Lost {
		s.Counted += counted
		if lift := e.strokeLift(1); lift > 0 {
			s.Need += (s.Rise + s.present()) / (silentMargin * lift)
		}
		if s.Counted >= trustStrokes && float64(s.Counted) >= s.Need-silentStrokes {
			e.Fuse.Trust()
			s.Counted, s.Need = 0, 0
		}
	}
	s.Rise, s.Pumped = 0, 0
	if s.Low = s.High; s.Up {
		s.Fell = 0
	}
}
