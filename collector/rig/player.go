package rig

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
)

// Publish sends one message.
type Publish func(ctx context.Context, topic string, payload []byte) error

// Player runs virtual stations in step with the clock and publishes their readings once
// a second, as edge sensors do. Cause and Mend are safe for concurrent use.
type Player struct {
	publish Publish
	mu      sync.Mutex
	all     []*Station
}

// settle is how long a station that is shut runs before its first reading is published, ns.
const settle = 30 * station.Second

// NewPlayer returns a player of stations that begin at start, each as it was kept, if it was.
func NewPlayer(specs []Spec, start time.Time, kept map[string]KeptStation, publish Publish) *Player {
	p := &Player{publish: publish}
	for _, s := range specs {
		k, ok := kept[s.Plate.Key.String()]
		if ok {
			s.Faults, s.Outlet = k.Faults, k.Outlet
		}
		at := station.InstantOf(start).Floor(station.Second)
		if f := levelsAt(s.Faults, at); f[Shutdown] == 0 && f[Vented] == 0 {
			p.all = append(p.all, New(s, at, k.Count))
			continue
		}
		shut := New(s, at.Add(-settle), k.Count)
		shut.Until(at) // its line has been vented by then
		p.all = append(p.all, shut)
	}
	return p
}

// Run publishes until ctx ends, or a message cannot be published.
func (p *Player) Run(ctx context.Context) error {
	t := time.NewTicker(time.Second)
	defer t.Stop()
	for {
		for _, m := range p.second(station.InstantOf(time.Now()).Floor(10 * station.Millisecond)) {
			if err := p.publish(ctx, m.Topic, m.Payload); err != nil {
				return err
			}
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-t.C:
		}
	}
}

// second runs all stations up to now and renders what they read.
func (p *Player) second(now station.Instant) []payload.Outgoing {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out []payload.Outgoing
	for _, s := range p.all {
		k := s.Plate.Key
		out = payload.Render(s.Style, "boost/"+k.Site+"/"+k.Station, s.Until(now), out)
	}
	return out
}

// find returns a station by "station" or "site/station".
func (p *Player) find(name string) (*Station, error) {
	i, err := find(len(p.all), func(i int) station.Key { return p.all[i].Plate.Key }, name)
	if err != nil {
		return nil, err
	}
	return p.all[i], nil
}

// View is what a station suffers from, for people.
type View struct {
	Key    station.Key
	About  string
	Faults []Fault // those that have not ended
}

// Look returns the stations in the plant's order.
func (p *Player) Look() []View {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := make([]View, len(p.all))
	for i, s := range p.all {
		out[i] = View{Key: s.Plate.Key, About: s.About}
		for _, f := range s.Faults {
			if f.Until == 0 || f.Until > s.next {
				out[i].Faults = append(out[i].Faults, f)
			}
		}
	}
	return out
}

// Cause makes a fault set in now at a station.
func (p *Player) Cause(name, kind string, level float64, grow time.Duration) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, err := p.find(name)
	if err != nil {
		return err
	}
	f, err := NewFault(kind, level, s.next, int64(grow))
	if err == nil {
		s.Cause(f)
	}
	return err
}

// Mend ends a kind of fault at a station, or all of them where kind is "".
func (p *Player) Mend(name, kind string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	s, err := p.find(name)
	if err != nil {
		return err
	}
	k := NumKinds
	if kind != "" {
		var ok bool
		if k, ok = ParseKind(kind); !ok {
			return fmt.Errorf("cannot mend %.40q: the kinds of fault are %s", kind, strings.Join(KindNames(), ", "))
		}
	}
	s.Mend(k, s.next)
	return nil
}

// Past returns the samples that stations would have sent before now.
type Past struct{ specs map[station.Key]Spec }

// NewPast returns the past of stations.
func NewPast(specs []Spec) *Past {
	p := &Past{specs: make(map[station.Key]Spec, len(specs))}
	for _, s := range specs {
		p.specs[s.Plate.Key] = s
	}
	return p
}

// pastRate bounds the samples a second of the past, to get through a week of it soon.
const pastRate = 20

// warmUp is how long a station runs before a stretch of its past, ns, so that tank and
// pace have settled.
const warmUp = 60 * station.Second

// Samples runs a station from before from up to to and calls fn with its readings, a
// minute at a time.
func (p *Past) Samples(ctx context.Context, k station.Key, from, to station.Instant, fn func([]station.Block) error) error {
	spec, ok := p.specs[k]
	if !ok {
		return fmt.Errorf("there is no virtual station %s", k)
	}
	spec.Sensors.Rate = min(spec.Sensors.Rate, pastRate)
	s := New(spec, from.Floor(station.Second).Add(-warmUp), 0)
	s.Until(from)
	for at := from.Floor(station.Second); at < to; {
		if err := ctx.Err(); err != nil {
			return err
		}
		at = min(at.Add(60*station.Second), to)
		if blocks := s.Until(at); len(blocks) > 0 {
			if err := fn(blocks); err != nil {
				return err
			}
		}
	}
	return nil
}
