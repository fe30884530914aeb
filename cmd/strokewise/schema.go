package main

import "strokewise/cmd/internal/config"

// schemaCmd prints the JSON Schema of the configuration.
type schemaCmd struct{}

// Run prints it.
func (schemaCmd) Run(e *env) error {
	_, err := e.out.Write(config.Schema())
	return err
}
