// Package feed follows the pressure that feeds a booster, and with it whether its piston
// works or stands.
//
// The inlet shows the header's pressure while the piston stands, and less by the sag of the
// supply line while it works. The header is not constant: compressors load and unload,
// neighbors draw. So a rest is a straight stretch of the inlet of any slope, not a flat one,
// and the header is followed from rest to rest.
package feed

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// FrameLen is the shortest frame, ns. Short against a pause between two strokes, long
	// against the supply line's time constant of some hundredths of a second. Own choice.
	FrameLen = station.Second / 10
	// window is how many frames a rest must be straight over: 0.8 s at 10 Hz and above, more
	// than the half-period of the strokes of any working booster but one that creeps. Own choice.
	window = 8
)

// frame holds the moments of the samples of one channel within a frame. Times are s since
// the frame's start, pressures Pa less the follower's base.
type frame struct {
	N                float64
	T, TT, X, TX, XX float64
}

func (f *frame) add(t, x float64) {
	f.N++
	f.T += t
	f.TT += t * t
	f.X += x
	f.TX += t * x
	f.XX += x * x
}

// mean returns the mean of the frame's samples.
func (f *frame) mean() float64 { return f.X / f.N }

// shifted returns the moments with times counted from by seconds earlier.
func (f *frame) shifted(by float64) frame {
	return frame{
		N: f.N, T: f.T + by*f.N, TT: f.TT + 2*by*f.T + by*by*f.N,
		X: f.X, TX: f.TX + by*f.X, XX: f.XX,
	}
}

func (f *frame) plus(g frame) {
	f.N += g.N
	f.T += g.T
	f.TT += g.TT
	f.X += g.X
	f.TX += g.TX
	f.XX += g.XX
}

// line is the straight line through the samples of a window by least squares.
type line struct {
	To      float64 // s, where the window ends; it begins at 0
	Mid, At float64 // level Mid (Pa) at time At (s), the samples' mean
	Slope   float64 // Pa/s
	Rms     float64 // of the residuals over n-2 degrees of freedom, Pa
	N       float64
	SlopeSd float64 // Pa/s for residuals of 1 Pa
}

// fit returns the line through the moments of a window that ends at to; false with fewer than four
// samples.
func fit(m *frame, to float64) (line, bool) {
	d := m.N*m.TT - m.T*m.T
	if m.N < 4 || d <= 0 {
		return line{}, false
	}
	l := line{To: to, At: m.T / m.N, Mid: m.X / m.N, N: m.N}
	l.Slope = (m.N*m.TX - m.T*m.X) / d
	ss := m.XX - m.X*m.X/m.N - l.Slope*l.Slope*d/m.N
	l.Rms = math.Sqrt(max(0, ss) / (m.N - 2))
	l.SlopeSd = math.Sqrt(m.N / d)
	return l, true
}

// at returns the line's level at t s, Pa less the base.
func (l *line) at(t float64) float64 { return l.Mid + l.Slope*(t-l.At) }

// straightLimit returns the ratio of residual to noise that white noise alone exceeds once in a
// thousand windows of n samples: the root of chi-square over its n-2 degrees of freedom, by
// Wilson and Hilferty's approximation (from memory).
func straightLimit(n float64) float64 {
	v := 2 / (9 * (n - 2))
	c := 1 - v + 3.09*math.Sqrt(v)
	return math.Sqrt(c * c * c)
}
