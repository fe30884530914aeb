package reanalyse

import (
	"context"
	"errors"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/samplelog"
)

// oneEntry is a log of one entry with a record of a station.
type oneEntry struct{ k station.Key }

func (l oneEntry) Last(context.Context, int) (uint64, uint64, error) { return 1, 1, nil }

func (l oneEntry) Read(_ context.Context, _ int, _ uint64, fn func(samplelog.Entry) error) error {
	return fn(samplelog.Entry{Position: 1, Records: []station.Record{{Key: l.k, Arrival: 1, Blocks: []station.Block{{Start: 1, Step: 1, Values: []float64{1}}}}}})
}

// A unit that panics is an error that names its station. The zero unit panics at whatever it is given.
func TestAPanicNamesItsStation(t *testing.T) {
	k := station.Key{Site: "northdock", Station: "press-4"}
	u := &unit{Unit: &pipeline.Unit{}}
	err := walk(t.Context(), oneEntry{k}, 0, 1, func(r *station.Record) error {
		return try(r.Key, func() { u.record(r) })
	})
	var f *pipeline.Fault
	if !errors.As(err, &f) || f.Key != k || !strings.Contains(err.Error(), "northdock/press-4") || !strings.Contains(f.Stack, "(*unit).record") {
		t.Errorf("%v", err)
	}
}
