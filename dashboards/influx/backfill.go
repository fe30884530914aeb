package influx

import (
	"context"
	"fmt"
	"time"

	"strokewise/dashboards/history"
)

// mostFailures is how often in a row a backfill tries before it gives up.
const mostFailures = 12

// Backfill writes rows that were stored before. The server may have them: the same point overwrites itself. Points that it
// refuses for what they hold are counted as dropped, and logged. It waits while the server is away, and gives up after
// mostFailures in a row, some minutes at the usual pace; what was written stays.
func (e *Exporter) Backfill(ctx context.Context, rows []history.ExportRow) error {
	e.authorize()
	for failures := 0; len(rows) > 0; {
		p := e.newPass(rows[:min(len(rows), e.opt.Pace.Batch)])
		a := p.run(ctx)
		n, written := p.decided()
		e.mu.Lock()
		e.figures.Points += int64(written)
		e.figures.Dropped[refusedReason] += int64(n - written)
		e.mu.Unlock()
		rows = rows[n:]
		if err := ctx.Err(); err != nil {
			return err
		}
		if a == nil {
			failures = 0
			continue
		}
		if failures++; failures >= mostFailures || a.kind == login || a.kind == setup {
			return fmt.Errorf("cannot export to %s: %w; what was written stays: mend it and run the export again", e.opt.URL, a.err)
		}
		wait := max(a.after, backoff(e.opt.Pace, failures-1))
		e.log.Warn("cannot export, trying again", "server", e.opt.URL, "error", a.err, "next", wait.Round(time.Millisecond))
		pause(ctx, wait)
	}
	return nil
}
