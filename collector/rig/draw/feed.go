package draw

import (
	"math"

	"strokewise/collector/rig/model"
)

// supply draws the line to the booster and the header's mean.
func (d *drawer) supply() {
	r, s := d.Rand, &d.Spec.Params.Supply
	s.Line.C *= lineShare.even(r) * (d.boost + d.drive) / 2
	s.Line.B = lineRatio.even(r)
	s.Volume *= lineVolume.even(r) * d.boost
	s.HeaderGauge = headerMean.even(r)
	if d.ratio > 3 {
		s.HeaderGauge = headerFour.even(r)
	}
}

// header draws how the header moves.
func (d *drawer) header() {
	r, mean := d.Rand, d.Spec.Params.Supply.HeaderGauge
	h := model.Header{Seed: r.Uint64(), Load: loading.even(r), NoiseLag: noiseLag.even(r), Hold: hold.even(r)}
	if d.calm {
		h.Band, h.Period, h.Noise = calmBand.even(r)*mean, calmPeriod.even(r), calmNoise.even(r)*mean
		h.Neighbours, h.Draw = r.IntN(3), calmDraw.even(r)*mean
	} else {
		h.Band, h.Period, h.Noise = restlessOf.even(r)*mean, quickPeriod.log(r), roughNoise.even(r)*mean
		h.Neighbours, h.Draw = 1+r.IntN(3), roughDraw.even(r)*mean
	}
	if s := h.Steepest(); s > steepest {
		h.Period *= s / steepest
	}
	h.Ramp = max(ramp.even(r), h.Draw/(steepest/2))
	d.Spec.Params.Supply.Header = h
}

// lowest returns the header's lowest pressure but for trips and rare noise, Pa gauge.
func lowest(s *model.Supply) float64 {
	h := &s.Header
	return s.HeaderGauge - h.Band/2 - 2*h.Noise - float64(h.Neighbours)*h.Draw
}

// narrow makes the supply line so narrow that at full speed the inlet sags as drawn.
func (d *drawer) narrow() {
	if d.line {
		return
	}
	line, want := &d.Spec.Params.Supply.Line, sagging.even(d.Rand)
	lo, hi := line.C/30, line.C
	for range 7 { // to 3 % of the conductance
		line.C = math.Sqrt(lo * hi)
		if try(&d.Spec).sag > want {
			lo = line.C
		} else {
			hi = line.C
		}
	}
}

// needed returns the header that the station needs by the alarm header-low, Pa gauge: 95 % of set
// over the ratio, and a tenth more.
func (d *drawer) needed() float64 { return 1.1 * 0.95 * d.Spec.Params.Governor.SetGauge / d.ratio }
