package main

import (
	"errors"
	"fmt"

	"strokewise/cmd/internal/config"
)

type checkCmd struct {
	Config string `required:"" placeholder:"FILE" help:"Configuration file."`
	JSON   bool   `help:"Print faults and warnings as JSON, for editors and pipelines."`
}

// Run checks the file.
func (c *checkCmd) Run(e *env) error {
	cfg, err := load(c.Config, false)
	if c.JSON {
		return errors.Join(checkJSON(e.out, c.Config, cfg, err), err)
	}
	if err != nil {
		return err
	}
	for _, w := range cfg.Warnings {
		fmt.Fprintf(e.out, "odd, but taken: %v\n", w)
	}
	if err := logLasts(e.out, cfg); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s: no fault found; %s, %s\n", c.Config, numbered(len(cfg.Sites), "site"), numbered(len(cfg.Stations), "station"))
	return err
}

// load reads a configuration.
func load(path string, replay bool) (*config.Config, error) {
	return config.Load(path, config.Options{NoBroker: replay})
}

// numbered returns a number with its noun, in the plural where it is not 1.
func numbered(n int, noun string) string {
	if n != 1 {
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}
