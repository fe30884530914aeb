package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/samplelog"
	"strokewise/dashboards/board"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// silentWeeks is a plant that stands for three weeks: each station sends two minutes and a half before that, and as much
// behind it. The samples are in the log before the program starts, since messages that are three weeks old are refused.
type silentWeeks struct {
	t    *testing.T
	cfg  string
	data string
	ids  []string
	from station.Instant // the first sample
	back station.Instant // the first after the silence
}

const silentFor = 21 * 24 * time.Hour

func newSilentWeeks(t *testing.T, n int) *silentWeeks {
	p := &silentWeeks{t: t, data: t.TempDir(), back: station.InstantOf(time.Now().Add(-10 * time.Minute)).Floor(station.Minute60)}
	p.from = p.back.Add(-int64(silentFor))
	var b strings.Builder
	fmt.Fprintf(&b, `version: 1
http: { listen: "127.0.0.1:0" }
mqtt: { broker: "tcp://%s", client_id: silent, topics: [{ match: "boost/{site}/{station}" }] }
data: %s
log: { keep: 48 h, max_bytes: 1 GB }
sites: [{ id: works, zone: UTC }]
stations:
`, peers.Mosquitto(t).Addr, p.data)
	for i := range n {
		id := fmt.Sprintf("station-%d", i)
		p.ids = append(p.ids, id)
		fmt.Fprintf(&b, "  - { id: %s, booster: { drive_bore: 63 mm, boost_bore: 63 mm, rod: 16 mm, stroke: 60 mm, set_pressure: 900 kPa }, tank: { volume: 20 L } }\n", id)
	}
	p.cfg = write(t, "silent.yaml", b.String())
	return p
}

// publish appends two minutes and a half of every station to the log.
func (p *silentWeeks) publish(from station.Instant, count int) {
	p.t.Helper()
	log, err := samplelog.Open(p.t.Context(), samplelog.Options{Dir: filepath.Join(p.data, "log"), MaxBytes: 1e9})
	if err != nil {
		p.t.Fatal(err)
	}
	defer log.Close()
	const n = 150
	in, out, cycles := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		in[i], out[i], cycles[i] = 600e3+1e3*float64(i%3), 880e3+1e3*float64(i%5), float64(count+i/10)
	}
	block := func(c station.Channel, v []float64) station.Block {
		return station.Block{Channel: c, Start: from, Step: station.Second, Values: v}
	}
	var parts [station.Partitions][]station.Record
	for _, id := range p.ids {
		k := station.Key{Site: "works", Station: id}
		parts[k.Partition()] = append(parts[k.Partition()], station.Record{Key: k, Arrival: from.Add(n * station.Second), Blocks: []station.Block{
			block(station.InletPressure, in), block(station.OutletPressure, out), block(station.Cycles, cycles)}})
	}
	for n, records := range parts {
		if len(records) == 0 {
			continue
		}
		if _, err := log.Append(p.t.Context(), n, records); err != nil { // one entry a partition
			p.t.Fatal(err)
		}
	}
}

// check reads what was stored: four minutes and one gap for each station, the same for all, and totals that are their sum.
func (p *silentWeeks) check() {
	p.t.Helper()
	s, err := history.Open(filepath.Join(p.data, "history.db"), history.Options{})
	if err != nil {
		p.t.Fatal(err)
	}
	defer s.Close()
	totals, err := s.Totals(p.t.Context())
	if err != nil {
		p.t.Fatal(err)
	}
	// samples in the minutes 0, 1 and 2 of either end; that of the last one is open
	want := station.Gap{From: p.from.Add(3 * station.Minute60), To: p.back}
	bad := 0
	for _, id := range p.ids {
		k := station.Key{Site: "works", Station: id}
		ms, err := s.Minutes(p.t.Context(), k, 0, math.MaxInt64)
		if err != nil {
			p.t.Fatal(err)
		}
		gs, err := s.Gaps(p.t.Context(), k, 0, math.MaxInt64)
		if err != nil {
			p.t.Fatal(err)
		}
		var sum board.Totals
		for i := range ms {
			sum.Add(&ms[i])
			if math.IsNaN(float64(ms[i].InletMean)) {
				p.t.Errorf("%s: minute %s has no sample: %+v", id, ms[i].Start, ms[i])
			}
		}
		for _, g := range gs {
			sum.AddGap(g)
		}
		if len(ms) != 5 || !reflect.DeepEqual(gs, []station.Gap{want}) || totals[k] != sum || sum.Strokes != totals[station.Key{Site: "works", Station: p.ids[0]}].Strokes {
			if bad++; bad < 5 {
				p.t.Errorf("%s: %d minutes, gaps %v, totals %+v, sum %+v", id, len(ms), gs, totals[k], sum)
			}
		}
	}
	if bad > 0 {
		p.t.Errorf("%d of %d stations are wrong", bad, len(p.ids))
	}
}

// A thousand stations that were silent for three weeks come back: the program holds at most 512 MB, and stores
// a gap for each instead of 30,000 minutes.
func TestAThousandStationsComeBack(t *testing.T) {
	p := newSilentWeeks(t, 1000)
	p.publish(p.from, 100)
	c := start(t, "run", "--config", p.cfg)
	c.ready()
	settled(c, "")
	before := resident(t, c.cmd.Process.Pid)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	p.publish(p.back, 500)
	began := time.Now()
	c = start(t, "run", "--config", p.cfg)
	c.ready()
	took := time.Since(began)
	settled(c, "")
	after := resident(t, c.cmd.Process.Pid)
	blind := 0.0
	c.await("metrics", "/metrics", func(b string) bool {
		blind, _ = metric(b, `strokewise_state_seconds_total{branch="",site="works",state="blind",station="station-0"}`)
		return true
	})
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	p.check()
	t.Logf("%d stations back after %v: ready %v after the start; resident at most %d MiB before, %d MiB then", len(p.ids), silentFor, took.Round(time.Second/10), before>>10, after>>10)
	if after > 512<<10 {
		t.Errorf("%d MiB held, at most 512 are allowed", after>>10)
	}
	if blind < silentFor.Seconds()-151 || blind > silentFor.Seconds() {
		t.Errorf("blind for %g s in the metric, want %g less what was seen of it", blind, silentFor.Seconds())
	}
}

// 200 such stations with kill -9 while they come back: each start works off the same log, and what is stored is what an undisturbed
// run stores.
func TestStationsComeBackInACourseOfKills(t *testing.T) {
	p := newSilentWeeks(t, 200)
	p.publish(p.from, 100)
	c := start(t, "run", "--config", p.cfg)
	c.ready()
	settled(c, "")
	c.kill()
	p.publish(p.back, 500)
	for range 8 {
		c = start(t, "run", "--config", p.cfg)
		time.Sleep(time.Duration(rand.IntN(500)) * time.Millisecond) // at any moment of its work
		c.kill()
	}
	c = start(t, "run", "--config", p.cfg)
	c.ready()
	settled(c, "")
	held := resident(t, c.cmd.Process.Pid)
	if code := c.interrupt(); code != 0 {
		t.Fatalf("exit code %d: %s", code, c.said())
	}
	p.check()
	t.Logf("resident at most %d MiB in the last run", held>>10)
	if held > 512<<10 {
		t.Errorf("%d MiB held, at most 512 are allowed", held>>10)
	}
}
