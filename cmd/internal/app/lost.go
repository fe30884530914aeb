package app

import (
	"context"

	"strokewise/collector/samplelog"
)

// fillLostEnd lets positions of a log that has lost its newest entries go on after the
// history's: what was concluded from them is stored, and new entries must not be taken for
// them.
func (a *App) fillLostEnd(ctx context.Context, size samplelog.Size, most uint64) error {
	a.log.Error("the sample log has lost its newest entries, after a power cut or damage to its files; going on after them: what was concluded from them is stored, samples of the minute then open may be missing. log: { sync: always } keeps entries through a power cut",
		"lost", most-size.Last, "log_ends_at", size.Last, "history_is_at", most)
	return a.samples.Skip(ctx, most)
}

// checkBeginning says so where the log begins after what a partition has to read next: it
// goes on from there, with the samples between missing.
func (a *App) checkBeginning(ctx context.Context) {
	size, err := a.samples.Size(ctx)
	if err != nil {
		a.warn("cannot read the size of the sample log", err)
		return
	}
	for _, n := range a.used() {
		p := a.parts[n]
		needs := p.at() + 1
		if needs > 1 && size.First > needs {
			a.log.Error("the sample log begins after the last snapshot: the samples between are missing from what is rebuilt; minutes already stored stay as they are",
				"partition", n, "needed_from", needs, "log_begins_at", size.First)
		}
	}
}
