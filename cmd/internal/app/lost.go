package app

import (
	"context"
	"fmt"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
)

// mostLost is how many entries at its end a log may have lost, to a power cut or a damaged
// file, before it is taken for another log: several minutes of 200 entries a second.
const mostLost = 100_000

// fillLostEnd checks that log and history belong together. A log that ends a little
// before the history has lost its newest entries. What was concluded from them is stored;
// positions must go on after them, or new entries would be taken for stored ones.
func (a *App) fillLostEnd(ctx context.Context, size samplelog.Size, positions [station.Partitions]uint64) error {
	most := slices.Max(positions[:])
	switch {
	case most <= size.Last:
		return nil
	case size.Last == 0 || most-size.Last > mostLost:
		return fmt.Errorf("cannot go on in %q: the history has worked off the sample log up to position %d, and the log ends at %d; the log folder was replaced or restored from an older copy. Restore log and history together, or move history.db away to begin a new history",
			a.opt.Data, most, size.Last)
	}
	a.log.Error("the sample log has lost its newest entries, after a power cut or damage to its files; going on after them: what was concluded from them is stored, samples of the minute then open may be missing. log: { sync: always } keeps entries through a power cut",
		"lost", most-size.Last, "log_ends_at", size.Last, "history_is_at", most)
	return a.samples.Skip(ctx, most)
}

// checkBeginning says so where the log begins after what a partition has to read next: it
// goes on from there, with the samples between missing.
func (a *App) checkBeginning(size samplelog.Size) {
	for _, n := range a.used() {
		p := a.parts[n]
		needs := p.at() + 1
		if needs > 1 && size.First > needs {
			a.log.Error("the sample log begins after the last snapshot: the samples between are missing from what is rebuilt; minutes already stored stay as they are",
				"partition", n, "needed_from", needs, "log_begins_at", size.First)
		}
	}
}
