package app

import (
	"database/sql"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/learned"
	"strokewise/cmd/internal/pipeline"
	"strokewise/collector/rig"
	"strokewise/dashboards/history"
)

// upgraded is a plant of one virtual station whose program is replaced by another version.
type upgraded struct {
	t    *testing.T
	opt  Options
	spec rig.Spec
	rig  *rig.Station
	twin *pipeline.Unit // works off the same, undisturbed
	now  station.Instant
}

func newUpgraded(t *testing.T, at time.Time) *upgraded {
	t.Helper()
	specs, err := rig.Plant(0)
	if err != nil {
		t.Fatal(err)
	}
	u := &upgraded{t: t, now: station.InstantOf(at)}
	if u.spec, err = rig.Find(specs, "press-4"); err != nil {
		t.Fatal(err)
	}
	u.spec.Plate.Serial = "B-1017"
	u.opt = options(t, "")
	u.opt.MQTT.Brokers, u.opt.BrokerListen = nil, "127.0.0.1:0"
	u.opt.Stations = []Station{{Plate: u.spec.Plate, Revision: "1"}}
	u.opt.Every = Intervals{Commit: 10 * time.Millisecond, Tick: time.Hour, Snapshot: time.Hour, Trim: time.Hour}
	u.rig, u.twin = rig.New(u.spec, u.now, 100), pipeline.New(u.spec.Plate, "1")
	return u
}

// feed lets the program, and the twin, work off seconds.
func (u *upgraded) feed(a *App, seconds int) {
	u.t.Helper()
	for range seconds {
		u.now = u.now.Add(station.Second)
		blocks := slices.Clone(u.rig.Until(u.now))
		for i := range blocks {
			blocks[i].Times, blocks[i].Values = slices.Clone(blocks[i].Times), slices.Clone(blocks[i].Values)
		}
		u.twin.Samples(blocks, u.now)
		if err := a.Put(u.t.Context(), station.Record{Key: u.spec.Plate.Key, Arrival: u.now, Blocks: blocks}); err != nil {
			u.t.Fatal(err)
		}
	}
	if err := a.Settle(u.t.Context()); err != nil {
		u.t.Fatal(err)
	}
}

// run starts the program, feeds it, calls do, and stops it.
func (u *upgraded) run(seconds int, do func(a *App)) {
	u.t.Helper()
	a, stop := running(u.t, u.opt)
	defer stop()
	u.feed(a, seconds)
	do(a)
}

// replaced makes the stored snapshots those of another version, as they are after an upgrade.
func (u *upgraded) replaced(queries ...string) {
	u.t.Helper()
	path := filepath.Join(u.opt.Data, "history.db")
	s, err := history.Open(path, history.Options{})
	if err != nil {
		u.t.Fatal(err)
	}
	for n := range station.Partitions {
		if was, ok, err := s.LoadSnapshot(u.t.Context(), n); err != nil {
			u.t.Fatal(err)
		} else if ok {
			if err := s.SaveSnapshot(u.t.Context(), n, was.Position, "former", "former", []byte("of a former layout")); err != nil {
				u.t.Fatal(err)
			}
		}
	}
	if err := s.Close(); err != nil {
		u.t.Fatal(err)
	}
	db, err := sql.Open("sqlite", path)
	if err != nil {
		u.t.Fatal(err)
	}
	defer db.Close()
	for _, q := range queries {
		if _, err := db.Exec(q); err != nil {
			u.t.Fatal(err)
		}
	}
}

// of returns a figure on the board.
func (u *upgraded) of(a *App, f station.Figure) station.Estimate {
	u.t.Helper()
	s, ok := a.board.Get(u.spec.Plate.Key)
	if !ok {
		u.t.Fatal("the station is not on the board")
	}
	return s.Status.Estimates[f]
}

// learnt returns what is stored of the station.
func (u *upgraded) learnt(a *App) (history.Learned, int64) {
	u.t.Helper()
	all, err := a.store.Learned(u.t.Context())
	if err != nil {
		u.t.Fatal(err)
	}
	k := u.spec.Plate.Key
	p := a.parts[k.Partition()]
	p.mu.Lock()
	defer p.mu.Unlock()
	r, err := learned.Decode(p.learned[k].blob)
	if err != nil {
		u.t.Fatal(err)
	}
	return all[k], r.Learned().Booster.Strokes
}

// due lets the next commit store what was learned.
func (u *upgraded) due(a *App) {
	k := u.spec.Plate.Key
	p := a.parts[k.Partition()]
	p.mu.Lock()
	defer p.mu.Unlock()
	p.learned[k].written = time.Time{}
}

// After an upgrade the snapshots are of no use, and the log has been trimmed up to some minutes ago: what was learned
// before that comes from the history, the rest from the log. Not a stroke is lost or counted twice.
func TestLearnedOutlivesAnUpgrade(t *testing.T) {
	t.Parallel()
	u := newUpgraded(t, time.Now().Add(-time.Hour).Truncate(time.Second))
	u.run(240, func(a *App) {
		size, err := a.samples.Size(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		u.feed(a, 120)
		u.due(a)
		u.feed(a, 5)
		l, strokes := u.learnt(a)
		if l.Position <= size.Last || strokes == 0 {
			t.Fatalf("stored %d strokes at position %d, the log is trimmed at %d", strokes, l.Position, size.Last)
		}
		u.feed(a, 120)
		if err := a.samples.Trim(t.Context(), size.Last); err != nil {
			t.Fatal(err)
		}
	})
	u.replaced()
	u.run(60, func(a *App) {
		var twin station.Learned
		u.twin.Learned(&twin)
		u.due(a)
		u.feed(a, 1)
		u.twin.Learned(&twin)
		if _, strokes := u.learnt(a); strokes != twin.Booster.Strokes || strokes == 0 {
			t.Errorf("%d strokes after the upgrade, an undisturbed run counts %d", strokes, twin.Booster.Strokes)
		}
		for _, f := range []station.Figure{station.SupplySag, station.SupplyConductance} {
			if g, want := u.of(a, f), u.twin.Status.Estimates[f]; !g.Known() || !want.Known() || math.Abs(g.Value/want.Value-1) > 0.05 {
				t.Errorf("%s is %+v, an undisturbed run has %+v", station.Figures[f].Name, g, want)
			}
		}
	})
}

// first reads a record of the first version that wrote any.
func first(t *testing.T) (blob []byte, l station.Learned) {
	t.Helper()
	blob, err := os.ReadFile("../learned/testdata/press-4.bin")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("../learned/testdata/press-4.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &l); err != nil {
		t.Fatal(err)
	}
	return blob, l
}

// What the first version learned within 30 hours is there after the start of this one, with its age, where the log is lost, and the
// next upgrade still has it.
func TestLearnedByTheFirstVersion(t *testing.T) {
	t.Parallel()
	blob, want := first(t)
	u := newUpgraded(t, want.At.Add(3600*station.Second).Time())
	k := u.spec.Plate.Key
	s, err := history.Open(filepath.Join(u.opt.Data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c := history.Commit{Partition: k.Partition(), Position: 1, Learned: []history.Learned{{Key: k, At: want.At, Blob: blob}}}
	if err := s.Commit(t.Context(), []history.Commit{c}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	u.replaced(`DELETE FROM positions`, `UPDATE learned SET position = 0`)
	// no sample may come for weeks: a snapshot of a station that has not been heard holds it as well
	_, stop := running(t, u.opt)
	stop()
	u.run(6, func(a *App) {
		stand := 0
		for i := range want.Figures {
			f, ok := station.FigureOf(want.Figures[i].Name)
			if !ok {
				t.Fatalf("there is no figure %s any more: say so here", want.Figures[i].Name)
			}
			g := u.of(a, f)
			if !g.Known() || g.At < want.Figures[i].At {
				t.Errorf("%s was %+v, and is %+v after the start", want.Figures[i].Name, want.Figures[i], g)
			}
			if g.At == want.Figures[i].At && g.Value == want.Figures[i].Value {
				stand++
			}
		}
		if stand < 5 { // the piston works: the others are renewed at once
			t.Errorf("%d of %d figures stand with their age", stand, len(want.Figures))
		}
		u.due(a)
		u.feed(a, 20)
		if _, strokes := u.learnt(a); strokes < want.Booster.Strokes || strokes > want.Booster.Strokes+100 {
			t.Errorf("%d strokes since the overhaul, %d were learned before", strokes, want.Booster.Strokes)
		}
	})
	// the next upgrade, with a log that is lost and a history that comes from a backup
	if err := os.RemoveAll(filepath.Join(u.opt.Data, "log")); err != nil {
		t.Fatal(err)
	}
	u.replaced(`UPDATE lineage SET restored = 'backup'`)
	u.now = u.now.Add(60 * station.Second)
	u.rig.Until(u.now)
	u.run(20, func(a *App) {
		if g := u.of(a, station.CyclesSinceOverhaul); !g.Known() || g.Value < float64(want.Booster.Strokes/2) || g.From != want.Booster.WatchedFrom {
			t.Errorf("%+v cycles since the overhaul, %d strokes were learned since %s", g, want.Booster.Strokes, want.Booster.WatchedFrom)
		}
	})
}

// A damaged record is left, the station begins anew and is watched.
func TestDamagedLearnedIsLeft(t *testing.T) {
	t.Parallel()
	u := newUpgraded(t, time.Now().Add(-time.Hour).Truncate(time.Second))
	u.run(10, func(a *App) {})
	u.replaced(`UPDATE learned SET blob = x'ff'`)
	out := &said{}
	u.opt.Logger = out.logger()
	u.run(3, func(a *App) {
		if s, ok := a.board.Get(u.spec.Plate.Key); !ok || s.Status.At == 0 || s.Unwatched != nil {
			t.Errorf("the station is %+v", s)
		}
	})
	if text := out.String(); !strings.Contains(text, "what a station has learned is not usable") {
		t.Errorf("nothing was said of it:\n%s", text)
	}
}
