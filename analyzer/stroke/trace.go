// Package stroke finds strokes: from the pressure traces of inlet and outlet, from the
// cycle counter, and from both together.
package stroke

import (
	"math"

	"strokewise/analyzer/station"
)

// ringLen is how many samples a trace remembers: half a second at 200 Hz, and the windows
// before and behind.
const (
	ringLen  = 256
	ringMask = ringLen - 1
)

// Trace remembers the last samples of one pressure trace, in Pa, so that means over
// stretches of it cost the same whatever their length; and it knows its own noise and
// step. Fields are exported for snapshots only.
type Trace struct {
	N    int64           // samples taken; sample n stands at n & ringMask
	From int64           // first sample behind the last gap
	Time [ringLen]uint32 // of sample n, in ticks, modulo 2^32
	Sum  [ringLen]int32  // of the samples before n, less Base each, whole Pa, modulo 2^32; up to n = N
	Base float64
	Last station.Instant // time of the newest sample, whole ticks

	Step     float64    // usual step, s
	X        [4]float64 // the samples before, newest first
	D2Sum    float64    // of |second differences| since TakeNoise
	WideSum  float64    // of those over every other sample
	D2N      int
	LongSum  float64 // the same over longer
	LongWide float64
	LongN    int
	NoiseRaw float64 // standard deviation of the samples' noise, Pa
	NoiseNow float64 // the same of the last stretch alone, Pa: strokes raise it
}

// Rate gives the usual sampling rate, Hz, 0 if unknown.
func (d *Trace) Rate() float64 {
	if d.Step <= 0 {
		return 0
	}
	return 1 / d.Step
}

// Reset says that the trace was interrupted.
func (d *Trace) Reset() { d.From = d.N }

// longest is the longest time between two samples that a ring of times can tell.
const longest = 30 * station.Minute60

// Take takes samples in order of time, Pa.
func (d *Trace) Take(times []station.Instant, values []float64) {
	for len(values) > 0 && (d.N < d.From+4 || times[0].Sub(d.Last) > longest) {
		d.first(times[0], values[0])
		times, values = times[1:], values[1:]
	}
	if len(values) == 0 {
		return
	}
	d.differences(values)
	n := d.N
	for _, t := range times[:len(values)] {
		d.Time[n&ringMask] = ticks(t)
		n++
	}
	took, last := float64(len(values)), times[len(values)-1]
	d.Step += 0.02 * took / (1 + 0.02*took) * (float64(last-d.Last)*1e-9/took - d.Step)
	n, total := d.N, d.Sum[d.N&ringMask]
	for _, v := range values {
		n++
		total += whole(v - d.Base)
		d.Sum[n&ringMask] = total
	}
	d.N, d.Last = n, last&^(tick-1)
}

// differences adds up second differences of neighbours, and of every other sample.
func (d *Trace) differences(values []float64) {
	narrow, wide := d.D2Sum, d.WideSum
	x0, x1, x2, x3 := d.X[0], d.X[1], d.X[2], d.X[3]
	for _, v := range values {
		narrow += math.Abs(v - 2*x0 + x1)
		wide += math.Abs(v - 2*x1 + x3)
		x3, x2, x1, x0 = x2, x1, x0, v
	}
	d.D2Sum, d.WideSum = narrow, wide
	d.X = [4]float64{x0, x1, x2, x3}
	d.D2N += len(values)
}

// first takes one of the first samples behind a gap, Pa.
func (d *Trace) first(t station.Instant, x float64) {
	if d.N == 0 {
		d.Base = x
	}
	if d.N > d.From && t.Sub(d.Last) > longest {
		d.Reset()
	}
	if d.N > d.From {
		if dt := float64(t-d.Last) * 1e-9; d.Step == 0 {
			d.Step = dt
		} else {
			d.Step += 0.02 * (dt - d.Step)
		}
	}
	d.X[3], d.X[2], d.X[1], d.X[0] = d.X[2], d.X[1], d.X[0], x
	d.Time[d.N&ringMask] = ticks(t)
	d.Last = t &^ (tick - 1)
	d.N++
	d.Sum[d.N&ringMask] = d.Sum[(d.N-1)&ringMask] + whole(x-d.Base)
}

// tick is the resolution, ns, of the times that are remembered.
const tick = 1 << 10

func ticks(t station.Instant) uint32 { return uint32(t >> 10) }

// farthest is as far, Pa, as samples may be from Base: a whole ring of them sums up within 2^31.
const farthest = 8_000_000

// whole rounds to whole Pa.
func whole(x float64) int32 {
	if !(x < farthest) {
		return farthest
	}
	if x < -farthest {
		return -farthest
	}
	return int32(x+(farthest+0.5)) - farthest
}

// sum gives the sum of samples a to b, b not included, less Base each.
func (d *Trace) sum(a, b int64) float64 { return float64(d.Sum[b&ringMask] - d.Sum[a&ringMask]) }

// mean gives the mean of samples a to b, b not included, less Base.
func (d *Trace) mean(a, b int64) float64 { return d.sum(a, b) / float64(b-a) }

// oldest gives the first sample that is remembered, behind the last gap.
func (d *Trace) oldest() int64 { return max(d.From, d.N-ringLen+1) }

// upTo gives the newest sample not behind t, the oldest where all are.
func (d *Trace) upTo(t station.Instant) int64 {
	n := d.N - 1
	for first := d.oldest(); n > first && d.TimeOf(n) > t; n-- {
	}
	return n
}

// has tells whether samples a to b, b not included, are there, without a gap.
func (d *Trace) has(a, b int64) bool { return a >= d.From && a > d.N-ringLen && b <= d.N }

// samples gives how many samples a stretch of s seconds has, at least one.
func (d *Trace) samples(s float64) int64 {
	if d.Step <= 0 {
		return 1
	}
	return max(1, int64(s/d.Step+0.5))
}

// firstNoise bounds the noise taken at the start, Pa: a first half-second of strokes looks
// like noise, and a sensor of an industrial range is no worse (common practice, no
// source). A worse one is learned.
const firstNoise = 500.0

// quantum is the least noise assumed, Pa: sensors are read with 0.1 kPa steps.
const quantum = 30.0

// Noise gives the standard deviation of the samples' noise, Pa.
func (d *Trace) Noise() float64 { return max(d.NoiseRaw, quantum) }

// TakeNoise folds the second differences since the last call into the noise level. For white
// noise of deviation s, E|d2| = s sqrt(6) sqrt(2/pi), over every other sample too; what the
// piston does is smooth and makes them larger there, and larger than the noise. So the level
// follows quickly downward, upward by half a step where many samples look white, and hardly
// otherwise while the piston works.
func (d *Trace) TakeNoise(working bool) {
	if d.D2N < 4 {
		return
	}
	s := d.D2Sum / float64(d.D2N) / 1.9544
	d.NoiseNow = s
	d.LongSum, d.LongWide, d.LongN = d.LongSum+d.D2Sum, d.LongWide+d.WideSum, d.LongN+d.D2N
	d.D2Sum, d.WideSum, d.D2N = 0, 0, 0
	switch {
	case d.NoiseRaw == 0:
		d.NoiseRaw = min(s, firstNoise)
	case s < d.NoiseRaw:
		d.NoiseRaw += 0.1 * (s - d.NoiseRaw)
	case working:
		d.NoiseRaw += 0.0002 * (s - d.NoiseRaw)
	default:
		d.NoiseRaw += 0.005 * (s - d.NoiseRaw)
	}
	if d.LongN < whiteSamples {
		return
	}
	if long := d.LongSum / float64(d.LongN) / 1.9544; d.LongWide < 1.06*d.LongSum && long > d.NoiseRaw {
		d.NoiseRaw += 0.5 * (long - d.NoiseRaw)
	}
	d.LongSum, d.LongWide, d.LongN = 0, 0, 0
}

// whiteSamples are how many samples are looked at for white noise: their ratio of second
// differences is then known within some 4 %.
const whiteSamples = 500

// value gives sample n, Pa.
func (d *Trace) value(n int64) float64 { return d.sum(n, n+1) + d.Base }

// TimeOf gives the time of sample n, a microsecond early at most.
func (d *Trace) TimeOf(n int64) station.Instant {
	return d.Last - tick*station.Instant(ticks(d.Last)-d.Time[n&ringMask])
}

// Gap gives the time from the sample before to sample n, ns.
func (d *Trace) Gap(n int64) int64 { return d.TimeOf(n).Sub(d.TimeOf(n - 1)) }

// Edge gives the change from the sample before to sample n, Pa; false where the three
// before and the two behind are not there.
func (d *Trace) Edge(n int64) (float64, bool) {
	if !d.has(n-3, n+3) {
		return 0, false
	}
	return d.value(n) - d.value(n-1), true
}

// Around gives the greatest change between the two pairs before and behind that edge, Pa.
func (d *Trace) Around(n int64) float64 {
	return max(math.Abs(d.value(n-1)-d.value(n-2)), math.Abs(d.value(n-2)-d.value(n-3)),
		math.Abs(d.value(n+1)-d.value(n)), math.Abs(d.value(n+2)-d.value(n+1)))
}

// Level gives the mean of samples a to b, b not included, Pa.
func (d *Trace) Level(a, b int64) float64 { return d.mean(a, b) + d.Base }
