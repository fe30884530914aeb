// Command run writes the files for Prometheus and Grafana that are made from tables of the program. It is
// started in the tree's folder, by make monitoring.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"strokewise/cmd/internal/monitoring"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func run() error {
	files, err := monitoring.Files()
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.FromSlash(f.Path), f.Text, 0o644); err != nil {
			return fmt.Errorf("cannot write %s: %w; start it in the folder of the tree", f.Path, err)
		}
	}
	return nil
}
