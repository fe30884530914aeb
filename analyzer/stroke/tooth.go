// Package stroke finds strokes: from the pressure traces of inlet and outlet, from the
// cycle counter, and from both together.
package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// Tooth finds the teeth that strokes leave in one pressure trace: a dip at the inlet,
// where each stroke draws a gulp; a rise at the outlet, where each stroke delivers. It
// is a hysteresis detector on the smoothed (and, at the outlet, detrended) signal: a
// tooth ends where the signal has turned by more than the threshold
//
//	h = max(9 s, 0.2 m)
//
// s: standard deviation of the smoothed noise; m: usual height of a tooth; both Pa.
// Nine s, because an hour of smoothed white noise at 100 Hz ranges over about eight.
//
// Fields are exported for snapshots only. The zero value is not ready: use NewTooth.
type Tooth struct {
	Rise    bool    // outlet: teeth point up and are detrended
	Fast    float64 // time constant of the smoothing, s
	Slow    float64 // time constant of the trend, s (outlet only)
	Y, Base float64 // smoothed signal and its trend
	Have    bool
	Last    station.Instant
	X1, X2  float64 // the two samples before
	Run     int     // samples since the last gap

	Down     bool // moving away from the last confirmed top
	Top      float64
	TopAt    station.Instant
	Low      float64
	LowAt    station.Instant
	Height   float64 // usual height, Pa
	D2Sum    float64 // of |second differences| since TakeNoise
	D2N      int
	NoiseRaw float64    // s of the raw samples, Pa
	Alpha    float64    // smoothing weight at the usual step
	Step     float64    // usual step, s
	Heights  int        // teeth seen
	Recent   [8]float64 // their last heights, Pa

	Ref     float64         // resting pressure that the draw is measured from, Pa, 0: none
	Area    float64         // integral of sqrt(draw) since the last tooth, s sqrt(Pa)
	AreaLow float64         // the same up to LowAt
	Idle    station.Instant // when the draw last ended
	IdleWas station.Instant // the same before the present draw began
	Drawn   bool
}

// Found is a tooth: At is where the piston turned, Height its size from top to bottom
// (Pa), Fall the time from top to bottom (ns).
// Area is the draw since the tooth before, see Tooth.draw, and Idle when the draw last
// paused, zero if it did not since the tooth before.
type Found struct {
	At     station.Instant
	Height float64
	Fall   int64
	Area   float64
	Idle   station.Instant
}

// NewTooth gives a detector for the inlet (rise false) or the outlet (rise true).
func NewTooth(rise bool) Tooth {
	return Tooth{Rise: rise, Fast: 0.02, Slow: 0.5}
}

// firstNoise bounds the noise taken at the start, Pa: a first half-second of strokes looks
// like noise, and a sensor of an industrial range is no worse (common practice, no
// source). A worse one is learned.
const firstNoise = 500.0

// quantum is the least noise assumed, Pa: sensors are read with 0.1 kPa steps.
const quantum = 30.0

// Noise gives the standard deviation of the smoothed signal's noise, Pa.
func (d *Tooth) Noise() float64 {
	raw := math.Max(d.NoiseRaw, quantum)
	if d.Alpha <= 0 || d.Alpha >= 1 {
		return raw
	}
	return raw * math.Sqrt(d.Alpha/(2-d.Alpha))
}

// Threshold gives the turn that ends a tooth, Pa.
func (d *Tooth) Threshold() float64 { return math.Max(9*d.Noise(), 0.2*d.Height) }

// Visible tells whether teeth stand out of the noise: usual height over three times
// the noise's standard deviation, after at least four of them.
func (d *Tooth) Visible() bool { return d.Heights >= 4 && d.Height > 3*d.Noise() }

// Rate gives the usual sampling rate, Hz, 0 if unknown.
func (d *Tooth) Rate() float64 {
	if d.Step <= 0 {
		return 0
	}
	return 1 / d.Step
}

// Reset forgets the position in the current tooth, after a gap.
func (d *Tooth) Reset() { d.Have, d.Run = false, 0 }

// Push takes the next sample (x in Pa) and reports a tooth when one is complete.
func (d *Tooth) Push(t station.Instant, x float64) (Found, bool) {
	if !d.Have {
		d.Have, d.Last, d.Y, d.Base, d.X1, d.X2, d.Run = true, t, x, x, x, x, 1
		v := d.value()
		d.Down, d.Top, d.Low, d.TopAt, d.LowAt = true, v, v, t, t
		return Found{}, false
	}
	dt := float64(t-d.Last) * 1e-9
	d.Last = t
	if d.Step == 0 {
		d.Step = dt
	} else {
		d.Step += 0.02 * (dt - d.Step)
	}
	if d.Run >= 2 {
		d.D2Sum += math.Abs(x - 2*d.X1 + d.X2)
		d.D2N++
	}
	d.X2, d.X1 = d.X1, x
	d.Run++
	d.Alpha = dt / (dt + d.Fast)
	d.Y += d.Alpha * (x - d.Y)
	if d.Rise {
		d.Base += dt / (dt + d.Slow) * (d.Y - d.Base)
	} else if d.Ref > 0 {
		d.draw(t, dt)
	}
	return d.turn(t, d.value())
}

// value gives the signal in which teeth point down.
func (d *Tooth) value() float64 {
	if d.Rise {
		return d.Base - d.Y
	}
	return d.Y
}

func (d *Tooth) turn(t station.Instant, v float64) (Found, bool) {
	if d.Down {
		if v < d.Low {
			d.Low, d.LowAt, d.AreaLow = v, t, d.Area
			return Found{}, false
		}
		if v-d.Low <= d.Threshold() {
			return Found{}, false
		}
		d.Down = false
		height := d.Top - d.Low
		f := Found{At: d.LowAt, Height: height, Fall: d.LowAt.Sub(d.TopAt)}
		d.Top, d.TopAt = v, t
		if height < d.Threshold() {
			return Found{}, false
		}
		d.learn(height)
		f.Area = d.AreaLow
		d.Area -= d.AreaLow
		d.AreaLow = 0
		f.Idle, d.IdleWas = d.IdleWas, 0
		return f, true
	}
	if v > d.Top {
		d.Top, d.TopAt = v, t
	} else if d.Top-v > d.Threshold() {
		d.Down = true
		d.Low, d.LowAt, d.AreaLow = v, t, d.Area
	}
	return Found{}, false
}

// draw integrates the flow drawn through the supply, up to its conductance: at a small
// sag the flow goes with the square root of the sag (ISO 6358), so over a stroke
//
//	Area = integral sqrt(Ref - p1) dt
//
// is the same, whatever its speed, and tells of strokes whose end no tooth marks: those
// that end as the governor closes, or while the piston coasts.
func (d *Tooth) draw(t station.Instant, dt float64) {
	sag := d.Ref - d.Y - 2*d.Noise()
	if sag <= 0 {
		if d.Drawn {
			d.Drawn, d.Idle = false, t
		}
		return
	}
	if !d.Drawn {
		d.Drawn, d.IdleWas = true, d.Idle
	}
	d.Area += math.Sqrt(sag) * min(dt, 1)
}

// learn follows the usual height: the lower quartile of the last eight, so that a first
// draw from rest or a demand step does not raise it.
func (d *Tooth) learn(height float64) {
	d.Recent[d.Heights%len(d.Recent)] = height
	d.Heights++
	if d.Heights < 4 {
		return
	}
	s := d.Recent
	n := min(d.Heights, len(s))
	for i := 1; i < n; i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	d.Height = s[n/4]
}

// TakeNoise folds the second differences since the last call into the noise level:
// quickly downward, slowly upward, because strokes add to the differences and standing
// does not. For white noise of deviation s, E|d2| = s sqrt(6) sqrt(2/pi).
func (d *Tooth) TakeNoise() {
	if d.D2N < 4 {
		return
	}
	s := d.D2Sum / float64(d.D2N) / 1.9544
	d.D2Sum, d.D2N = 0, 0
	switch {
	case d.NoiseRaw == 0:
		d.NoiseRaw = min(s, firstNoise)
	case s < d.NoiseRaw:
		d.NoiseRaw += 0.1 * (s - d.NoiseRaw)
	default:
		d.NoiseRaw += 0.005 * (s - d.NoiseRaw)
	}
}
