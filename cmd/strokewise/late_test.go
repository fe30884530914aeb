package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/mqtt"
	"strokewise/collector/payload"
	"strokewise/collector/playback"
	"strokewise/collector/rig"
	"strokewise/dashboards/board"
	"strokewise/dashboards/cost"
	"strokewise/dashboards/history"
	"strokewise/deploy/peers"
)

// An hour's buffer, s from the start.
const (
	cutOff  = 10 * 60
	cameTo  = 70 * 60
	allTime = 85 * 60
	perMsg  = 5 // s of samples in a message
)

// lateGateway publishes what a virtual station of ours reads, five readings a second.
type lateGateway struct {
	t    *testing.T
	msgs [][]payload.Outgoing
}

func newGateway(t *testing.T, start station.Instant) *lateGateway {
	t.Helper()
	specs, err := rig.Plant(start)
	if err != nil {
		t.Fatal(err)
	}
	spec, err := rig.Find(specs, "clamp-2")
	if err != nil {
		t.Fatal(err)
	}
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	spec.Plate.Key, spec.Sensors.Rate = rs[0].Plate.Key, 5
	s := rig.New(spec, start, 0)
	g := &lateGateway{t: t}
	for n := 0; n < allTime; n += perMsg {
		topic := "boost/" + spec.Plate.Key.Site + "/" + spec.Plate.Key.Station
		g.msgs = append(g.msgs, payload.Render(payload.Joint, topic, s.Until(start.Add(int64(n+perMsg)*station.Second)), nil))
	}
	return g
}

// send publishes the samples of a stretch that begins at a second.
func (g *lateGateway) send(ctx context.Context, p *mqtt.Publisher, second int) {
	g.t.Helper()
	for _, m := range g.msgs[second/perMsg] {
		if err := p.Publish(ctx, m.Topic, m.Payload); err != nil {
			g.t.Fatal(err)
		}
	}
}

// lateSums are what a run stored of the station, without the mark of revision.
type lateSums struct {
	Minutes []station.Minute
	Hours   []history.Hour
	Gaps    []station.Gap
	Totals  board.Totals
	Costs   cost.Account
	revised int
}

func lateSumsOf(t *testing.T, data string, k station.Key) (out lateSums) {
	t.Helper()
	s, err := history.Open(filepath.Join(data, "history.db"), history.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx := t.Context()
	var errs [5]error
	out.Minutes, errs[0] = s.Minutes(ctx, k, 0, 1<<62)
	out.Hours, errs[1] = s.Hours(ctx, k, 0, 1<<62)
	out.Gaps, errs[2] = s.Gaps(ctx, k, 0, 1<<62)
	totals, err := s.Totals(ctx)
	out.Costs, errs[3] = s.Costs(ctx, k, 0, 1<<62)
	errs[4] = err
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	out.Totals = totals[k]
	for i := range out.Minutes {
		if out.Minutes[i].Revised {
			out.revised++
		}
		out.Minutes[i].Revised = false
		noNaN(&out.Minutes[i])
	}
	for i := range out.Hours {
		out.Hours[i].Revised = 0
	}
	return out
}

// Mosquitto, a lateGateway that is cut off for an hour, sends live values first and its buffer beside them, and kill -9 while it does: minutes,
// hours, totals and costs are those of a run in which nothing happened.
func TestAnHoursBufferBesideLiveValuesAndKills(t *testing.T) {
	t.Setenv(lateEnv, "1s")
	start := station.InstantOf(time.Now().Add(-allTime * time.Second)).Floor(station.Minute60).Add(30 * station.Second)
	g := newGateway(t, start)
	rs, err := playback.Recordings()
	if err != nil {
		t.Fatal(err)
	}
	k := rs[0].Plate.Key

	run := func(late bool) lateSums {
		broker := peers.Mosquitto(t)
		data := t.TempDir()
		cfg := withAir(t, configOf(t, broker.Addr, data, ""), dayAndNight)
		c := begin(t, cfg)
		p, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "lateGateway")
		if err != nil {
			t.Fatal(err)
		}
		defer p.Close()
		sent, kills := cutOff, 0
		for n := 0; n < allTime; n += perMsg {
			if late && n >= cutOff && n < cameTo {
				continue
			}
			g.send(t.Context(), p, n)
			for ; late && n >= cameTo && sent < min(cameTo, cutOff+(n-cameTo+perMsg)*5); sent += perMsg {
				g.send(t.Context(), p, sent)
				if kills < 2 && sent > cutOff+(kills+1)*1200+rand.IntN(100) { // in the midst of the buffer
					kills++
					c.kill()
					c = begin(t, cfg)
				}
			}
		}
		if late && (kills != 2 || sent != cameTo) {
			t.Fatalf("%d kills, buffer sent up to %d", kills, sent)
		}
		settled(c, broker.Addr)
		if late {
			c.await("the rebuilding", "/metrics", func(b string) bool {
				w, ok := metric(b, "strokewise_late_records_waiting")
				n, _ := metric(b, "strokewise_late_rebuilt_total")
				return ok && w == 0 && n >= 59
			})
		}
		if code := c.interrupt(); code != 0 {
			t.Fatalf("exit code %d: %s", code, c.said())
		}
		return lateSumsOf(t, data, k)
	}
	want, got := run(false), run(true)
	if len(want.Minutes) < 80 || want.revised != 0 || got.revised < 59 {
		t.Fatalf("%d minutes undisturbed, %d of them revised; %d revised of the others", len(want.Minutes), want.revised, got.revised)
	}
	a, b := reflect.ValueOf(want), reflect.ValueOf(got)
	for i := range a.NumField() - 1 {
		if x, y := a.Field(i).Interface(), b.Field(i).Interface(); !reflect.DeepEqual(x, y) {
			t.Errorf("%s differ\n got  %.1500s\n want %.1500s", a.Type().Field(i).Name, fmt.Sprintf("%+v", y), fmt.Sprintf("%+v", x))
		}
	}
}

func begin(t *testing.T, cfg string) *child {
	t.Helper()
	c := start(t, "run", "--config", cfg)
	c.ready()
	return c
}
