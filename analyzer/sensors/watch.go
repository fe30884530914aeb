// Package sensors weighs what a station's pressure sensors, its counter and its plate may be wrong in,
// by relations of physics that a sound station obeys: see Weigh.
package sensors

import (
	"math"

	"strokewise/analyzer/station"
)

// Series is samples of a channel, Pa gauge or counts.
type Series struct {
	T []station.Instant
	V []float64
}

// Watch follows a station's sensors slot by slot. It depends on the samples alone, so that no conclusion
// of other detectors can hide a mistake. Fields are exported for snapshots only.
type Watch struct {
	Counts  Counts
	Stands  Stands
	Balance Balance
	Climb   Climb
	Rhythm  Rhythm
	Live    Live
	Vented  Vented
	Quiet   Quiet
	Verdict Verdict
}

// Told returns what contradicts what.
func (w *Watch) Told() *station.Contradiction { return &w.Verdict.Told }

// Slot adds the samples of a slot of dt s that ends at end. noise is that of inlet and outlet readings, Pa.
func (w *Watch) Slot(in, out, counter Series, end station.Instant, dt float64, noise [2]float64, p *station.Plate) {
	var i [2]int
	for k, t := range counter.T {
		w.until(t, in, out, &i)
		w.count(t, counter.V[k], noise, p)
	}
	w.until(station.Instant(math.MaxInt64), in, out, &i)
	if len(in.V) > 0 && len(out.V) > 0 {
		means := [2]float64{mean(in.V), mean(out.V)}
		w.Stands.slot(means[0], means[1], dt)
		w.Live.slot([2]Series{in, out}, means, dt)
		w.Vented.slot(means, float64(p.AmbientPressure()), w.Stands.Since, dt)
	}
	w.weigh(end, p)
}

// count handles a reading of the counter.
func (w *Watch) count(t station.Instant, v float64, noise [2]float64, p *station.Plate) {
	c, n, ok := w.Counts.count(t, v)
	if n > 0 {
		w.Stands.counted(w.Counts.Took, ok)
		w.Live.Counts += n
	}
	if ok {
		w.Live.add(&c)
		w.Balance.add(&c, noise[1], p)
		w.Climb.add(&c, noise[1], p)
		w.Rhythm.add(&c, noise[0])
	}
}

// until adds the readings up to t.
func (w *Watch) until(t station.Instant, in, out Series, i *[2]int) {
	for channel, s := range [2]Series{in, out} {
		for ; i[channel] < len(s.T) && s.T[i[channel]] <= t; i[channel]++ {
			w.Counts.sample(channel, s.T[i[channel]], s.V[i[channel]])
		}
	}
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
