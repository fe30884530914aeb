package main

import (
	"context"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/progress"
	"strokewise/cmd/internal/reanalyse"
	"strokewise/collector/samplelog"
)

// shownLog is a log that shows how far its reader has come: partition by partition.
type shownLog struct {
	reanalyse.Log
	bar         *progress.Bar
	parts, read float64 // partitions: all, begun
}

func newShownLog(e *env, log reanalyse.Log, what string, stations []reanalyse.Station) *shownLog {
	var has [station.Partitions]bool
	l := &shownLog{Log: log, bar: progress.New(e.err, what, progress.Partitions)}
	for _, s := range stations {
		if n := s.Plate.Key.Partition(); !has[n] {
			has[n] = true
			l.parts++
		}
	}
	return l
}

// Read implements reanalyse.Log.
func (l *shownLog) Read(ctx context.Context, n int, from uint64, fn func(samplelog.Entry) error) error {
	before := l.read
	l.read++
	last, _, err := l.Last(ctx, n)
	if err != nil {
		return err
	}
	first := uint64(0)
	return l.Log.Read(ctx, n, from, func(e samplelog.Entry) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		if first == 0 {
			first = e.Position
		}
		if last > first {
			l.bar.Set(before+float64(e.Position-first)/float64(last-first), l.parts)
		}
		return fn(e)
	})
}
