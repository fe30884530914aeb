package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/pipeline"
)

// A replay whose engine panics ends with an error that names station, file and row. The zero unit
// panics at whatever it is given.
func TestAReplayNamesWhatPanics(t *testing.T) {
	path := filepath.Join(t.TempDir(), "t.csv")
	if err := os.WriteFile(path, []byte("time,inlet_pressure\n1767225600,600\n1767225601,601\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := player{key: station.Key{Site: "northdock", Station: "press-4"}, unit: &pipeline.Unit{}}
	err := p.play(t.Context(), path, 101325)
	if err == nil || !strings.Contains(err.Error(), "northdock/press-4") || !strings.Contains(err.Error(), path) {
		t.Errorf("%v", err)
	}
}
