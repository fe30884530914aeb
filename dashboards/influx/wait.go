package influx

import (
	"context"
	"math/rand/v2"
	"time"
)

// backoff doubles from failure to failure, with a share of chance.
func backoff(p Pace, failures int) time.Duration {
	d := min(p.First<<min(failures, 20), p.Most)
	return d/2 + rand.N(d/2+1)
}

// sweep gives up rows that waited too long, once in a while: while the server takes points
// old rows are sent, however old they are.
func (e *Exporter) sweep(ctx context.Context, every time.Duration) {
	now := time.Now()
	if now.Sub(e.swept) < every {
		return
	}
	e.swept = now
	n, err := e.queue.ExportForfeit(ctx, Name, now.Add(-e.opt.Keep))
	if err != nil && ctx.Err() == nil {
		e.log.Warn("cannot give up old rows of the export", "error", err)
	}
	if n == 0 {
		return
	}
	e.mu.Lock()
	e.figures.Dropped[expiredReason] += n
	e.mu.Unlock()
	e.log.Error("minutes and transitions were not exported in time and are given up; they stay in the history", "rows", n, "waited", e.opt.Keep, "server", e.opt.URL)
}

func pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
