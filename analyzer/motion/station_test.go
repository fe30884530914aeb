package motion

import (
	"math"
	"math/rand/v2"

	"strokewise/analyzer/station"
)

const t0 = station.Instant(1767225600 * station.Second)

func at(s float64) station.Instant { return t0.Add(int64(math.Round(s*1e6)) * 1000) }

// scene is a station whose strokes end at known times. A stroke draws most where it begins, since an empty
// chamber is filled, so the inlet's sag falls from twice its mean to nothing, and delivers in its second
// half, by which the outlet rises; a demand lets the outlet fall all the time. Closed form: nothing of it comes from the model
// of collector/rig.
type scene struct {
	rate   float64 // samples a second
	noise  float64 // Pa rms
	turn   float64 // s between the end of a stroke and the next draw
	sag    float64 // Pa while a stroke of half a second draws
	lift   float64 // Pa a stroke
	starts []float64
	ends   []float64
}

const header, set = 600e3, 900e3 // Pa gauge

// stroke returns the stroke that is under way or was the last at t, -1: none yet.
func (s *scene) stroke(t float64, hint *int) int {
	for *hint+1 < len(s.starts) && s.starts[*hint+1] <= t {
		*hint++
	}
	return *hint
}

// pressures returns inlet and outlet at t.
func (s *scene) pressures(t float64, hint *int) (in, out float64) {
	k := s.stroke(t, hint)
	in = header
	demand := s.lift * float64(len(s.ends)) / s.ends[len(s.ends)-1]
	out = set + s.lift*float64(k) - demand*t
	if k < 0 {
		return in, out + s.lift
	}
	took := s.ends[k] - s.starts[k]
	x := (t - s.starts[k]) / took
	if x < 1 {
		in -= s.sag * 0.25 / (took * took) * 2 * (1 - x)
	}
	return in, out + s.lift*min(1, max(0, 2*x-1))
}

// play feeds a dater slot by slot of half a second, with the counter of every other stroke read at the
// first sample behind it, and returns the dates of the strokes between.
func (s *scene) play(d *Dater, seed uint64) (dates []float64) {
	rng := rand.New(rand.NewPCG(seed, 1))
	last, hint, n := s.ends[len(s.ends)-1]+1, -1, 0
	counted := 1
	for slot := 0.5; slot < last; slot += 0.5 {
		var in, out Series
		for ; float64(n)/s.rate < slot; n++ {
			t := float64(n) / s.rate
			p1, p2 := s.pressures(t, &hint)
			in.T, in.V = append(in.T, at(t)), append(in.V, p1+s.noise*rng.NormFloat64())
			out.T, out.V = append(out.T, at(t)), append(out.V, p2+s.noise*rng.NormFloat64())
		}
		d.Samples(in, out, &Context{Step: 1 / s.rate, Header: header, Works: true, Usual: 0.5})
		for ; counted < len(s.ends) && s.read(counted) < slot; counted += 2 {
			t := s.read(counted)
			if counted > 1 {
				dates = append(dates, float64(d.Half(at(t), 0.5).Sub(t0))*1e-9)
			}
			d.End(at(t), 1/s.rate)
		}
	}
	return dates
}

// read returns when the count of a stroke is read.
func (s *scene) read(stroke int) float64 { return math.Ceil(s.ends[stroke]*s.rate) / s.rate }

// right returns the share of the strokes between counts that are dated within 0.05 s, or a sample where that
// is more, without those of the first cycles.
func (s *scene) right(dates []float64, without int) float64 {
	n, hits := 0.0, 0.0
	for i := without; i < len(dates); i++ {
		n++
		if math.Abs(dates[i]-s.ends[2*i+2]) <= max(dated, 1/s.rate) {
			hits++
		}
	}
	return hits / n
}

// runs are strokes one behind the other. share is the part of a cycle's time that its first stroke takes,
// pause returns how long the piston stands in the middle of a cycle and behind it.
func runs(s scene, cycles int, took, share float64, pause func(i int) (mid, behind float64)) *scene {
	t := 1.0
	for i := range cycles {
		mid, behind := pause(i)
		for _, x := range []struct{ part, rest float64 }{{share, mid}, {1 - share, behind}} {
			s.starts = append(s.starts, t+s.turn)
			t += 2 * took * x.part
			s.ends = append(s.ends, t)
			t += x.rest
		}
	}
	return &s
}
