package app

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/clock"
	"strokewise/collector/mqtt"
	"strokewise/collector/playback"
	"strokewise/deploy/peers"
)

// wrongClock is a wall clock that can be set wrong.
type wrongClock struct{ by atomic.Int64 }

func (w *wrongClock) wall(t time.Time) time.Time { return t.Add(time.Duration(w.by.Load())) }

func (w *wrongClock) set(by time.Duration) { w.by.Store(int64(by)) }

// stepped plays the recordings, with the wall clock wrong by an amount while the middle third of the
// messages comes in. before is called with the app when a third is in.
func stepped(t *testing.T, by time.Duration, o *Options, addr string, meanwhile func(a *App)) *App {
	t.Helper()
	var w wrongClock
	o.Wall = w.wall
	a, stop := running(t, *o)
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	all := int64(messagesOfAll(t))
	var sent int64
	var one sync.Mutex // recordings are published side by side
	publish := func(ctx context.Context, topic string, payload []byte) error {
		one.Lock()
		defer one.Unlock()
		if sent == all/3 || sent == 2*all/3 {
			waitFor(t, "what was sent", func() bool { return a.received().Received >= sent })
			if sent == all/3 {
				w.set(by)
				meanwhile(a)
			} else {
				w.set(0)
			}
		}
		sent++
		return p.Publish(ctx, topic, payload)
	}
	through(t, begun, 0, publish)()
	if sent != all {
		t.Fatalf("%d messages sent, %d counted", sent, all)
	}
	settle(t, a)
	waitFor(t, "trust in the clock", func() bool { return a.clock.State() == clock.Trusted })
	stop()
	return a
}

// messagesOfAll returns how many messages the recordings are.
func messagesOfAll(t *testing.T) int {
	t.Helper()
	var all atomic.Int64
	through(t, begun, 0, func(context.Context, string, []byte) error { all.Add(1); return nil })()
	return int(all.Load())
}

// Our own clock is an hour back, or a year ahead, while a third of the messages comes in: none is
// refused, and minutes, states, transitions and figures are those of an undisturbed run.
func TestAStepOfOurClockLosesNothing(t *testing.T) {
	want := undisturbed(t)
	broker := peers.Mosquitto(t)
	for name, by := range map[string]time.Duration{"an hour back": -time.Hour, "a year ahead": 365 * 24 * time.Hour} {
		t.Run(name, func(t *testing.T) {
			var log said
			o := plant(t, broker.Addr)
			o.MQTT.ClientID = strings.ReplaceAll(name, " ", "-")
			o.Every.Clock, o.Logger = 5*time.Millisecond, log.logger()
			a := stepped(t, by, &o, broker.Addr, func(a *App) {
				waitFor(t, "a doubt", func() bool { return a.Pipeline().ClockDoubted })
				waitFor(t, "the health of the clock", func() bool {
					for _, s := range a.health.List() {
						if s.Part == "clock" && strings.Contains(s.Reason, "our clock stepped") {
							return true
						}
					}
					return false
				})
			})
			for reason, n := range a.intake.Refused() {
				if n != 0 {
					t.Errorf("%d messages refused: %s", n, reason)
				}
			}
			if n := a.clock.Doubts(); n != 1 {
				t.Errorf("%d doubts", n)
			}
			if text := log.String(); !strings.Contains(text, "our own clock is in doubt") || !strings.Contains(text, "trusted again") {
				t.Errorf("said: %s", text)
			}
			same(t, want, concluded(t, o))
		})
	}
}

// A start with a clock that is a month behind the log: what comes in is held on disk, survives a
// kill of the program, and is accepted in order once the clock is right. No message is lost, nothing
// differs from an undisturbed run, and meanwhile the program is not ready.
func TestAStartWithAWrongClockHoldsMessages(t *testing.T) {
	want := undisturbed(t)
	broker := peers.Mosquitto(t)
	o := plant(t, broker.Addr)
	o.Every.Clock, o.Every.Tick = 5*time.Millisecond, 10*time.Millisecond
	a, stop := running(t, o) // a log with an end
	k := o.Stations[0].Plate.Key
	waitFor(t, "a tick", func() bool {
		last, _, err := a.samples.Last(t.Context(), k.Partition())
		return err == nil && last > 20
	})
	stop()

	o.Every.Tick = time.Hour
	var w wrongClock
	o.Wall = w.wall
	w.set(-30 * 24 * time.Hour)
	b, end := starting(t, o)
	waitFor(t, "a connection", func() bool { return b.received().Subscribed })
	if err := b.Ready(); err == nil || !strings.Contains(err.Error(), "before the newest entry of the log") {
		t.Errorf("readiness says %v", err)
	}
	all := int64(messagesOfAll(t))
	play(t, broker.Addr, begun, 0)
	waitFor(t, "all messages on disk", func() bool { n, err := b.letters.Waiting(t.Context()); return err == nil && n == all })
	end() // as a stop would be; what waits is acknowledged already

	c, end := starting(t, o)
	waitFor(t, "what waits", func() bool { return c.waiting.Load() == all })
	w.set(0)
	waitFor(t, "all messages in the log", func() bool { n, err := c.letters.Waiting(t.Context()); return err == nil && n == 0 && !c.gate.closed() })
	settle(t, c)
	if err := c.Ready(); err != nil {
		t.Errorf("not ready: %v", err)
	}
	end()
	got := concluded(t, o)
	same(t, want, got)
}

// starting starts an app that need not become ready.
func starting(t testing.TB, o Options) (*App, func()) {
	t.Helper()
	a, err := New(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	waitFor(t, "the start", a.board.Ready)
	return a, func() {
		cancel()
		<-done
		a.Close()
	}
}

// Devices that are wrong together, with our clock right: their messages are held, and after they are
// set right the held ones are decided as ever: refused, and kept. Nothing is acknowledged and gone.
func TestDevicesWrongTogether(t *testing.T) {
	broker := peers.Mosquitto(t)
	ids := []string{"press-1", "press-2", "press-3", "press-4"}
	o := options(t, broker.Addr, ids...)
	o.Every.Clock, o.steady = 5*time.Millisecond, time.Millisecond
	a, stop := running(t, o)
	defer stop()
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "sensors")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	sent := int64(0)
	send := func(wrong time.Duration) {
		for _, id := range ids {
			if err := p.Publish(t.Context(), "boost/northdock/"+id+"/outlet_pressure", hundred(time.Now().Add(wrong))); err != nil {
				t.Fatal(err)
			}
			sent++
		}
		waitFor(t, "what was sent", func() bool { return a.received().Received >= sent })
	}
	refused := func() int64 { return a.intake.Refused()["time-ahead"] }
	waiting := func() int64 { n, err := a.letters.Waiting(t.Context()); _ = err; return n }
	send(0)
	waitFor(t, "a doubt", func() bool { send(time.Hour); return a.clock.State() == clock.Unsure })
	before := refused()
	send(time.Hour)
	waitFor(t, "those that wait", func() bool { return waiting() >= 4 })
	if refused() != before {
		t.Error("messages are refused while our clock is in doubt")
	}
	waitFor(t, "trust", func() bool { send(0); return a.clock.State() == clock.Trusted })
	waitFor(t, "the held ones", func() bool { return waiting() == 0 && !a.gate.closed() })
	settle(t, a)
	sums, err := a.letters.Sums(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	kept := int64(0)
	for _, m := range sums {
		kept += m.Messages
	}
	if accepted := a.batch.Figures().Records; accepted < 8 || kept+a.batch.Figures().Samples/100 != sent || kept != refused() {
		t.Errorf("%d sent, %d blocks accepted, %d kept, %d refused", sent, a.batch.Figures().Samples/100, kept, refused())
	}
}

// hundred returns a payload of a hundred samples that end at a time.
func hundred(end time.Time) []byte {
	v := strings.TrimSuffix(strings.Repeat("612.4,", 100), ",")
	t0 := end.Add(-time.Second)
	return []byte(`{"t0":` + fmt.Sprintf("%.3f", float64(t0.UnixMilli())/1e3) + `,"dt":0.01,"v":[` + v + `]}`)
}

// While the time is not known no tick passes, and nothing is removed for its age; people's words are
// accepted. With a kept time all goes on, and a value without a time of its own is stamped with it.
func TestNoTickPassesAtAnUnknownTime(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4")
	o.Zones = map[string]*time.Location{playback.Site: nil}
	o.Every = Intervals{Clock: 2 * time.Millisecond, Tick: 2 * time.Millisecond, Commit: 5 * time.Millisecond}
	var w wrongClock
	o.Wall = w.wall
	k := o.Stations[0].Plate.Key
	a, stop := running(t, o)
	last := func(a *App) uint64 {
		n, _, err := a.samples.Last(t.Context(), k.Partition())
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	waitFor(t, "ticks", func() bool { return last(a) > 20 })
	w.set(-time.Hour)
	waitFor(t, "a doubt", func() bool { return a.clock.State() == clock.Kept })
	at := last(a)
	waitFor(t, "ticks of the kept time", func() bool { return last(a) > at+5 })
	before := station.InstantOf(time.Now())
	sends(t, a, broker.Addr, "boost/northdock/press-4/outlet_pressure", "612.4")
	b := logged(t, a, k, 1)
	if after := station.InstantOf(time.Now()); b.Times[0] < before.Add(-station.Second) || b.Times[0] > after.Add(station.Second) {
		t.Errorf("stamped %s, between %s and %s", b.Times[0], before, after)
	}
	stop()

	a, stop = starting(t, o) // an hour before the end of the log
	defer stop()
	if a.clock.State() != clock.Unsure || a.trusted() {
		t.Errorf("the clock is %s", a.clock.State())
	}
	at = last(a)
	if _, err := a.Command(t.Context(), k, station.Command{Kind: "note", By: "Ana", Note: "hose changed"}); err != nil {
		t.Error(err)
	}
	a.tick(t.Context())
	if n := last(a); n != at+1 {
		t.Errorf("%d entries beside the person's word", n-at-1)
	}
	w.set(0)
	waitFor(t, "ticks", func() bool { return last(a) > at+10 && a.trusted() })
}
