// Package monitoring lists the files for Prometheus and Grafana that are made from tables of the program.
package monitoring

import (
	"strokewise/dashboards/grafana"
	"strokewise/dashboards/prometheus/stationrules"
)

// File is one that is made.
type File struct {
	Path string // in the tree
	Text []byte
}

// Files returns all of them.
func Files() ([]File, error) {
	out := []File{
		{"deploy/prometheus.stations.rules.yaml", stationrules.Rules()},
		{"deploy/prometheus.stations.rules.test.yaml", stationrules.Test()},
	}
	for _, b := range grafana.Boards() {
		text, err := b.JSON()
		if err != nil {
			return nil, err
		}
		out = append(out, File{"deploy/grafana/" + b.Name + ".json", text})
	}
	return out, nil
}
