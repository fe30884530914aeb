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

	Track   bool // a run is being measured
	RunFrom station.Instant
	Ref     float64 // upstream pressure of the run, Pa abs
	RefRest bool    // Ref is the resting pressure, else the peak
	Ambient float64 // Pa abs
	Sum     float64 // of inlet samples, Pa gauge
	F       float64 // of the ISO 6358 flow function over the samples
	N       int
	Slots   int
	Air     station.Microlitres // inlet air of the run's strokes

	SagSum, SagWeight float64
	AirSum, FTime     float64 // m³ ANR; Pa s
	Rested            float64 // share of the weight that had a resting pressure
}

// sample takes one inlet sample, Pa gauge.
func (s *supply) sample(x float64) {
	if low := math.Min(x, s.Prev); low > s.Peak {
		s.Peak = low
	}
	s.Prev = x
	if !s.Track {
		return
	}
	s.Sum += x
	s.N++
	if r := (x + s.Ambient) / s.Ref; r < 1 {
		if r <= assumedB {
			s.F++
		} else {
			y := (r - assumedB) / (1 - assumedB)
			s.F += math.Sqrt(1 - y*y)
		}
	}
}

// learn updates what the slot teaches: resting pressure, set pressure, sag and
// conductance of the supply, leak.
func (e *Engine) learn(start, end station.Instant) {
	s := &e.Supply
	if e.Inlet.N > 0 {
		s.Peak -= (s.Peak - e.Inlet.Mean) * float64(slotLen) / float64(24*60*station.Minute60)
	}
	e.learnRest(end)
	e.measureRun(start, end)
	e.learnSet()
	e.watchLeak(start, end)
	e.watchRecharge(end)
	e.watchMeter(end)
	e.watchRounds(end)
	e.ripple(end, e.working(end))
}

// learnRest follows the resting inlet pressure while the piston stands and the inlet is
// steady.
func (e *Engine) learnRest(end station.Instant) {
	s := &e.Supply
	if e.Inlet.N == 0 || e.State.ShutdownAt != 0 || end.Sub(max(e.Act.LastWork, e.Act.LastTooth)) < e.standsAfter() {
		return
	}
	noise, m := e.Ends.In.NoiseRaw, e.Inlet.Mean
	steady := e.Inlet.High-e.Inlet.Low < math.Max(8*noise, 0.003*m) &&
		math.Abs(m-e.Inlet.Before) < math.Max(4*noise/math.Sqrt(float64(e.Inlet.N)), 0.001*m)
	if !steady || m < 30e3 || e.State.LowSince != 0 {
		return
	}
	if s.Rest == 0 {
		s.Rest = m
	}
	s.Rest += 0.2 * (m - s.Rest)
	s.RestAt = end
}

// standsAfter gives how long, ns, after its last stroke the piston may be taken to stand.
func (e *Engine) standsAfter() int64 {
	return max(station.Second, e.Fuse.Interval.Quartile()*3/2)
}

// learnSet takes the highest outlet at the end of runs as the set pressure where the
// plate gives none.
func (e *Engine) learnSet() {
	if e.Plate.Set > 0 || e.Outlet.N == 0 {
		return
	}
	st := &e.State
	if st.Current.Working() {
		st.TopOutlet = math.Max(st.TopOutlet, e.Outlet.Mean)
		return
	}
	if st.Current == station.Holding && st.TopOutlet > 0 {
		if e.Supply.LearnedSet == 0 {
			e.Supply.LearnedSet = st.TopOutlet
		}
		e.Supply.LearnedSet += 0.3 * (st.TopOutlet - e.Supply.LearnedSet)
		st.TopOutlet = 0
		e.Est[station.SetPressure] = station.Estimate{Value: e.Supply.LearnedSet, Method: station.MethodTraces, Confidence: 0.6, At: e.Outlet.Last}
	}
}

// measureRun measures sag and conductance over stretches in which the piston strokes
// against a raised outlet. The flow function is averaged sample by sample, since the
// gulps of the strokes make the mean pressure understate the flow.
func (e *Engine) measureRun(start, end station.Instant) {
	s := &e.Supply
	amb := float64(e.Plate.AmbientPressure())
	in := e.State.Current == station.Stroking && e.working(end) && e.Act.Teeth+e.Act.Strokes > 0 &&
		e.Outlet.Mean+amb > 1.1*(e.Inlet.Mean+amb)
	if s.Track && (!in || end.Sub(s.RunFrom) >= runSlice) {
		e.endRun(end)
	}
	if in && !s.Track {
		s.Ambient = amb
		s.RefRest = s.Rest > 0 && end.Sub(s.RestAt) <= restAge
		ref := s.Peak
		if s.RefRest {
			ref = s.Rest
		}
		if ref <= 0 {
			return
		}
		s.Track, s.RunFrom, s.Ref = true, end, ref+amb
		s.Sum, s.F, s.N, s.Slots, s.Air = 0, 0, 0, 0, 0
	} else if s.Track {
		s.Slots++
	}
}

func (e *Engine) endRun(end station.Instant) {
	s := &e.Supply
	s.Track = false
	if s.Slots < 3 || s.N == 0 {
		return
	}
	seconds := float64(end.Sub(s.RunFrom)) * 1e-9
	ref := s.Ref - s.Ambient
	sag := (ref - s.Sum/float64(s.N)) / ref
	keep := math.Pow(forget, seconds)
	if s.SagWeight > 60 { // forget over about half an hour of running
		keep = math.Max(keep, 1-seconds/1800)
	}
	s.SagSum, s.SagWeight = s.SagSum*keep+sag*seconds, s.SagWeight*keep+seconds
	s.Rested *= keep
	if s.RefRest {
		s.Rested += seconds
	}
	s.AirSum, s.FTime = s.AirSum*keep+s.Air.CubicMetres(), s.FTime*keep+s.F/float64(s.N)*seconds*s.Ref
	e.estimateSupply(end)
}

func (e *Engine) estimateSupply(at station.Instant) {
	s := &e.Supply
	conf := 0.4 + 0.4*s.Rested/s.SagWeight
	e.Est[station.SupplySag] = station.Estimate{Value: s.SagSum / s.SagWeight, Method: station.MethodTraces, Confidence: conf, At: at}
	switch {
	case e.Plate.SweptBoost <= 0 || e.Plate.SweptDrive <= 0:
		e.Est[station.SupplyConductance] = station.Unknown("needs bores and stroke, or swept volumes")
	case s.FTime <= 0 || s.AirSum <= 0:
		e.Est[station.SupplyConductance] = station.Unknown("no sag to measure it by")
	default:
		c := s.AirSum / s.FTime / math.Sqrt(1-assumedB)
		e.Est[station.SupplyConductance] = station.Estimate{Value: c, Low: 0.75 * c, High: 1.25 * c, Method: station.MethodTraces, Confidence: conf, At: at}
	}
}
