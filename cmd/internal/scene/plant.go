package scene

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/collector/intake"
	"strokewise/collector/rig"
	"strokewise/collector/topic"
	"strokewise/dashboards/history"
)

// snapshots is how often the program of a long play stores snapshots and trims its log of what is
// older: the samples of a week would fill a disk.
const snapshots = 30 * time.Second

// site is that of plants' stations.
const site = "northdock"

// Plant is a running program with virtual stations, whose time runs as fast as it goes. It is not
// safe for concurrent use.
type Plant struct {
	ctx     context.Context
	dir     string
	options app.Options
	app     *app.App
	stop    func() error
	specs   []rig.Spec // of the week
	rigs    []*rig.Station
	start   station.Instant // of the stations
	now     station.Instant // up to which they were played
	chunk   int64           // s that are played at once
	long    bool            // the log does not hold it all
	out     *Outcome
}

// broken is what ends a scene's play: the program itself failed.
type broken struct{ error }

// must ends the scene where the program failed.
func must(err error) {
	if err != nil {
		panic(broken{err})
	}
}

// playPlant plays a scene of a running program.
func playPlant(course func(*Plant)) (out *Outcome) {
	out = &Outcome{}
	dir, err := os.MkdirTemp("", "scene")
	if err != nil {
		out.Wrong = append(out.Wrong, err.Error())
		return out
	}
	defer os.RemoveAll(dir)
	p := &Plant{ctx: context.Background(), dir: dir, out: out}
	defer func() {
		if p.stop != nil {
			_ = p.stop()
		}
		switch e := recover().(type) {
		case nil:
		case broken:
			out.Wrong = append(out.Wrong, "the program failed: "+e.Error())
		default:
			panic(e)
		}
	}()
	course(p)
	p.end()
	return out
}

// Begin starts the program with stations whose readings begin so many s before the clock.
func (p *Plant) Begin(before int64, specs ...rig.Spec) {
	p.beginAt(station.InstantOf(time.Now()).Floor(station.Second).Add(-before*station.Second), specs...)
}

// beginAt starts the program with stations whose readings begin at a time.
func (p *Plant) beginAt(start station.Instant, specs ...rig.Spec) {
	p.start, p.now, p.chunk = start, start, tickEvery
	p.options = app.Options{Data: p.dir, MaxBytes: 4e9, Keep: time.Hour, Listen: "127.0.0.1:0", BrokerListen: "127.0.0.1:0",
		Zones: map[string]*time.Location{site: time.UTC},
		Every: app.Intervals{Commit: 50 * time.Millisecond, Tick: time.Hour, Snapshot: time.Hour, Trim: time.Hour, Retain: time.Hour}}
	if p.long {
		p.options.Keep, p.options.Every.Snapshot, p.options.Every.Trim = time.Second, snapshots, snapshots
	}
	route, err := topic.Compile("boost/{site}/{station}/{channel}")
	must(err)
	p.options.Intake.Routes = []intake.Route{{Pattern: route}}
	p.options.MQTT.ClientID = "scene"
	p.options.Stations = p.take(specs)
	p.run()
}

// take makes virtual stations of specs, whose faults count from Start, and returns their plates.
func (p *Plant) take(specs []rig.Spec) []app.Station {
	var out []app.Station
	p.rigs = p.rigs[:0]
	for i := range specs {
		s := specs[i]
		s.Faults = append([]rig.Fault(nil), s.Faults...)
		for k := range s.Faults {
			f := &s.Faults[k]
			f.From = p.start.Add(f.From.Sub(Start))
			if f.Until != 0 {
				f.Until = p.start.Add(f.Until.Sub(Start))
			}
		}
		p.rigs = append(p.rigs, rig.New(s, p.now, 0))
		out = append(out, app.Station{Plate: s.Plate, Revision: "1"})
	}
	return out
}

// run starts the program and waits until it is ready. Where the scene's time is ahead of ours, so is the
// program's clock: it would hold messages at a time that lies before its log.
func (p *Plant) run() {
	ahead := max(0, time.Until(p.now.Time()))
	p.options.Wall = func(t time.Time) time.Time { return t.Add(ahead) }
	a, stop, err := app.Start(p.ctx, p.options)
	must(err)
	p.app = a
	p.stop = func() error {
		p.stop = nil
		return stop()
	}
}

// Play plays the stations on for so many s. What stations do may depend on what is concluded of their
// header or site, so that is awaited after each stretch.
func (p *Plant) Play(seconds int64) {
	for end := p.now.Add(seconds * station.Second); p.now < end; {
		p.now = min(end, p.now.Add(p.chunk*station.Second))
		must(p.app.Put(p.ctx, append(p.read(), station.Record{Arrival: p.now, Tick: true})...))
		must(p.app.Settle(p.ctx))
	}
}

// read returns what the stations read up to now, several at a time.
func (p *Plant) read() []station.Record {
	records := make([]station.Record, len(p.rigs))
	var next atomic.Int64
	var group sync.WaitGroup
	for range min(len(p.rigs), runtime.GOMAXPROCS(0)) {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(p.rigs); i = int(next.Add(1)) - 1 {
				v := p.rigs[i]
				records[i] = station.Record{Key: v.Plate.Key, Arrival: p.now, Blocks: v.Until(p.now)}
			}
		})
	}
	group.Wait()
	return slices.DeleteFunc(records, func(r station.Record) bool { return len(r.Blocks) == 0 })
}

// Wait lets time pass in which no station is heard, up to so many s after the clock's time.
func (p *Plant) Wait(after int64) {
	p.now = station.InstantOf(time.Now()).Floor(station.Second).Add(after * station.Second)
	must(p.app.Put(p.ctx, station.Record{Arrival: p.now, Tick: true}))
	must(p.app.Settle(p.ctx))
}

// Restart ends the program and starts it again. forget takes its snapshots away, as another machine
// that takes over with the log and the history alone has none.
func (p *Plant) Restart(forget bool) {
	must(p.stop())
	if forget {
		db, err := sql.Open("sqlite", filepath.Join(p.dir, "history.db"))
		must(err)
		_, err = db.Exec(`DELETE FROM snapshots`)
		must(errors.Join(err, db.Close()))
	}
	p.run()
}

// Reload puts other stations in force.
func (p *Plant) Reload(specs ...rig.Spec) {
	p.options.Stations = p.take(specs)
	must(p.app.Reload(p.ctx, p.options.Stations))
	must(p.app.Settle(p.ctx))
}

// Wrong notes what is wrong.
func (p *Plant) Wrong(format string, args ...any) {
	p.out.Wrong = append(p.out.Wrong, fmt.Sprintf(format, args...))
}

// end stops the program and reads from its history what came of it. Times are moved so that the
// stations' readings begin at Start.
func (p *Plant) end() {
	must(p.stop())
	s, err := history.Open(filepath.Join(p.dir, "history.db"), history.Options{})
	must(err)
	defer s.Close()
	p.out.Transitions, err = s.Transitions(p.ctx, station.Key{}, 0, 1<<62)
	must(err)
	by := Start.Sub(p.start)
	for i := range p.out.Transitions {
		t := &p.out.Transitions[i]
		t.At, t.Raised = t.At.Add(by), t.Raised.Add(by)
	}
	p.out.End = p.now.Add(by)
}
