package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// Inlet takes samples of the inlet in order of time, Pa gauge.
func (e *Ends) Inlet(times []station.Instant, values []float64) {
	n := e.In.N
	last, y := e.In.TimeOf(n-1), e.Y
	s := pacing{noise: overNoise * e.In.Noise()}
	for i, x := range values {
		t := times[i]
		if n == e.In.From {
			y = x
		} else {
			s.set(t.Sub(last))
			y += s.follow * (x - y)
			e.draw(t, y, &s)
		}
		last = t
		e.Area[n&ringMask] = e.Drawn
		n++
	}
	e.Y = y
	e.In.Take(times, values)
}

// pacing is what depends on the time between two samples alone, which is mostly the same.
type pacing struct {
	noise  float64 // sag that is told from the noise of one sample, Pa
	step   int64   // ns
	dt     float64 // s, at most 1
	follow float64 // weight of a sample in the smoothed inlet
	lately float64 // and in the present draw
	plain  float64 // sag that is told from noise, Pa
	root   float64 // its square root
}

func (s *pacing) set(step int64) {
	if step == s.step {
		return
	}
	dt := float64(step) * 1e-9
	s.step, s.follow, s.lately = step, dt/(dt+smooth), dt/(dt+lately)
	s.dt = min(dt, 1)
	s.plain = s.noise * math.Sqrt(s.dt/(s.dt+2*smooth))
	s.root = math.Sqrt(s.plain)
}

// draw integrates the flow drawn through the supply, up to its conductance: at a small
// sag the flow goes with the square root of the sag (ISO 6358), so over a stroke
//
//	area = integral sqrt(Ref - p1) dt
//
// is the same, whatever its speed. Without a resting pressure it is the time. y is the smoothed
// inlet, Pa gauge.
func (e *Ends) draw(t station.Instant, y float64, s *pacing) {
	if e.Ref <= 0 {
		e.Drawn += s.dt
		e.Worked += s.dt
		return
	}
	sag := e.Ref - y
	if sag < s.plain {
		if sag < -s.plain {
			e.Above += s.dt
			e.Top = max(e.Top, y-s.plain/2)
		}
		if e.Drawing {
			e.Drawing, e.Idle, e.AtIdle = false, t, e.Drawn
		}
		if t.Sub(e.Idle) < tail {
			e.Drawn += sag / s.root * s.dt
		}
		return
	}
	if !e.Drawing && t.Sub(e.Idle) > pause {
		e.Run, e.Began = e.Run+0.2*(e.Drawn-e.Began-e.Run), e.Drawn
		e.Paused, e.Resumed, e.AtPause = e.Idle, t, e.AtIdle
	}
	e.Drawing = true
	e.Worked += s.dt
	flow := math.Sqrt(sag)
	e.Drawn += flow * s.dt
	e.Flow += s.lately * (flow - e.Flow)
}

// LeastSag returns the sag, Pa, that is told from the noise of the smoothed inlet.
func (e *Ends) LeastSag() float64 {
	dt := min(e.In.Step, 1)
	return overNoise * e.In.Noise() * math.Sqrt(dt/(dt+2*smooth))
}
