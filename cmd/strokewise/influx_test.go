package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/deploy/peers"
)

// The program exports to a real InfluxDB while it is killed, and the server is away for a
// while: in the end the server has just what the history has, station by station.
func TestExportOfTheProgram(t *testing.T) {
	broker := peers.Mosquitto(t)
	db := peers.Influx(t, "boost")
	data := t.TempDir()
	token := write(t, "token", "t0ps3cret\n")
	more := fmt.Sprintf("influx: { url: \"http://%s\", org: plant, bucket: boost/autogen, token_file: %s }\n", db.Addr, token)
	cfg := configOf(t, broker.Addr, data, more)
	c := start(t, "run", "--config", cfg)
	c.ready()
	played := make(chan struct{})
	go func() {
		defer close(played)
		playAll(t, broker.Addr, time.Now().Add(-20*time.Minute).Truncate(time.Minute), 3*time.Millisecond)
	}()
	db.Kill()
	for range 3 {
		time.Sleep(700 * time.Millisecond)
		c.kill()
		c = start(t, "run", "--config", cfg)
	}
	<-played
	c.ready()
	settled(c, broker.Addr)
	c.await("rows that wait", "/metrics", func(b string) bool {
		pending, _ := metric(b, "strokewise_export_pending")
		failed, _ := metric(b, "strokewise_export_failed_total")
		return pending > 0 && failed > 0
	})
	db.Restart()
	body := c.await("an empty queue", "/metrics", func(b string) bool {
		n, ok := metric(b, "strokewise_export_pending")
		points, _ := metric(b, "strokewise_export_points_total")
		return ok && n == 0 && points > 0
	})
	for _, reason := range []string{"refused", "expired", "gone"} {
		if n, ok := metric(body, `strokewise_export_dropped_total{reason="`+reason+`"}`); !ok || n != 0 {
			t.Errorf("%g rows dropped: %s", n, reason)
		}
	}
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	if strings.Contains(c.said(), "t0ps3cret") {
		t.Errorf("the token is in the log: %s", c.said())
	}
	want := stored(t, data)
	for st, w := range want {
		compareExport(t, db, st, w)
	}
}

// compareExport holds what the server has of a station against the history.
func compareExport(t *testing.T, db *peers.Process, st string, want concluded) {
	t.Helper()
	var strokes, air float64
	for i := range want.Minutes {
		m := &want.Minutes[i]
		if m.StrokeMethod != station.MethodNone {
			strokes += float64(m.Strokes)
		}
		if m.AirReason == "" {
			air += m.Delivered.CubicMetres()
		}
	}
	for _, c := range []struct {
		measurement, field, fold string
		want                     float64
	}{
		{"boost_minute", "covered_seconds", "count", float64(len(want.Minutes))},
		{"boost_minute", "strokes", "sum", strokes},
		{"boost_minute", "delivered_air_cubic_meters", "sum", air},
		{"boost_alarm", "raised_seconds", "count", float64(len(want.Transitions))},
	} {
		got := fold(t, db, c.measurement, c.field, st, c.fold)
		if math.Abs(got-c.want) > 1e-9*math.Abs(c.want) {
			t.Errorf("%s: %s of %s is %g at the server, %g in the history", st, c.fold, c.field, got, c.want)
		}
	}
	t.Logf("%s: %d minutes, %g strokes, %g m³, %d transitions", st, len(want.Minutes), strokes, air, len(want.Transitions))
}

// fold gives the count or sum of a field of a station, 0 where there is none.
func fold(t *testing.T, db *peers.Process, measurement, field, st, how string) float64 {
	t.Helper()
	q := fmt.Sprintf(`from(bucket: "boost/autogen") |> range(start: -2d, stop: 1h)
		|> filter(fn: (r) => r._measurement == %q and r._field == %q and r.station == %q) |> group() |> %s()`, measurement, field, st, how)
	r := csv.NewReader(strings.NewReader(strings.TrimSpace(db.Post(t, "/api/v2/query?org=plant", q, "application/vnd.flux"))))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for i := range rows {
		if v, err := strconv.ParseFloat(rows[i][len(rows[i])-1], 64); err == nil {
			return v
		}
	}
	return 0
}

func TestExporterOfTheConfiguration(t *testing.T) {
	if o, err := exporter(&config.Influx{}); o != nil || err != nil {
		t.Errorf("without a url: %v, %v", o, err)
	}
	token := write(t, "token", "old\n")
	c := config.Influx{URL: "http://127.0.0.1:8086", Bucket: "b", TokenFile: token, Keep: time.Hour}
	o, err := exporter(&c)
	if err != nil || o.URL != c.URL || o.Bucket != "b" || o.Keep != time.Hour {
		t.Fatalf("%+v, %v", o, err)
	}
	if err := os.WriteFile(token, []byte("new\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if s, err := o.Token(); s != "new" || err != nil {
		t.Errorf("token %q, %v", s, err)
	}
	for what, bad := range map[string]config.Influx{
		"empty token":     {URL: c.URL, TokenFile: write(t, "empty", "\n")},
		"missing token":   {URL: c.URL, TokenFile: "no-such-file"},
		"no certificates": {URL: c.URL, CAFile: token},
	} {
		if _, err := exporter(&bad); err == nil || !strings.HasPrefix(err.Error(), "cannot read") {
			t.Errorf("%s: %v", what, err)
		}
	}
}
