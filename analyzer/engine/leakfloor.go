package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	floorMinutes = 5
	floorHours   = 8 // a shift
)

// leakFloor follows the lowest delivered flow of a shift: where it is never quiet, the leak
// is at most that. Fields are exported for snapshots only.
type leakFloor struct {
	Delivered [floorMinutes]float64     // m³ ANR, upper bounds, of the last minutes in a row
	N         int                       // minutes that count, in a row; one more than are summed
	Outlet    [floorMinutes + 1]float64 // Pa gauge at the ends of these and of the one before
	Hours     [floorHours]floorHour

	Stood [stoodBins]stoodBound // least bounds of standing times, by the clock's two minutes

	Cold, Cold0 float64 // share by which the tank's air may be colder than its wall, now and when the piston came to stand
}

// floorHour is the lowest bound of an hour: a five-minute mean of what was delivered, or the
// outlet's fall while the piston stood.
type floorHour struct {
	Hour int64   // since 1970
	Flow float64 // m³/s ANR
	At   station.Instant

	Stored, Missed float64 // of Flow: by the tank's fall, and by strokes that a count may miss, or the fall's margin
	Stood          float64 // s of the fall, 0: by strokes
}

// floorMinute handles a finished minute. A minute counts where the station was fed and seen
// throughout and its air is known.
func (e *Engine) floorMinute(m *station.Minute) {
	f := &e.Floor5
	var fed int64
	for s := range m.StateNs {
		if st := station.State(s); st.Fed() {
			fed += m.StateNs[s]
		}
	}
	if e.sharesTank() || fed < station.Minute60 || m.AirReason != "" || m.StrokeMethod == station.MethodNone || e.Outlet.N == 0 {
		f.N = 0
	} else {
		copy(f.Delivered[:], f.Delivered[1:])
		copy(f.Outlet[:], f.Outlet[1:])
		f.Delivered[floorMinutes-1], f.Outlet[floorMinutes] = m.DeliveredHigh.CubicMetres(), e.Outlet.Mean
		f.N = min(f.N+1, floorMinutes+1)
	}
	if f.N > floorMinutes { // the outlet at the beginning of the first is known
		f.take(m.Start.Add(station.Minute60), e.storage(), e.uncounted(), max(1, e.operating()/f.mean(float64(e.Plate.AmbientPressure()))))
	}
	e.stateFloor(m.Start.Add(station.Minute60))
}

// storage gives the flow, m³/s ANR, by which the tank's content fell over the five minutes:
// leaks live on it too. Infinite where the outlet fell and the tank volume is not known.
func (e *Engine) storage() float64 {
	f := &e.Floor5
	fell := f.Outlet[0] - f.Outlet[floorMinutes]
	switch {
	case fell <= 0:
		return 0
	case e.Plate.TankVolume <= 0:
		return math.Inf(1)
	}
	return e.Plate.TankVolume * fell / float64(air.P0ANR) * e.airTemperature().Density() / (60 * floorMinutes)
}

// uncounted gives the flow, m³/s ANR, of the strokes that a count over five minutes may miss:
// one, and another where the counter counts cycles.
func (e *Engine) uncounted() float64 {
	a, _ := air.PerStroke(&e.Plate, e.inletAbs(), e.outletAbs())
	a = a.At(e.airTemperature(), false)
	n := 1.0
	if e.inCycles() {
		n = 2
	}
	return n * a.Boost.High * 1e-3 / (60 * floorMinutes)
}

// mean gives the mean outlet at the ends of the minutes, Pa abs.
func (f *leakFloor) mean(ambient float64) float64 {
	sum := 0.0
	for _, p := range f.Outlet {
		sum += p + ambient
	}
	return sum / float64(len(f.Outlet))
}

// take notes the mean of the last minutes, at the operating pressure (up times theirs), where it
// is the hour's lowest.
func (f *leakFloor) take(at station.Instant, stored, missed, up float64) {
	sum := 0.0
	for _, v := range f.Delivered {
		sum += v
	}
	flow := sum/(60*floorMinutes) + stored + missed
	f.note(at, floorHour{Flow: up * flow, Stored: up * stored, Missed: up * missed})
}

// outgrown drops the bounds that a steady draw, m³/s ANR, has passed since: what was at most lost then is no
// statement of now. Bounds of the time of that draw stay.
func (f *leakFloor) outgrown(draw float64, at station.Instant) {
	since := at.Add(-floorSpan * station.Minute60)
	for i := range f.Hours {
		if h := &f.Hours[i]; h.At != 0 && h.At < since && draw > outgrownBy*h.Flow {
			*h = floorHour{}
		}
	}
}

// outgrownBy is by how much a steady draw must pass a bound: both carry the error of the tank volume and of a
// stroke's air. Own choice.
const outgrownBy = 1.5

// stateFloor states the floor as an upper bound of the leak, unless the leak itself is known
// from the last shift.
func (e *Engine) stateFloor(at station.Instant) {
	known := &e.Est[station.LeakFlow]
	if known.Known() && at.Sub(known.At) < floorHours*60*station.Minute60 {
		e.Est[station.LeakAtMost] = station.Unknown("not needed: the leak itself is known")
		return
	}
	if now := &e.Est[station.DrawFloor]; now.Known() {
		e.Floor5.outgrown(now.Value, at)
	}
	least, seen, over := math.Inf(1), station.Instant(0), int64(0)
	for i := range e.Floor5.Hours {
		h := &e.Floor5.Hours[i]
		if h.At != 0 && at.Sub(h.At) < floorHours*60*station.Minute60 && h.Flow < least {
			least, seen, over = h.Flow, h.At, floorMinutes*station.Minute60
			if h.Stood > 0 {
				over = int64(h.Stood * 1e9)
			}
		}
	}
	if math.IsInf(least, 1) {
		e.Est[station.LeakAtMost] = station.Unknown(firstReasons[station.LeakAtMost])
		return
	}
	least = e.boundOf(least)
	e.Est[station.LeakAtMost] = station.Estimate{Value: least, High: least, Method: station.MethodBound, Confidence: 0.8,
		From: seen.Add(-over), At: seen}
}
