// Package soak plays a year of a plant through the whole program in an hour or less: the readings
// are rendered once and published again and again at other times, and event time and the program's
// clock run as fast as it goes. What is asked: that sums stay those of what was published, and that
// memory, database and log keep their size.
package soak

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
)

// Options say how much is played.
type Options struct {
	Stations int
	Days     int    // from Monday on
	Seconds  int64  // that each station works each working day
	Tariff   int    // days between two tariffs
	Upgrades []int  // days at whose end another version of the program is started
	Restores []int  // days at whose end the history comes back from a backup, without the log
	Dir      string // for the program's data; "": a folder of its own, which is removed
	Log      io.Writer
}

// The plant's year, in days from its first Monday on. A day is of the plant's weeks.
const (
	summer      = 203 // first day of the summer stop, a Monday
	summerEnds  = summer + 21
	keepMinutes = 90 * 24 * time.Hour
)

// site is that of all stations.
const site = "northdock"

// first is the plant's first Monday, midnight.
var first = station.InstantOf(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC))

const day = 24 * 3600 * station.Second

// works reports whether the plant works on a day.
func works(d int) bool { return d%7 < 5 && (d < summer || d >= summerEnds) }

// year is a run.
type year struct {
	Options
	ctx       context.Context
	sessions  []session
	keys      []station.Key
	count     []float64 // what each station's counter shows
	published []float64 // cycles of each station
	clock     atomic.Int64
	began     time.Time
	opt       app.Options
	app       *app.App
	stop      func() error
	report    Report
}

// Run plays the year and returns what it came to. An error is of the program or of the machine; what
// does not agree is in the report.
func Run(ctx context.Context, o Options) (*Report, error) {
	if o.Log == nil {
		o.Log = io.Discard
	}
	if o.Dir == "" {
		dir, err := os.MkdirTemp("", "soak")
		if err != nil {
			return nil, err
		}
		defer os.RemoveAll(dir)
		o.Dir = dir
	}
	y := &year{Options: o, ctx: ctx, began: time.Now(), count: make([]float64, o.Stations), published: make([]float64, o.Stations)}
	defer func() {
		if y.stop != nil {
			_ = y.stop()
		}
	}()
	if err := y.prepare(); err != nil {
		return nil, err
	}
	if err := y.start(); err != nil {
		return nil, err
	}
	for d := range o.Days {
		if err := y.day(d); err != nil {
			return nil, fmt.Errorf("day %d: %w", d, err)
		}
	}
	if err := y.close(); err != nil {
		return nil, err
	}
	return &y.report, y.judge()
}

// prepare renders the sessions and names the stations.
func (y *year) prepare() error {
	for n := range variants {
		s, err := render(n, y.Seconds)
		if err != nil {
			return err
		}
		y.sessions = append(y.sessions, s)
	}
	for i := range y.Stations {
		y.keys = append(y.keys, station.Key{Site: site, Station: fmt.Sprintf("station-%04d", i)})
	}
	y.clock.Store(int64(first))
	return y.options()
}

// day plays one day: the stations that work, an evening in which all are silent, and what people do.
func (y *year) day(d int) error {
	midnight := first.Add(int64(d) * day)
	if works(d) {
		if err := y.work(d, midnight); err != nil {
			return err
		}
	}
	for _, h := range [...]int64{18, 24} { // silence is noticed by the passing of time alone
		at := midnight.Add(h * 3600 * station.Second)
		if err := y.put(at, station.Record{Arrival: at, Tick: true}); err != nil {
			return err
		}
	}
	if err := y.app.Settle(y.ctx); err != nil {
		return err
	}
	if err := y.people(d); err != nil {
		return err
	}
	return y.look(d)
}

// together is how many stations publish at once; each such group is a minute behind the one before.
const together = 20

// work lets every station publish its session of the day.
func (y *year) work(d int, midnight station.Instant) error {
	starts := midnight.Add(6 * 3600 * station.Second)
	for from := 0; from < y.Stations; from += together {
		start := starts.Add(int64(from/together) * 60 * station.Second)
		var records []station.Record
		for i := from; i < min(from+together, y.Stations); i++ {
			s := &y.sessions[(i+d)%variants]
			records = append(records, station.Record{Key: y.keys[i], Arrival: start.Add((y.Seconds + 1) * station.Second), Blocks: s.at(start, y.count[i])})
			y.count[i] += s.cycles
			y.published[i] += s.cycles
		}
		if err := y.put(start.Add((y.Seconds+1)*station.Second), records...); err != nil {
			return err
		}
	}
	return nil
}

// put sets the clock and hands records on.
func (y *year) put(now station.Instant, records ...station.Record) error {
	y.clock.Store(max(y.clock.Load(), int64(now)))
	y.report.Entries++
	return y.app.Put(y.ctx, records...)
}

// close ends the newest session of every station: readings after a silence make its last minute
// final.
func (y *year) close() error {
	at := station.Instant(y.clock.Load()).Add(3600 * station.Second)
	var records []station.Record
	for i, k := range y.keys {
		s := &y.sessions[0]
		var blocks []station.Block
		for _, b := range s.at(at, y.count[i]) {
			n := min(10*rate, b.Len()) // the first strokes have not come yet
			if b.Values = b.Values[:n]; b.Times != nil {
				b.Times = b.Times[:n]
			}
			blocks = append(blocks, b)
		}
		records = append(records, station.Record{Key: k, Arrival: at.Add(11 * station.Second), Blocks: blocks})
	}
	for part := range slices.Chunk(records, 200) {
		if err := y.put(at.Add(11*station.Second), part...); err != nil {
			return err
		}
	}
	return y.app.Settle(y.ctx)
}
