package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

const (
	meterWindow  = 60.0                      // s over which metered and computed air are compared; own choice: some dozen strokes
	meterHold    = 5 * station.Second        // age of a reading that still counts; own choice: some readings of a slow meter
	meterStrokes = 4                         // fewest of a window; own choice: meterEdge is a tenth of them
	meterLeast   = 5                         // windows before a calibration is used; own choice, no source
	meterEdge    = 0.4                       // strokes by which a window's count errs: sqrt(2/12), two uniform cuts (by definition)
	meterOwn     = 0.02                      // 90 % band of the meter itself (common practice, no source)
	meterPause   = 60 * station.Minute60     // without readings after which a meter is another loan; own choice
	meterLong    = 8 * 60 * station.Minute60 // of a loan that is taken as one calibration; own choice: a shift
	rangeP       = 0.05                      // share by which pressures may leave the calibrated range; own choice, no source
	rangeT       = 1.4                       // factor by which the stroke time may; own choice, no source
	etaDrift     = 0.10                      // change of the volumetric efficiency that ends a calibration; own choice, no source
)

// meter compares the inlet air that a flow meter reads, lent for a while, with what strokes
// draw by the plate, in windows of a minute:
//
//	metered - k m_b - m_d(force balance) = drag X_0 + back X_1 + restart X_2
//
// where X are the strokes' air.StrokeAir.Above. That is linear in the three shares of
// air.DriveLaw: their usual values are the prior, each window moves them by its weight
// (Bayesian linear regression), and what a short loan cannot tell stays usual. Fields are
// exported for snapshots only.
type meter struct {
	Flow   float64         // m³/s ANR, newest reading
	FlowAt station.Instant // 0: never
	Now    meterSums       // of the present window
	Gaps   bool            // the meter was silent in the window, or it teaches nothing

	From, At  station.Instant // of the loan
	Windows   int
	Metered   float64 // litres ANR
	Computed  float64 // by plate data and recharges
	Precision [3][3]float64
	Moment    [3]float64
	Eta       float64     // share of the assumed efficiency in the loan
	Seen      meterRanges // of the loan
	Used      meterRanges // of the calibration in use
}

// meterSums are sums over a window: s, m³ and litres ANR.
type meterSums struct {
	Seconds, Flow                float64
	Strokes, Plain, Least, Inlet float64
	Above                        [3]float64
	P1, P2, Took, Timed          float64
}

// meterRanges are the lowest and highest means over windows: p1, p2 (Pa abs), stroke time (s).
type meterRanges struct{ Low, High [3]float64 }

// read takes the readings of a slot, m³/s ANR, the newest at a time.
func (m *meter) read(flow []float64, at station.Instant) {
	sum := 0.0
	for _, q := range flow {
		sum += q
	}
	m.Flow, m.FlowAt = sum/float64(len(flow)), at
}

// stroke adds a stroke to the present window.
func (m *meter) stroke(s *air.StrokeAir, p1, p2 station.Absolute, took float64) {
	n := &m.Now
	n.Strokes++
	n.Plain += s.Plain
	n.Least += s.Least
	n.Inlet += s.Inlet.Value
	for i := range s.Above {
		n.Above[i] += s.Above[i]
	}
	n.P1 += float64(p1)
	n.P2 += float64(p2)
	if took > 0 && took < 10 {
		n.Took += took
		n.Timed++
	}
}

// watchMeter adds the slot that ended.
func (e *Engine) watchMeter(end station.Instant) {
	m := &e.Meter
	switch e.State.Current {
	case station.Holding, station.Stroking:
	case station.Charging, station.Starved, station.Residual:
		m.Gaps = true // what the strokes draw is not all that is drawn, but they tell where it works
	default:
		m.Now, m.Gaps = meterSums{}, false
		return
	}
	m.Gaps = m.Gaps || e.passing()
	n := &m.Now
	dt := float64(slotLen) * 1e-9
	n.Seconds += dt
	n.Flow += m.Flow * dt
	if m.FlowAt == 0 || end.Sub(m.FlowAt) > meterHold {
		m.Gaps = true
	}
	rests := end.Sub(e.Act.LastWork) > station.Second
	if n.Seconds < meterWindow || !rests && n.Seconds < 1.5*meterWindow {
		return
	}
	if n.Strokes >= meterStrokes {
		if !m.Gaps {
			e.compare(end)
		}
		e.drift()
	}
	m.Now, m.Gaps = meterSums{}, false
}

// compare learns from a window.
func (e *Engine) compare(at station.Instant) {
	m, n := &e.Meter, &e.Meter.Now
	if m.Windows == 0 || at.Sub(m.At) > meterPause || at.Sub(m.From) > meterLong {
		m.lend(at.Add(-int64(n.Seconds * 1e9)))
	}
	k := 1.0
	if eta := e.Air.Known.Eta; eta > 0 {
		k = eta
	}
	m.At, m.Eta = at, k
	metered := n.Flow * 1e3
	m.Windows++
	m.Metered += metered
	plain := air.UsualDrive
	m.Computed += k*n.Plain + n.Least + plain[0]*n.Above[0] + plain[1]*n.Above[1] + plain[2]*n.Above[2]
	y := metered - k*n.Plain - n.Least
	noise := math.Hypot(0.01*metered, meterEdge*metered/n.Strokes)
	for i := range n.Above {
		for j := range n.Above {
			m.Precision[i][j] += n.Above[i] * n.Above[j] / (noise * noise)
		}
		m.Moment[i] += n.Above[i] * y / (noise * noise)
	}
	m.Seen.add(n.point(), m.Windows == 1)
	if m.Windows >= meterLeast {
		e.calibrate()
	}
}

// lend begins a calibration: nothing is known but the usual law.
func (m *meter) lend(from station.Instant) {
	m.From, m.Windows, m.Metered, m.Computed = from, 0, 0, 0
	m.Precision, m.Moment = [3][3]float64{}, [3]float64{}
	for i := range m.Moment {
		m.Precision[i][i] = 1 / (air.DriveSpread * air.DriveSpread)
		m.Moment[i] = air.UsualDrive[i] * m.Precision[i][i]
	}
}

// point gives where the window worked.
func (n *meterSums) point() [3]float64 {
	return [3]float64{n.P1 / n.Strokes, n.P2 / n.Strokes, n.Took / max(1, n.Timed)}
}

func (r *meterRanges) add(p [3]float64, first bool) {
	for i, x := range p {
		if first || x < r.Low[i] {
			r.Low[i] = x
		}
		if first || x > r.High[i] {
			r.High[i] = x
		}
	}
}

// calibrate puts in force what the loan has taught so far.
func (e *Engine) calibrate() {
	m, k := &e.Meter, &e.Air.Known
	inv, ok := invert3(m.Precision)
	if !ok {
		return
	}
	k.Metered, k.Away, k.Spread, k.MeterEta, k.MeterBand = true, false, inv, m.Eta, meterOwn
	for i := range k.Drive {
		k.Drive[i] = inv[i][0]*m.Moment[0] + inv[i][1]*m.Moment[1] + inv[i][2]*m.Moment[2]
	}
	m.Used = m.Seen
	ratio := m.Metered / m.Computed
	half := ratio * math.Hypot(meterOwn, 1.645*meterEdge/max(1, e.Air.N))
	e.Est[station.MeterRatio] = station.Estimate{Value: ratio, Low: ratio - half, High: ratio + half, Method: station.MethodMeter, Confidence: 0.9, From: m.From, At: m.At}
}

// drift tells whether the station still works where the meter has seen it.
func (e *Engine) drift() {
	m, k := &e.Meter, &e.Air.Known
	if !k.Metered {
		return
	}
	p := m.Now.point()
	why := ""
	for i, x := range p {
		low, high := m.Used.Low[i]*(1-rangeP), m.Used.High[i]*(1+rangeP)
		if i == 2 {
			low, high = m.Used.Low[i]/rangeT, m.Used.High[i]*rangeT
		}
		if x < low || x > high {
			why = [...]string{"its inlet pressure", "its outlet pressure", "the time of its strokes"}[i]
			break
		}
	}
	if k.Eta > 0 && math.Abs(k.Eta/k.MeterEta-1) > etaDrift {
		why = "its volumetric efficiency"
	}
	k.Away = why != ""
	g := &e.Est[station.MeterRatio]
	switch {
	case k.Away:
		*g = station.Unknown("the station has drifted from the calibration of " + m.At.Floor(station.Second).String() + " by a flow meter: " + why + " is outside what was seen then")
	case !g.Known():
		e.calibrate()
	}
}

// invert3 gives the inverse of a symmetric positive definite matrix.
func invert3(a [3][3]float64) (inv [3][3]float64, ok bool) {
	c := func(i, j int) float64 {
		i1, i2, j1, j2 := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return a[i1][j1]*a[i2][j2] - a[i1][j2]*a[i2][j1]
	}
	det := a[0][0]*c(0, 0) + a[0][1]*c(0, 1) + a[0][2]*c(0, 2)
	if !(det > 0) {
		return inv, false
	}
	for i := range 3 {
		for j := range 3 {
			inv[i][j] = c(j, i) / det
		}
	}
	return inv, true
}
