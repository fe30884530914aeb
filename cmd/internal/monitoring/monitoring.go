// Package monitoring lists the files for Prometheus and Grafana that are made from tables of the program.
package monitoring

import "strokewise/dashboards/prometheus/stationrules"

// File is one that is made.
type File struct {
	Path string // in the tree
	Text []byte
}

// Files returns all of them.
func Files() ([]File, error) {
	return []File{
		{"deploy/prometheus.stations.rules.yaml", stationrules.Rules()},
		{"deploy/prometheus.stations.rules.test.yaml", stationrules.Test()},
	}, nil
}
