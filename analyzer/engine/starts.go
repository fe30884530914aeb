package engine

import (
	"math"
	"math/bits"

	"strokewise/analyzer/station"
)

const (
	idleSlots   = 2     // without work after which the piston has stood, where the inlet shows it (own choice)
	hopRise     = 0.001 // share of the outlet by which a hop of the governor raises it at least (no source)
	startsFrom  = 15    // minutes watched before starts are told for an hour (own choice)
	startsShort = 10    // minutes over which hunting is told (own choice)
)

// starts counts how often the piston begins to work after standing, by the minute. Fields
// are exported for snapshots only.
type starts struct {
	Ring   [60]uint16
	Minute int64      // of the newest slot, since 1970
	Seen   uint64     // bit i: the piston could be watched in the minute i ago
	Idle   int        // slots without work
	Need   int        // of them for the piston to have stood, looked up every ten seconds
	Begun  bool       // work seems to have begun, and nothing came of it yet
	Outlet [2]float64 // of the last slots, Pa gauge
}

// gap forgets what is open.
func (s *starts) gap() { s.Idle, s.Begun, s.Outlet = 0, false, [2]float64{} }

// watchStarts takes the slot that ended.
func (e *Engine) watchStarts(end station.Instant) {
	s := &e.Starts
	s.advance(int64(end.Add(-1)) / station.Minute60)
	if e.State.Current == station.Blind || e.State.ShutdownAt != 0 {
		s.gap()
		return
	}
	s.Seen |= 1
	need := max(s.Need, idleSlots)
	stood := s.Idle >= need
	rose := e.delivered()
	creeps := !stood && e.stepsUp(roundStep) // strokes too slow to draw visibly: a worn seal drives them past the governor
	worked := e.worked(end) || stood && rose || creeps
	s.Outlet = [2]float64{s.Outlet[1], e.Outlet.Mean}
	if worked && stood {
		s.Begun = true
	}
	if s.Begun && (e.Act.Strokes+e.Act.Teeth > 0 || rose) {
		s.Begun = false
		s.Ring[s.Minute%60]++
	}
	if worked {
		s.Idle = 0
		return
	}
	if s.Idle++; s.Idle >= need {
		s.Begun = false // the inlet fell for another reason
		e.Health.Stood = true
	}
}

// delivered tells whether the outlet has risen within the last slots, faster than by warming:
// a governor's hop, which ends before its stroke does, shows in nothing else.
func (e *Engine) delivered() bool {
	if e.Outlet.N == 0 || e.Starts.Outlet[0] == 0 {
		return false
	}
	rise := e.Outlet.Mean - min(e.Starts.Outlet[0], e.Starts.Outlet[1])
	return rise > max(5*e.Ends.Out.Noise()/math.Sqrt(float64(e.Outlet.N)), hopRise*e.Outlet.Mean)
}

// standsSlots gives after how many slots without work the piston has stood.
func (e *Engine) standsSlots() int {
	if e.Supply.Rest > 0 && e.tracesServe() {
		return idleSlots
	}
	return int((e.standsAfter() + slotLen - 1) / slotLen)
}

// advance makes a minute the newest one.
func (s *starts) advance(minute int64) {
	if minute <= s.Minute {
		return
	}
	by := minute - s.Minute
	for m := max(s.Minute+1, minute-59); m <= minute; m++ {
		s.Ring[m%60] = 0
	}
	s.Minute = minute
	if s.Seen <<= uint(min(by, 63)); by >= 60 {
		s.Seen = 0
	}
	s.Seen &= 1<<60 - 1
}

// over gives the starts and the minutes watched of the last n minutes, the open one included.
func (s *starts) over(n int64) (starts, watched int) {
	for i := range min(n, s.Minute+1) {
		starts += int(s.Ring[(s.Minute-i)%60])
	}
	return starts, bits.OnesCount64(s.Seen & (1<<uint(n) - 1))
}

// startFigures sets the starts of the last hour, scaled to one before an hour was watched, and
// those of ten minutes.
func (e *Engine) startFigures(end station.Instant) {
	e.Starts.Need = e.standsSlots()
	hour, short := &e.Est[station.StartsHour], &e.Est[station.StartsShort]
	if why := e.workUnseen(); why != "" {
		*hour = station.Unknown(why)
		*short = *hour
		return
	}
	m := station.MethodTraces
	if !e.tracesServe() {
		m = station.MethodCounter
	}
	n, watched := e.Starts.over(60)
	*hour = station.Unknown("watched for less than a quarter of an hour")
	if watched >= startsFrom {
		*hour = station.Estimate{Value: float64(n) * 60 / float64(watched), Method: m, Confidence: 0.4 + 0.5*float64(watched)/60, From: end.Add(-int64(watched) * station.Minute60), At: end}
	}
	e.Basis.Starts.Hour, e.Basis.Starts.Watched = n, watched
	n, watched = e.Starts.over(startsShort)
	e.Basis.Starts.Short = n
	*short = station.Unknown("watched for less than ten minutes")
	if watched >= startsShort {
		*short = station.Estimate{Value: float64(n), Method: m, Confidence: 0.8, From: end.Add(-startsShort * station.Minute60), At: end}
	}
}

// workUnseen gives why it cannot be told when the piston works, "" where it can.
func (e *Engine) workUnseen() string {
	switch {
	case e.State.Current == station.Blind:
		return e.whyBlind()
	case e.Fuse.CounterServes():
		return ""
	}
	return e.tracesTell()
}
