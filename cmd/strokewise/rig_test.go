package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"strokewise/cmd/internal/report"
	"strokewise/collector/rig"
	"strokewise/deploy/peers"
)

func TestRigList(t *testing.T) {
	code, out, errOut := call("rig", "list")
	if code != 0 {
		t.Fatal(errOut)
	}
	for _, want := range append(rig.KindNames(), "northdock/press-4", "southmill/pack-2", "usual level 0.2") {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not listed:\n%s", want, out)
		}
	}
}

// A recording of a virtual station, run through replay, gives what its truth says: strokes
// within a cycle, since it has a counter.
func TestRigRecordIsReplayed(t *testing.T) {
	dir := t.TempDir()
	csv, truth := filepath.Join(dir, "press-4.csv.gz"), filepath.Join(dir, "truth.json")
	if code, _, errOut := call("rig", "record", "--station", "press-4", "--for", "10m", "--from", "2026-03-02T09:00:00Z", "--rate", "50",
		"--fault", "outlet-leak=0.1@60s", "--out", csv, "--truth", truth); code != 0 {
		t.Fatal(errOut)
	}
	b, err := os.ReadFile(truth)
	if err != nil {
		t.Fatal(err)
	}
	var is rig.Truth
	if err := json.Unmarshal(b, &is); err != nil || len(is.Strokes) < 20 {
		t.Fatalf("%v, truth %.300s", err, b)
	}
	plate := filepath.Join(dir, "plant.yaml")
	if err := os.WriteFile(plate, []byte(doublingPlate), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := call("replay", "--config", plate, "--station", "press-4", "--json", csv)
	if code != 0 {
		t.Fatal(errOut)
	}
	var got report.Report
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v in %.300s", err, out)
	}
	if got.Totals.Strokes == nil {
		t.Fatalf("strokes unknown: %v", got.Totals.Reason)
	}
	if d := int(*got.Totals.Strokes) - len(is.Strokes); d < -2 || d > 2 {
		t.Errorf("%d strokes, the model made %d", *got.Totals.Strokes, len(is.Strokes))
	}
}

const doublingPlate = `version: 1
sites: [{id: northdock, zone: Europe/Lisbon}]
stations:
  - id: press-4
    site: northdock
    booster: {drive_bore: 80 mm, boost_bore: 80 mm, rod: 20 mm, stroke: 70 mm, set_pressure: 1000 kPa}
    tank: {volume: 20 L}
    counter: {counts: cycles}
`

func TestRigFaultsInTheCommandLine(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"rig", "fault", "press-4"}, "without its kind"},
		{[]string{"rig", "fault", "press-77", "shutdown"}, "northdock/press-4"},
		{[]string{"rig", "fault", "press-4", "rust"}, "the kinds of fault are"},
		{[]string{"rig", "fault", "press-4", "shutdown", "--data", dir}, "no demonstration is running"},
		{[]string{"rig", "fault", "press-4", "outlet-leak", "--level=-1", "--data", dir}, "positive"},
		{[]string{"rig", "record", "--station", "press-77", "--out", filepath.Join(dir, "x.csv")}, "northdock/press-4"},
		{[]string{"rig", "record", "--station", "press-4", "--fault", "outlet-leak=much", "--out", filepath.Join(dir, "x.csv")}, "expected a number"},
		{[]string{"rig", "record", "--station", "press-4", "--fault", "outlet-leak@soon", "--out", filepath.Join(dir, "x.csv")}, "expected a time"},
		{[]string{"rig", "record", "--station", "press-4", "--out", filepath.Join(dir, "no", "x.csv")}, "cannot write recording"},
		{[]string{"rig", "publish", "--style", "smoke"}, "expected joint, channels"},
	} {
		if code, _, errOut := call(c.args...); code != exitFault || !strings.Contains(errOut, c.says) {
			t.Errorf("%v: code %d, %s", c.args, code, errOut)
		}
	}
}

// A virtual station published to a real broker in each payload arrives at a running
// collector.
func TestRigPublishToMosquitto(t *testing.T) {
	for _, style := range []string{"joint", "channels", "senml", "scalar"} {
		t.Run(style, func(t *testing.T) {
			broker := peers.Mosquitto(t)
			c := start(t, "run", "--config", configOf(t, broker.Addr, t.TempDir(), ""))
			ctx, cancel := context.WithCancel(t.Context())
			done := make(chan struct{})
			var said bytes.Buffer
			go func() {
				defer close(done)
				execute(ctx, []string{"rig", "publish", "--broker", "tcp://" + broker.Addr, "--station", "press-4", "--style", style}, &said, &said)
			}()
			c.await("pressures", "/metrics", func(b string) bool {
				v, ok := metric(b, `strokewise_outlet_pressure_pascals{basis="gauge",branch="forming",site="northdock",station="press-4"}`)
				return ok && v > 500e3
			})
			cancel()
			<-done
			if !strings.Contains(said.String(), "publishing 1 virtual station ") {
				t.Error(said.String())
			}
		})
	}
}
