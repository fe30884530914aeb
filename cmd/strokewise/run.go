package main

import (
	"context"
	"fmt"
	"strings"

	"strokewise/cmd/internal/app"
	"strokewise/cmd/internal/systemd"
)

type runCmd struct {
	Config string `required:"" placeholder:"FILE" help:"Configuration file."`
}

// Run works until interrupted.
func (c *runCmd) Run(e *env) error {
	defer private()()
	cfg, err := load(c.Config, false)
	if err != nil {
		return err
	}
	for _, w := range cfg.Warnings {
		e.log.Warn("odd configuration", "what", w)
	}
	opt, err := settings(cfg, e)
	if err != nil {
		return err
	}
	a, err := app.New(e.ctx, opt)
	if err != nil {
		return err
	}
	e.end.serve()
	defer a.Close()
	fmt.Fprintf(e.out, "pages and metrics on %s\n", a.URL())
	ctx, stop := context.WithCancel(e.ctx)
	defer stop()
	defer served(ctx, a, e)()
	go reloadOnHangup(ctx, c.Config, cfg, a, e)
	return untilInterrupted(a.Run(ctx))
}

// served reports to the service manager that the program is ready and, until ctx ends, that none of its
// loops hangs. A broker or receiver that is away does not count: a restart would not bring it back.
func served(ctx context.Context, a *app.App, e *env) (stopping func()) {
	m := systemd.FromEnvironment()
	report := func(err error) {
		if err != nil {
			e.log.Warn("the service manager is not told", "error", err)
		}
	}
	report(m.Ready())
	go m.Alive(ctx, func() string {
		if silent := a.Health().Silent(); len(silent) > 0 {
			return "nothing is heard of " + strings.Join(silent, ", ")
		}
		return ""
	})
	stop := context.AfterFunc(ctx, func() { report(m.Stopping()) })
	return func() { stop() }
}
