package main

import (
	"context"
	"strings"

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
	r := newReloader(c.Config, cfg, e)
	ctx, stop := context.WithCancel(e.ctx)
	defer stop()
	r.begun = served(ctx, r, e)
	go r.onHangup(ctx)
	return untilInterrupted(r.run(ctx))
}

// served reports to the service manager that the program is ready, once begun is called, and until ctx ends
// that none of its loops hangs. A broker or receiver that is away does not count: a restart would not bring it
// back.
func served(ctx context.Context, r *reloader, e *env) (begun func()) {
	m := systemd.FromEnvironment()
	report := func(err error) {
		if err != nil {
			e.log.Warn("the service manager is not told", "error", err)
		}
	}
	return func() {
		report(m.Ready())
		go m.Alive(ctx, func() string {
			if silent := r.silent(); len(silent) > 0 {
				return "nothing is heard of " + strings.Join(silent, ", ")
			}
			return ""
		})
		context.AfterFunc(ctx, func() { report(m.Stopping()) })
	}
}
