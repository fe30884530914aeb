package draw

import (
	"math"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// kind is a kind of station: what it changes in the usual plan, and what becomes of the station
// once all else is drawn.
type kind struct {
	name  string
	about string
	plan  func(*plan)
	after func(*drawer)
}

// kinds are the kinds of station in the order in which Draw takes turns. A new one is a row here,
// its ranges in ranges.go.
var kinds = []kind{
	{"plain", "nothing out of the ordinary", func(*plan) {}, nil},
	{"restless-header", "a header that never rests", func(p *plan) { p.calm = false },
		traps("pressure-left", "header-low", "supply-undersized", "sensor-implausible")},
	{"soft-governor", "a governor that throttles near set", func(p *plan) { p.mechanics = []mechanic{soft} }, nil},
	{"snap-governor", "a governor that snaps", func(p *plan) { p.mechanics = []mechanic{snaps} }, nil},
	{"throttled", "a piston that is throttled most of the time", func(p *plan) { p.mechanics = []mechanic{throttles} },
		traps("slow-strokes", "supply-undersized")},
	{"uneven", "sides that differ as sound ones may", func(p *plan) { p.sides = unlikeSides }, traps("uneven-strokes")},
	{"port-sensor", "the outlet is measured in front of a hose", func(p *plan) { p.port, p.empty = 1, 0 }, traps("sensor-implausible")},
	{"small-tank", "a tank that is too small", func(p *plan) { p.tank = smallTank }, nil},
	{"large-tank", "a tank in which strokes drown", func(p *plan) { p.tank = largeTank }, nil},
	{"no-tank", "hose and pipe alone", func(p *plan) { p.tank, p.kinds = noTank, []consumption{changing, bursts} }, pulsates},
	{"slow-sampling", "ten readings a second", func(p *plan) { p.rates = []float64{10} }, nil},
	{"noisy", "noisy sensors", func(p *plan) { p.noise = loudNoise }, nil},
	{"leak", "a leak at the outlet sets in", func(p *plan) { p.pause = quiet }, leaks},
	{"undersized", "a supply line that is far too small", func(p *plan) {
		p.line, p.odd, p.setShare = false, false, setWithReach
		p.load, p.steady, p.mechanics = heavyLoad, steadyPart, []mechanic{snaps, soft}
	}, sags},
	{"relief-pops", "the set is turned above a relief valve that pops",
		func(p *plan) { p.odd, p.setShare, p.relief, p.pops = false, setWithReach, reliefNear, 1 }, lifts},
	{"header-low", "a compressor drops out for some minutes", func(p *plan) { p.pause, p.load = long, lightLoad }, falls},
	{"shutdown", "the supply is closed and vented, the tank left charged", func(*plan) {}, shutsDown},
	{"iced", "an exhaust that ices up", func(p *plan) { p.ices, p.climates = true, []span{cold} }, nil},
	{"cold-or-hot", "a hall at -10 to 10 or 30 to 40 °C", func(p *plan) { p.climates = []span{cold, hot} }, nil},
	{"parallel", "a second booster on the same outlet, which nobody counts", func(p *plan) { p.second, p.load = true, bothLoad }, parallel},
	{"fixed-ratio", "a booster without a governor", func(p *plan) { p.mechanics = []mechanic{fixedRatio} },
		ungoverned},
	{"bad-counter", "a counter that misses, bounces, rolls over or starts again", func(p *plan) { p.gaps = 0 }, miscounts},
	{"constant-demand", "a consumer that never closes",
		func(p *plan) { p.steady, p.pause, p.load = 1, span{}, steadyLoad }, neverCloses},
}

// traps returns what names alarms that must not be raised.
func traps(alarms ...string) func(*drawer) {
	return func(d *drawer) { d.Traps = append(d.Traps, alarms...) }
}

// due adds an alarm, and lets the recording last until it must have been raised.
func (d *drawer) due(alarm string, from, by float64) {
	d.Due = append(d.Due, Due{alarm, from, by})
	d.Seconds = max(d.Seconds, int64(by)+60)
}

// sets adds a fault that sets in at a time, s after start.
func (d *drawer) sets(k rig.Kind, level, from float64) {
	d.Spec.Faults = append(d.Spec.Faults, rig.Fault{Kind: k, Level: level, From: station.Instant(from * 1e9)})
}

// slack is the time that alarms may take beyond what their fault needs to show and their delay, s.
const slack = 60

// ungoverned lets every other user say that there is no governor.
func ungoverned(d *drawer) {
	traps("set-out-of-reach", "starved", "relief-lifting")(d)
	d.Spec.Plate.Ungoverned = d.IntN(2) == 0
}

// parallel lets every other user say that another booster fills the tank through the same line.
func parallel(d *drawer) {
	traps("outlet-leak")(d)
	if p := &d.Spec.Plate; d.IntN(2) == 0 {
		p.Tank, p.LineShared = "hall", true
	}
}

// neverCloses lets every other user say what the consumer takes, as near as its data sheet does.
func neverCloses(d *drawer) {
	traps("outlet-leak")(d)
	if said := meantOff.even(d.Rand); d.IntN(2) == 0 {
		d.Spec.Plate.BaseDemand = said * taken(&d.Spec.Params.Demand)
	}
}

// leaks makes a hole in front of the regulator. It can be told at the end of the first whole pause
// behind its onset; the alarm's delay is 60 s.
func leaks(d *drawer) {
	from := onset.even(d.Rand)
	p := &d.Spec.Params
	flow := min(leakFlow.log(d.Rand)/60e3, leakOfAll*d.can.flow)
	d.sets(rig.OutletLeak, flow/(p.Governor.SetGauge+p.Atmosphere), from)
	if flow*60e3 < leakTold { // a small station cannot leak more
		d.May = append(d.May, "outlet-leak")
		return
	}
	d.due("outlet-leak", from, d.afterPause(from)+60+slack)
}

// sags asks for the line that is too small: two pauses show the rest that its sag is measured from,
// the alarm's delay is 120 s, and it waits while the tank fills.
func sags(d *drawer) {
	d.due("supply-undersized", 0, d.afterPause(d.afterPause(0))+fillable+120+slack)
	d.May = append(d.May, "outlet-low") // a line that is too small lets the outlet fall below 85 % of set
}

// lifts turns the set above the relief valve. The tank must rise to the valve by what is not
// consumed, half of what the station can at least; the alarm's delay is 180 s.
func lifts(d *drawer) {
	p, from := &d.Spec.Params, onset.even(d.Rand)
	relief := p.Relief.SetGauge
	d.sets(rig.SetHigh, setTooHigh.even(d.Rand)*relief-p.Governor.SetGauge, from)
	rise := p.Tank.Volume * (relief - 0.9*p.Governor.SetGauge) / 100e3 / (0.3 * d.can.flow)
	d.due("relief-lifting", from, from+rise+180+slack)
	d.May = append(d.May, "outlet-leak") // air is lost there
}

// falls drops the header below what the station needs. It is seen at a rest after the fall; the
// alarm's delay is 60 s. What follows from it must not be laid at the line's door.
func falls(d *drawer) {
	r, s := d.Rand, &d.Spec.Params.Supply
	t := model.Trip{At: onset.even(r), For: tripFor.even(r), Rate: tripRate.even(r)}
	t.Fall = lowest(s) - tripOfNeed.even(r)*d.needed()
	rested := d.afterPause(t.At + t.Fall/t.Rate)
	t.For = max(t.For, rested+60+slack-t.At)
	s.Header.Trip = t
	d.due("header-low", t.At, rested+60+slack)
	d.Seconds = max(d.Seconds, int64(t.At+t.For+t.Fall/t.Rate)+120)
	d.Traps = append(d.Traps, "pressure-left", "supply-undersized", "supply-restricting")
	d.May = append(d.May, "outlet-low") // 85 % of set is more than such a header can hold
	d.May = append(d.May, "starved")    // until consumers have drawn the outlet down to what it can still reach
}

// shutsDown closes the supply. Pressure left is due after the grace that the plate allows.
func shutsDown(d *drawer) {
	from := onset.even(d.Rand)
	after := math.Round(grace.even(d.Rand)/30) * 30
	d.Spec.Plate.Grace = time.Duration(after) * time.Second
	d.sets(rig.Shutdown, 1, from)
	d.due("pressure-left", from, from+after+slack)
}

// compared is the number of strokes over which counter and traces are compared.
const compared = 200

// miscounts breaks the counter. One that misses or bounces is told after two comparisons and a
// delay of 300 s; one that rolls over or starts again has counted right.
func miscounts(d *drawer) {
	from := onset.even(d.Rand)
	switch either(d.Rand, rig.CounterMisses, rig.CounterBounce, rig.CounterRolls, rig.CounterReset) {
	case rig.CounterMisses:
		d.sets(rig.CounterMisses, misses.even(d.Rand), from)
		d.mismatch(from)
	case rig.CounterBounce:
		d.sets(rig.CounterBounce, bounces.even(d.Rand), from)
		d.mismatch(from)
	case rig.CounterRolls:
		d.sets(rig.CounterRolls, float64(either(d.Rand, 128, 256, 1000)), 0)
		traps("count-mismatch")(d)
	default:
		d.sets(rig.CounterReset, 1, from)
		traps("count-mismatch")(d)
	}
}

// mismatch asks for count-mismatch, where half an hour has strokes enough.
func (d *drawer) mismatch(from float64) {
	m := &d.Spec.Params.Demand
	rate := d.can.rate * taken(m) / d.can.flow * m.Work / (m.Work + m.Pause)
	if by := from + 2*compared/rate + 300 + slack; by < halfAnHour.hi {
		d.due("count-mismatch", from, by)
	}
}

// pulsates asks for pulsation where a stroke swings the outlet by 8 % of set and more; the alarm's
// limit is 5 %, its delay 600 s. The swing is kappa m_b R T/V, less by a half for what the consumers
// take meanwhile, own choice.
func pulsates(d *drawer) {
	p := &d.Spec.Params
	litres := d.can.flow / d.can.rate // m³ ANR a stroke
	swing := 0.5 * 1.4 * litres * 100e3 / (p.Tank.Volume + p.Port.Volume)
	if swing > 0.08*p.Governor.SetGauge && p.Governor.Band == 0 {
		d.due("pulsation", 0, 600+p.Demand.Work+p.Demand.Pause+slack)
	}
}
