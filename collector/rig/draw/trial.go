package draw

import (
	"strokewise/collector/rig"
	"strokewise/collector/rig/model"
)

// trial is what a station can do at full speed, with its outlet kept just below set.
type trial struct {
	flow float64 // m³/s ANR that it delivers, with its second booster
	rate float64 // strokes a second of the first
	sag  float64 // of the inlet below the header, as a share of the header's gauge pressure
}

// A trial lets a station settle, then measures.
const (
	settle, measure = 8, 12 // s
	triedTank       = 3.0   // m³: its pressure hardly moves in that time
	triedAt         = 0.97  // of set
	fixedAt         = 0.8   // of where the forces balance, without a governor: there it delivers nothing
	triedEvery      = 50e-3 // s at which the inlet is looked at
)

// try runs a station at full speed on the header's lowest pressure, iced as much as it can be.
func try(s *rig.Spec) trial {
	p, at := s.Params, triedAt
	if p.Governor.Without {
		at = fixedAt
	}
	p.Supply.HeaderGauge, p.Supply.Header = lowest(&p.Supply), model.Header{}
	p.Governor.Without, p.Relief.SetGauge, p.Demand = true, 0, model.Demand{}
	p.Tank = model.Tank{Volume: triedTank, Thermal: 1}
	p.Drive.Exhaust.C *= 1 - p.Drive.Ice.Depth
	p.Drive.Ice = model.Ice{}
	m := model.New(s.Geometry, p, at*p.Governor.SetGauge)
	m.Advance(settle)
	b, sum, n := m.Totals(), 0.0, 0.0
	for m.State.Time < settle+measure {
		m.Advance(m.State.Time + triedEvery)
		sum, n = sum+m.Inlet(), n+1
	}
	e := m.Totals()
	took := m.State.Time - settle
	return trial{
		flow: (e.Delivered - b.Delivered) * 1e-3 / took, rate: float64(e.Strokes-b.Strokes) / took,
		sag: 1 - sum/n/p.Supply.HeaderGauge,
	}
}
