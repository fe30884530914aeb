package app

import (
	"context"
	"errors"
	"fmt"
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
		Board: a.board, Pipeline: a.Pipeline, References: a.opt.References, Rates: a.opt.Rates, Version: a.opt.Version,
	}, a.log, prometheus.Runtime()...)
	if err != nil {
		return nil, err
	}
	o := web.Options{
		Board: a.board, Live: a.live, History: a.store, Zones: a.opt.Zones, Pipeline: a.Pipeline, Refused: a.refused, Ready: a.Ready,
		Metrics: metrics, Hosts: a.opt.Hosts, Now: time.Now, Version: a.opt.Version, Rig: a.opt.Rig, Hours: hours{a.store}, Rates: a.opt.Rates,
		Command: a.Command, Diary: a.store, Alarms: a.store, Explain: a.Explain, Trends: a.store,
	}
	if a.backtests != nil {
		o.Backtest = a.backtests
	}
	return onlyLive(web.New(o), a.speak), nil
}

// Pipeline gives the figures of the way from message to commit.
func (a *App) Pipeline() board.Pipeline {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	out := board.Pipeline{Refused: a.intake.Refused(), LogMaxBytes: a.opt.MaxBytes}
	f := a.source.Figures()
	out.Connected, out.Reconnects, out.Messages = f.Connected, f.Reconnects, f.Received+f.TooLarge
	b := a.batch.Figures()
	out.Samples, out.Queue, out.QueueCap, out.LogEntries, out.LogSeconds, out.LogFull = b.Samples, b.Queue, b.QueueCap, b.Entries, b.Appending.Seconds(), b.Full
	size, err := a.samples.Size(ctx)
	if err == nil {
		out.LogBytes, out.LogGaps = size.Bytes, size.Gaps
	}
	out.LogUnreadable = a.samples.Unreadable()
	now := time.Now()
	for _, n := range a.used() {
		s := a.parts[n].figures()
		out.Commits += s.commits
		out.CommitSum += s.commitSum
		out.CommitSeconds = max(out.CommitSeconds, s.commitSeconds)
		if !s.commitAt.IsZero() {
			if age := now.Sub(s.commitAt).Seconds(); out.CommitAge == 0 || age < out.CommitAge {
				out.CommitAge = age
			}
		}
		if !s.savedAt.IsZero() {
			out.SnapshotAge = max(out.SnapshotAge, now.Sub(s.savedAt).Seconds())
		}
		if last, _, err := a.samples.Last(ctx, n); err == nil && last > s.position {
			out.Behind[n] = last - s.position
		}
	}
	if out.OutboxPending, err = a.store.OutboxPending(ctx); err != nil {
		a.warn("cannot count the outbox", err)
	}
	out.Delivered, out.DeliverFailed = a.sender.Figures()
	a.reachFigures(ctx, &out)
	out.Export = a.exportFigures(ctx)
	return out
}

// Ready tells whether messages come in and conclusions are stored; the error says what is
// missing, a line each.
func (a *App) Ready() error {
	var errs []error
	if !a.board.Ready() {
		return errors.New("working off the sample log after the start")
	}
	if err := a.speak(); err != nil {
		errs = append(errs, fmt.Errorf("the lease of the sample log is not sure, so nothing is concluded, told or served: %w", err))
	}
	if f := a.source.Figures(); !f.Connected {
		errs = append(errs, fmt.Errorf("not connected to the broker %s", a.BrokerURL()))
	} else if !f.Subscribed {
		errs = append(errs, errors.New("the broker has not confirmed the subscription"))
	}
	if b := a.batch.Figures(); b.Full {
		errs = append(errs, fmt.Errorf("the sample log does not take records: %s", b.LastError))
	}
	for _, p := range a.parts {
		if err := p.trouble(); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

func (a *App) refused() []board.Refused {
	kept := a.intake.Kept()
	out := make([]board.Refused, len(kept))
	for i, k := range kept {
		out[i] = board.Refused(k)
	}
	return out
}

// hours sums up the history's hours for the pages.
type hours struct{ *history.Store }

// Used implements web.Hours.
func (h hours) Used(ctx context.Context, k station.Key, from, to station.Instant) (cost.Sum, error) {
	list, err := h.Hours(ctx, k, from, to)
	var s cost.Sum
	for i := range list {
		x := &list[i]
		s.Add(&cost.Sum{Inlet: x.Inlet, InletLow: x.InletLow, InletHigh: x.InletHigh, Exhaust: x.Exhaust, Delivered: x.Delivered,
			Leak: x.LeakSum, LeakNs: x.LeakTime, Airless: x.Airless, Minutes: x.Minutes})
	}
	return s, err
}
