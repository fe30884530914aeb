package rig

import (
	"math"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/rig/model"
)

// b is the critical pressure ratio of leaks and of what is worn (common practice, no
// source).
const b = 0.3

// Spec describes a virtual station. What moves in Params of itself (header, set, consumers) counts
// its time from the station's start.
type Spec struct {
	Plate    station.Plate // what its user knows
	About    string        // what it shows, for people
	Geometry model.Geometry
	Params   model.Params
	Outlet   float64 // Pa gauge at the start; NaN: at set
	Rhythm   Rhythm
	Sensors  Sensors
	Faults   []Fault
	Style    payload.Style
	Seed     uint64
}

// Station is a virtual station at a moment.
type Station struct {
	Spec
	model   *model.Station
	sensors sensors
	origin  station.Instant // the model's time 0
	next    station.Instant // of the next sample
	step    int64           // ns from sample to sample
	demand  [1]model.DemandStep
	applied station.Instant // when faults and demand were last looked at
	levels  levels
	carry   int64 // the counter's count at the start
	weak    weak

	blocks  [station.NumChannels]station.Block
	strokes []model.Stroke
	stills  []model.Still
	counted station.Instant // of the last reading of the counter
	metered station.Instant // of the last reading of the flow meter
	drawn   float64         // m³ ANR by then
}

// look is how often demand and faults are looked at, ns.
const look = 100 * station.Millisecond

// New returns a station whose first sample stands at start. count is what its counter
// shows then.
func New(s Spec, start station.Instant, count int64) *Station {
	outlet := s.Outlet
	if math.IsNaN(outlet) {
		outlet = s.Params.Governor.SetGauge - s.Params.Governor.Hysteresis/2
	}
	t := &Station{Spec: s, origin: start, next: start, carry: count, sensors: newSensors(s.Sensors, s.Seed)}
	t.step = int64(math.Round(1e6/s.Sensors.Rate)) * station.Microsecond
	t.sensors.count = float64(count)
	t.model = model.New(s.Geometry, s.Params, outlet)
	t.model.Params.Demand.Steps = t.demand[:]
	t.applied = start.Add(-look)
	for c := range t.blocks {
		t.blocks[c].Channel = station.Channel(c)
	}
	return t
}

// Cause adds a fault.
func (s *Station) Cause(f Fault) { s.Faults = append(s.Faults, f) }

// Mend ends all faults of a kind at t; with NumKinds all faults.
func (s *Station) Mend(k Kind, t station.Instant) {
	for i := range s.Faults {
		if f := &s.Faults[i]; (k == NumKinds || f.Kind == k) && (f.Until == 0 || f.Until > t) {
			f.Until = t
		}
	}
}

// Truth returns what the model did since New.
func (s *Station) Truth() model.Totals { return s.model.Totals() }

// Pressures returns the true pressures of inlet and outlet, Pa gauge.
func (s *Station) Pressures() (inlet, outlet float64) { return s.model.Inlet(), s.model.Outlet() }

// Header returns the header's true pressure, Pa gauge.
func (s *Station) Header() float64 { return s.model.Header() }

// Governed reports whether the governor is shut: the piston stands, or is about to.
func (s *Station) Governed() bool { return s.model.State.Governed }

// TakeStrokes returns the strokes that ended since the last call: their times and sides.
func (s *Station) TakeStrokes() []station.Stroke {
	s.strokes = s.model.TakeStrokes(s.strokes[:0])
	out := make([]station.Stroke, len(s.strokes))
	for i, k := range s.strokes {
		out[i] = station.Stroke{At: s.instant(k.At), Side: station.SideA + station.Side(k.Side)}
	}
	return out
}

// TakeStills returns the times of half a second and more in which the piston stood, as
// intervals, that ended since the last call.
func (s *Station) TakeStills() []station.Interval {
	s.stills = s.model.TakeStills(s.stills[:0])
	out := make([]station.Interval, len(s.stills))
	for i, k := range s.stills {
		out[i] = station.Interval{From: s.instant(k.From), To: s.instant(k.To)}
	}
	return out
}

// StandsSince returns since when the piston stands; false while it moves.
func (s *Station) StandsSince() (station.Instant, bool) {
	since, stands := s.model.Still()
	return s.instant(since), stands
}

// instant turns the model's time into event time.
func (s *Station) instant(at float64) station.Instant {
	return s.origin.Add(int64(math.Round(at*1e6)) * station.Microsecond)
}

// Until runs up to, not including, time end, and returns the readings as blocks, valid until
// the next call.
func (s *Station) Until(end station.Instant) []station.Block {
	for c := range s.blocks {
		bl := &s.blocks[c]
		bl.Times, bl.Values = bl.Times[:0], bl.Values[:0]
	}
	for s.next < end {
		s.sample(s.next)
		s.next = s.next.Add(s.step)
	}
	var out []station.Block
	for c := range s.blocks {
		if bl := &s.blocks[c]; len(bl.Values) > 0 {
			out = append(out, s.regular(*bl))
		}
	}
	return out
}

// regular drops the times of a block that has one reading a step.
func (s *Station) regular(bl station.Block) station.Block {
	bl.Start = bl.Times[0]
	n := len(bl.Times)
	if n > 1 {
		bl.Step = bl.Times[1].Sub(bl.Times[0])
	}
	if n == 1 || bl.Times[n-1].Sub(bl.Start) == int64(n-1)*bl.Step {
		bl.Times = nil
	}
	return bl
}

// sample brings the model to t and reads its sensors.
func (s *Station) sample(t station.Instant) {
	for s.applied.Add(look) <= t {
		s.applied = s.applied.Add(look)
		s.model.Advance(float64(s.applied.Sub(s.origin)) * 1e-9)
		s.apply(s.applied)
	}
	s.model.Advance(float64(t.Sub(s.origin)) * 1e-9)
	if s.Sensors.Gaps.At(s.origin, t) {
		return
	}
	f := &s.levels
	stamp := s.sensors.stamp(t, s.step).Add(int64(f[ClockJump]) * station.Second)
	p1, p2 := s.model.Readings()
	p2 = s.sensors.gauge(t, p2, f[GaugeBled])
	in, out, ok := s.sensors.pressures(p1, p2, f)
	if ok && s.Sensors.Inlet {
		s.put(station.InletPressure, stamp, in)
	}
	if ok && s.Sensors.Outlet {
		s.put(station.OutletPressure, stamp, out)
	}
	if ok && s.Sensors.Header {
		s.put(station.HeaderPressure, stamp, s.sensors.read(s.model.Header(), s.Sensors.Noise))
	}
	if s.Sensors.Valve {
		open := 1.0
		if s.model.Params.Supply.Shut {
			open = 0
		}
		s.put(station.SupplyOpen, stamp, open)
	}
	if s.Sensors.Flow {
		s.meter(t, stamp)
	}
	if !s.Sensors.Counter {
		return
	}
	if hz := s.Sensors.CountHz; hz > 0 && float64(t.Sub(s.counted)) < 1e9/hz-1 {
		return
	}
	s.counted = t
	n := int64(s.model.Strokes())
	if s.Plate.Counts == station.CountsCycles {
		n /= 2
	}
	s.put(station.Cycles, stamp, s.sensors.counter(n, f))
}

// meter reads the flow meter once a second: the mean of what was drawn from the header
// since its reading before.
func (s *Station) meter(t, stamp station.Instant) {
	since := t.Sub(s.metered)
	if s.metered != 0 && since < station.Second {
		return
	}
	drawn := s.model.Totals().Inlet * 1e-3
	if s.metered != 0 {
		s.put(station.InletFlow, stamp, (drawn-s.drawn)/(float64(since)*1e-9))
	}
	s.metered, s.drawn = t, drawn
}

func (s *Station) put(c station.Channel, t station.Instant, v float64) {
	bl := &s.blocks[c]
	bl.Times, bl.Values = append(bl.Times, t), append(bl.Values, v)
}

// apply sets demand and faults at time t.
func (s *Station) apply(t station.Instant) {
	s.levels = levelsAt(s.Faults, t)
	f, p, was := &s.levels, &s.model.Params, &s.Params
	s.demand[0].Flow = s.Rhythm.demand(t, s.Seed)
	if s.Rhythm.CloseUp && !s.Rhythm.works(t) {
		f[Shutdown] = 1
	}
	shut := f[Shutdown] != 0 || f[Trapped] != 0 || f[Vented] != 0
	p.Demand.Off = shut || !s.Rhythm.works(t)
	if shut {
		s.demand[0].Flow = 0 // nobody works there
	}
	p.Supply.HeaderGauge = was.Supply.HeaderGauge - f[HeaderLow] - s.weak.fall(f[HeaderWeak], s.model.Totals().Inlet)
	p.Supply.Factor = was.Supply.Factor * (1 - math.Min(0.97, f[SupplyNarrow])) * (1 - math.Min(0.97, f[FilterClogging]))
	p.Leaks.Tank = model.Nozzle{C: was.Leaks.Tank.C + f[OutletLeak], B: b}
	p.Leaks.Hose = model.Hole(f[HoseBurst])
	p.Leaks.Branch = model.Nozzle{C: was.Leaks.Branch.C + f[BranchLeak], B: b}
	p.Leaks.DriveSeal = model.Nozzle{C: was.Leaks.DriveSeal.C + f[SealWorn], B: b}
	p.Check.Back[0] = model.Nozzle{C: was.Check.Back[0].C + f[CheckValveLeak], B: b}
	p.Relief.SetGauge = was.Relief.SetGauge
	if p.Relief.SetGauge > 0 {
		p.Relief.SetGauge -= f[ReliefLow]
	}
	if f[ReliefStuck] != 0 {
		p.Relief.SetGauge = 0
	}
	p.Governor = was.Governor
	p.Governor.SetGauge += f[SetHigh] - f[SetLow]
	p.Governor.Without = was.Governor.Without || f[GovernorStuck] != 0
	p.Drive.Feed.C = was.Drive.Feed.C * (1 - math.Min(0.97, f[FeedNarrow]))
	if h := f[Hunting]; h > 0 {
		p.Governor.Band, p.Governor.Hysteresis = 0, was.Governor.Hysteresis*(1-h)
	}
	p.Piston.Friction = was.Piston.Friction
	p.Piston.Friction[1] *= 1 + 10*f[Uneven]
	if f[PistonStuck] != 0 {
		p.Piston.Friction = [2]float64{jam, jam}
	}
	p.Supply.Shut = shut
	p.VentOpen = f[Vented] != 0 || f[DumpStuck] != 0
	p.Supply.Dump = was.Supply.Dump
	if f[Vented] != 0 || f[Shutdown] != 0 {
		p.Supply.Dump = model.Nozzle{C: 1e-8, B: b}
	}
}
