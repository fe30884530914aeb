package engine

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	assumedB = 0.3 // critical pressure ratio of a supply line, ISO 6358 (common practice, no source)
	restAge  = 120 * station.Second
	runSlice = 60 * station.Second
	forget   = 0.97 // weight of the past at each evaluated run
)

// supply follows the inlet: its resting (static) and drawing (dynamic) pressure. Fields
// are exported for snapshots only.
type supply struct {
	Rest       float64 // resting inlet pressure, Pa gauge, 0: never seen to rest
	RestAt     station.Instant
	Peak       float64 // highest inlet pressure seen, slowly forgotten, Pa gauge
	Prev       float64
	LearnedSet float64
	SetLoss    float64 // F/A_b of a booster without a governor, Pa

	Moved   float64 // share of rests in which the header had moved
	Moves   float64 // of which it is
	Track   bool    // a run is being measured
	RunFrom station.Instant
	Static  float64 // resting pressure that goes with the run, Pa gauge
	RefRest bool    // Ref is the resting pressure, else the peak
	Sum     float64 // of inlet samples, Pa gauge
	N       int
	Slots   int
	Done    drawn // of the run up to its last stroke

	SagSum, SagWeight float64
	Through           through
	Rested            float64 // share of the weight that had a resting pressure
	Unrested          unrested
}

// drawn is what a run came to up to the end of its last stroke.
type drawn struct {
	Sum      float64
	N, Slots int
	At       station.Instant
	Head     float64
	HeadN    int
}

// take handles the slot's inlet samples, Pa gauge.
func (s *supply) take(values []float64) {
	peak, prev := s.Peak, s.Prev
	for _, x := range values {
		if x > peak && prev > peak {
			peak = min(x, prev)
		}
		prev = x
	}
	s.Peak, s.Prev = peak, prev
	if s.Track {
		for _, x := range values {
			s.Sum += x
		}
		s.N += len(values)
	}
}

// learn updates what the slot teaches: resting pressure, set pressure, sag and
// conductance of the supply, leak.
func (e *Engine) learn(start, end station.Instant) {
	s := &e.Supply
	if e.Inlet.N > 0 {
		s.Peak -= (s.Peak - e.Inlet.Mean) * float64(slotLen) / float64(24*60*station.Minute60)
	}
	if e.Doubt.Who == 0 {
		e.learnRest(end)
		e.measureRun(start, end)
		e.learnSet()
		e.watchInletLeak(start, end)
		e.watchBack()
		e.watchReach(end)
		e.watchPace(end)
		e.watchSetLevel(end)
	}
	e.watchLine(end)
	e.warmWall(end)
	e.watchLeak(start, end)
	e.watchRecharge(end)
	e.watchMeter(end)
	e.watchRounds(end)
	e.ripple(end, e.working(end) && e.Doubt.Who == 0)
	e.watchStarts(end)
	e.slowFigures(end)
}

// learnRest follows the resting inlet pressure while the piston stands and the inlet is
// steady.
func (e *Engine) learnRest(end station.Instant) {
	s := &e.Supply
	if e.Inlet.N == 0 || e.State.ShutdownAt != 0 || end.Sub(max(e.Act.LastWork, e.Act.LastTooth)) < e.standsAfter() {
		return
	}
	noise, m := e.Ends.In.NoiseRaw, e.Inlet.Mean
	steady := e.Inlet.High-e.Inlet.Low < max(8*noise, 0.003*m) &&
		math.Abs(m-e.Inlet.Before) < max(4*noise/math.Sqrt(float64(e.Inlet.N)), 0.001*m)
	if !steady || m < 30e3 || e.State.LowSince != 0 {
		return
	}
	s.move(m, max(e.Feed.Fitted, noise/math.Sqrt(float64(e.Inlet.N))), end)
	if s.Rest == 0 || math.Abs(m-s.Rest) > (1-headerFell)*s.Rest && (e.Proof.Level > 0 || e.Hdr.RestAt != 0 && e.fedByHeader(end)) {
		s.Rest = m // or the header is seen, or proven, to stand elsewhere
	}
	s.Rest += 0.2 * (m - s.Rest)
	s.RestAt = end
	e.rested(m)
	e.headerRests(end)
}

// move learns in what share of rests the header is elsewhere than in those before: at the first slot
// of a rest, of mean m. sd is the deviation of a level, Pa.
func (s *supply) move(m, sd float64, end station.Instant) {
	if s.RestAt == 0 || end.Sub(s.RestAt) <= slotLen {
		return
	}
	moved := 0.0
	if math.Abs(m-s.Rest) > 3*sd {
		moved = 1
	}
	s.Moved += (moved - s.Moved) / min(mostMoves, s.Moves+1)
	s.Moves++
}

// steady reports whether the header is where it was in most rests: their mean is then known better
// than the level that is followed, which one rest tells.
func (s *supply) steady() bool { return s.Moves > 0 && s.Moved < 0.5 }

// mostMoves is how many rests the past counts for. Own choice.
const mostMoves = 10

// standsAfter gives how long, ns, after its last stroke the piston may be taken to stand.
func (e *Engine) standsAfter() int64 {
	return max(station.Second, e.Fuse.Interval.Quartile()*3/2)
}

// learnSet uses the highest outlet at the end of runs as the set pressure where the
// plate gives none.
func (e *Engine) learnSet() {
	if e.Plate.Set > 0 || e.Outlet.N == 0 {
		return
	}
	e.followBalance()
	st := &e.State
	if st.Current.Working() {
		st.TopOutlet = max(st.TopOutlet, e.Outlet.Mean)
		return
	}
	if st.Current == station.Holding && st.TopOutlet > 0 {
		if e.balances() && !e.learnBalance(st.TopOutlet) {
			st.TopOutlet = 0
			return
		}
		if e.Supply.LearnedSet == 0 {
			e.Supply.LearnedSet = st.TopOutlet
		}
		e.Supply.LearnedSet += 0.3 * (st.TopOutlet - e.Supply.LearnedSet)
		st.TopOutlet = 0
		e.Est[station.SetPressure] = station.Estimate{Value: e.Supply.LearnedSet, Method: station.MethodTraces, Confidence: 0.6, At: e.Outlet.Last}
		if e.balances() {
			e.followBalance()
			e.stateBalance(e.Outlet.Last)
		}
	}
}

// measureRun measures the sag over stretches in which the piston strokes against a raised
// outlet.
func (e *Engine) measureRun(start, end station.Instant) {
	s := &e.Supply
	amb := float64(e.Plate.AmbientPressure())
	in := e.State.Current == station.Stroking && e.working(end) && e.stroking(end) &&
		e.Outlet.Mean+amb > 1.1*(e.Inlet.Mean+amb)
	if s.Track && (!in || end.Sub(s.RunFrom) >= runSlice) {
		e.endRun(end)
	}
	if in && !s.Track {
		s.RefRest = s.Rest > 0 && end.Sub(s.RestAt) <= restAge
		s.Static = s.Peak
		if s.RefRest {
			s.Static = s.Rest
		}
		_, sensed := e.headerNow(end)
		if !sensed && e.followed() && e.anchored(end) && !(s.RefRest && s.steady()) {
			s.Static, s.RefRest = e.Feed.Static(), true
		}
		if s.Static <= 0 {
			return
		}
		s.Track, s.RunFrom = true, end
		s.Unrested.Top, s.Unrested.Low = 0, 0
		s.Unrested.Even.begin(e.Struck)
		s.Sum, s.N, s.Slots, s.Done = 0, 0, 0, drawn{}
		e.headerBegins(end)
		e.upstream(end)
	} else if s.Track {
		s.Slots++
		s.Unrested.swing(&e.Inlet, s.Slots)
		if e.Act.Teeth+e.Act.Strokes > 0 {
			s.Done = drawn{s.Sum, s.N, s.Slots, end, e.Hdr.RunSum, e.Hdr.RunN}
		}
		e.upstream(end)
	}
}

// stroking tells whether a stroke ended in the slot or, where strokes take longer than one,
// within the usual time of a stroke.
func (e *Engine) stroking(end station.Instant) bool {
	return e.Act.Teeth+e.Act.Strokes > 0 || end.Sub(max(e.Fuse.LastAt, e.Act.LastTooth)) <= e.usualInterval()
}

// upstream adds the header's pressure for the slot that begins, where it has a sensor.
func (e *Engine) upstream(end station.Instant) {
	h := &e.Hdr
	if _, ok := e.headerNow(end); ok {
		h.RunSum += h.Mean
		h.RunN++
	}
}

func (e *Engine) endRun(end station.Instant) {
	s := &e.Supply
	s.Track = false
	d := &s.Done
	if d.Slots < 3 || d.N == 0 {
		if s.SagWeight > 0 { // too short for the sag, but its strokes have passed air
			e.estimateSupply(end)
			e.estimateLine(end)
		}
		return
	}
	seconds := float64(d.At.Sub(s.RunFrom)) * 1e-9
	dynamic := d.Sum / float64(d.N)
	sag := (s.Static - dynamic) / s.Static
	if d.HeadN < d.Slots*3/4 && !e.unrestedRun(dynamic) {
		e.estimateSupply(end)
		return
	}
	keep := keepOver(seconds, s.SagWeight)
	s.SagSum, s.SagWeight = s.SagSum*keep+sag*seconds, s.SagWeight*keep+seconds
	s.Rested *= keep
	if s.RefRest || d.HeadN > 0 {
		s.Rested += seconds
	}
	e.headerRun(dynamic, seconds, d.At)
	e.estimateSupply(end)
	e.estimateLine(end)
}

// keepOver gives the share of the past that is kept after a run of some seconds.
func keepOver(seconds, weight float64) float64 {
	keep := math.Pow(forget, seconds)
	if weight > 60 { // forget over about half an hour of running
		keep = max(keep, 1-seconds/1800)
	}
	return keep
}

func (e *Engine) estimateSupply(at station.Instant) {
	s := &e.Supply
	if s.SagWeight == 0 {
		e.Est[station.SupplySag] = station.Unknown(restedNot)
		return
	}
	conf := 0.4 + 0.4*s.Rested/s.SagWeight
	e.Est[station.SupplySag] = station.Estimate{Value: s.SagSum / s.SagWeight, Method: station.MethodTraces, Confidence: conf, At: at}
}
