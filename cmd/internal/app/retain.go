package app

import (
	"context"
	"time"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
)

// Retention says how long the history keeps what it holds; zero values are the usual ones.
type Retention struct {
	Minutes time.Duration // and intervals
	Hours   time.Duration // and transitions
}

func (r *Retention) fill() {
	if r.Minutes <= 0 {
		r.Minutes = 90 * 24 * time.Hour
	}
	if r.Hours <= 0 {
		r.Hours = 5 * 365 * 24 * time.Hour
	}
}

// retainLoop deletes from the history what is older than is to be kept.
func (a *App) retainLoop(ctx context.Context) {
	every(ctx, a.opt.Every.Retain, func() {
		if !a.trusted() {
			return
		}
		a.forgetLate(ctx)
		now := a.now()
		if a.opt.Now != nil {
			now = station.InstantOf(a.opt.Now())
		}
		began := time.Now()
		n, longest, err := a.store.Retain(ctx, history.Retention{Minutes: now.Add(-int64(a.opt.History.Minutes)), Hours: now.Add(-int64(a.opt.History.Hours))})
		a.warn("cannot delete what is old from the history, trying again", a.doubtful("retention", a.opt.Every.Retain, err))
		if n > 0 {
			a.log.Info("deleted what is old from the history", "rows", n, "took", time.Since(began), "longest hold-up of commits", longest)
		}
	})
}
