package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/collector/intake"
	"strokewise/collector/mqtt"
	"strokewise/collector/rig"
	"strokewise/collector/topic"
	"strokewise/dashboards/cost"
)

type demoCmd struct {
	Data   string `placeholder:"DIR" help:"Folder for log and history; default: strokewise-demo in the user's cache folder."`
	Past   bool   `default:"true" negatable:"" help:"Fill in the plant's past behind: the last hour, shift and week."`
	Listen string `default:"127.0.0.1:8420" help:"Address of the pages; another port if this one is taken."`
}

// Rates are invented, as the plant is.
var (
	demoEnergy = 0.12 * 3.6e6 // J/m³
	demoPrice  = station.Price{PerJoule: 0.18 / 3.6e6, Currency: "EUR"}
	demoCO2    = 0.30 / 3.6e6 // kg/J
)

// brokerFile holds the address of the demonstration's broker while it runs.
const brokerFile = "broker.address"

// Run runs the demonstration until interrupted.
func (c *demoCmd) Run(e *env) error {
	defer private()()
	dir, err := demoFolder(c.Data)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("cannot make data folder: %w", err)
	}
	plant, err := openPlant(dir, e.log)
	if err != nil {
		return err
	}
	opt, err := demoOptions(plant.specs, dir, free(c.Listen), e)
	if err != nil {
		return err
	}
	opt.Rig = plant
	a, err := app.New(e.ctx, opt)
	if err != nil {
		return err
	}
	e.end.serve()
	defer a.Close()
	address := filepath.Join(dir, brokerFile)
	if err := os.WriteFile(address, []byte(a.BrokerURL()+"\n"), 0o600); err != nil {
		return fmt.Errorf("cannot note the broker's address: %w", err)
	}
	defer os.Remove(address)
	defer e.end.unfinished(address)()
	fmt.Fprintf(e.out, `A plant that does not exist: eight virtual stations, each a physics model.

  pages    http://%[1]s
  faults   http://%[1]s/rig
  metrics  http://%[1]s/metrics
  broker   %[2]s
  data     %[3]s

Faults can also be caused from another terminal, for example
  %[4]s rig fault press-4 outlet-leak%[5]s
  %[4]s rig list
Ctrl-C ends it; started again it goes on where it was.
`, a.Addr(), a.BrokerURL(), dir, os.Args[0], dataHint(c.Data))
	return untilInterrupted(runDemo(e.ctx, a, plant, c.Past))
}

// dataHint gives the option that another command needs to find the demonstration.
func dataHint(data string) string {
	if data == "" {
		return ""
	}
	return " --data " + data
}

// runDemo runs the runtime with the virtual stations and their past beside it; whichever
// fails ends all.
func runDemo(outer context.Context, a *app.App, p *plant, past bool) error {
	ctx, cancel := context.WithCancelCause(outer)
	defer cancel(nil)
	var wg sync.WaitGroup
	beside := func(what string, f func(context.Context) error) {
		wg.Go(func() {
			if err := f(ctx); err != nil && ctx.Err() == nil {
				cancel(fmt.Errorf("%s: %w", what, err))
			}
		})
	}
	beside("virtual stations", func(ctx context.Context) error { return p.run(ctx, a.BrokerURL()) })
	if past {
		beside("past", func(ctx context.Context) error { return a.FillPast(ctx, p.past()) })
	}
	err := a.Run(ctx)
	cancel(nil)
	wg.Wait()
	if cause := context.Cause(ctx); outer.Err() == nil && cause != nil && !errors.Is(cause, context.Canceled) {
		return cause
	}
	return err
}

// demoFolder gives the demonstration's data folder: the one that is named, or the usual one.
func demoFolder(named string) (string, error) {
	if named != "" {
		return named, nil
	}
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", fmt.Errorf("cannot find a folder for the data: %w; give --data", err)
	}
	return filepath.Join(cache, "strokewise-demo"), nil
}

// free gives the address, with port 0 if its own port is taken.
func free(addr string) string {
	l, err := net.Listen("tcp", addr)
	if err == nil {
		l.Close()
		return addr
	}
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return addr
	}
	return net.JoinHostPort(host, "0")
}

// demoOptions gives the runtime's options for virtual stations.
func demoOptions(specs []rig.Spec, dir, listen string, e *env) (app.Options, error) {
	o := app.Options{
		Data: dir, Listen: listen, MaxBytes: 500e6, Keep: 2 * time.Hour, Version: version(), Logger: e.log,
		Zones: make(map[string]*time.Location), References: make(map[string]station.Reference), Tariffs: make(map[string]*cost.Tariffs),
		BrokerListen: "127.0.0.1:0",
		MQTT:         mqtt.Options{Brokers: []string{"tcp://127.0.0.1:1883"}, ClientID: "strokewise"},
	}
	for site, zone := range map[string]string{rig.Northdock: rig.NorthdockZone, rig.Southmill: rig.SouthmillZone} {
		z, err := time.LoadLocation(zone)
		if err != nil {
			return o, fmt.Errorf("cannot load time zone: %w", err)
		}
		o.Zones[site], o.References[site] = z, station.ANR
		o.Tariffs[site] = &cost.Tariffs{Zone: z, List: []cost.Tariff{{From: cost.Always, Rates: cost.RatesOf(demoEnergy, demoPrice, demoCO2)}}}
	}
	known := config.Config{File: "the demonstration"}
	for i := range specs {
		p := specs[i].Plate
		p.AirPrice = station.PriceOfAir(demoEnergy, demoPrice)
		o.Stations = append(o.Stations, app.Station{Plate: p, Revision: config.Revision(&p)})
		known.Stations = append(known.Stations, config.Station{Plate: p, Revision: config.Revision(&p)})
	}
	o.Rehearse = rehearsal(&known)
	for _, s := range []string{"boost/{site}/{station}/{channel}", "boost/{site}/{station}"} {
		p, err := topic.Compile(s)
		if err != nil {
			return o, err
		}
		o.Intake.Routes = append(o.Intake.Routes, intake.Route{Pattern: p})
	}
	return o, nil
}
