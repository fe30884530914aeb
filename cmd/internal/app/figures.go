package app

import (
	"context"
	"net/http"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/dashboards/prometheus"
	"strokewise/dashboards/web"
)

// handler makes the pages and /metrics.
func (a *App) handler() (http.Handler, error) {
	metrics, err := prometheus.Handler(prometheus.Options{
		Board: a.board, Pipeline: a.Pipeline, References: a.opt.References, Tariffs: a.opt.Tariffs, Version: a.opt.Version,
	}, a.log, append(prometheus.Runtime(), a.timings.Collectors()...)...)
	if err != nil {
		return nil, err
	}
	o := web.Options{
		Board: a.board, Live: a.live, History: a.store, Zones: a.opt.Zones, Pipeline: a.Pipeline, Refusals: a, Ready: a.Ready,
		Metrics: metrics, Hosts: a.opt.Hosts, Now: a.time, Version: a.opt.Version, Rig: a.opt.Rig, Hours: hours{a.store}, Tariffs: a.opt.Tariffs, References: a.opt.References,
		FirstRun: a.first, Reload: a.opt.Reload, Unconfigured: func() bool { return len(a.configured()) == 0 },
		Command: a.Command, Diary: a.store, Alarms: a.store, Explain: a.Explain, Trends: a.store,
	}
	if a.backtests != nil {
		o.Backtest = a.backtests
	}
	o.Identity, o.Trail = a.doors.identity, a.doors.trail
	a.doors.probes = a.timings.Measure(onlyLive(web.Probes(o), a.speak))
	if a.doors.beside != nil {
		o.Metrics = nil // they are served there
	}
	return a.timings.Measure(onlyLive(web.New(o), a.speak)), nil
}

// Pipeline returns the figures of the way from message to commit, without waiting for log or
// history: what they were asked for is their newest answer, see questions.go.
func (a *App) Pipeline() board.Pipeline {
	now := time.Now()
	out := board.Pipeline{Refused: a.intake.Refused(), LogMaxBytes: a.opt.MaxBytes, AnswerAge: make(map[string]float64, len(a.questions))}
	f := a.received()
	out.Brokers = a.brokerFigures()
	out.Connected, out.Reconnects, out.Messages = f.Connected, f.Reconnects, f.Received+f.TooLarge
	b := a.batch.Figures()
	out.Samples, out.Queue, out.QueueCap, out.LogEntries, out.LogSeconds, out.LogFull = b.Samples, b.Queue, b.QueueCap, b.Entries, b.Appending.Seconds(), b.Full
	out.LogUnreadable = a.samples.Unreadable()
	out.Delivered, out.DeliverFailed = a.sender.Figures()
	a.reachFigures(&out)
	a.letterFigures(&out)
	out.Export = a.exportFigures()
	for _, q := range a.questions {
		q.into(&out, now)
	}
	age, _ := a.commitAge(now)
	out.CommitAge, out.Evidence = age.Seconds(), a.ring.evidence.figures(now, a.opt.MaxBytes)
	r := &a.rebuilder
	out.LateWaiting, out.LateMinutes, out.LateLost = r.waiting.Load(), r.minutes.Load(), r.lost.Load()
	out.RefusedRatio, out.Quarantined = a.refusal.ratio(), a.quarantine.count()
	out.Ready = a.Ready() == nil
	out.Parts = a.partStates()
	out.Reloads = a.opt.Reloads.Figures()
	return out
}

// hours sums up the history's hours for the pages.
type hours struct{ *history.Store }

// Used implements web.Hours.
func (h hours) Used(ctx context.Context, k station.Key, from, to station.Instant) (cost.Sum, error) {
	list, err := h.Hours(ctx, k, from, to)
	if err != nil {
		return cost.Sum{}, err
	}
	var s cost.Sum
	s.Account, err = h.Costs(ctx, k, from, to)
	for i := range list {
		x := &list[i]
		s.Add(&cost.Sum{Inlet: x.Inlet, InletLow: x.InletLow, InletHigh: x.InletHigh, Exhaust: x.Exhaust, Delivered: x.Delivered,
			Leak: x.LeakSum, LeakNs: x.LeakTime, Airless: x.Airless, Minutes: x.Minutes, Revised: x.Revised})
	}
	n, err := h.unheard(ctx, k, list, from, to, station.InstantOf(time.Now()), err)
	s.Add(&cost.Sum{Minutes: n, Airless: n})
	return s, err
}
