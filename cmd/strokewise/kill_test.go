package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/playback"
	"strokewise/collector/trace"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// concluded is what a run stored of one station.
type concluded struct {
	Minutes     []station.Minute
	Intervals   []station.Interval
	Transitions []rules.Transition
	Costs       cost.Account // of the hours; those of the totals are the same
}

// stored reads the history that a run left.
func stored(t *testing.T, data string) map[string]concluded {
	t.Helper()
	s, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]concluded{}
	ctx := context.Background()
	const ever = station.Instant(1 << 62)
	for _, r := range rs {
		k := r.Plate.Key
		var c concluded
		if c.Minutes, err = s.Minutes(ctx, k, 0, ever); err != nil {
			t.Fatal(err)
		}
		if c.Intervals, err = s.Intervals(ctx, k, 0, ever); err != nil {
			t.Fatal(err)
		}
		if c.Transitions, err = s.Transitions(ctx, k, 0, ever); err != nil {
			t.Fatal(err)
		}
		if c.Costs, err = s.Costs(ctx, k, 0, ever); err != nil {
			t.Fatal(err)
		}
		if totals, err := s.TotalCosts(ctx); err != nil || !reflect.DeepEqual(totals[k], c.Costs) {
			t.Errorf("%s: hours cost %+v, totals are %+v, %v", k, c.Costs, totals[k], err)
		}
		if len(c.Minutes) == 0 {
			t.Fatalf("no minute of %s was stored", k)
		}
		for i := range c.Minutes {
			noNaN(&c.Minutes[i])
		}
		out[k.Station] = c
	}
	return out
}

// noNaN makes minutes comparable.
func noNaN(m *station.Minute) {
	for _, p := range [...]*station.Gauge{&m.InletMean, &m.OutletMean, &m.OutletMax} {
		if *p != *p {
			*p = -1e9
		}
	}
}

// settled waits until every station's last sample is behind its watermark: nothing more
// will be concluded.
func settled(c *child, broker string) {
	c.t.Helper()
	prev := ""
	c.await("an end of conclusions", "/metrics", func(b string) bool {
		now := ""
		for _, name := range []string{"strokewise_messages_total", "strokewise_samples_total"} {
			v, _ := metric(b, name)
			now += fmt.Sprint(v, " ")
		}
		for n := range station.Partitions {
			v, _ := metric(b, fmt.Sprintf(`strokewise_log_behind_entries{partition="%d"}`, n))
			now += fmt.Sprint(v, " ")
		}
		same := now == prev
		prev = now
		time.Sleep(1500 * time.Millisecond) // longer than a commit and the broker's pace
		return same
	})
}

// Twenty kill -9 at random moments while Mosquitto delivers QoS 1: minutes, litres,
// strokes, states and transitions are those of an undisturbed run, and of a replay of the
// same data.
func TestTwentyKills(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	broker := peers.Mosquitto(t)
	// from the middle of a minute: recordings of whole minutes then end far enough behind a
	// minute's end for it to have been closed live, and replay has one open minute more
	from := time.Now().Add(-20 * time.Minute).Truncate(time.Minute).Add(30 * time.Second)

	calm := t.TempDir()
	c := start(t, "run", "--config", withAir(t, configOf(t, broker.Addr, calm, ""), dayAndNight))
	c.ready()
	playAll(t, broker.Addr, from, 0)
	settled(c, broker.Addr)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	want := stored(t, calm)

	data := t.TempDir()
	other := peers.Mosquitto(t)
	cfg := withAir(t, configOf(t, other.Addr, data, ""), dayAndNight)
	c = start(t, "run", "--config", cfg)
	c.ready() // the session exists from now on
	played := make(chan struct{})
	go func() {
		defer close(played)
		playAll(t, other.Addr, from, 40*time.Millisecond)
	}()
	during := 0
	for range 20 {
		time.Sleep(time.Duration(50+rand.IntN(1000)) * time.Millisecond)
		c.kill()
		select {
		case <-played:
		default:
			during++
		}
		c = start(t, "run", "--config", cfg)
	}
	<-played
	c.ready()
	settled(c, other.Addr)
	body := c.await("metrics", "/metrics", func(string) bool { return true })
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	got := stored(t, data)
	t.Logf("%d of 20 kills while messages were delivered", during)
	if during < 15 {
		t.Errorf("only %d kills hit the delivery", during)
	}
	for st := range want {
		compare(t, "undisturbed run", st, want[st], got[st])
		var strokes int64
		for i := range got[st].Minutes {
			strokes += got[st].Minutes[i].Strokes
		}
		spent := fmt.Sprintf(`strokewise_air_cost_total{branch="%s",currency="EUR",site="northdock",station="%s"}`, branch(st), st)
		if v, _ := metric(body, spent); v <= 0 || v != float64(got[st].Costs.Money("EUR"))/1e6 {
			t.Errorf("%s: the metric says %g EUR, stored is %+v", st, v, got[st].Costs)
		}
		if v, _ := metric(body, fmt.Sprintf(`strokewise_strokes_total{branch="%s",site="northdock",station="%s"}`, branch(st), st)); v != float64(strokes) {
			t.Errorf("%s: the metric says %g strokes, the minutes %d", st, v, strokes)
		}
	}
	replayed(t, cfg, from, got)
}

// compare holds what two runs stored against each other.
func compare(t *testing.T, with, st string, want, got concluded) {
	t.Helper()
	if len(got.Minutes) != len(want.Minutes) {
		t.Errorf("%s: %d minutes, %s %d", st, len(got.Minutes), with, len(want.Minutes))
	}
	for i := range min(len(got.Minutes), len(want.Minutes)) {
		if !reflect.DeepEqual(got.Minutes[i], want.Minutes[i]) {
			t.Errorf("%s: minute %d differs\n got %+v\n%s %+v", st, i, got.Minutes[i], with, want.Minutes[i])
			break
		}
	}
	if !reflect.DeepEqual(got.Intervals, want.Intervals) {
		t.Errorf("%s: states differ:\n got %v\n%s %v", st, got.Intervals, with, want.Intervals)
	}
	if !reflect.DeepEqual(got.Costs, want.Costs) {
		t.Errorf("%s: costs differ:\n got %+v\n%s %+v", st, got.Costs, with, want.Costs)
	}
	if !reflect.DeepEqual(got.Transitions, want.Transitions) {
		t.Errorf("%s: transitions differ:\n got %+v\n%s %+v", st, got.Transitions, with, want.Transitions)
	}
}

// replayed writes each station's data to a trace and replays it with the program's own
// command: its minutes must be those that were stored live.
func replayed(t *testing.T, cfg string, from time.Time, live map[string]concluded) {
	t.Helper()
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	for i := range rs {
		r := &rs[i]
		id := r.Plate.Key.Station
		code, out, errOut := call("replay", "--config", cfg, "--station", id, "--json", "--alarms", traceOf(t, r, from))
		if code != 0 {
			t.Fatalf("replay of %s: %s", id, errOut)
		}
		var rep struct {
			Minutes []struct {
				Minute    string
				Covered   float64  `json:"covered_s"`
				Strokes   int64    `json:"strokes"`
				Inlet     *float64 `json:"inlet_air_l"`
				Delivered *float64 `json:"delivered_air_l"`
				Duty      *float64 `json:"duty"`
			}
			Alarms []struct{ Alarm, Raised string }
		}
		if err := json.Unmarshal([]byte(out), &rep); err != nil {
			t.Fatal(err)
		}
		want := live[id]
		// a replay ends its last minute at the trace's end; live, that minute stays open
		if len(rep.Minutes) < len(want.Minutes) || len(rep.Minutes) > len(want.Minutes)+1 {
			t.Errorf("%s: replay has %d minutes, live %d", id, len(rep.Minutes), len(want.Minutes))
			continue
		}
		for k := range want.Minutes {
			m, a := &want.Minutes[k], &rep.Minutes[k]
			duty, fed := station.Duty(m.StateNs)
			switch {
			case a.Minute != m.Start.String() || a.Strokes != m.Strokes || a.Covered != float64(m.Covered)/1e9:
				t.Errorf("%s: minute %s differs: replay %+v, live %+v", id, m.Start, a, m)
			case m.AirReason == "" && (a.Inlet == nil || *a.Inlet != m.Inlet.Litres() || *a.Delivered != m.Delivered.Litres()):
				t.Errorf("%s: litres of minute %s differ: replay %+v, live %+v", id, m.Start, a, m)
			case fed != (a.Duty != nil) || fed && *a.Duty != duty:
				t.Errorf("%s: duty of minute %s differs", id, m.Start)
			}
		}
		var raised []string
		for _, tr := range want.Transitions {
			if tr.To == rules.Unacknowledged {
				raised = append(raised, tr.Alarm+" "+tr.At.String())
			}
		}
		var again []string
		for _, a := range rep.Alarms {
			again = append(again, a.Alarm+" "+a.Raised)
		}
		if fmt.Sprint(again) != fmt.Sprint(raised) {
			t.Errorf("%s: replay raises %v, live %v", id, again, raised)
		}
	}
}

// traceOf writes what the player publishes of a recording as a trace.
func traceOf(t *testing.T, r *playback.Recording, from time.Time) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "trace.csv")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := writeTrace(f, r, from); err != nil {
		t.Fatal(err)
	}
	return path
}

func writeTrace(f io.Writer, r *playback.Recording, from time.Time) error {
	var chs []station.Channel
	for i := range r.Blocks {
		chs = append(chs, r.Blocks[i].Channel)
	}
	w, err := trace.NewWriter(f, chs...)
	if err != nil {
		return err
	}
	start, _ := r.Span()
	shift := station.InstantOf(from).Sub(start)
	for k, at := range r.Blocks[0].Times {
		v := make([]float64, len(chs))
		for i := range v {
			v[i] = r.Blocks[i].Values[k]
		}
		if err := w.Write(at.Add(shift), v...); err != nil {
			return err
		}
	}
	return w.Close()
}
