package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// minute gathers the open minute. Fields are exported for snapshots only.
type minute struct {
	M            station.Minute
	InSum        float64
	InN          int
	OutSum       float64
	OutN         int
	Pass         float64             // m³ ANR let through the check valves in this stretch
	PassStrokes  station.Microlitres // delivered by strokes in the same stretch
	PassGiven    station.Microlitres // already added beyond the strokes
	AnyCounted   bool                // a stroke of the minute came from the counter
	AnyTraced    bool
	Unseen       bool // strokes too fast for the sampling went by
	LastOutlet   float64
	LastOutletOK bool
	Drawn        float64 // draw and s of drawing when the minute began
	Worked       float64
	PassedSlots  int   // in which air passed straight through the check valves: no stroke can be told there
	DrawnSlots   int   // in which the inlet stood lower than at rest, by its mean
	Sampled      bool  // a sample lies in it
	Less, More   int64 // ns by which the stroking time may be shorter or longer, see unsure
}

func (m *minute) open(start station.Instant, segment uint32) {
	pass, ps, pg, lo, ok := m.Pass, m.PassStrokes, m.PassGiven, m.LastOutlet, m.LastOutletOK
	*m = minute{Pass: pass, PassStrokes: ps, PassGiven: pg, LastOutlet: lo, LastOutletOK: ok}
	m.M.Start, m.M.Segment = start, segment
	m.M.OutletMax = station.Gauge(math.NaN())
}

// add adds ns of a state.
func (m *minute) add(s station.State, ns int64) {
	m.M.StateNs[s] += ns
	m.M.Covered += ns
}

// addSlot adds the slot's samples to the minute.
func (m *minute) addSlot(e *Engine) {
	if e.passing() && e.State.ShutdownAt == 0 && e.Inlet.Mean > vented {
		m.PassedSlots++
	}
	if e.Inlet.N > 0 {
		m.InSum += e.Inlet.Sum
		m.InN += e.Inlet.N
	}
	if e.Outlet.N > 0 {
		m.OutSum += e.Outlet.Sum
		m.OutN += e.Outlet.N
		if o := station.Gauge(e.Outlet.High); !(m.M.OutletMax >= o) {
			m.M.OutletMax = o
		}
	}
	e.passThrough()
}

// stroke takes one stroke from the fuse: counts it, adds its air, tells the observer.
func (e *Engine) stroke(s station.Stroke) {
	m := &e.Min
	m.M.Strokes++
	e.Act.Strokes++
	e.Struck++
	e.Wear.Strokes++
	e.Rate.add(s.At)
	e.Pops.stroke(s.At, e.usualInterval())
	if s.Method == station.MethodTraces || s.Method == station.MethodBoth {
		m.AnyTraced = true
	}
	if s.Method == station.MethodCounter || s.Method == station.MethodBoth {
		m.AnyCounted = true
	}
	a, reason := e.airOf(s.At)
	if reason == "" && !(e.Inlet.Seen && e.Outlet.Seen) {
		reason = "a stroke without inlet and outlet pressure"
	}
	if reason == "" && e.Doubt.Who != 0 {
		reason = "a stroke while a pressure sensor is not believed"
	}
	if reason != "" {
		m.M.AirReason = reason
	} else {
		m.addAir(&a)
		e.Falls.delivered(a.Boost.Value * 1e-3)
		e.Supply.Through.New += station.MicrolitresOf(a.Inlet.Value)
		e.Supply.Through.N++
		m.PassStrokes += station.MicrolitresOf(a.Boost.Value)
		e.Rounds.Delivered += station.MicrolitresOf(a.Plain) // not as learned: that hides what is lost inside
	}
	e.Needed.AtEnd = e.Feed.Climb.Sum
	if !e.Fuse.CounterServes() {
		e.Feed.Stroke(s.At, e.hiddenTravel(s.At, 1))
	}
	e.obs.Stroke(s)
}

func (m *minute) addAir(a *air.StrokeAir) {
	m.M.Delivered += station.MicrolitresOf(a.Boost.Value)
	m.M.DeliveredLow += station.MicrolitresOf(a.Boost.Low)
	m.M.DeliveredHigh += station.MicrolitresOf(a.Boost.High)
	m.M.Exhaust += station.MicrolitresOf(a.Drive.Value)
	m.M.Inlet += station.MicrolitresOf(a.Inlet.Value)
	m.M.InletLow += station.MicrolitresOf(a.Inlet.Low)
	m.M.InletHigh += station.MicrolitresOf(a.Inlet.High)
}

// passThrough adds the air that goes straight through the check valves while the outlet
// is below the inlet. Over a stretch of that, what reached the tank is
//
//	dV = V_t dp2/(kappa p0) T0/T1
//
// (fast adiabatic filling from a line at T1, the temperature of the air drawn in); what it exceeds the strokes' air by
// went past the piston. A lower bound while consumers draw.
func (e *Engine) passThrough() {
	m := &e.Min
	if e.Outlet.N == 0 {
		return
	}
	p2, was, ok := e.Outlet.Mean, m.LastOutlet, m.LastOutletOK
	m.LastOutlet, m.LastOutletOK = p2, true
	if !ok || e.Plate.TankVolume <= 0 || e.State.ShutdownAt != 0 || e.Doubt.Who != 0 || e.Inlet.Mean < vented || p2 > e.Inlet.Mean {
		m.Pass, m.PassStrokes, m.PassGiven = 0, 0, 0
		return
	}
	if p2 > was {
		m.Pass += e.Plate.TankVolume * (p2 - was) / (air.Kappa * float64(air.P0ANR)) * e.airTemperature().Density()
	}
	more := station.MicrolitresOf(m.Pass*1e3) - m.PassStrokes - m.PassGiven
	if more <= 0 {
		return
	}
	m.PassGiven += more
	v := float64(more)
	r := e.airTemperature().Widen(air.Range{Value: v, Low: v, High: v}, 1)
	m.M.Delivered, m.M.Inlet = m.M.Delivered+more, m.M.Inlet+more
	m.M.DeliveredLow, m.M.InletLow = m.M.DeliveredLow+station.Microlitres(r.Low), m.M.InletLow+station.Microlitres(r.Low)
	m.M.DeliveredHigh, m.M.InletHigh = m.M.DeliveredHigh+station.Microlitres(r.High), m.M.InletHigh+station.Microlitres(r.High)
}

// closeMinute emits the open minute if it ends at end, and opens the next.
func (e *Engine) closeMinute(end station.Instant) {
	if end.Sub(e.Min.M.Start) < station.Minute60 {
		return
	}
	e.Min.close(end, e)
	e.openMinute(end.Floor(station.Minute60))
}

func (e *Engine) openMinute(start station.Instant) {
	e.Min.open(start, e.Segment)
	e.Min.Drawn, e.Min.Worked = e.Ends.Drawn, e.Ends.Worked
}

// close finishes and emits the minute at end.
func (m *minute) close(end station.Instant, e *Engine) {
	o := &m.M
	m.strokingBand()
	o.InletMean, o.OutletMean = mean(m.InSum, m.InN), mean(m.OutSum, m.OutN)
	e.strokeMethod(m)
	e.steadyMinute(o)
	e.leakMinute(o)
	o.Leak = e.Est[station.LeakFlow]
	if o.Covered > 0 {
		e.obs.Minute(o)
	}
}

func mean(sum float64, n int) station.Gauge {
	if n == 0 {
		return station.Gauge(math.NaN())
	}
	return station.Gauge(sum / float64(n))
}

// noSample is why strokes and air of a minute are unknown in which there is none.
const noSample = "no sample in this minute"

// strokeMethod says how the minute's strokes are known. A minute in which neither the
// counter nor the traces could show any has unknown strokes and unknown air.
func (e *Engine) strokeMethod(m *minute) {
	switch {
	case !m.Sampled && m.M.Strokes == 0:
		m.M.StrokeMethod, m.M.AirReason = station.MethodNone, noSample
	case m.AnyCounted && m.AnyTraced:
		m.M.StrokeMethod = station.MethodBoth
	case m.AnyCounted || e.Fuse.CounterServes():
		m.M.StrokeMethod = station.MethodCounter
	case !m.Unseen && m.PassedSlots <= mostPassed && e.tracesTell() == "" && e.drawTells(m):
		m.M.StrokeMethod = station.MethodTraces
	default:
		m.M.StrokeMethod = station.MethodNone
		if m.PassedSlots > mostPassed && m.M.AirReason == "" {
			m.M.AirReason = "strokes are not visible: no counter, and air passed straight through the check valves"
		}
		if m.M.AirReason == "" {
			m.M.AirReason = orElse(e.tracesTell(), "strokes are not visible: no counter, and the inlet drew far more than the strokes seen do")
		}
	}
}

// mostPassed is for how many slots of a minute air may pass straight through the check valves, with
// strokes that the traces tell: in 2 s a booster makes some ten strokes at most. Own choice.
const mostPassed = 4

func orElse(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// drawTells tells whether the strokes of the minute explain what the inlet drew in it, as
// far as it is known what a stroke draws.
func (e *Engine) drawTells(m *minute) bool {
	if e.Supply.Rest == 0 || e.passing() || e.State.ShutdownAt != 0 {
		return true
	}
	if drawn := float64(m.DrawnSlots) * float64(slotLen) * 1e-9; drawn > 20 && e.Ends.Worked-m.Worked < 0.5*drawn {
		return false // the draw drowns in the noise
	}
	if e.Pace.Full == 0 {
		return e.Ends.Worked-m.Worked < 20 || m.M.Strokes >= 10
	}
	due := (e.Ends.Drawn - m.Drawn) / e.Pace.Full
	return due < 4 || float64(m.M.Strokes) > 0.6*due
}

// tracesTell gives why the traces do not tell strokes, "" where they do.
func (e *Engine) tracesTell() string {
	switch {
	case !e.tracesServe():
		return "strokes are not visible: no counter, and too few samples a second"
	case !e.Ends.Visible():
		return "strokes are not visible: no counter, and their ends do not stand out of the noise"
	case !e.Pace.Told(e.Ends.Lift > 0):
		return "strokes are not told apart: no counter, and the draw between what may be their ends varies"
	}
	return e.tooFew()
}

// tracesServe tells whether the traces are sampled fast enough to show strokes: eight
// samples a second at least (common practice, no source), and three a stroke.
func (e *Engine) tracesServe() bool {
	rate := max(e.Ends.In.Rate(), e.Ends.Out.Rate())
	usual := e.usualInterval()
	return rate >= 8 && (usual == 0 || rate*float64(usual)*1e-9 >= 3)
}
