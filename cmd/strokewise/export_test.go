package main

import (
	"context"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"strokewise/analyzer/station"
	"strokewise/dashboards/export"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// The command writes what is stored, of a history that is in use: to the standard output, to a Parquet file that is read
// back, and to a real InfluxDB. Source: 90 minutes of 60 strokes each are 5,400.
func TestExport(t *testing.T) {
	data := t.TempDir()
	cfg := configOf(t, "127.0.0.1:1", data, "")
	s, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	p := history.StationMinutes{Key: station.Key{Site: "northdock", Station: "press-4"}}
	for n := range 90 {
		p.Minutes = append(p.Minutes, station.Minute{Start: station.Instant(1767225600*station.Second + int64(n)*station.Minute60), Covered: 60e9, Strokes: 60,
			StrokeMethod: station.MethodCounter, AirReason: "no plate data"})
	}
	if err := s.Import(t.Context(), p); err != nil {
		t.Fatal(err)
	}
	args := func(more ...string) []string {
		return append([]string{"export", "--config", cfg, "--from", "2026-01-01T00:00:00Z", "--to", "2026-01-02T00:00:00Z"}, more...)
	}
	code, out, errOut := call(args("--format", "csv", "-o", "-", "--stations", "northdock/press-4")...)
	lines, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if code != exitOK || err != nil || len(lines) != 91 || lines[0][0] != "time" || lines[90][0] != "2026-01-01T01:29:00Z" {
		t.Fatalf("%d, %d lines, %v\n%s", code, len(lines), err, errOut)
	}
	path := filepath.Join(t.TempDir(), "hours.parquet")
	if code, out, errOut = call(args("--format", "parquet", "-o", path, "--resolution", "hour")...); code != exitOK || !strings.Contains(out, "hours.parquet: 2 hours of ") {
		t.Fatalf("%d, %s%s", code, out, errOut)
	}
	back, err := parquet.ReadFile[export.Row](path)
	if err != nil || len(back) != 2 || *back[0].Strokes+*back[1].Strokes != 5400 || back[0].Inlet != nil {
		t.Errorf("%v, %+v", err, back)
	}
	db := peers.Influx(t, "boost")
	for range 2 {
		if code, out, errOut = call(args("--format", "influx", "--url", "http://"+db.Addr, "--bucket", "boost/autogen")...); code != exitOK || !strings.Contains(out, ": 90 minutes of ") {
			t.Fatalf("%d, %s%s", code, out, errOut)
		}
	}
	const sum = `from(bucket: "boost/autogen") |> range(start: 2025-12-31T00:00:00Z, stop: 2026-03-01T00:00:00Z) |> filter(fn: (r) => r._field == "strokes") |> group() |> sum()`
	if got := db.Post(t, "/api/v2/query?org=plant", sum, "application/vnd.flux"); !strings.Contains(got, ",5400") {
		t.Errorf("InfluxDB holds %s", got)
	}
	for want, more := range map[string][]string{
		"it is there":         {"--format", "parquet", "-o", path},
		"cannot find station": {"--format", "csv", "-o", "-", "--stations", "press-4,nobody"},
		"name the file":       {"--format", "csv"},
		"standard output":     {"--format", "parquet", "-o", "-"},
		"for files":           {"--format", "influx", "-o", path},
		"has no influx":       {"--format", "influx"},
		"in clear":            {"--format", "influx", "--url", "http://192.0.2.1:8086", "--bucket", "boost", "--token-file", path},
		"bucket is missing":   {"--format", "influx", "--url", "http://127.0.0.1:8086"},
		"no URL":              {"--format", "influx", "--url", "ftp://127.0.0.1", "--bucket", "boost"},
		"before it":           {"--format", "csv", "-o", "-", "--to", "2025-01-01T00:00:00Z"},
	} {
		if code, _, errOut := call(args(more...)...); code != exitFault || !strings.Contains(errOut, want) {
			t.Errorf("%q: exit code %d, expected words %q in:\n%s", more, code, want, errOut)
		}
	}
	if list, err := os.ReadDir(filepath.Dir(path)); err != nil || len(list) != 1 {
		t.Errorf("left beside the file: %v, %v", list, err)
	}
}

// cut is a history that an interrupt comes into at the second piece.
type cut struct {
	export.History
	interrupt func()
	reads     int
}

func (c *cut) Priced(_ context.Context, k station.Key, from, _ station.Instant) ([]history.ExportRow, error) {
	if c.reads++; c.reads == 2 {
		c.interrupt()
	}
	return []history.ExportRow{{Key: k, Minute: &station.Minute{Start: from}}}, nil
}

// An export that is cut leaves no half file.
func TestACutExportLeavesNothing(t *testing.T) {
	for _, format := range export.Formats {
		dir := t.TempDir()
		ctx, interrupt := context.WithCancel(t.Context())
		defer interrupt()
		h := &cut{interrupt: interrupt}
		x := exporting{env: &env{ctx: ctx, out: io.Discard, err: io.Discard}, history: h,
			query: &export.Query{Stations: []export.Station{{}}, To: station.Instant(10 * 24 * 3600 * station.Second)}}
		c := exportCmd{Format: format, Out: filepath.Join(dir, "half")}
		if err := c.toFile(&x); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: ended with %v", format, err)
		}
		if list, err := os.ReadDir(dir); err != nil || len(list) != 0 || h.reads != 2 {
			t.Errorf("%s: left %v after %d reads, %v", format, list, h.reads, err)
		}
	}
}
