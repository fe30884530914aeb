// Package board holds the current picture of every station: what the pages and
// /metrics show. It is written after each commit and read by many.
package board

import (
	"sort"
	"sync"

	"strokewise/analyzer/station"
	"strokewise/dashboards/cost"
	"strokewise/rules"
)

// Totals are committed sums since the history began.
type Totals struct {
	Strokes                   int64
	StateNs                   [station.NumStates]int64
	Inlet, Exhaust, Delivered station.Microlitres
}

// Add adds a minute.
func (t *Totals) Add(m *station.Minute) {
	t.Strokes += m.Strokes
	for s, ns := range m.StateNs {
		t.StateNs[s] += ns
	}
	t.Inlet += m.Inlet
	t.Exhaust += m.Exhaust
	t.Delivered += m.Delivered
}

// AddGap adds whole minutes without a sample: blind time, and nothing else.
func (t *Totals) AddGap(g station.Gap) { t.StateNs[station.Blind] += g.Ns() }

// Sub takes other sums away.
func (t *Totals) Sub(o *Totals) {
	t.Strokes -= o.Strokes
	for s, ns := range o.StateNs {
		t.StateNs[s] -= ns
	}
	t.Inlet -= o.Inlet
	t.Exhaust -= o.Exhaust
	t.Delivered -= o.Delivered
}

// Plus adds other sums.
func (t *Totals) Plus(o *Totals) {
	t.Strokes += o.Strokes
	for s, ns := range o.StateNs {
		t.StateNs[s] += ns
	}
	t.Inlet += o.Inlet
	t.Exhaust += o.Exhaust
	t.Delivered += o.Delivered
}

// AtLeast returns the larger of the sums, each by itself.
func (t *Totals) AtLeast(o *Totals) Totals {
	out := Totals{Strokes: max(t.Strokes, o.Strokes), Inlet: max(t.Inlet, o.Inlet), Exhaust: max(t.Exhaust, o.Exhaust), Delivered: max(t.Delivered, o.Delivered)}
	for s := range out.StateNs {
		out.StateNs[s] = max(t.StateNs[s], o.StateNs[s])
	}
	return out
}

// Alarm is an alarm that is not normal.
type Alarm struct {
	Transition rules.Transition // the latest one
	State      rules.AlarmState
	Progress   *rules.Progress // as of the station's status; nil where the alarm is about no pressure
}

// Station is the current picture of one station.
type Station struct {
	// Gone says that the station is no longer configured: it is here for its open alarms alone.
	Gone   bool
	Plate  station.Plate
	Status station.Status
	Totals Totals
	Costs  cost.Account // committed, of the minutes in Totals that were priced; not to be changed afterwards
	Since  Since
	// Reached and ReachedCosts are what Totals and Costs had reached before late samples corrected them: counters that are
	// shown do not fall below.
	Reached      Totals
	ReachedCosts cost.Account
	Today        [station.NumStates]int64 // ns a state since the site's midnight
	Alarms       []Alarm
	// LagNs is arrival time of the newest record minus the station's watermark.
	LagNs int64
	// Newest is when the newest samples arrived, zero before the first.
	Newest station.Instant
	// OffsetNs is arrival minus device time of the newest device-stamped sample.
	OffsetNs int64
	// Late, Duplicate, ClockSteps and Gaps are what the analyzer turned away or noticed.
	Late, Duplicate, ClockSteps, Gaps int64
	// Arrival counts samples that bear the time of their arrival.
	Arrival int64
	// Counter is what was odd about the cycle counter, by what it was.
	Counter CounterOddities
	// Dues is what comes due; nil: nothing was worked out yet, or nothing is.
	Dues []rules.Due
	// Below is since when the outlet has read below the limit in the present shutdown.
	Below station.Instant
	// AtWork is who is declared at work, in the order of their declarations.
	AtWork []rules.AtWork
	// SilentSince is set when ticks say that no sample came (zero otherwise).
	SilentSince station.Instant
	// Unwatched is set while a fault of the program keeps the station from being watched: nothing
	// is known of it but its totals and open alarms.
	Unwatched *Unwatched
}

// DuesAt returns what comes due: as the station's evaluator counts, or, before it has, as its plate says.
func (s *Station) DuesAt(now station.Instant) []rules.Due {
	if s.Dues != nil {
		return s.Dues
	}
	return rules.NewEvaluator(&s.Plate, func(*rules.Transition) {}).Dues(now)
}

// Unwatched is since when a station is not watched, and why.
type Unwatched struct {
	Since station.Instant
	Why   string // the fault
}

// Stale tells whether what Status says of the moment (state, pressures, stroke rate) is
// out of date: no sample came from a station whose sensors publish periodically, or none is
// judged any more.
func (s *Station) Stale() bool {
	return s.Gone || s.Unwatched != nil || s.SilentSince != 0 && s.Plate.Cadence == station.Periodic
}

// CounterOddities count resets, roll-overs, increments too fast to be strokes, and
// readings that slipped back.
type CounterOddities struct{ Resets, Rolls, Bounced, Back int64 }

// Board is safe for concurrent use.
type Board struct {
	mu       sync.RWMutex
	stations map[station.Key]Station
	ready    bool
	past     Past
	headers  map[station.Key]Header
	known    definitions
}

// New gives an empty board that is not ready.
func New() *Board { return &Board{stations: make(map[station.Key]Station)} }

// Put replaces a station's picture. The value and what it points to must not be
// changed afterwards.
func (b *Board) Put(s Station) {
	b.mu.Lock()
	b.stations[s.Plate.Key] = s
	b.mu.Unlock()
}

// Remove takes a station away.
func (b *Board) Remove(k station.Key) {
	b.mu.Lock()
	delete(b.stations, k)
	b.mu.Unlock()
}

// SetReady says whether the picture is complete: false until every partition has been
// restored.
func (b *Board) SetReady(ok bool) {
	b.mu.Lock()
	b.ready = ok
	b.mu.Unlock()
}

// Ready tells whether the picture is complete.
func (b *Board) Ready() bool {
	b.mu.RLock()
	defer b.mu.RUnlock()
	return b.ready
}

// Get gives one station's picture.
func (b *Board) Get(k station.Key) (Station, bool) {
	b.mu.RLock()
	defer b.mu.RUnlock()
	s, ok := b.stations[k]
	return s, ok
}

// All gives every station, ordered by site, branch and station.
func (b *Board) All() []Station { return b.list(func(*Station) bool { return true }) }

// Configured returns every station that is configured, in the same order.
func (b *Board) Configured() []Station { return b.list(func(s *Station) bool { return !s.Gone }) }

func (b *Board) list(keep func(*Station) bool) []Station {
	b.mu.RLock()
	out := make([]Station, 0, len(b.stations))
	for _, s := range b.stations {
		if keep(&s) {
			out = append(out, s)
		}
	}
	b.mu.RUnlock()
	sort.Slice(out, func(i, j int) bool {
		x, y := &out[i].Plate, &out[j].Plate
		if x.Key.Site != y.Key.Site {
			return x.Key.Site < y.Key.Site
		}
		if x.Branch != y.Branch {
			return x.Branch < y.Branch
		}
		return x.Key.Station < y.Key.Station
	})
	return out
}
