package engine

import (
	"math"

	"strokewise/analyzer/air"
	"strokewise/analyzer/station"
)

// delivery is what the quiet rounds say together.
type delivery struct {
	Air            float64 // m³ ANR of a tank of 1 m³
	Rise, Lost     float64 // of it the rise, and m³ s ANR of a leak: Air = Rise + rate Lost
	Strokes        float64
	Plain, Swept   float64 // m³ ANR
	Ratio          float64 // mean (p2/p1)^(1/kappa) - 1
	Rounds, Chains float64
	Band           float64 // relative half-width of its 90 % band, without the tank's
	From, At       station.Instant
}

// judgeQuiet looks at all rounds of late and takes what they agree on.
func (e *Engine) judgeQuiet(at station.Instant) {
	r := &e.Recharge
	rate, half, ok := r.Cooling.Told()
	if !ok || half > surely*rate {
		return
	}
	var buf [mostQuiet]quietRound
	rounds := r.groups(&buf, rate)
	doubt := e.cutDoubt()
	if n := newLevel(rounds, doubt); n > 0 {
		r.hold(together(rounds[:len(rounds)-n]), e.tank())
		rounds = rounds[len(rounds)-n:]
		r.forget(rounds)
	}
	sortOut(rounds, doubt)
	d := together(rounds)
	if d.Rounds < leastQuiet || d.Strokes < leastRecharge || d.Air <= 0 {
		return
	}
	if 2*d.Rounds < float64(len(rounds)) {
		return // not quiet: no two of them agree
	}
	d.At = at
	d.Band = math.Hypot(math.Hypot(d.Band, warmBand), r.Cooling.Doubt()/rate) // in quiet time nearly all is made up for the leak
	e.takeDelivery(&d)
	if q := &rounds[len(rounds)-1]; !q.Out {
		r.Line.add(q.Ratio, q.Air/q.Swept, q.Strokes)
		e.deadVolume(at)
	}
}

// together sums up the rounds that agree. The band: strokes cut at the ends of each chain, and
// the scatter of the rounds.
func together(rounds []quietRound) delivery {
	var d delivery
	for i := range rounds {
		q := &rounds[i]
		if q.Out {
			continue
		}
		if d.Rounds == 0 {
			d.From = q.At
		}
		if i == 0 || !q.Chained || rounds[i-1].Out {
			d.Chains++
		}
		d.Air, d.Strokes, d.Plain, d.Swept = d.Air+q.Air, d.Strokes+q.Strokes, d.Plain+q.Plain, d.Swept+q.Swept
		d.Rise, d.Lost = d.Rise+q.Rise, d.Lost+q.Lost
		d.Ratio += (q.Ratio - d.Ratio) * q.Strokes / d.Strokes
		d.Rounds++
	}
	if d.Strokes == 0 || d.Air <= 0 {
		return d
	}
	left := 0.0
	for i := range rounds {
		if q := &rounds[i]; !q.Out {
			x := q.Air/d.Air*d.Strokes - q.Strokes
			left += x * x
		}
	}
	cut := cutStroke * math.Sqrt(2*d.Chains)
	left = max(0, left-2*cutStroke*cutStroke*d.Rounds) // cuts within a chain cancel in the sum
	d.Band = z90 * math.Hypot(cut, math.Sqrt(left)) / d.Strokes
	return d
}

// takeDelivery takes what a stroke delivers, and with it the volumetric efficiency or, where
// the plate does not know it, the tank.
func (e *Engine) takeDelivery(d *delivery) {
	r, k := &e.Recharge, &e.Air.Known
	e.Basis.Quiet, e.Basis.Tank = *d, 0
	model := air.EfficiencyBand(d.Plain/d.Swept, d.Ratio)
	tank, band, conf := e.Plate.TankVolume, station.TankBand, 0.8
	byModel := d.Plain / d.Air // m³: the tank that the assumed efficiency asks for
	learned := station.Estimate{Value: byModel, Method: station.MethodRecharge, Confidence: 0.6, From: d.From, At: d.At}
	learned.Low, learned.High = within(byModel, math.Hypot(model, d.Band))
	e.Est[station.TankVolume] = learned
	if tank <= 0 {
		if r.TankRef == 0 && d.Band < 0.08 {
			r.TankRef = byModel
		}
		if tank, band, conf = r.TankRef, model, 0.3; tank == 0 {
			return
		}
	}
	e.Basis.Tank = tank
	band = math.Hypot(band, d.Band)
	r.Share = tank * d.Air / d.Plain
	if k.Eta, k.EtaBand = weigh(r.Share, band, model); r.Scale > 0 {
		k.Eta, k.EtaBand = r.Scale*r.Share, math.Hypot(d.Band, model)
	}
	k.EtaLoss = air.SuctionLoss(d.Plain/d.Swept, d.Ratio)
	if r.Base.put(tank*d.Air/d.Plain, d.At, 3*station.Minute60) {
		if x, ok := r.Base.change(); ok {
			e.Est[station.EfficiencyChange] = station.Estimate{Value: x, Method: station.MethodTrend, Confidence: 0.6, At: d.At}
		}
	}
	set := func(f station.Figure, v float64) {
		g := station.Estimate{Value: v, Method: station.MethodRecharge, Confidence: conf, From: d.From, At: d.At}
		g.Low, g.High = within(v, band)
		e.Est[f] = g
	}
	t := e.airTemperature()
	set(station.StrokeDelivery, tank*d.Air/d.Strokes*t.Density())
	e.Est[station.StrokeDelivery] = widened(e.Est[station.StrokeDelivery], t, 1)
	set(station.VolumetricEfficiency, tank*d.Air/d.Swept)
}

// hold notes, before the groups of the level so far are dropped, what their share was taken as.
func (r *recharge) hold(d delivery, tank float64) {
	share := tank * d.Air / d.Plain
	if r.Scale > 0 || !(share > 0) {
		return
	}
	eta, _ := weigh(share, math.Hypot(station.TankBand, d.Band), air.EfficiencyBand(d.Plain/d.Swept, d.Ratio))
	r.Scale = eta / share
}

// warmBand is the half-width of the 90 % band by the warmth of the tank's wall (virtual stations).
const warmBand = 0.03

// surely is the share of the leak's rate that its band may take for the rounds to count.
const surely = 0.10

// weigh joins the measured share of the assumed efficiency, with the half-width of its band, with the
// assumption, 1, by inverse variance. Of an honest booster the assumption is rarely wrong by more than
// its band; of a worn one it is by any amount. So what the two differ by beyond the measurement's
// own error is taken for the assumption's.
func weigh(measured, band, model float64) (eta, joined float64) {
	off, b, m := measured-1, band/z90, model/z90
	v := m*m + max(0, off*off-b*b-m*m)
	w := v / (v + b*b)
	return 1 + w*off, z90 * math.Sqrt(w) * b
}

// z90 is the half-width of a normal distribution's 90 % interval, standard deviations.
const z90 = 1.645

func within(v, band float64) (low, high float64) { return v * (1 - band), v * (1 + band) }

// ratioLine is a weighted least-squares line of volumetric efficiency over
// (p2/p1)^(1/kappa) - 1. Fields are exported for snapshots only.
type ratioLine struct{ N, W, F, E, FF, FE, EE float64 }

const (
	lineForget = 1 - 1.0/500 // of the past at each round
	lineSpan   = 0.12        // standard deviation of the pressure term below which no slope shows
	lineRounds = 20
	lineSure   = 0.05 // half-width of the dead volume's band above which it is not told
)

// add handles a round's efficiency; a count of strokes is off by about one whatever it is, so
// the weight is its square.
func (l *ratioLine) add(f, eta, strokes float64) {
	w := strokes * strokes
	for _, x := range [...]*float64{&l.N, &l.W, &l.F, &l.E, &l.FF, &l.FE, &l.EE} {
		*x *= lineForget
	}
	l.N++
	l.W, l.F, l.E = l.W+w, l.F+w*f, l.E+w*eta
	l.FF, l.FE, l.EE = l.FF+w*f*f, l.FE+w*f*eta, l.EE+w*eta*eta
}

// slope gives minus the slope, the loss at no pressure ratio, the half-width of the slope's
// 90 % band, and whether the pressure ratios differ enough.
func (l *ratioLine) slope() (c, loss, half float64, ok bool) {
	if l.N < lineRounds || l.W <= 0 {
		return 0, 0, 0, false
	}
	mf, me := l.F/l.W, l.E/l.W
	vf, vfe, ve := l.FF/l.W-mf*mf, l.FE/l.W-mf*me, l.EE/l.W-me*me
	if vf < lineSpan*lineSpan {
		return 0, 0, 0, false
	}
	c = -vfe / vf
	left := max(0, ve-vfe*vfe/vf)
	return c, 1 - me - c*mf, z90 * math.Sqrt(left/vf/(l.N-2)), true
}

// deadVolume fits dead volume and loss in eta = 1 - c((p2/p1)^(1/kappa) - 1) - loss.
func (e *Engine) deadVolume(at station.Instant) {
	tank := e.Plate.TankVolume
	if tank <= 0 {
		e.Est[station.DeadVolume] = station.Unknown("needs the tank volume")
		return
	}
	c, _, half, ok := e.Recharge.Line.slope()
	c, half = c*tank, math.Hypot(half, station.TankBand*c)*tank
	switch {
	case !ok:
		e.Est[station.DeadVolume] = station.Unknown("needs quiet recharges at clearly different ratios of outlet to inlet pressure")
	case half > lineSure || c < -half:
		e.Est[station.DeadVolume] = station.Unknown("quiet recharges at different pressure ratios do not agree on it yet")
	default:
		e.Est[station.DeadVolume] = station.Estimate{Value: max(0, c), Low: max(0, c-half), High: max(0, c+half), Method: station.MethodRecharge, Confidence: 0.6, At: at}
	}
}
