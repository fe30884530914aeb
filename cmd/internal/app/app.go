package app

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/backup"
	"strokewise/cmd/internal/health"
	"strokewise/collector/batch"
	"strokewise/collector/broker"
	"strokewise/collector/clock"
	"strokewise/collector/intake"
	"strokewise/collector/letters"
	"strokewise/collector/mqtt"
	"strokewise/collector/payload"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/dashboards/influx"
	"strokewise/dashboards/live"
	"strokewise/dashboards/prometheus"
	"strokewise/dashboards/web"
	"strokewise/rules"
	"strokewise/rules/notify"
)

// Station is a configured station.
type Station struct {
	Plate    station.Plate
	Revision string // digest of the plate
}

// Options of an App.
type Options struct {
	Data       string // folder
	Stations   []Station
	Zones      map[string]*time.Location    // by site
	References map[string]station.Reference // by site
	Tariffs    map[string]*cost.Tariffs     // by site

	MaxBytes   int64
	Keep       time.Duration
	SyncAlways bool
	LogURL     string
	LogLogin   samplelog.Login
	LogPrefix  string
	LogKeys    []samplelog.Key // of its entries
	LeaseTTL   time.Duration   // of the log's writer, 0: the usual one
	History    Retention
	Refused    int64 // bytes of refused messages that are kept, 0: the usual

	MQTT         mqtt.Options // without handler and filters
	MQTTName     string       // of that broker, "": MainBroker
	MQTTSite     string       // of topics at that broker that name none, "": the usual
	Brokers      []Broker     // more of them, each with a connection of its own
	BrokerListen string       // of an embedded broker, "" where MQTT.Brokers names one
	Intake       intake.Options

	Listen   string
	Hosts    []string
	Doors    Doors // who is let in, and how
	Webhooks []notify.Webhook
	Reach    Reach
	Influx   *influx.Options // nil: nothing is exported; branches and references are filled in
	Rig      web.Rig         // the demonstration's virtual plant

	Headers map[string]rules.HeaderPolicy // by site; rules.UsualHeader where there is none

	Version   string
	BackupKey backup.Key // signs the backup before a migration; nil: it is not signed
	Logger    *slog.Logger

	// Reload reads the configuration again; nil: it is not to be had. Reloads counts what became of it; nil: nothing is counted.
	Reload  func(ctx context.Context) (web.Reloaded, error)
	Reloads *Reloads

	// CheckFile returns the faults of a configuration file, for the page that proposes one; nil: it checks nothing.
	CheckFile func(file []byte) error

	Rehearse Rehearsal // of changed alarms, for back-tests; nil: none

	// Every is how often things are done; zero values are the usual ones.
	Every Intervals

	// Now is the clock that retention goes by; nil is the program's time. A plant that is played faster than time needs its own.
	Now func() time.Time
	// Wall returns what our wall clock reads at a moment; nil: the moment's own reading. Tests set it wrong.
	Wall   func(time.Time) time.Time
	steady time.Duration // see clock.Options
}

// usualRefused is how much is kept of refused messages, bytes.
const usualRefused = 1e9

// Intervals say how often the runtime does what it does.
type Intervals struct {
	Commit, Tick, Snapshot, Trim, Retain time.Duration
	// Figures is how often log and history are asked for figures, and whether they work.
	Figures time.Duration
	// Rebuild is how often it is looked whether samples that came late can be worked off.
	Rebuild time.Duration
	// LateRest is how long nothing late must have come of a station before it is worked off: a buffer that is being sent need
	// not be worked off message by message.
	LateRest time.Duration
	// Clock is how often our own clock is judged, and messages that wait are looked after.
	Clock time.Duration
	// Answer is the longest wait for what becomes of a command.
	Answer time.Duration
}

func (i *Intervals) fill() {
	for _, x := range [...]struct {
		d     *time.Duration
		usual time.Duration
	}{{&i.Commit, time.Second / 2}, {&i.Tick, 5 * time.Second}, {&i.Snapshot, time.Minute}, {&i.Trim, time.Minute}, {&i.Retain, 10 * time.Minute}, {&i.Figures, 5 * time.Second}, {&i.Clock, time.Second}, {&i.Rebuild, 5 * time.Second}, {&i.LateRest, 30 * time.Second}, {&i.Answer, answerWithin}} {
		if *x.d <= 0 {
			*x.d = x.usual
		}
	}
}

// App is the whole runtime.
type App struct {
	opt        Options
	log        *slog.Logger
	health     *health.Registry
	refusal    refusal
	board      *board.Board
	timings    *prometheus.Timings
	live       *live.Live
	broker     *broker.Broker
	samples    *samplelog.JetStream
	unreadable *unreadable // entries of the log
	telling    *telling    // nil: the log is not shared
	ring       *ring
	store      *history.Store
	parts      [station.Partitions]*partition
	intake     *intake.Intake
	batch      *batch.Batcher
	sources    []source
	sender     *notify.Sender
	panels     []*mqtt.Retained
	headers    *headers
	export     *influx.Exporter // nil: none
	web        net.Listener
	doors      doors
	stations   atomic.Pointer[[]Station] // in force
	shut       []func()                  // in the order of starting
	quiet      quiet                     // of commits that fail
	early      chan struct{}             // a partition wants its commit ahead of its turn
	pace       pace                      // of commands
	answers    answers                   // that commands wait for

	backtests  *backtests // nil: none
	first      *firstRun
	quarantine *quarantine

	questions []*question
	logEnds   atomic.Pointer[[station.Partitions]uint64] // newest entry of each partition
	logPart   *health.Several
	snapshots *health.Several
	run       string // names this process in letters
	letters   *letters.Store
	clock     *clock.Clock
	ticking   sync.Mutex // no tick while the time moves; guards the next two
	clockSaid clock.Report
	moved     bool         // the time has moved, and the log does not say yet that we listen from then
	doubted   atomic.Int64 // when our clock came to be doubted, on the monotonic clock, ns
	gate      gate
	passing   sync.Mutex   // letters run through the intake again
	waiting   atomic.Int64 // letters that wait, when last looked
	rebuilder rebuilder
}

// New opens everything that the options name: broker, log, history, address. It does not
// take messages yet.
func New(ctx context.Context, opt Options) (*App, error) {
	opt.Every.fill()
	opt.History.fill()
	if opt.Logger == nil {
		opt.Logger = slog.New(slog.DiscardHandler)
	}
	a := &App{opt: opt, log: opt.Logger, run: rand.Text(), health: health.New(time.Now), board: board.New(), timings: prometheus.NewTimings(), live: live.New(live.Usual), early: make(chan struct{}, 1)}
	a.stations.Store(&a.opt.Stations)
	a.first = newFirstRun(a, opt.CheckFile)
	if opt.Rehearse != nil {
		a.backtests = newBacktests(a, opt.Rehearse)
	}
	if err := a.open(ctx); err != nil {
		a.Close()
		return nil, err
	}
	return a, nil
}

func (a *App) open(ctx context.Context) (err error) {
	o := &a.opt
	if err := os.MkdirAll(o.Data, 0o700); err != nil {
		return fmt.Errorf("cannot make data folder: %w; name one under data that the user that runs strokewise may write to", err)
	}
	a.unreadable = newUnreadable(filepath.Join(o.Data, "unreadable"), a.health.Part("evidence-unreadable", 0), a.log)
	// the log comes first: its lock keeps a second instance off the whole folder
	a.samples, err = samplelog.Open(ctx, samplelog.Options{Dir: filepath.Join(o.Data, "log"), MaxBytes: o.MaxBytes, SyncAlways: o.SyncAlways, URL: o.LogURL,
		Login: o.LogLogin, Prefix: o.LogPrefix, Keys: o.LogKeys, LeaseTTL: o.LeaseTTL, Logger: a.log, OnUnreadable: a.unreadable.keep})
	if err != nil {
		return err
	}
	a.onClose(func() { a.warn("cannot close the sample log", a.samples.Close()) })
	a.ring = newRing(a)
	if err := a.openClock(ctx); err != nil {
		return err
	}
	if err := a.openLetters(ctx); err != nil {
		return err
	}
	if err := a.backUpOldSchema(ctx); err != nil {
		return err
	}
	a.store, err = history.Open(filepath.Join(o.Data, "history.db"), history.Options{SyncAlways: o.SyncAlways, Receivers: o.receivers(), Exporters: o.exporters()})
	if err != nil {
		return err
	}
	a.onClose(func() { a.warn("cannot close the history", a.store.Close()) })
	if o.BrokerListen != "" {
		if a.broker, err = broker.Start(filepath.Join(o.Data, "broker"), o.BrokerListen); err != nil {
			return err
		}
		a.onClose(a.broker.Close)
		o.MQTT.Brokers = []string{a.broker.URL()}
	}
	if err := a.openIntake(); err != nil {
		return err
	}
	if err := a.openTold(ctx); err != nil {
		return err
	}
	a.openSender()
	if err := a.openExport(); err != nil {
		return err
	}
	if a.web, err = net.Listen("tcp", o.Listen); err != nil {
		return fmt.Errorf("cannot serve pages on %s: %w", o.Listen, err)
	}
	a.onClose(func() { a.web.Close() })
	if err := a.openDoors(); err != nil {
		return err
	}
	a.openReach()
	a.openParts()
	a.openQuestions()
	a.mendOwners()
	return a.openPartitions(ctx)
}

func (a *App) openIntake() (err error) {
	o := &a.opt
	o.Intake.Stations = make([]station.Key, len(o.Stations))
	for i := range o.Stations {
		o.Intake.Stations[i] = o.Stations[i].Plate.Key
	}
	o.Intake.Ask = a.ask
	o.Intake.Took = func(topic string, f payload.Format) {
		a.log.Info("auto found out how payloads are written", "topics", topic, "payload", f.String())
	}
	if a.intake, err = intake.New(o.Intake); err != nil {
		return err
	}
	a.batch = batch.New(batch.Options{Log: a.ring, Letters: a.letters, Logger: a.log})
	return a.openSources()
}

// openPartitions loads what the history knows, once log and history belong together.
func (a *App) openPartitions(ctx context.Context) error {
	positions, err := a.store.Positions(ctx)
	if err != nil {
		return err
	}
	fresh, err := a.belong(ctx, positions)
	if err != nil {
		return err
	}
	c, err := a.catalog(ctx)
	if err != nil {
		return err
	}
	a.headers = newHeaders(a.store, a.board, a.opt.Headers, a.log, a.sender.Wake, &a.answers)
	a.headers.now = a.time
	c.holds = holds(c.stations, a.headers.policy)
	if err := a.headers.begin(ctx); err != nil {
		return err
	}
	inQuarantine, err := a.openQuarantine()
	if err != nil {
		a.log.Warn("a record of a station in quarantine is not usable", "error", err)
	}
	a.headers.speak = a.speak
	_, a.headers.out.Told = a.upto(0)
	for n := range a.parts {
		a.parts[n] = &partition{number: n, store: a.store, board: a.board, live: a.live, catalog: c, log: a.log, wake: a.sender.Wake, hurry: a.hurry, nudge: a.headers.nudge, answers: &a.answers,
			quarantine: a.quarantine, speak: a.speak, now: a.now, timings: a.timings, health: a.health.Part(writerName(n), 0)}
		a.parts[n].toldTo, a.parts[n].told = a.upto(n)
		a.parts[n].newest = a.ring.newest(n)
		a.parts[n].start(ctx, positions[n])
		a.parts[n].admit(inQuarantine)
		a.parts[n].begun(time.Now())
	}
	if fresh != nil {
		return a.beginLog(ctx, fresh)
	}
	a.checkBeginning(ctx)
	return nil
}

// smallLine is how far back the small lines of the pages reach, ns.
const smallLine = 30 * station.Minute60

func (a *App) catalog(ctx context.Context) (*catalog, error) {
	c := &catalog{
		stations: make(map[station.Key]Station), zones: a.opt.Zones, tariffs: a.opt.Tariffs,
		today: make(map[station.Key][station.NumStates]int64), alarms: make(map[station.Key][]board.Alarm),
		day: make(map[string]station.Instant),
	}
	var err error
	if c.totals, err = a.store.Totals(ctx); err != nil {
		return nil, err
	}
	if c.costs, err = a.store.TotalCosts(ctx); err != nil {
		return nil, err
	}
	now := a.now()
	for _, s := range a.opt.Stations {
		k := s.Plate.Key
		c.stations[k] = s
		c.day[k.Site] = midnight(now, a.opt.Zones[k.Site])
		if c.today[k], err = a.store.Today(ctx, k, c.day[k.Site]); err != nil {
			return nil, err
		}
		minutes, err := a.store.Minutes(ctx, k, now.Add(-smallLine), now)
		if err != nil {
			return nil, err
		}
		a.live.Minutes(k, minutes)
	}
	if c.records, err = a.recorded(ctx); err != nil {
		return nil, err
	}
	if c.declarations, err = a.declared(ctx); err != nil {
		return nil, err
	}
	if c.learned, err = a.store.Learned(ctx); err != nil {
		return nil, err
	}
	if c.late, err = a.lateKnown(ctx); err != nil {
		return nil, err
	}
	open, err := a.store.OpenAlarms(ctx)
	if err != nil {
		return nil, err
	}
	for _, t := range open {
		c.alarms[t.Key] = append(c.alarms[t.Key], board.Alarm{Transition: t, State: t.To})
	}
	return c, nil
}

// URL returns the address of the pages, as this machine reaches them.
func (a *App) URL() string {
	if a.doors.certificate != nil {
		return "https://" + a.Addr()
	}
	return "http://" + a.Addr()
}

// Addr returns the address and port of the pages.
func (a *App) Addr() string { return a.web.Addr().String() }

// BrokerURL returns the main broker's address, or its list.
func (a *App) BrokerURL() string { return addresses(&a.opt.MQTT) }

func addresses(m *mqtt.Options) string { return strings.Join(m.Brokers, ", ") }

func (a *App) onClose(f func()) { a.shut = append(a.shut, f) }

func (a *App) warn(what string, err error) {
	if err != nil && !errors.Is(err, context.Canceled) && !errors.Is(err, net.ErrClosed) {
		a.log.Warn(what, "error", err)
	}
}

// Close closes what New opened, last first.
func (a *App) Close() {
	for i := len(a.shut) - 1; i >= 0; i-- {
		a.shut[i]()
	}
	a.shut = nil
}
