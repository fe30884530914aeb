package engine

import "strokewise/analyzer/station"

// keep moves what the air of a stroke was learned to be.
func (a *strokeAir) keep(k keeper, l *station.LearnedAir) {
	n := &a.Known
	if !k.back || l.Efficiency > 0 {
		keep(k, &n.Eta, &l.Efficiency)
		keep(k, &n.EtaBand, &l.EfficiencyBand)
		keep(k, &n.EtaLoss, &l.Loss)
	}
	if !k.back || l.Metered {
		keep(k, &n.Metered, &l.Metered)
		keepList(k, n.Drive[:], &l.Drive)
		keepSquare(k, &n.Spread, &l.Spread)
		keep(k, &n.MeterBand, &l.MeterBand)
		keep(k, &n.MeterEta, &l.MeterEta)
		keep(k, &n.Away, &l.Away)
	}
	if !k.back || l.Strokes > 0 {
		keep(k, &a.Boost, &l.Boost)
		keep(k, &a.Drive, &l.Exhaust)
		keep(k, &a.BoostBand, &l.BoostBand)
		keep(k, &a.DriveBand, &l.ExhaustBand)
		keep(k, &a.N, &l.Strokes)
	}
}

// keepSquare moves a matrix by rows. A list of another length is none.
func keepSquare(k keeper, mine *[3][3]float64, kept *[]float64) {
	if !k.back {
		*kept = append(append(append((*kept)[:0], mine[0][:]...), mine[1][:]...), mine[2][:]...)
		return
	}
	if len(*kept) == 9 {
		for i := range mine {
			copy(mine[i][:], (*kept)[3*i:])
		}
	}
}

// keep moves the last loan of a flow meter.
func (m *meter) keep(k keeper, l *station.LearnedMeter) {
	if k.back && l.Windows == 0 {
		return
	}
	keep(k, &m.From, &l.From)
	keep(k, &m.At, &l.At)
	keepCount(k, &m.Windows, &l.Windows)
	keep(k, &m.Metered, &l.Metered)
	keep(k, &m.Computed, &l.Computed)
	keepSquare(k, &m.Precision, &l.Precision)
	keepList(k, m.Moment[:], &l.Moment)
	keep(k, &m.Eta, &l.Efficiency)
	keepList(k, m.Seen.Low[:], &l.SeenLow)
	keepList(k, m.Seen.High[:], &l.SeenHigh)
	keepList(k, m.Used.Low[:], &l.UsedLow)
	keepList(k, m.Used.High[:], &l.UsedHigh)
}

// keep moves what quiet recharges have taught.
func (r *recharge) keep(k keeper, l *station.LearnedDelivery) {
	if !k.back || l.Tank > 0 {
		keep(k, &r.TankRef, &l.Tank)
	}
	if !k.back || l.Share > 0 {
		keep(k, &r.Share, &l.Share)
	}
	if !k.back || l.Scale > 0 {
		keep(k, &r.Scale, &l.Scale)
	}
	r.Base.keep(k, &l.Base)
	r.Line.keep(k, &l.Line)
	if c := &r.Cooling; !k.back || l.Stands > 0 {
		keepList(k, c.Left[:], &l.CoolLeft)
		keepList(k, c.Rate[:], &l.CoolRate)
		keepList(k, c.RateSq[:], &l.CoolRateSq)
		keep(k, &c.N, &l.Stands)
		keep(k, &c.Points, &l.CoolingTimes)
	}
}

// keep moves the sums of the line.
func (n *ratioLine) keep(k keeper, l *[]float64) {
	all := [...]*float64{&n.N, &n.W, &n.F, &n.E, &n.FF, &n.FE, &n.EE}
	if !k.back {
		*l = (*l)[:0]
		for _, x := range all {
			*l = append(*l, *x)
		}
		return
	}
	if len(*l) == len(all) && (*l)[0] > 0 {
		for i, x := range all {
			*x = (*l)[i]
		}
	}
}
