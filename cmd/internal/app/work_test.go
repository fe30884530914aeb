package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"path/filepath"
	"reflect"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/dashboards/live"
)

// rationed is a store that keeps count of what each commit holds, and refuses all from the stop-th commit on (0: none).
type rationed struct {
	*history.Store
	commits, parts, most, stop int
	gone                       func() // called at the first refusal
}

var errKilled = errors.New("the process was killed here")

func (s *rationed) Commit(ctx context.Context, list []history.Commit) error {
	if s.commits++; s.stop > 0 && s.commits >= s.stop {
		s.gone()
		return errKilled
	}
	for i := range list {
		n := 0
		for _, x := range list[i].Stations {
			n += len(x.Minutes) + len(x.Gaps) + len(x.Intervals) + len(x.Figures)
		}
		s.most = max(s.most, n)
		if list[i].Part {
			s.parts++
		}
	}
	return s.Store.Commit(ctx, list)
}

// lonely is a partition with a database of its own and no log.
func lonely(t *testing.T, path string, stations map[station.Key]Station, stop int) (*partition, *rationed, context.Context) {
	t.Helper()
	s, err := history.Open(path, history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	totals, err := s.Totals(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	positions, err := s.Positions(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	r := &rationed{Store: s, stop: stop, gone: cancel}
	p := &partition{number: 3, store: r, board: board.New(), live: live.New(live.Usual), catalog: &catalog{stations: stations, totals: totals},
		log: slog.New(slog.DiscardHandler), wake: func() {}, hurry: func() {}, nudge: func() {}, answers: &answers{}}
	p.start(ctx, positions[3])
	return p, r, ctx
}

// tenMinutely is an entry of two on-change stations with a sample every ten minutes for so many weeks.
func tenMinutely(position uint64, stations map[station.Key]Station, from station.Instant, weeks int) samplelog.Entry {
	e := samplelog.Entry{Position: position}
	for i := range len(stations) {
		v := make([]float64, weeks*7*144)
		for n := range v {
			v[n] = 880e3 + 1e3*float64((n+i)%7)
		}
		b := station.Block{Channel: station.OutletPressure, Start: from.Add(int64(i) * 7 * station.Second), Step: 600 * station.Second, Values: v}
		e.Records = append(e.Records, station.Record{Key: loneKey(i), Arrival: b.At(len(v) - 1), Blocks: []station.Block{b}})
	}
	return e
}

func loneKey(i int) station.Key { return station.Key{Site: "s", Station: fmt.Sprint("p", i)} }

func loneStations(n int) map[station.Key]Station {
	out := map[station.Key]Station{}
	for i := range n {
		p := station.Plate{Key: loneKey(i), Cadence: station.OnChange, Set: 900e3}
		p.Bores(0.063, 0.063, 0.016, 0.06, false, true)
		out[p.Key] = Station{Plate: p, Revision: "1"}
	}
	return out
}

// allRows is all that a database holds of the stations.
func allRows(t *testing.T, s *history.Store, n int) (out []any) {
	t.Helper()
	for i := range n {
		ms, err := s.Minutes(t.Context(), loneKey(i), 0, math.MaxInt64)
		if err != nil {
			t.Fatal(err)
		}
		for k := range ms {
			m := &ms[k]
			if m.InletMean == m.InletMean || m.OutletMean != m.OutletMean {
				t.Fatalf("minute %+v", *m)
			}
			m.InletMean = -1 // NaN equals nothing
		}
		gs, err := s.Gaps(t.Context(), loneKey(i), 0, math.MaxInt64)
		if err != nil {
			t.Fatal(err)
		}
		iv, err := s.Intervals(t.Context(), loneKey(i), 0, math.MaxInt64)
		if err != nil {
			t.Fatal(err)
		}
		hs, err := s.Hours(t.Context(), loneKey(i), 0, math.MaxInt64)
		if err != nil {
			t.Fatal(err)
		}
		for k := range hs {
			hs[k].InletSum = 0
		}
		ts, err := s.Transitions(t.Context(), loneKey(i), 0, math.MaxInt64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, len(ms), ms, gs, iv, hs, ts)
	}
	totals, err := s.Totals(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return append(out, totals)
}

// One entry with ten weeks of samples, one every ten minutes, is stored in parts: what waits for a commit is bounded
// by constants, not by the time that the entry spans. However often a process is killed between the parts, the history is what an
// undisturbed run leaves, and so are the sums on the board.
func TestOneEntryIsStoredInParts(t *testing.T) {
	const n, weeks = 2, 10
	from := station.Instant(1767225600 * station.Second)
	stations := loneStations(n)
	entries := []samplelog.Entry{tenMinutely(1, stations, from, 1), tenMinutely(2, stations, from.Add(7*24*60*station.Minute60), weeks)}
	calm, counted, ctx := lonely(t, filepath.Join(t.TempDir(), "calm.db"), stations, 0)
	for _, e := range entries {
		if err := calm.entry(ctx, e); err != nil {
			t.Fatal(err)
		}
	}
	if err := calm.commit(ctx); err != nil {
		t.Fatal(err)
	}
	want := allRows(t, counted.Store, n)
	// a stretch adds at most a minute, a gap, a figure's row a slot of each hour, and three intervals each
	if counted.parts < 4 || counted.most > mostWaiting+6*stretch {
		t.Errorf("%d parts, the largest commit with %d rows", counted.parts, counted.most)
	}
	if rows := want[0].(int); rows < 144*7*weeks {
		t.Errorf("only %d minutes", rows)
	}
	t.Logf("%d minutes of a station; %d parts; the largest commit has %d rows", want[0], counted.parts, counted.most)

	path := filepath.Join(t.TempDir(), "killed.db")
	kills := 0
	for stop := 1; ; stop += 3 {
		p, r, ctx := lonely(t, path, stations, stop)
		var err error
		for _, e := range entries {
			if err == nil {
				err = p.entry(ctx, e)
			}
		}
		if err == nil {
			err = p.commit(ctx)
		}
		if err == nil {
			if got := allRows(t, r.Store, n); !reflect.DeepEqual(got, want) {
				t.Errorf("after %d kills another history: %d minutes, totals %v; undisturbed %d, %v", kills, got[0], got[len(got)-1], want[0], want[len(want)-1])
			}
			for i := range n {
				s, _ := p.board.Get(loneKey(i))
				c, _ := calm.board.Get(loneKey(i))
				if s.Totals != c.Totals {
					t.Errorf("station %d: the board shows %+v, undisturbed %+v", i, s.Totals, c.Totals)
				}
			}
			break
		}
		kills++
		if s := p.snapshot(context.Background()); s != nil || p.saved != 0 {
			t.Errorf("a snapshot in the middle of an entry: %v, at %d", s, p.saved)
		}
	}
	if kills < 3 {
		t.Errorf("only %d kills", kills)
	}
}
