// Package influx exports closed minutes, hourly figures and alarm transitions to a server with the
// InfluxDB v2 API. What is to be sent waits in the history's export queue, in the order of
// the commits, until the server has taken it; the same point sent again overwrites itself.
package influx

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net/url"
	"sync"
	"time"

	influxdb2 "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"

	"strokewise/analyzer/station"
	"strokewise/dashboards/history"
	"strokewise/rules/notify/egress"
)

// Name is the exporter's name in the history.
const Name = "influx"

// Queue holds what is to be sent.
type Queue interface {
	Export(ctx context.Context, exporter string, limit int) (history.ExportBatch, error)
	ExportDone(ctx context.Context, exporter string, upTo int64) error
	ExportForfeit(ctx context.Context, exporter string, before time.Time) (int64, error)
}

// Options of an Exporter.
type Options struct {
	URL    string // of the server, without api/v2
	Org    string // "" where the server has none
	Bucket string
	// Token gives the token to log in with, at the start and again after it was refused;
	// nil: none.
	Token func() (string, error)
	TLS   *tls.Config // nil: the system's authorities
	// Dial makes connections; nil: to any address that a receiver may have.
	Dial egress.Dial
	// Keep is how long a row may wait while the server takes nothing; older ones are
	// given up and counted.
	Keep time.Duration

	Branches   map[station.Key]string
	References map[string]station.Reference // by site

	Pace Pace
}

// Pace says how often things are done; zero values are the usual ones.
type Pace struct {
	Look    time.Duration // for new rows
	First   time.Duration // wait after the first failure; it doubles from failure to failure
	Most    time.Duration // wait after many failures
	Timeout time.Duration // of one request
	Batch   int           // rows a request
}

func (p *Pace) fill() {
	for _, x := range [...]struct {
		d     *time.Duration
		usual time.Duration
	}{{&p.Look, 2 * time.Second}, {&p.First, time.Second}, {&p.Most, time.Minute}, {&p.Timeout, 30 * time.Second}} {
		if *x.d <= 0 {
			*x.d = x.usual
		}
	}
	if p.Batch <= 0 {
		p.Batch = 1000
	}
}

// Figures are counted since the start.
type Figures struct {
	Points  int64            // taken by the server
	Failed  int64            // requests that did not succeed
	Dropped map[string]int64 // rows given up, by reason
}

// Reasons for giving up a row.
const (
	refusedReason = "refused" // the server does not take the point
	expiredReason = "expired" // it waited longer than Keep
	goneReason    = "gone"    // it is no longer in the history
)

// Exporter sends rows of the queue to the server.
type Exporter struct {
	opt   Options
	queue Queue
	log   *slog.Logger
	wire  *wire
	login func(authorization string)
	api   api.WriteAPIBlocking

	failures int       // rounds in a row
	fault    kind      // told last, 0: all is well
	told     time.Time // when
	refused  time.Time // when a refused point was told last
	swept    time.Time // when old rows were given up last

	mu      sync.Mutex
	figures Figures
	trouble error // of the newest round
}

// New gives an exporter. It connects to nothing yet.
func New(queue Queue, opt Options, log *slog.Logger) (*Exporter, error) {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	if u, err := url.Parse(opt.URL); err != nil || u.Host == "" {
		return nil, fmt.Errorf("cannot export to %q: it is no URL of a server", opt.URL)
	}
	opt.Pace.fill()
	e := &Exporter{opt: opt, queue: queue, log: log, wire: newWire(opt.TLS, opt.Dial, opt.Pace.Timeout), swept: time.Now()}
	e.figures.Dropped = map[string]int64{refusedReason: 0, expiredReason: 0, goneReason: 0}
	o := influxdb2.DefaultOptions().SetLogLevel(0).SetUseGZip(true).SetApplicationName("strokewise")
	o.HTTPOptions().SetHTTPDoer(e.wire)
	client := influxdb2.NewClientWithOptions(opt.URL, "", o)
	e.login = client.HTTPService().SetAuthorization
	e.api = client.WriteAPIBlocking(opt.Org, opt.Bucket)
	return e, nil
}

// Figures gives what was counted since the start.
func (e *Exporter) Figures() Figures {
	e.mu.Lock()
	defer e.mu.Unlock()
	out := e.figures
	out.Dropped = make(map[string]int64, len(e.figures.Dropped))
	for k, v := range e.figures.Dropped {
		out.Dropped[k] = v
	}
	return out
}

// Run exports until ctx ends.
func (e *Exporter) Run(ctx context.Context) error {
	defer e.wire.http.CloseIdleConnections()
	e.authorize()
	for ctx.Err() == nil {
		if wait := e.round(ctx); wait > 0 {
			pause(ctx, wait)
		}
	}
	return ctx.Err()
}

// round exports one batch and tells how long to wait before the next.
func (e *Exporter) round(ctx context.Context) time.Duration {
	batch, err := e.queue.Export(ctx, Name, e.opt.Pace.Batch)
	if err != nil {
		return e.failed(ctx, &answer{kind: broken, err: err})
	}
	if batch.To == batch.From {
		e.did(nil)
		e.sweep(ctx, time.Hour)
		return e.opt.Pace.Look
	}
	p := e.newPass(batch.Rows)
	bad := p.run(ctx)
	if err := e.done(ctx, &batch, p); err != nil && bad == nil {
		bad = &answer{kind: broken, err: err}
	}
	if bad != nil {
		return e.failed(ctx, bad)
	}
	e.works()
	e.sweep(ctx, time.Hour)
	return 0
}

// done moves the cursor behind the rows that are decided and counts them.
func (e *Exporter) done(ctx context.Context, b *history.ExportBatch, p *pass) error {
	n, written := p.decided()
	upTo := b.To
	if n < len(b.Rows) {
		upTo = b.Rows[n].Seq - 1
	}
	if upTo == b.From {
		return nil
	}
	if err := e.queue.ExportDone(context.WithoutCancel(ctx), Name, upTo); err != nil {
		return err // they are sent again, and overwrite themselves
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	e.figures.Points += int64(written)
	e.figures.Dropped[refusedReason] += int64(n - written)
	e.figures.Dropped[goneReason] += upTo - b.From - int64(n)
	return nil
}

// failed notes a failed round and tells how long to wait.
func (e *Exporter) failed(ctx context.Context, a *answer) time.Duration {
	if ctx.Err() != nil {
		return 0 // we end: no fault of the server's
	}
	wait := backoff(e.opt.Pace, e.failures)
	if a.after > 0 {
		wait = a.after
	}
	e.failures++
	e.did(a.err)
	e.say(a, wait)
	if a.kind == login {
		e.authorize()
	}
	e.sweep(ctx, e.opt.Pace.Most)
	return wait
}

// Trouble returns why the newest round did not succeed, nil where it did.
func (e *Exporter) Trouble() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.trouble
}

func (e *Exporter) did(trouble error) {
	e.mu.Lock()
	e.trouble = trouble
	e.mu.Unlock()
}

// authorize reads the token.
func (e *Exporter) authorize() {
	if e.opt.Token == nil {
		return
	}
	token, err := e.opt.Token()
	if err != nil {
		e.log.Warn("cannot read the token of the export", "error", err)
		return
	}
	e.login("Token " + token)
}
