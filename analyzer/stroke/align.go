package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// align gives when the stroke ended that was found at t. Where a soft governor throttles the
// drive, the inlet recovers in the middle of a stroke and that stands out more than its end;
// the delivery still ceases at the end alone, and at once. So a corner of the outlet within
// the last half of a stroke that is clearly sharper than the one at t is the end.
func (e *Ends) align(t station.Instant, n2 int64, s2 float64) station.Instant {
	o := &e.Out
	if e.Pace == 0 || o.Step <= 0 {
		return t
	}
	before, behind := int64(0.6*e.Pace/o.Step), int64(0.15*e.Pace/o.Step)
	m := o.N - 1
	for m > max(o.From, o.N-ringLen+1) && o.Time[m&ringMask] > t {
		m--
	}
	best, at := 1.5*e.corner(m, n2, s2), m
	for i := m - before; i <= m+behind; i += max(1, n2/5) { // it changes little over a fifth of its width
		if k := e.corner(i, n2, s2); k > best && k > sharp {
			best, at = k, i
		}
	}
	if best < sharp {
		return t
	}
	if o.Step > 0.03 {
		return o.Time[at&ringMask]
	}
	fine := max(2, n2/3)
	at = e.sharpest(at, n2/2, n2, fine, 0, s2)
	near := int64(0.03 / o.Step)
	return o.Time[e.sharpest(at, near, near, fine, max(2, e.In.samples(e.window())/3), s2)&ringMask]
}

// sharpest gives the outlet's sample from m-before to m+behind at which the outlet turns down
// most over n2 samples, and the inlet up over n1, 0: it is not asked.
func (e *Ends) sharpest(m, before, behind, n2, n1 int64, s2 float64) int64 {
	in, o := &e.In, &e.Out
	s1, best, at, k := in.Noise()*math.Sqrt(2/float64(max(1, n1))), 0.0, m, in.N-1
	for i := m + behind; i >= m-before; i-- {
		v := e.corner(i, n2, s2)
		for n1 > 0 && k > max(in.From, in.N-ringLen+1) && in.Time[(k-1)&ringMask] >= o.Time[i&ringMask] {
			k--
		}
		if n1 > 0 && in.has(k-n1, k+n1) {
			v += clip((in.mean(k, k+n1) - in.mean(k-n1, k)) / s1)
		}
		if v > best {
			best, at = v, i
		}
	}
	return at
}

// sharp is the least corner, in deviations of noise, that tells when a stroke ended.
const sharp = 4
