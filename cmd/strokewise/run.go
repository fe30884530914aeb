package main

import (
	"context"
	"fmt"

	"strokewise/cmd/internal/app"
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
	go reloadOnHangup(ctx, c.Config, cfg, a, e)
	return untilInterrupted(a.Run(ctx))
}
