package web

import (
	"context"
	"errors"
	"math"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/live"
	"strokewise/rules"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func at(d time.Duration) station.Instant { return station.InstantOf(noon.Add(d)) }

func known(v float64, m station.Method) station.Estimate {
	return station.Estimate{Value: v, Method: m, Confidence: 0.9, At: at(0)}
}

// press strokes, with a leak and a sag that raised alarms.
func press() board.Station {
	s := board.Station{
		Plate: station.Plate{Key: station.Key{Site: "northdock", Station: "press-4"}, Branch: "forming"},
		Status: station.Status{At: at(-time.Second), State: station.Stroking, Since: at(-101 * time.Second),
			Inlet: known(594e3, station.MethodTraces), Outlet: known(880e3, station.MethodTraces),
			StrokeRate: known(1.25, station.MethodBoth), OutletLastSeen: 880e3,
			Estimates: station.Estimates{station.SupplySag: known(0.12, station.MethodTraces),
				station.LeakFlow: station.Estimate{Value: 0.3e-3, Low: 0.28e-3, High: 0.33e-3, Method: station.MethodDecay, At: at(0)}}},
	}
	s.Today[station.Stroking], s.Today[station.Holding] = 3e12, 1e12
	s.Alarms = []board.Alarm{
		{State: rules.ReturnedUnacknowledged, Transition: rules.Transition{Alarm: rules.SupplyUndersized, Priority: rules.Finding,
			Raised: at(-time.Hour), Message: "The inlet sags by 12 % of its resting pressure.", Caution: "Close the supply and vent both sides first."}},
		{State: rules.Unacknowledged, Transition: rules.Transition{Alarm: rules.OutletLeak, Priority: rules.Medium,
			Raised: at(-time.Minute), Message: "The outlet loses 18.0 L/min ANR (limit 15.0).", Caution: "Search with ultrasound or soap, never with hands."}},
	}
	return s
}

// standing holds without a leak that could be seen; its strokes are not visible.
func standing() board.Station {
	s := press()
	s.Plate.Key.Station, s.Alarms = "press-5", nil
	s.Status.State = station.Holding
	s.Status.StrokeRate = station.Unknown("strokes are not visible: no counter, and too few samples a second")
	s.Status.Estimates[station.LeakFlow] = station.Estimate{High: 0.02e-3, Method: station.MethodDecay, At: at(0)}
	s.Status.Estimates[station.SupplySag] = station.Unknown("the piston has not worked yet")
	return s
}

// shutDown is closed and still charged.
func shutDown() board.Station {
	s := press()
	s.Plate.Key.Station, s.Plate.Branch = "weld-1", "welding"
	s.Status.State, s.Status.Since, s.Status.StateReason = station.Residual, at(-3*time.Hour), station.StateReason{Is: station.SupplyClosed, By: station.ByValve}
	s.Status.Inlet, s.Status.StrokeRate = known(-40, station.MethodTraces), known(0, station.MethodTraces)
	s.Today = [station.NumStates]int64{}
	s.Alarms = []board.Alarm{{State: rules.Acknowledged, Transition: rules.Transition{Alarm: rules.PressureLeft, Priority: rules.High,
		Raised: at(-2 * time.Hour), Message: "The outlet still reads 880 kPa gauge.", Caution: rules.CautionStored}}}
	return s
}

// off is off without an alarm that would carry the caution.
func off() board.Station {
	s := shutDown()
	s.Plate.Key.Station, s.Alarms = "weld-2", nil
	s.AtWork = []rules.AtWork{{Who: "Ada", What: "regulator <diaphragm>", From: at(-time.Hour), Until: at(time.Hour)}, {Who: "Bea", What: "gauge", From: at(-time.Hour), Until: at(-time.Minute)}}
	s.Status.State, s.Status.Outlet = station.Off, known(1e3, station.MethodTraces)
	return s
}

// quiet fell silent while it stroked.
func quiet() board.Station {
	s := press()
	s.Plate.Key = station.Key{Site: "southdock", Station: "cnc-1"}
	s.Plate.Branch, s.Alarms, s.SilentSince = "", nil, at(-10*time.Minute)
	return s
}

// unheard is a station of which nothing came yet.
func unheard() board.Station {
	no := station.Unknown("no samples yet")
	return board.Station{
		Plate:  station.Plate{Key: station.Key{Site: "southdock", Station: "cnc-2"}},
		Status: station.Status{StateReason: station.StateReason{Is: station.NoSamples}, Inlet: no, Outlet: no, StrokeRate: no, OutletLastSeen: station.Gauge(math.NaN())},
	}
}

func fixture(stations ...board.Station) Options {
	b := board.New()
	for _, s := range stations {
		b.Put(s)
	}
	b.SetReady(true)
	return Options{Board: b, Live: traces(), Now: func() time.Time { return noon }, Version: "1.2.3", Hosts: []string{"Monitor.plant.example:8420"},
		Ready: func() error { return nil }}
}

// traces hold half an hour of press-4, with a stroke a second, and of the outlet of press-5.
func traces() *live.Live {
	l := live.New(1)
	for s := range 1800 {
		t := at(time.Duration(s-1800) * time.Second)
		l.Samples(press().Plate.Key, []station.Block{
			{Channel: station.InletPressure, Start: t, Values: []float64{594e3}},
			{Channel: station.OutletPressure, Start: t, Step: station.Second / 2, Values: []float64{880e3 + float64(s%60)*1e3, 870e3}}})
		l.Stroke(press().Plate.Key, station.Stroke{At: t, Side: station.Side(1 + s%2)})
		l.Samples(standing().Plate.Key, []station.Block{{Channel: station.OutletPressure, Start: t, Values: []float64{880e3}}})
	}
	l.Interval(press().Plate.Key, station.Interval{State: station.Holding, From: at(-30 * time.Minute), To: at(-101 * time.Second)})
	return l
}

// someRefused are refused messages that are kept.
type someRefused struct {
	sums []board.RefusedSum
	list []board.Refused
	Refusals
}

func (s someRefused) Sums(context.Context) ([]board.RefusedSum, error) { return s.sums, nil }

func (s someRefused) Latest(context.Context, string, int) ([]board.Refused, error) {
	return s.list, nil
}

func everything() Options {
	o := fixture(press(), standing(), shutDown(), off(), quiet(), unheard())
	o.Pipeline = func() board.Pipeline {
		return board.Pipeline{Refused: map[string]int64{"malformed": 12, "future": 40, "never": 0}}
	}
	o.Refusals = someRefused{
		sums: []board.RefusedSum{{Reason: "malformed", Messages: 12, Bytes: 9100, Oldest: at(-time.Hour), Newest: at(-time.Second)}},
		list: []board.Refused{
			{At: at(-time.Minute), Topic: "boost/northdock/press-4/inlet_pressure", Reason: "malformed", Size: 3, Payload: `6,1`,
				Detail: "expected a number with a dot; write 6.1"},
			{At: at(-time.Second), Topic: "boost/<script>alert(1)</script>", Reason: "malformed", Size: 9000,
				Payload: `"><img src=x onerror=alert(1)>`, Detail: "expected a number"},
		},
	}
	return o
}

// ailing is a program with a part that fails and one in doubt.
func ailing() Options {
	o := fixture(press())
	o.Ready = func() error {
		return errors.New("receiver-crew: alarms have not reached it for 6m0s: <connection refused>")
	}
	o.Pipeline = func() board.Pipeline {
		return board.Pipeline{Connected: true, Reconnects: 2, Messages: 1000, Samples: 99000, Refused: map[string]int64{"malformed": 4, "future": 1}, RefusedRatio: 0.005,
			Queue: 12, QueueCap: 4096, LogEntries: 500, LogBytes: 1 << 20, LogMaxBytes: 1 << 30, LogGaps: 1, Behind: [station.Partitions]uint64{3: 17},
			Commits: 40, CommitSeconds: 0.0125, CommitAge: 0.5, SnapshotAge: 30,
			OutboxPending: map[string]int64{"crew": 1}, OutboxAge: map[string]float64{"crew": 360}, Delivered: map[string]int64{"crew": 5, "lights": 8}, DeliverFailed: map[string]int64{"crew": 2}, Withheld: map[string]int64{"lights": 1},
			Export:    &board.Export{Pending: 12, Age: 90, Points: 5000, Failed: 3, Dropped: map[string]int64{"refused": 1}},
			AnswerAge: map[string]float64{"log": 1.5, "history": 2.5},
			Parts: []board.Part{
				{Name: "receiver-crew", Level: "fails", Reason: "alarms have not reached it for 6m0s: <connection refused>", Since: at(-time.Minute), Todo: "Try the receiver's address by hand."},
				{Name: "evidence", Level: "doubtful", Reason: "3 entries lost", Since: at(-time.Hour), Todo: "Check the disk."},
				{Name: "writer-3", Level: "works", Since: at(-time.Hour), Todo: "Read its reason."}}}
	}
	return o
}

var errTwo = errors.New("partition 3 is 17 entries behind\nnot connected to the broker")
