package main

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/collector/mqtt"
	"strokewise/collector/rig"
	"strokewise/dashboards/web"
)

// keepEvery is how often the virtual plant's state is kept.
const keepEvery = 5 * time.Second

// plant is the demonstration's virtual plant: it publishes what its sensors read, takes
// orders for faults, and goes on where it was in the run before.
type plant struct {
	*rig.Player
	path  string
	specs []rig.Spec
	log   *slog.Logger

	mu   sync.Mutex
	kept rig.Kept
	pub  *mqtt.Publisher
}

// openPlant gives the plant of a data folder.
func openPlant(dir string, log *slog.Logger) (*plant, error) {
	p := &plant{path: filepath.Join(dir, "plant.json"), log: log}
	now := time.Now()
	var err error
	if p.kept, err = rig.ReadKept(p.path); err != nil {
		return nil, err
	}
	if p.kept.Began == 0 {
		p.kept.Began = station.InstantOf(now)
	}
	if p.specs, err = rig.Plant(p.kept.Began); err != nil {
		return nil, err
	}
	p.Player = rig.NewPlayer(p.specs, now, p.kept.Stations, p.publish)
	return p, p.keep()
}

// publish sends what a sensor read.
func (p *plant) publish(ctx context.Context, topic string, payload []byte) error {
	return p.pub.Publish(ctx, topic, payload)
}

// keep writes the plant's state.
func (p *plant) keep() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.kept.Stations = p.Keep()
	return p.kept.Write(p.path)
}

// past gives what is to be filled in behind the first run.
func (p *plant) past() app.PastOf {
	return app.PastOf{Samples: rig.NewPast(p.specs), Began: p.kept.Began.Time(), Ready: p.kept.Past, Done: func(stage string) error {
		p.mu.Lock()
		p.kept.Past = append(p.kept.Past, stage)
		p.mu.Unlock()
		return p.keep()
	}}
}

// run publishes and takes orders until ctx ends.
func (p *plant) run(ctx context.Context, broker string) error {
	var err error
	if p.pub, err = mqtt.NewPublisher(ctx, broker, "sensors"); err != nil {
		return err
	}
	defer p.pub.Close()
	taker, err := mqtt.New(mqtt.Options{Brokers: []string{broker}, ClientID: "rig", Filters: []string{orders}, MaxPacket: 4096, Logger: p.log,
		Handle: func(_ context.Context, m mqtt.Message) {
			p.take(m.Payload)
			m.Ack()
		}})
	if err != nil {
		return err
	}
	var wg sync.WaitGroup
	defer wg.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	wg.Go(func() { _ = taker.Run(ctx) })
	wg.Go(func() { p.keepOn(ctx) })
	return errors.Join(p.Run(ctx), p.keep())
}

// keepOn keeps the plant's state until ctx ends.
func (p *plant) keepOn(ctx context.Context) {
	t := time.NewTicker(keepEvery)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			if err := p.keep(); err != nil {
				p.log.Warn("the virtual plant would not go on where it is", "error", err)
			}
		}
	}
}

// take carries out an order that came over the broker.
func (p *plant) take(message []byte) {
	var o order
	err := json.Unmarshal(message, &o)
	if err == nil {
		err = o.carry(p.Player)
	}
	if err != nil {
		p.log.Warn("cannot carry out an order for the virtual stations", "error", err)
		return
	}
	p.tell(&o)
}

// Stations implements web.Rig.
func (p *plant) Stations() []web.RigStation {
	views := p.Look()
	out := make([]web.RigStation, len(views))
	for i, v := range views {
		out[i] = web.RigStation{Key: v.Key, About: v.About}
		for _, f := range v.Faults {
			out[i].Faults = append(out[i].Faults, web.RigFault{Kind: f.Kind.String(), About: f.Kind.About(), From: f.From, Grow: f.Grow})
		}
	}
	return out
}

// Kinds implements web.Rig.
func (p *plant) Kinds() []web.RigKind {
	var out []web.RigKind
	for k := range rig.NumKinds {
		out = append(out, web.RigKind{Name: k.String(), About: k.About(), Unit: k.Unit(), Usual: strconv.FormatFloat(k.Usual(), 'g', 6, 64)})
	}
	return out
}

// Order implements web.Rig.
func (p *plant) Order(name, kind string, level float64, grow time.Duration, mend bool) error {
	o := order{Station: name, Kind: kind, Level: level, GrowS: grow.Seconds(), Mend: mend}
	if err := o.carry(p.Player); err != nil {
		return err
	}
	p.tell(&o)
	return nil
}

// tell notes an order that was carried out.
func (p *plant) tell(o *order) {
	p.log.Info("virtual station", "station", o.Station, "fault", o.Kind, "level", o.Level, "mended", o.Mend)
}
