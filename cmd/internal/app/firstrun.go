package app

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"

	"strokewise/cmd/internal/discovery"
	"strokewise/collector/discover"
	"strokewise/dashboards/web"
)

// listenAtMost is how long the page of the first run listens. Own choice: stations have worked and rested by
// then, and a page that somebody has left does not listen for ever.
const listenAtMost = 10 * time.Minute

// firstRun implements web.FirstRun.
type firstRun struct {
	app   *App
	check func(file []byte) error // nil: nothing is checked

	mu      sync.Mutex
	now     *discovery.Listening // nil: none yet
	at      web.ListenAt
	cancel  context.CancelFunc
	running bool
	begun   chan *discovery.Listening // of which loop runs
}

func newFirstRun(a *App, check func([]byte) error) *firstRun {
	return &firstRun{app: a, check: check, begun: make(chan *discovery.Listening)}
}

// loop listens where it is told to, until ctx ends.
func (f *firstRun) loop(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			return
		case l := <-f.begun:
			c, cancel := context.WithTimeout(ctx, listenAtMost)
			f.mu.Lock()
			stopped := f.now != l
			if !stopped {
				f.cancel = cancel
			}
			f.mu.Unlock()
			if !stopped {
				_ = l.Run(c) // State says what kept it from hearing
			}
			cancel()
			f.mu.Lock()
			if f.now == l {
				f.running = false
			}
			f.mu.Unlock()
		}
	}
}

// Begin implements web.FirstRun.
func (f *firstRun) Begin(at web.ListenAt) error {
	l, err := discovery.New(discovery.At{Broker: at.Broker, User: at.User, Password: at.Password, Filter: at.Filter}, f.app.log)
	if err != nil {
		return err
	}
	f.Stop()
	f.mu.Lock()
	f.now, f.running = l, true
	f.at = web.ListenAt{Broker: l.At().Broker, User: at.User, Filter: l.At().Filter}
	f.mu.Unlock()
	select {
	case f.begun <- l:
	case <-time.After(answerWithin):
		f.mu.Lock()
		f.running = false
		f.mu.Unlock()
		return fmt.Errorf("the program does not listen yet, or still ends what it listened to before: try again")
	}
	return nil
}

// Stop implements web.FirstRun.
func (f *firstRun) Stop() {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.cancel != nil {
		f.cancel()
		f.cancel = nil
	}
	f.running = false
}

// State implements web.FirstRun.
func (f *firstRun) State() web.Heard {
	f.mu.Lock()
	l, at, running := f.now, f.at, f.running
	f.mu.Unlock()
	h := web.Heard{ListenAt: at, Running: running, Site: f.site(), Units: append(discover.PressureUnits(), discover.Counts, discover.Milliamps), Channels: discover.Channels()}
	for _, s := range discover.Steps() {
		step := web.PlateStep{Buys: s.Buys}
		for _, k := range s.Keys {
			step.Keys = append(step.Keys, web.PlateKey(k))
		}
		h.Steps = append(h.Steps, step)
	}
	if l == nil {
		return h
	}
	found := l.Findings()
	if h.Trouble = l.Trouble(); !running && found.Messages > 0 {
		h.Trouble = ""
	}
	h.Seconds, h.Messages, h.LeftOut, h.Topics = found.Seconds, found.Messages, found.LeftOut, len(found.Topics)
	for i := range found.Topics {
		if t := &found.Topics[i]; t.Unread > 0 && len(h.Unread) < 100 {
			h.Unread = append(h.Unread, web.HeardTopic{Name: t.Name, Problem: t.Problem, Messages: t.Messages, Unread: t.Unread})
		}
	}
	for i := range found.Series {
		h.Series = append(h.Series, heardSeries(found, i))
	}
	for _, s := range found.Stations {
		x := web.HeardStation{ID: s.ID, Why: s.Why}
		for _, c := range s.Channels {
			x.Channels = append(x.Channels, web.HeardChannel{Series: c.Series, Channel: c.Channel, Why: c.Why, Sure: c.Sure})
		}
		h.Stations = append(h.Stations, x)
	}
	return h
}

// site returns the identifier that a site is proposed under: that of the configuration where there is one.
func (f *firstRun) site() string {
	for id := range f.app.opt.Zones {
		if len(f.app.opt.Zones) == 1 {
			return id
		}
	}
	return "plant"
}

func heardSeries(f *discover.Findings, i int) web.HeardSeries {
	s := &f.Series[i]
	best := s.Best()
	out := web.HeardSeries{Topic: f.Topics[s.Topic].Name, Name: s.Name, Payload: f.Topics[s.Topic].Payload, Rate: s.Rate, Low: s.Low, High: s.High,
		Guess: strings.TrimSpace(string(best.Is) + " " + best.Unit), Sure: best.Sure, Why: best.Why, Trace: s.Trace}
	for k, g := range s.Guesses {
		if k > 0 {
			out.Why += fmt.Sprintf("; or %s, %.0f %%: %s", strings.TrimSpace(string(g.Is)+" "+g.Unit), 100*g.Sure, g.Why)
		}
	}
	c := f.Pressure(i)
	out.Unit, out.Scale = c.Unit, c.Scale
	return out
}

// Write implements web.FirstRun.
func (f *firstRun) Write(w web.Plan) (file []byte, faults string, err error) {
	f.mu.Lock()
	l, at := f.now, f.at
	f.mu.Unlock()
	if l == nil {
		return nil, "", fmt.Errorf("nothing was heard yet: listen first")
	}
	p := &discover.Plan{Broker: at.Broker, User: at.User, Data: f.app.opt.Data, Listen: f.app.opt.Listen, Site: w.Site}
	for _, s := range w.Stations {
		x := discover.Planned{ID: s.ID, Plate: s.Plate}
		for _, c := range s.Channels {
			ch, ok := discover.ParseChannel(c.Channel)
			if !ok {
				return nil, "", fmt.Errorf("there is no channel %.40q", c.Channel)
			}
			x.Channels = append(x.Channels, discover.Choice{Series: c.Series, Channel: ch, Unit: c.Unit, Scale: c.Scale, Span: c.Span})
		}
		p.Stations = append(p.Stations, x)
	}
	found := l.Findings()
	if err := p.Check(found); err != nil {
		return nil, "", err
	}
	file = discover.Write(found, p)
	if f.check != nil {
		if err := f.check(file); err != nil {
			faults = err.Error()
		}
	}
	return file, faults, nil
}
