package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	standSlots  = 4     // fewest of a standing time that bound the leak: 2 s
	standSigmas = 4.0   // standard errors of the fall that are added: the least of many is taken
	standDrop   = 2e3   // Pa: a smaller drop may be a sensor's
	standZero   = 250.0 // Pa that the drop may be in error by a sensor's steps
	standTilt   = 1.5   // by which a fit weighs the middle of its window more than its ends
	coldTau     = 300.0 // s, longest time constant of the air against the wall
)

// coldAir follows by how much the tank's air may be colder than its wall, share of the
// temperature: a fall cools it by (kappa-1)/kappa of the fall of ln p at most, a rise warms it by
// that at least, and the wall does the rest.
func (e *Engine) coldAir() {
	l := &e.Outlet
	p, before := float64(e.outletAbs()), l.Before+float64(e.Plate.AmbientPressure())
	if p <= 0 || before <= 0 {
		return
	}
	x := &e.Floor5.Cold
	*x *= 1 - float64(slotLen)*1e-9/coldTau
	*x = max(0, *x+(air.Kappa-1)/air.Kappa*math.Log(before/p))
}

// standFloor bounds the leak by the present standing time: while the piston stands, leak and
// consumers live on the tank alone, and
//
//	q <= (V + V_creep)/p0 T0/T (-dp/dt + 4 s + 0.25 kPa/t + 1.5 p x/t)
//
// times the operating pressure over the present one, where that is lower. s is the standard error
// of the fall, t the time it is taken over. Air that is colder than the wall by x warms up and
// hides a part of the loss: x/t on the mean at most, by whatever time constant. What cools in the
// window itself hides nothing: an isothermal fall is the slowest. The least of a shift counts, so
// that a moment between two pulses of a consumer is enough. A piston below set may creep: then the
// air of one stroke in SlowestStroke is added, and an outlet that does not fall counts as falling by the least that is read,
// after SlowestStroke of standing. At set it does not: what blows off there, as a relief valve, closes below.
func (e *Engine) standFloor(end station.Instant) {
	r, f := &e.Rounds, &e.Floor5
	if r.N == 1 {
		f.Cold0 = f.Cold
	}
	creeps := e.State.Current == station.Starved || e.Plate.Ungoverned // it may
	if r.N < standSlots || !creeps && e.State.Current != station.Holding && e.State.Current != station.Stroking {
		return
	}
	slope, left, d := r.line()
	t := (r.N - 1) * float64(slotLen) * 1e-9
	noise := e.Ends.Out.Noise() / math.Sqrt(max(1, float64(e.Outlet.N)))
	noise = max(noise, math.Sqrt(max(0, left)/(r.N-2)))
	fall := -slope
	if least := max(standDrop, 6*noise); fall*t < least {
		if !creeps || t < float64(station.SlowestStroke)*1e-9 || !e.Fuse.CounterServes() && !e.strokesShow() {
			return // a stroke that nothing shows may hold it up; of one that holds the standing window tells
		}
		fall = least / t
	}
	p := r.P0 + float64(e.Plate.AmbientPressure())
	v := e.Plate.TankVolume + air.CreepVolume(&e.Plate, e.inletAbs(), e.outletAbs())
	k := v / float64(air.P0ANR) * e.airTemperature().Density() * max(1, e.operating()/(p+r.P/r.N))
	more := k * (standSigmas*noise/math.Sqrt(d/r.N) + standZero/t + standTilt*p*f.Cold0/t)
	if creeps {
		more += e.creeps() * max(1, e.operating()/(p+r.P/r.N))
	}
	e.bounded(end, floorHour{Flow: fall*k + more, Missed: more, Stood: t})
}

// creeps returns the flow, m³/s ANR, that a piston may deliver that counts as standing below set: a stroke in
// SlowestStroke. Infinite where the air of a stroke is not known.
func (e *Engine) creeps() float64 {
	a, reason := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	if reason != "" {
		return math.Inf(1)
	}
	return a.At(e.airTemperature(), false).Boost.High * 1e-3 / (float64(station.SlowestStroke) * 1e-9)
}

// pauseFloor bounds the leak by the slot that ended, as standFloor does by the whole standing time: a
// consumer that pauses for a second shows that the falls before and behind are its own. So short a
// stretch shows it only where no stroke can be hidden in it, see strokesShow; and air that is colder than
// the wall by x lifts the pressure by p x/tau at most, tau the shortest time constant of such a tank.
func (e *Engine) pauseFloor(end station.Instant) {
	r, f, l := &e.Rounds, &e.Floor5, &e.Outlet
	state := e.State.Current
	if r.N < 3 || !e.Feed.Rests || end.Sub(e.Feed.Since) < 3*slotLen || !e.strokesShow() ||
		state != station.Holding && state != station.Stroking || -2*r.P/r.N < standDrop {
		return
	}
	const dt = float64(slotLen) * 1e-9
	noise := e.Ends.Out.Noise() / math.Sqrt(max(1, float64(l.N)))
	p := float64(e.outletAbs())
	v := e.Plate.TankVolume + air.CreepVolume(&e.Plate, e.inletAbs(), e.outletAbs())
	k := v / float64(air.P0ANR) * e.airTemperature().Density() * max(1, e.operating()/p)
	more := k * (standSigmas*math.Sqrt2*noise/dt + standZero/(2*dt) + p*f.Cold/e.quickestWarmth(p))
	e.bounded(end, floorHour{Flow: max(0, (l.Before-l.Mean)/dt)*k + more, Missed: more, Stood: 2 * dt})
}

// quickestWarmth returns the shortest time constant, s, of the air in the tank against its wall at p,
// Pa absolute: rho c_v (V/A)/h with h = 60 W/(m² K), twice what free convection at some bar makes (from
// memory), and V/A = V^(1/3)/7, a slender vessel.
func (e *Engine) quickestWarmth(p float64) float64 {
	const h, slender, cv = 60, 7, 718
	return p / (287.05 * 293) * cv * math.Cbrt(e.Plate.TankVolume) / slender / h
}

// strokesShow reports whether a stroke that takes a second draws visibly: a slower one delivers too
// little to hold the outlet up.
func (e *Engine) strokesShow() bool {
	const second = 1.0
	full := e.Pace.Full
	return e.followed() && full > 0 && !e.Pace.Timed && full/second > math.Sqrt(e.Ends.LeastSag())
}

// note keeps a bound where it is the hour's lowest.
func (f *leakFloor) note(at station.Instant, g floorHour) {
	g.Hour, g.At = int64(at-1)/(60*station.Minute60), at
	h := &f.Hours[g.Hour%floorHours]
	if h.Hour != g.Hour || g.Flow < h.Flow {
		*h = g
	}
}
