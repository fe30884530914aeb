package rules

import (
	"math"

	"strokewise/analyzer/station"
)

const (
	needOfSet    = 0.95 // share of set that is needed where the plate does not say
	leastOfSet   = 0.85 // share of set below which the outlet is low where the plate does not say (own choice)
	headerMargin = 1.1  // over what the forces need at least, for friction and flow (no source)
)

// fillSupply takes what the branch needs of the outlet and the header, and what the supply
// line has lost. Plate and figures are in q already. Where the plate states no pressure, set is what the outlet was seen to
// reach. That was reached against friction and flow, so the header needs no margin for these; with one a booster
// without a governor, whose outlet stands where the forces balance, would lack header at its best.
func fillSupply(s *station.Status, q *values, p *station.Plate) {
	q[qNeeded] = q[qRequired]
	if math.IsNaN(q[qNeeded]) {
		q[qNeeded] = needOfSet * q[qSet]
	}
	if q[qLeast] = q[qRequired]; math.IsNaN(q[qLeast]) {
		q[qLeast] = leastOfSet * q[qSet]
	}
	q[qHeaderNeeded] = float64(p.StallInlet(station.Gauge(q[qNeeded])))
	if p.Set > 0 || p.Required > 0 {
		q[qHeaderNeeded] *= headerMargin
	}
	e := &s.Estimates
	static := q[figureQuantity[station.HeaderStatic]]
	q[qHeaderLow] = nan
	if d := q[qHeaderNeeded] - static; !math.IsNaN(d) {
		q[qHeaderLow] = truth(d > 0)
	}
	pipe, usual := 1-q[qConductance]/value(&e[station.PipeConductance]), -value(&e[station.SupplyChange])
	q[qRestriction] = pipe
	if math.IsNaN(pipe) || usual > pipe {
		q[qRestriction] = usual
	}
}
