package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/dashboards/web"
)

// reloader keeps the runtime going, and puts another configuration in force. What concerns stations alone
// changes in the runtime; for anything else the runtime begins anew within the process: messages wait at the
// broker meanwhile, and what was read goes on from its snapshots.
type reloader struct {
	path  string
	e     *env
	state app.Reloads

	mu      sync.Mutex     // one reading at a time
	cfg     *config.Config // in force
	current atomic.Pointer[app.App]
	anew    chan *config.Config
	begun   func() // called once, when the first runtime has begun
	once    sync.Once
}

func newReloader(path string, cfg *config.Config, e *env) *reloader {
	return &reloader{path: path, e: e, cfg: cfg, anew: make(chan *config.Config, 1)}
}

// errAnew is returned for a reading while the runtime begins anew.
var errAnew = errors.New("the program is taking over a configuration just now: try again")

// reload reads the configuration again. A faulty one changes nothing.
func (r *reloader) reload(context.Context) (web.Reloaded, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	a := r.current.Load()
	if a == nil || len(r.anew) > 0 {
		return web.Reloaded{}, errAnew
	}
	out, err := r.read(a)
	if err != nil {
		r.refuse(err)
	}
	return out, err
}

// read puts what can be changed in the runtime in force, and has it begin anew for the rest.
func (r *reloader) read(a *app.App) (out web.Reloaded, err error) {
	next, err := load(r.path, false)
	if err != nil {
		return out, err
	}
	if len(next.Stations) == 0 && len(r.cfg.Stations) > 0 {
		return out, fmt.Errorf("%s names no station, and %d are watched: to begin from nothing, stop the program", r.path, len(r.cfg.Stations))
	}
	if _, err := settings(next, r.e); err != nil {
		return out, err
	}
	out = web.Reloaded{Stations: len(next.Stations), Anew: next.Anew(r.cfg)}
	if len(out.Anew) > 0 {
		r.e.log.Info("the configuration is sound; the runtime begins anew for it", "keys", strings.Join(out.Anew, ", "))
		r.anew <- next
		return out, nil
	}
	if err := a.Reload(r.e.ctx, stationsOf(next)); err != nil {
		return out, err
	}
	a.Rehearse(rehearsal(next))
	r.cfg = next
	r.state.Took(time.Now())
	return out, nil
}

func (r *reloader) refuse(err error) {
	r.state.Refused(time.Now(), err)
	r.e.log.Error("the configuration is refused, the old one stays in force", "error", err)
}

// onHangup reads the configuration again at every SIGHUP until ctx ends.
func (r *reloader) onHangup(ctx context.Context) {
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	defer signal.Stop(c)
	for {
		select {
		case <-ctx.Done():
			return
		case <-c:
		}
		if _, err := r.reload(ctx); errors.Is(err, errAnew) {
			r.e.log.Warn(err.Error())
		}
	}
}

// run keeps a runtime of the configuration in force going until ctx ends.
func (r *reloader) run(ctx context.Context) error {
	var before *config.Config // what to go back to
	again := false
	for {
		a, err := r.open(ctx)
		if err != nil && before != nil && ctx.Err() == nil {
			r.refuse(fmt.Errorf("it cannot be put in force: %w", err))
			r.cfg, before, again = before, nil, false
			continue
		}
		if err != nil {
			return err
		}
		if again || before == nil && r.state.Figures().At == 0 {
			r.state.Took(time.Now())
		}
		next, err := r.until(ctx, a)
		if next == nil {
			return err
		}
		r.mu.Lock()
		before, r.cfg, again = r.cfg, next, true
		r.mu.Unlock()
	}
}

// open opens the runtime of the configuration in force.
func (r *reloader) open(ctx context.Context) (*app.App, error) {
	opt, err := settings(r.cfg, r.e)
	if err != nil {
		return nil, err
	}
	opt.Reload, opt.Reloads = r.reload, &r.state
	a, err := app.New(ctx, opt)
	if err != nil {
		return nil, err
	}
	r.e.end.serve()
	fmt.Fprintf(r.e.out, "pages and metrics on %s\n", a.URL())
	return a, nil
}

// until runs a runtime until ctx ends or another configuration is to be put in force, which it returns.
func (r *reloader) until(ctx context.Context, a *app.App) (*config.Config, error) {
	defer a.Close()
	c, stop := context.WithCancel(ctx)
	defer stop()
	done := make(chan error, 1)
	go func() { done <- a.Run(c) }()
	r.current.Store(a)
	defer r.current.Store(nil)
	r.once.Do(r.begun)
	select {
	case err := <-done:
		return nil, err
	case next := <-r.anew:
		r.current.Store(nil)
		stop()
		if err := untilInterrupted(<-done); err != nil {
			return nil, err
		}
		return next, nil
	}
}

// silent names the parts of the present runtime of which nothing is heard; none while it begins anew.
func (r *reloader) silent() []string {
	if a := r.current.Load(); a != nil {
		return a.Health().Silent()
	}
	return nil
}

// rehearsal gives the stations of a configuration with changes of the alarms.
func rehearsal(c *config.Config) app.Rehearsal {
	return func(changes string) ([]app.Station, error) {
		if strings.TrimSpace(changes) == "" {
			return stationsOf(c), nil
		}
		stations, err := c.Rehearsed("changes", []byte(changes))
		if err != nil {
			return nil, err
		}
		return stationsOf(&config.Config{Stations: stations}), nil
	}
}

// stationsOf gives the stations of a configuration.
func stationsOf(c *config.Config) []app.Station {
	out := make([]app.Station, len(c.Stations))
	for i, s := range c.Stations {
		out[i] = app.Station{Plate: s.Plate, Revision: s.Revision}
	}
	return out
}
