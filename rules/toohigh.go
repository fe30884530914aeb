package rules

import (
	"fmt"
	"math"

	"strokewise/analyzer/station"
)

// accumulation is the share of its set pressure that a relief valve may take to open fully (ISO 4126-1, and
// 2014/68/EU annex I 7.3 for the surge that a vessel may see; both from memory). A valve that lifts within it
// does its work: that is relief-lifting. Above it the valve does not hold the pressure.
const accumulation = 0.10

// SetUnderRelief is the share of the relief pressure that the set pressure should stay below: relief valves close
// up to that much lower than they open (common practice, no source). The condition of set-above-relief has it too.
const SetUnderRelief = 0.9

// pressureLimit returns the least pressure, Pa gauge, that the plate sets for the outlet, and what it belongs to;
// NaN where the plate sets none.
func pressureLimit(p *station.Plate) (float64, string) {
	limit, of := nan, "not given in the plate data"
	for _, c := range [...]struct {
		at float64
		of string
	}{
		{float64(p.TankPS), "name-plate pressure PS of the tank"},
		{float64(p.HoseLimit), "rating of the hoses"},
		{(1 + accumulation) * float64(p.Relief), "10 % above the relief valve's set pressure"},
	} {
		if c.at > 0 && !(limit <= c.at) {
			limit, of = c.at, c.of
		}
	}
	return limit, of
}

const (
	meanLeast = 300  // s of fed readings from which a mean of ten minutes is known
	sameSet   = 0.02 // share by which a set pressure moves and is still the same (common practice, no source)
	// stallMargin is by how much the outlet may read above inlet (1 + area ratio): two sensors of 1 % of their
	// range, the inlet's error multiplied (common practice, no source).
	stallMargin = 1.05
)

// high keeps what the alarms on too high an outlet need of earlier steps. Pressures are Pa gauge. Fields are
// exported for snapshots only.
type high struct {
	Second int64           // of the newest step, since 1970
	Sum    [10]float64     // of the outlet by the minute, while fed
	N      [10]uint8       // readings in it
	Set    float64         // set pressure, 0: not known
	SetAt  station.Instant // since when it is the same
	Last   float64         // outlet of the step before, 0: not known
	Low    float64         // lowest outlet since it reads above what the forces allow, 0: it does not
	FlatAt station.Instant // since when the outlet has been flat at the relief pressure under strokes, 0: it is not
}

// fillTooHigh sets the quantities on too high an outlet.
func (v *Evaluator) fillTooHigh(s *station.Status) {
	q, h := &v.now, &v.High
	if sec := int64(s.At.Floor(station.Second)) / station.Second; sec != h.Second {
		h.forget(sec)
		h.mean(s)
		h.follow(s, q[qSet])
		h.above(q[qOutlet], q[qStall])
		h.flat(s.At, q)
	}
	q[qAtRelief] = 0
	if h.FlatAt != 0 {
		q[qAtRelief] = float64(s.At.Sub(h.FlatAt)) * 1e-9
	}
	q[qOutletMean], q[qSetSeconds], q[qGain] = nan, nan, nan
	sum, n := 0.0, 0
	for i := range h.N {
		sum, n = sum+h.Sum[i], n+int(h.N[i])
	}
	if n >= meanLeast {
		q[qOutletMean] = sum / float64(n)
	}
	if h.Set > 0 && !v.plate.Ungoverned { // without a governor nothing holds the outlet down once the header has fallen
		q[qSetSeconds] = float64(s.At.Sub(h.SetAt)) * 1e-9
	}
	if s.Outlet.Known() && !math.IsNaN(q[qStall]) {
		q[qGain] = h.gain(s.Outlet.Value, float64(v.plate.AmbientPressure()))
	}
}

// forget drops the minutes that are older than ten; a clock that steps begins anew.
func (h *high) forget(sec int64) {
	if sec < h.Second || sec-h.Second > 3600 {
		*h = high{}
	}
	for m := max(h.Second/60+1, sec/60-9); m <= sec/60; m++ {
		h.Sum[m%10], h.N[m%10] = 0, 0
	}
	h.Second = sec
}

func (h *high) mean(s *station.Status) {
	if m := h.Second / 60 % 10; s.State.Fed() && s.Outlet.Known() {
		h.Sum[m] += s.Outlet.Value
		h.N[m]++
	}
}

// follow keeps since when the set pressure is the same.
func (h *high) follow(s *station.Status, set float64) {
	switch {
	case math.IsNaN(set):
		h.Set = 0
	case h.Set == 0 || math.Abs(set/h.Set-1) > sameSet || s.At < h.SetAt:
		h.Set, h.SetAt = set, s.At
	}
}

// above keeps the lowest outlet since it reads above what the forces allow at the inlet of the last ten minutes.
// The reading before counts too: a jump rises from there. An inlet that falls leaves a charged tank above its
// reach, and that is no rise.
func (h *high) above(outlet, stall float64) {
	if math.IsNaN(outlet) || math.IsNaN(stall) {
		h.Last = 0 // what happened meanwhile was not seen
		return
	}
	switch {
	case outlet <= stallMargin*stall:
		h.Low = 0
	case h.Low == 0 && h.Last > 0:
		h.Low = min(h.Last, outlet)
	case h.Low == 0:
		h.Low = outlet
	default:
		h.Low = min(h.Low, outlet)
	}
	h.Last = outlet
}

// flat keeps since when the outlet has been flat at the relief pressure while strokes go on: what a valve that
// simmers looks like. Above its accumulation the valve does not hold the pressure, if it lifts at all. What is not known leaves it as it is.
func (h *high) flat(at station.Instant, q *values) {
	limit := q[qReliefLimit]
	switch {
	case q[qOutlet] <= 0.97*limit || q[qOutlet] > (1+accumulation)*limit || q[qSpan] >= 0.02*limit || q[qStrokesMinute] < 2:
		h.FlatAt = 0
	case math.IsNaN(q[qOutlet]) || math.IsNaN(q[qSpan]) || math.IsNaN(q[qStrokesMinute]):
	case h.FlatAt == 0:
		h.FlatAt = at
	}
}

// gain returns by what share the absolute outlet has risen since it reads above what the forces allow.
func (h *high) gain(outlet, ambient float64) float64 {
	if h.Low == 0 {
		return 0
	}
	return (outlet+ambient)/(h.Low+ambient) - 1
}

// reliefSeen words how the relief valve shows itself.
func (v *Evaluator) reliefSeen() string {
	q, in := &v.now, v.plate.Reading
	if q[qAtRelief] > 0 || !v.last().Estimates[station.PopPressure].Known() {
		return fmt.Sprintf("the outlet stays flat at %s (relief valve %s)", in.Gauge(q[qOutlet]), in.Gauge(q[qRelief]))
	}
	e := &v.last().Estimates
	return fmt.Sprintf("the outlet falls from %s again and again, %.0f times in ten minutes", in.Gauge(e[station.PopPressure].Value), e[station.ReliefPops].Value)
}

// fillCosts sets what leaks cost a year, in the currency of the site: unknown without a price.
func (v *Evaluator) fillCosts(e *station.Estimates) {
	q, price := &v.now, v.airPrice()
	q[qLeakCost], q[qInletLeakCost] = nan, nan
	if price.Known() {
		ratio := 1.0
		if r := &e[station.InletOverDelivered]; r.Known() {
			ratio = r.Value
		}
		q[qLeakCost] = price.Year(station.AtInlet(q[qLeak], ratio))
		q[qInletLeakCost] = price.Year(value(&e[station.InletLeak]))
	}
}

// leakCost words what the outlet's leak costs, as a sentence to add; "" where that is not known.
func (v *Evaluator) leakCost() string {
	cost := v.now[qLeakCost]
	switch {
	case !finite(cost):
		return ""
	case !v.last().Estimates[station.InletOverDelivered].Known():
		return fmt.Sprintf(" If it goes on all year (8,760 h) it costs at least %s, and the drive air on top.", v.money(cost))
	}
	return fmt.Sprintf(" If it goes on all year (8,760 h) it costs about %s, with the drive air that boosts what is lost.", v.money(cost))
}

func (v *Evaluator) inletLeakCost() string {
	if cost := v.now[qInletLeakCost]; finite(cost) {
		return fmt.Sprintf(" If the supply stays open all year (8,760 h) it costs up to %s.", v.money(cost))
	}
	return ""
}

// money returns a cost for people, rounded to two figures.
func (v *Evaluator) money(x float64) string {
	if x >= 10 {
		unit := math.Pow(10, math.Floor(math.Log10(x))-1)
		x = math.Round(x/unit) * unit
	}
	text := fmt.Sprintf("%.0f", x)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text + " " + v.airPrice().Currency
}

// addCost adds a cost to the evidence, in the site's currency.
func (v *Evaluator) addCost(to []Evidence, f fact) []Evidence {
	if x := v.now[f.quantity]; finite(x) {
		to = append(to, Evidence{Name: f.name, Value: x, Unit: v.airPrice().Currency, Shown: v.money(x)})
	}
	return to
}
