package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	leakPoints    = 240
	leakFirst     = 60   // s of standing before a fit is tried
	leakEvery     = 60   // s between fits of one window
	leakStride    = 0.5  // s of a window's first points: a slot
	lineOver      = 10e3 // Pa of the outlet over a closed inlet: cracking of the check valves and zeros of sensors
	steadyRange   = 0.015
	steadyFloor   = 2e3 // Pa that the outlet may move whatever the tank
	steadySpread  = 0.25
	steadyMinutes = 3
	sameDraw      = 0.05 // by which the flows of steady minutes may differ, beside a count at their edges: what is choked goes with the outlet alone (own choice)
	// chokedOver is the pressure over ambient, absolute, above which a leak of critical ratio
	// 0.3 is choked. A window ends where the outlet falls below it.
	chokedOver = 1 / 0.3

	// ventLeast is the conductance, m³/(s·Pa), of a hole of 2.2 mm. With the supply closed a
	// larger one is taken for a vent valve, of which the smallest pass several times as much; ventRate, 1/s, is how
	// fast a tank falls by a vent, and ventTrust the confidence in a leak that is told from
	// such a fall (common practice, no source).
	ventLeast = 0.5e-8
	ventRate  = 0.015
	ventTrust = 0.2
)

// leakWatch gathers standing windows for the decay fit and steady minutes for the
// make-up estimate. Fields are exported for snapshots only.
type leakWatch struct {
	T, P   []float64 // s since From, Pa abs: means over Stride seconds
	From   station.Instant
	Stride float64
	Sum    float64
	N      int
	Next   float64 // s since From at which to fit next
	Full   bool    // the outlet has fallen so far that the leak is no longer choked

	Steady   int     // steady minutes in a row
	Flow     float64 // their mean delivered flow, m³/s ANR
	LowMean  float64 // lowest and highest outlet of the minute by slot, Pa gauge
	HighMean float64
	Slots    int
	Even     int // slots of the minute in which the last strokes came at an even pace
	Stands   int // slots in a row in which the piston stands and no stroke ends, now
	Longest  int // the most of them in the minute
}

func (l *leakWatch) reset() {
	l.T, l.P = l.T[:0], l.P[:0]
	l.From, l.Stride, l.Sum, l.N, l.Next, l.Full = 0, leakStride, 0, 0, leakFirst, false
}

// stateChanged drops the window when the piston no longer stands, or when the supply is closed: the
// drive's pressure then falls, and the piston may move.
func (l *leakWatch) stateChanged(was, s station.State) {
	if !stands(s) || was.Fed() && !s.Fed() {
		l.reset()
	}
}

// stands tells whether nothing is delivered in a state, so that the outlet's fall tells the leak. A
// large leak out of a small tank falls as a vented one does.
func stands(s station.State) bool {
	return s == station.Holding || s == station.Residual || s == station.Venting
}

// watchLeak adds the slot to the standing window and fits it from time to time.
func (e *Engine) watchLeak(start, end station.Instant) {
	l := &e.Leak
	if e.Outlet.N > 0 {
		if l.Slots == 0 || e.Outlet.Mean < l.LowMean {
			l.LowMean = e.Outlet.Mean
		}
		if l.Slots == 0 || e.Outlet.Mean > l.HighMean {
			l.HighMean = e.Outlet.Mean
		}
		l.Slots++
		if e.Fuse.Interval.Spread() < steadySpread {
			l.Even++
		}
	}
	st := e.State.Current
	if l.Stands++; st.Working() || e.Act.Strokes > 0 {
		l.Stands = 0
	}
	l.Longest = max(l.Longest, l.Stands)
	if !stands(st) {
		return
	}
	if e.Act.LastWork == end || e.stepsUp(windowStep) || e.lineEmpties() {
		l.reset()
		return
	}
	if l.From == 0 {
		l.From = start
	}
	if l.Full || e.Outlet.N == 0 {
		return
	}
	l.Sum += e.Outlet.Mean
	l.N++
	age := float64(end.Sub(l.From)) * 1e-9
	if float64(l.N)*float64(slotLen)*1e-9 >= l.Stride {
		l.point(age, l.Sum/float64(l.N)+float64(e.Plate.AmbientPressure()))
	}
	amb := float64(e.Plate.AmbientPressure())
	l.Full = e.Outlet.Mean+amb < chokedOver*amb || e.lineFollows()
	if age >= l.Next || l.Full {
		l.Next += leakEvery
		e.fitLeak(end)
	}
}

// lineFollows tells whether the outlet has fallen to a closed inlet: from there on the line's
// air comes through the check valves, and the tank is larger than the plate says.
func (e *Engine) lineFollows() bool {
	over := max(lineOver, 3*e.Ends.Out.Noise())
	return e.State.ShutdownAt != 0 && e.Inlet.N > 0 && e.Outlet.Mean < e.Inlet.Mean+over
}

func (l *leakWatch) point(age, p float64) {
	l.T, l.P = append(l.T, age-l.Stride/2), append(l.P, p)
	l.Sum, l.N = 0, 0
	if len(l.T) < leakPoints {
		return
	}
	for i := 0; i < len(l.T)/2; i++ {
		l.T[i] = (l.T[2*i] + l.T[2*i+1]) / 2
		l.P[i] = (l.P[2*i] + l.P[2*i+1]) / 2
	}
	l.T, l.P = l.T[:len(l.T)/2], l.P[:len(l.P)/2]
	l.Stride *= 2
}

// fitLeak fits the standing window. An accepted fit replaces the leak estimate; a
// rejected one replaces only the reason of an unknown one.
func (e *Engine) fitLeak(at station.Instant) {
	switch {
	case e.Plate.TankVolume <= 0:
		e.noLeakKnown("needs the tank volume")
		return
	case e.Plate.Sensor == station.AtBranch:
		e.noLeakKnown("the outlet sensor does not see the tank")
		return
	case e.Plate.TankAt != "":
		return
	case e.Plate.Ungoverned && e.State.ShutdownAt == 0:
		if !e.Est[station.LeakFlow].Known() {
			e.noLeakKnown(followsOutlet)
		}
		return
	}
	d := air.FitDecay(e.Leak.T, e.Leak.P, e.Wall.rate(at))
	if d.None && e.sharesTank() { // another booster may hold it up
		d.None, d.Reason = false, sharedTank
	}
	if d.Leak && e.State.ShutdownAt != 0 && e.Plate.TankVolume*d.Rate > ventLeast*float64(air.P0ANR) {
		d.Leak, d.Reason = false, "the outlet fell as a vented tank does"
	}
	if d.Leak || d.None {
		e.Basis.decay(&e.Leak, &d, at)
		e.Basis.Creep = e.leakCreep()
	}
	switch {
	case d.Leak:
		e.decayLeak(&d, at)
	case d.None:
		e.noLeak(&d, at)
	case !e.Est[station.LeakFlow].Known():
		e.noLeakKnown(d.Reason)
	}
}

// decayLeak handles an accepted decay. The conductance is V rate/p0 sqrt(T0/T) (choked), V the tank
// and half of what the standing booster adds: its piston creeps after the falling outlet until it is at
// its end, and where it stands is not known. So none of that to all of it is in the band, and the tank
// volume's own error, taken as 5 %. With the supply closed a quick fall can be a vent: it is told with
// little confidence.
func (e *Engine) decayLeak(d *air.Decay, at station.Instant) {
	p0 := float64(air.P0ANR) / e.airTemperature().Root()
	v, creep := e.Plate.TankVolume, e.Basis.Creep
	conf := min(0.9, 0.5+0.5*(1-min(1, (d.High-d.Low)/d.Rate)))
	if e.State.ShutdownAt != 0 && d.Rate > ventRate {
		conf = ventTrust
	}
	e.Mix.Shape = d.Shape
	e.decay(station.Estimate{Value: (v + creep/2) * d.Rate / p0, Low: 0.95 * v * d.Low / p0, High: 1.05 * (v + creep) * d.High / p0,
		Method: station.MethodDecay, Confidence: conf, From: e.Leak.From, At: at})
}

// noLeak notes a standing window in which no loss above the detection limit was seen:
// zero, with the limit as its upper bound.
func (e *Engine) noLeak(d *air.Decay, at station.Instant) {
	c := (e.Plate.TankVolume + e.Basis.Creep) / float64(air.P0ANR) * e.airTemperature().Root()
	e.Mix.Shape = air.ShapeEither
	e.decay(station.Estimate{High: c * max(d.High, air.DetectionLimit), Method: station.MethodDecay, Confidence: 0.7, From: e.Leak.From, At: at})
}

// operating gives the pressure, Pa abs, at which a leak flow is stated: set, or the last
// outlet.
func (e *Engine) operating() float64 {
	p := e.set()
	if p <= 0 {
		p = e.Outlet.Mean
	}
	return p + float64(e.Plate.AmbientPressure())
}

// steadyRange gives by how much the outlet may move, Pa, in a steady minute: a share of set, and a
// tenth of what a stroke at once would raise a small tank by; in a large one, where strokes
// hardly show, no more than some of them and noise, or pulses of a consumer would hide there. Where
// a stroke would raise it by more than twice as much, the tank is small: no pulse can hide in it.
func (e *Engine) steadyRange(m *station.Minute) (most float64, small bool) {
	most = steadyRange * e.set()
	if e.Plate.TankVolume <= 0 || m.Strokes == 0 {
		return most, false
	}
	rise := m.Delivered.CubicMetres() / float64(m.Strokes) * float64(air.P0ANR) / (e.Plate.TankVolume * e.airTemperature().Density())
	noise := e.Ends.Out.NoiseRaw / math.Sqrt(max(1, float64(e.Outlet.N)))
	most = min(most+0.1*rise, steadyFloor+3*rise+7*noise)
	return most, rise > 2*most
}

// steadyMinute looks at a finished minute for a draw that only steady strokes make up:
// outlet at set throughout, strokes at an even pace. Three in a row give an estimate.
func (e *Engine) steadyMinute(m *station.Minute) {
	l := &e.Leak
	if e.sharesTank() {
		return
	}
	low, high, slots, even, longest := l.LowMean, l.HighMean, l.Slots, l.Even, l.Longest
	l.Slots, l.Even, l.Longest = 0, 0, 0
	set := e.set()
	most, small := e.steadyRange(m)
	least := 4 // sixths of the slots at an even pace
	if small {
		least = 3
	}
	// it may stop for moments between strokes, as long as they come at an even pace
	fed := m.StateNs[station.Stroking] + m.StateNs[station.Charging] + m.StateNs[station.Holding]
	steady := slots >= 100 && set > 0 && low >= setBand*set && high-low < most &&
		m.Strokes >= 6 && fed >= 55*station.Second && longest <= int(shortStop/slotLen) && 6*even >= least*slots &&
		m.AirReason == ""
	if !steady || e.paused(m, m.Delivered.CubicMetres()/60) {
		l.Steady = 0
		return
	}
	if !small && 4*even < 3*slots {
		return // where noise makes the pace look uneven, other minutes tell
	}
	flow := m.Delivered.CubicMetres() / 60
	if l.Steady > 0 && math.Abs(flow-l.Flow) > sameDraw*l.Flow+e.atEdges()*flow/float64(m.Strokes) {
		l.Steady = 0
	}
	l.Flow = (l.Flow*float64(l.Steady) + flow) / float64(l.Steady+1)
	l.Steady++
	if l.Steady < steadyMinutes {
		return
	}
	p := (low+high)/2 + float64(e.Plate.AmbientPressure())
	end := m.Start.Add(station.Minute60)
	e.makeup(l.Flow, 0.08*l.Flow+m.Delivered.CubicMetres()/60/float64(m.Strokes), p, end.Add(-int64(l.Steady)*station.Minute60), end)
}

// atEdges gives the strokes that a minute may have more or less than its share: those of the
// cycle that the counter tells at its end.
func (e *Engine) atEdges() float64 {
	if e.inCycles() {
		return 2.2
	}
	return 1.1
}

// shortStop is how long, ns, a stop between strokes at an even pace is no stall.
const shortStop = 5 * station.Second / 2
