package reanalyse

import (
	"context"
	"math"
	"slices"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
	"strokewise/rules"
)

// Past is what a back-test needs of the history.
type Past interface {
	Transitions(ctx context.Context, k station.Key, from, to station.Instant) ([]rules.Transition, error)
	Positions(ctx context.Context) ([station.Partitions]uint64, error)
}

// Tested is what a back-test found for a station.
type Tested struct {
	Key      station.Key
	From, To station.Instant // compared; equal: nothing, the log holds no more than the warm-up
	Pairs    []Pair          // in order of time
}

// Days gives how much time was compared, days of 24 h.
func (t *Tested) Days() float64 { return float64(t.To.Sub(t.From)) / float64(24*60*station.Minute60) }

// Backtest runs what the log holds through the present engine and the alarms of the
// stations' plates, and compares what is raised in [from, to) with what the history says
// was raised; a zero instant is open. The log's epochs give the plate data, not the alarms;
// people's commands count as they were given. What the history has not worked off yet is
// left out.
func Backtest(ctx context.Context, log Log, past Past, stations []Station, from, to station.Instant) ([]Tested, error) {
	worked, err := past.Positions(ctx)
	if err != nil {
		return nil, err
	}
	found := make(map[station.Key]Tested)
	for n, some := range split(stations) {
		if len(some) == 0 {
			continue
		}
		runs, err := rerun(ctx, log, past, n, worked[n], some)
		if err != nil {
			return nil, err
		}
		for k, r := range runs {
			found[k] = r.compare(from, to)
		}
	}
	out := make([]Tested, len(stations))
	for i, s := range stations {
		out[i] = found[s.Plate.Key]
	}
	return out, nil
}

// rerun runs a partition's stations up to the position that the history has worked off.
func rerun(ctx context.Context, log Log, past Past, n int, worked uint64, stations []Station) (map[station.Key]*run, error) {
	runs := make(map[station.Key]*run, len(stations))
	for _, s := range stations {
		was, err := past.Transitions(ctx, s.Plate.Key, 0, math.MaxInt64)
		if err != nil {
			return nil, err
		}
		was = slices.DeleteFunc(was, func(t rules.Transition) bool { return t.Alarm == rules.StationNotWatched }) // the program's own
		runs[s.Plate.Key] = &run{of: s, was: was}
	}
	last, _, err := log.Last(ctx, n)
	if err != nil {
		return nil, err
	}
	return runs, walk(ctx, log, n, min(last, worked), func(r *station.Record) error {
		if r.Tick {
			for k, u := range runs {
				if err := try(k, func() { u.tick(r) }); err != nil {
					return err
				}
			}
		} else if u := runs[r.Key]; u != nil {
			return try(r.Key, func() { u.record(r) })
		}
		return nil
	})
}

// run is one station's run through the log.
type run struct {
	of         Station
	unit       *pipeline.Unit     // nil before the station's first record
	was, is    []rules.Transition // by the history, by this run
	first, end station.Instant    // arrival of the first record and of the newest
}

// begin makes the unit at the first record. What stood by then stands in it too: it was
// raised or shelved by what the log no longer holds.
func (r *run) begin(p station.Plate, revision string, at station.Instant) {
	if r.unit != nil {
		return
	}
	p.Alarms = r.of.Plate.Alarms
	r.unit, r.first = pipeline.New(p, revision), at
	r.is = standing(r.was, at)
	r.unit.Adopt(r.is)
}

// standing gives the last transition up to a time of each alarm that was not normal then.
func standing(all []rules.Transition, at station.Instant) []rules.Transition {
	last := make(map[string]int)
	for i := range all {
		if all[i].At <= at {
			last[all[i].Alarm] = i
		}
	}
	var out []rules.Transition
	for i := range all {
		if j, ok := last[all[i].Alarm]; ok && i == j && all[i].To != rules.Normal {
			out = append(out, all[i])
		}
	}
	return out
}

func (r *run) tick(t *station.Record) {
	if r.unit == nil {
		return
	}
	r.unit.Tick(t.Arrival)
	r.gather(t.Arrival)
}

func (r *run) record(e *station.Record) {
	switch {
	case e.Epoch != nil && e.Epoch.Removed() && r.unit == nil:
		return
	case e.Epoch != nil:
		r.begin(e.Epoch.Plate, e.Epoch.Revision, e.Arrival)
		changed := *e.Epoch
		changed.Plate.Alarms = r.of.Plate.Alarms
		r.unit.Epoch(&changed, e.Arrival)
	case e.Command != nil:
		r.begin(r.of.Plate, r.of.Revision, e.Arrival)
		_ = r.unit.Command(e.Command, e.Arrival) // a refusal changes nothing, as in the live run
	case len(e.Blocks) > 0:
		r.begin(r.of.Plate, r.of.Revision, e.Arrival)
		r.unit.Samples(e.Blocks, e.Arrival)
	default:
		return
	}
	r.gather(e.Arrival)
}

// gather keeps the transitions and forgets the rest.
func (r *run) gather(at station.Instant) {
	r.end = max(r.end, at)
	r.is = append(r.is, r.unit.Out.Transitions...)
	r.unit.Discard()
}

// compare sets what was raised against what would be.
func (r *run) compare(from, to station.Instant) Tested {
	t := Tested{Key: r.of.Plate.Key, From: max(from, r.first.Add(WarmUp)), To: r.end}
	if to != 0 {
		t.To = min(to, r.end)
	}
	if r.unit == nil || t.To <= t.From {
		t.To = t.From
		return t
	}
	return Compare(t.Key, r.was, r.is, t.From, t.To)
}
