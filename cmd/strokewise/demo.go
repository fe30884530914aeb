package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
	"strokewise/collector/intake"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/collector/topic"
)

type demoCmd struct {
	Data   string `placeholder:"DIR" help:"Folder for log and history; default: strokewise-demo in the user's cache folder."`
	Listen string `default:"127.0.0.1:8420" help:"Address of the pages; another port if this one is taken."`
}

// Run runs the demonstration until interrupted.
func (c *demoCmd) Run(e *env) error {
	dir, err := c.folder()
	if err != nil {
		return err
	}
	recordings, err := playback.Recordings()
	if err != nil {
		return err
	}
	opt, err := demoOptions(recordings, dir, free(c.Listen), e)
	if err != nil {
		return err
	}
	a, err := app.New(e.ctx, opt)
	if err != nil {
		return err
	}
	defer a.Close()
	fmt.Fprintf(e.out, "A plant that does not exist, played from recordings of a model.\n\n  pages    http://%s\n  metrics  http://%s/metrics\n  broker   %s\n  data     %s\n\nCtrl-C ends it.\n",
		a.Addr(), a.Addr(), a.BrokerURL(), dir)
	ctx, cancel := context.WithCancelCause(e.ctx)
	played := make(chan struct{})
	go func() {
		defer close(played)
		if err := playTo(ctx, a.BrokerURL(), recordings); err != nil {
			cancel(err)
		}
	}()
	err = a.Run(ctx)
	cancel(nil)
	<-played
	if cause := context.Cause(ctx); e.ctx.Err() == nil && cause != nil {
		return cause
	}
	return err
}

// folder gives the demonstration's data folder.
func (c *demoCmd) folder() (string, error) {
	if c.Data != "" {
		return c.Data, nil
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

// demoOptions gives the runtime's options for the recordings' stations.
func demoOptions(recordings []playback.Recording, dir, listen string, e *env) (app.Options, error) {
	zone, err := time.LoadLocation(playback.Zone)
	if err != nil {
		return app.Options{}, fmt.Errorf("cannot load time zone: %w", err)
	}
	o := app.Options{
		Data: dir, Listen: listen, MaxBytes: 500e6, Keep: time.Hour, Version: version(), Logger: e.log,
		Zones: map[string]*time.Location{playback.Site: zone}, References: map[string]station.Reference{playback.Site: station.ANR},
		BrokerListen: "127.0.0.1:0",
		MQTT:         mqtt.Options{Brokers: []string{"tcp://127.0.0.1:1883"}, ClientID: "strokewise"},
	}
	for i := range recordings {
		p := recordings[i].Plate
		o.Stations = append(o.Stations, app.Station{Plate: p, Revision: config.Revision(&p)})
	}
	for _, s := range []string{"boost/{site}/{station}/{channel}", "boost/{site}/{station}"} {
		p, err := topic.Compile(s)
		if err != nil {
			return o, err
		}
		o.Intake.Routes = append(o.Intake.Routes, intake.Route{Pattern: p})
	}
	return o, nil
}

// playTo plays the recordings to the broker.
func playTo(ctx context.Context, broker string, recordings []playback.Recording) error {
	p, err := mqtt.NewPublisher(ctx, broker, "sensors")
	if err != nil {
		return err
	}
	defer p.Close()
	return playback.New(playback.Options{Recordings: recordings, Start: time.Now(), Publish: p.Publish}).Run(ctx)
}
