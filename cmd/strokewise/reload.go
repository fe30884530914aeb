package main

import (
	"context"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/config"
)

// reloadOnHangup reads the configuration again at every SIGHUP until ctx ends. A faulty
// one is refused as a whole, and the old one stays in force.
func reloadOnHangup(ctx context.Context, path string, cfg *config.Config, a *app.App, e *env) {
	c := make(chan os.Signal, 1)
	signal.Notify(c, syscall.SIGHUP)
	defer signal.Stop(c)
	for {
		select {
		case <-ctx.Done():
			return
		case <-c:
		}
		next, err := load(path, false)
		if err != nil {
			e.log.Error("the configuration is refused, the old one stays in force", "error", err)
			continue
		}
		if keys := next.Restart(cfg); len(keys) > 0 {
			e.log.Warn("these keys changed and take effect at the next start only", "keys", strings.Join(keys, ", "))
		}
		if err := a.Reload(ctx, stationsOf(next)); err != nil {
			e.log.Error("the configuration is refused, the old one stays in force", "error", err)
			continue
		}
		next.HTTP, next.MQTT, next.Data, next.Log, next.Sites, next.Notify = cfg.HTTP, cfg.MQTT, cfg.Data, cfg.Log, cfg.Sites, cfg.Notify
		next.History, next.Influx, next.Refused = cfg.History, cfg.Influx, cfg.Refused
		cfg = next
		a.Rehearse(rehearsal(cfg))
	}
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
