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
	_, err = fmt.Fprintf(e.out, "%s: no fault found; %d sites, %d stations\n", c.Config, len(cfg.Sites), len(cfg.Stations))
	return err
}

// load reads a configuration.
func load(path string, replay bool) (*config.Config, error) {
	return config.Load(path, config.Options{NoBroker: replay})
}
