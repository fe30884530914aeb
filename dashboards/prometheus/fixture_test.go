package prometheus

import (
	"math"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// noon is the event time of the fixtures.
var noon = station.InstantOf(time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC))

func known(v float64) station.Estimate {
	return station.Estimate{Value: v, Method: station.MethodTraces, Confidence: 0.9, At: noon}
}

// press is a station with every figure known and two alarms.
func press() board.Station {
	s := board.Station{
		Plate: station.Plate{Key: station.Key{Site: "northdock", Station: "press-4"}, Branch: "forming", SweptDrive: 0.19e-3, SweptBoost: 0.18e-3},
		Status: station.Status{At: noon, State: station.Stroking, Since: noon - 100e9,
			Inlet: known(594e3), Outlet: known(880e3), StrokeRate: known(1.25), OutletLastSeen: 880e3,
			Estimates: station.Estimates{station.LeakFlow: known(0.3e-3), station.LeakConductance: known(4e-10), station.SupplySag: known(0.12),
				station.SupplyConductance: known(2e-8), station.StoredEnergy: known(21e3), station.StrokeUnevenness: known(0.12), station.Pulsation: known(0.004), station.VolumetricEfficiency: known(0.9),
				station.InternalLeak: known(0.1e-3), station.HeaderSag: known(0.04), station.LineSag: known(0.08), station.HeaderStatic: known(640e3),
				station.SupplyChange: known(-0.2), station.EfficiencyChange: known(-0.05), station.ReachablePressure: known(1190e3), station.InletOverDelivered: known(2.1), station.MeterRatio: known(1.03),
				station.TankVolume: known(0.031), station.Load: known(0.6), station.FreeCapacity: known(2e-3), station.StartsHour: known(40),
				station.StrokeTimeChange: known(0.07), station.CyclesSinceOverhaul: known(61728), station.SetShift: known(-12e3),
				station.InletZero: known(1.5e3), station.OutletZero: known(-0.8e3), station.InletNoise: known(450), station.OutletNoise: known(500), station.CountMismatch: known(-0.01)}},
		Totals: board.Totals{Strokes: 123456, Inlet: 2e12, Exhaust: 1.25e12, Delivered: 0.75e12},
		Since: board.Since{Leak: 36e9, LeakNs: 3600e9, InletLow: 1.9e12, InletHigh: 2.1e12, ExhaustLow: 1.2e12, ExhaustHigh: 1.3e12,
			DeliveredLow: 0.7e12, DeliveredHigh: 0.8e12, Bands: true},
		Newest: noon + 2e9,
		LagNs:  2.5e9, OffsetNs: 0.25e9, Late: 3, Duplicate: 7, ClockSteps: 1, Gaps: 2,
	}
	leak := &s.Status.Estimates[station.LeakFlow]
	leak.Low, leak.High = 0.25e-3, 0.36e-3
	s.Costs = cost.Account{{Currency: "", Minutes: 3, Energy: 4e9}, {Currency: "EUR", Minutes: 900, Inlet: 2e12, Energy: 860e9, Money: 43_000_000, CarbonMinutes: 900, Carbon: 72e9}}
	for i := range s.Totals.StateNs {
		s.Totals.StateNs[i] = int64(i) * 1e12
	}
	s.Today[station.Stroking], s.Today[station.Holding] = 3e12, 1e12
	s.Alarms = []board.Alarm{
		{State: rules.Unacknowledged, Transition: rules.Transition{Alarm: rules.OutletLeak, Priority: rules.Medium}},
		{State: rules.ReturnedUnacknowledged, Transition: rules.Transition{Alarm: rules.SupplyUndersized, Priority: rules.Finding}},
	}
	return s
}

// unheard is a station of which nothing is known yet.
func unheard() board.Station {
	return board.Station{
		Plate: station.Plate{Key: station.Key{Site: "southdock", Station: "new"}},
		Status: station.Status{StateReason: station.StateReason{Is: station.NoSamples}, Inlet: station.Unknown("no samples yet"),
			Outlet: station.Unknown("no samples yet"), StrokeRate: station.Unknown("no samples yet")},
	}
}

// quiet is press after its sensors fell silent, at another site.
func quiet() board.Station {
	s := press()
	s.Plate.Key = station.Key{Site: "southdock", Station: `odd "name"\`}
	s.Status.State = station.Residual
	s.Status.Estimates[station.LeakFlow] = known(math.NaN())
	s.Alarms, s.SilentSince = nil, noon
	return s
}

func figures() board.Pipeline {
	return board.Pipeline{Connected: true, Reconnects: 2, Messages: 1000, Brokers: []board.Broker{{Name: "main", Connected: true, Reconnects: 2, Messages: 1000}, {Name: "south", Messages: 0}}, Samples: 99000,
		Refused: map[string]int64{"malformed": 4, "future": 1}, Queue: 12, QueueCap: 4096,
		LogEntries: 500, LogSeconds: 0.02, LogBytes: 1 << 20, LogMaxBytes: 1 << 30, Evidence: board.Evidence{Reach: 86400, Lasts: 111600, DroppedEarly: 1373, Lost: 1}, Behind: [station.Partitions]uint64{3: 17},
		Commits: 40, CommitSum: 0.3, CommitSeconds: 0.0125, CommitAge: 0.5, SnapshotAge: 30,
		OutboxPending: map[string]int64{"crew": 1}, Delivered: map[string]int64{"crew": 5}, DeliverFailed: map[string]int64{"crew": 2},
		OutboxAge: map[string]float64{"on-call": 12.5}, Withheld: map[string]int64{"crew": 7},
		Reloads: &board.Reloads{At: noon - 60e9, Taken: 2, Refused: 1}, RefusedRatio: 0.005, AnswerAge: map[string]float64{"log": 1.5, "outbox": 2.5}, Ready: false,
		Parts:  []board.Part{{Name: "receiver-crew", Level: "fails", Reason: "away", Since: noon}, {Name: "evidence", Level: "doubtful", Since: noon}, {Name: "writer-3", Level: "works", Since: noon - 3600e9}},
		Export: &board.Export{Pending: 12, Age: 90, Points: 5000, Failed: 3, Dropped: map[string]int64{"refused": 1, "expired": 0, "gone": 0}}}
}

func options() Options {
	b := board.New()
	b.Put(press())
	b.Put(unheard())
	b.Put(quiet())
	b.SetReady(true)
	return Options{Board: b, Pipeline: figures, Version: "1.2.3",
		References: map[string]station.Reference{"southdock": station.Normal},
		Tariffs:    map[string]*cost.Tariffs{"northdock": {List: []cost.Tariff{{From: cost.Always, Rates: cost.Rates{Energy: 432e6, Price: 18e7, Currency: "EUR"}}, {From: noon, Rates: cost.Rates{Energy: 432e6, Price: 17e7, Currency: "CHF", Carbon: 3e8}}}}}}
}
