package sensors

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	// mistaken is the log probability of each kind of mistake against none, of a station that nobody has looked at. Own choice: one in
	// a hundred; a third more or less moves what a relation must be off by a tenth of its width.
	mistaken = -4.6
	// leastWrong and mostWrong bound the factors by which a value of the plate is wrong: less is within what the laws leave open.
	leastWrong, mostWrong = 1.35, 12.0
	// wrongSteps is the number of factors tried either way.
	wrongSteps = 20
)

// ranges are ratios of neighbouring ranges of sensors: 6, 10, 16 and 25 bar (R 5), and 8, 10 and 12.5 (R 10 of ISO 3, from memory).
var ranges = [...]float64{1.6, 1.25, 0.8, 0.625}

// offsets are the offsets of the outlet that are tried, shares of its reading, from where a sound governor's set ends to a fifth.
var offsets = [...]float64{0.05, 0.06, 0.07, 0.08, 0.1, 0.12, 0.14, 0.17, 0.2}

// weigher weighs all mistakes that could explain what is seen.
type weigher struct {
	seen   seen
	plate  *station.Plate
	amb    float64 // Pa
	cycles bool    // the counter counts cycles, by the plate
	groups groups
}

// try weighs a mistake of a log prior by what would be seen without it.
func (w *weigher) try(b station.Blame, prior float64, x *seen, cycles bool) {
	w.groups.add(&b, mistaken+prior+healthy(x, cycles))
}

// all tries all mistakes.
func (w *weigher) all() {
	for _, sides := range [...]station.Sides{station.InletSide, station.OutletSide, station.BothSides} {
		w.units(sides)
		w.absolute(sides)
	}
	w.ranges(station.InletSide)
	w.ranges(station.OutletSide)
	w.offsets()
	w.exchanged()
	w.counts()
	w.set()
	w.geometry()
}

// units tries readings in another unit.
func (w *weigher) units(sides station.Sides) {
	for m := range station.NumMistakes {
		if k := m.Factor(); k > 0 {
			x := w.seen
			x.scale(sides, k, w.amb)
			b := w.blame(station.UnitTaken, sides, k)
			b.Mistake = m
			w.try(b, -math.Log(float64(station.NumMistakes)), &x, w.cycles)
		}
	}
}

// absolute tries sensors that read absolute pressure.
func (w *weigher) absolute(sides station.Sides) {
	s := &w.seen
	if s.p1 <= w.amb || s.p2 <= w.amb || math.IsNaN(s.p1) && math.IsNaN(s.vented[0]) {
		return // less than a vacuum, or nothing to judge it by
	}
	x := w.seen
	x.lower(sides, w.amb)
	b := w.blame(station.AbsoluteTaken, sides, 1)
	b.Seen = b.Given - w.amb
	w.try(b, 0, &x, w.cycles)
}

// ranges tries a sensor with another range than is configured.
func (w *weigher) ranges(sides station.Sides) {
	for _, k := range ranges {
		x := w.seen
		x.scale(sides, k, w.amb)
		w.try(w.blame(station.RangeTaken, sides, k), -math.Log(float64(len(ranges))), &x, w.cycles)
	}
}

// offsets tries offsets of the outlet. They show at set alone, and nothing tells them from a governor that was turned.
func (w *weigher) offsets() {
	prior := -math.Log(2 * float64(len(offsets)))
	for i := range 2 * len(offsets) {
		l := math.Log(1 + offsets[i/2])
		if i%2 == 1 {
			l = -l
		}
		k := math.Exp(l)
		x := w.seen
		x.top, x.reach, x.in, x.p2 = x.top-l, x.reach-l, x.in+l, x.p2/k
		w.try(w.blame(station.OffsetTaken, station.OutletSide, k), prior, &x, w.cycles)
		x = w.seen
		x.top -= l
		w.try(w.value(station.SetTaken, float64(w.plate.Set), 1/k), prior, &x, w.cycles)
	}
}

// exchanged tries sensors that are exchanged.
func (w *weigher) exchanged() {
	if !(w.seen.p1 > 0 && w.seen.p2 > 0) {
		return
	}
	x := w.seen
	x.top += math.Log(x.high / x.p2)
	x.in = -x.in
	if x.reach = math.NaN(); w.plate.AreaRatio > 0 {
		x.reach = math.Log(x.p1 / (x.p2 * (1 + w.plate.AreaRatio)))
	}
	x.p1, x.p2, x.lift, x.least, x.quiet, x.half = x.p2, x.p1, math.NaN(), math.NaN(), math.NaN(), math.NaN()
	x.vented[0], x.vented[1] = x.vented[1], x.vented[0]
	w.try(station.Blame{Is: station.ExchangedTaken, Sides: station.BothSides}, 0, &x, w.cycles)
}

// counts tries a counter of the other kind.
func (w *weigher) counts() {
	n := strokesOf(w.plate)
	x := w.seen
	x.lifts(math.Log(n / (3 - n)))
	w.try(w.value(station.CountsTaken, n, n/(3-n)), 0, &x, !w.cycles)
}

// set tries a set pressure that is absolute and was given as gauge.
func (w *weigher) set() {
	set := float64(w.plate.Set)
	if set <= w.amb {
		return
	}
	k := set / (set - w.amb)
	x := w.seen
	x.top += math.Log(k)
	w.try(w.value(station.SetAsAbsolute, set, k), 0, &x, w.cycles)
}

// geometry tries wrong values of the plate.
func (w *weigher) geometry() {
	step := math.Log(mostWrong/leastWrong) / (wrongSteps - 1)
	for i := range 2 * wrongSteps {
		l := math.Log(leastWrong) + float64(i/2)*step
		if i%2 == 1 {
			l = -l
		}
		k := math.Exp(l)
		w.wrong(station.TankTaken, w.plate.TankVolume, k, -l, 0)
		if l > 0 {
			w.wrong(station.DeliveryTaken, 0, k, l, 0)
		}
		w.wrong(station.StrokeTaken, w.plate.StrokeLen, k, l, 0)
		w.wrong(station.BoostBoreTaken, w.plate.BoostBore(), k, 2*l, ratioBy(w.plate, k*k))
		w.wrong(station.DriveBoreTaken, w.plate.DriveBore, k, 0, ratioBy(w.plate, 1/(k*k)))
		x := w.seen
		x.top += l
		w.try(w.value(station.SetTaken, float64(w.plate.Set), k), -math.Log(2*wrongSteps), &x, w.cycles)
	}
}

// wrong tries a value of the plate that is k times the true one, without which the lift would be larger by lift, and the reach smaller by reach.
func (w *weigher) wrong(is station.Suspect, value, k, lift, reach float64) {
	x := w.seen
	x.lifts(lift)
	x.reach -= reach
	w.try(w.value(is, value, k), -math.Log(2*wrongSteps), &x, w.cycles)
}

// blame returns the blame of sensors whose readings come times k.
func (w *weigher) blame(is station.Suspect, sides station.Sides, k float64) station.Blame {
	p := w.seen.p2
	if sides == station.InletSide {
		p = w.seen.p1
	}
	if math.IsNaN(p) {
		p = 0
	}
	return station.Blame{Is: is, Sides: sides, Given: p, Seen: p / k, Ratio: k}
}

// value returns the blame of a value of the plate that is k times the true one.
func (w *weigher) value(is station.Suspect, v, k float64) station.Blame {
	return station.Blame{Is: is, Given: v, Seen: v / k, Ratio: k}
}

// scale takes a factor off the readings of some sensors.
func (x *seen) scale(sides station.Sides, k, amb float64) {
	l := math.Log(k)
	if sides&station.InletSide != 0 {
		x.reach, x.in = x.reach+l, x.in-l
		x.drawn(x.p1, x.p1/k, amb)
		x.p1 /= k
	}
	if sides&station.OutletSide != 0 {
		x.top, x.reach, x.in = x.top-l, x.reach-l, x.in+l
		x.lifts(-l)
		x.p2 /= k
	}
}

// lifts adds to all figures of the lift.
func (x *seen) lifts(by float64) { x.lift, x.least, x.quiet = x.lift+by, x.least+by, x.quiet+by }

// drawn changes the inlet that the lift was expected of, where it is known: the lift goes with the absolute pressure.
func (x *seen) drawn(from, to, amb float64) {
	if !math.IsNaN(from) {
		x.lifts(math.Log((from + amb) / max(1, to+amb)))
	}
}

// lower takes the atmosphere off the readings of some sensors.
func (x *seen) lower(sides station.Sides, amb float64) {
	if sides&station.InletSide != 0 {
		k := math.Log(x.p1 / (x.p1 - amb))
		x.reach, x.in = x.reach+k, x.in-k
		x.drawn(x.p1, x.p1-amb, amb)
		x.p1 -= amb
		x.vented[0] -= amb
	}
	if sides&station.OutletSide != 0 {
		k := math.Log(x.p2 / (x.p2 - amb))
		x.top, x.reach, x.in = x.top-k, x.reach-k, x.in+k
		x.p2 -= amb
		x.vented[1] -= amb
	}
}
