package app

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/letters"
	"strokewise/collector/mqtt"
	"strokewise/collector/payload"
	"strokewise/collector/playback"
	"strokewise/collector/topic"
	"strokewise/dashboards/history"
	"strokewise/dashboards/web"
	"strokewise/deploy/peers"
	"strokewise/rules"
)

// keptOf returns how many refused messages are kept under a reason.
func keptOf(t testing.TB, a *App, reason string) int64 {
	t.Helper()
	sums, err := a.Sums(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range sums {
		if m.Reason == reason {
			return m.Messages
		}
	}
	return 0
}

// A station that the configuration does not name yet sends for minutes, through a restart of the
// program; it is added by a reload, or by a restart, while it goes on sending. All that it sent counts, as
// if it had been there from the begin.
func TestAStationThatIsAddedLaterLosesNothing(t *testing.T) {
	t.Parallel() // it waits more than it works
	want := undisturbed(t)
	all := int64(messagesOfAll(t))
	for _, restart := range []bool{false, true} {
		t.Run(fmt.Sprint("restart ", restart), func(t *testing.T) {
			broker := peers.Mosquitto(t)
			o := plant(t, broker.Addr)
			o.Every.Clock, o.Zones = 5*time.Millisecond, map[string]*time.Location{playback.Site: nil}
			full := o.Stations
			missing := full[len(full)-1].Plate.Key
			o.Stations = full[:len(full)-1]
			a, stop := running(t, o)
			p, err := mqtt.NewPublisher(t.Context(), "tcp://"+broker.Addr, "sensors")
			if err != nil {
				t.Fatal(err)
			}
			defer p.Close()
			var sent, before int64
			var one sync.Mutex // recordings are published side by side
			publish := func(ctx context.Context, topic string, payload []byte) error {
				one.Lock()
				defer one.Unlock()
				if sent == all/3 || sent == 2*all/3 {
					waitFor(t, "what was sent", func() bool { return a.received().Received >= sent-before })
					settle(t, a)
				}
				if sent == all/3 || sent == 2*all/3 && restart {
					stop()
					if before = sent; sent != all/3 {
						o.Stations = full
					}
					a, stop = running(t, o)
				} else if sent == 2*all/3 {
					if keptOf(t, a, "unknown-station") == 0 {
						t.Error("nothing is kept of the station")
					}
					if err := a.Reload(ctx, full); err != nil {
						t.Error(err)
					}
				}
				sent++
				return p.Publish(ctx, topic, payload)
			}
			through(t, begun, 0, publish)()
			waitFor(t, "the gate", func() bool { any, _ := a.gate.state(); return !any })
			settle(t, a)
			if n := keptOf(t, a, "unknown-station"); n != 0 {
				t.Errorf("%d messages are still kept", n)
			}
			if b, ok := a.board.Get(missing); !ok || b.Late != 0 {
				t.Errorf("%d samples came too late", b.Late)
			}
			stop()
			o.Stations = full
			same(t, want, concluded(t, o))
		})
	}
}

// sends publishes payloads and waits until the app has them.
func sends(t testing.TB, a *App, addr string, topicName string, payloads ...string) {
	t.Helper()
	p, err := mqtt.NewPublisher(t.Context(), "tcp://"+addr, "sends")
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	was := a.received().Received
	for _, x := range payloads {
		if err := p.Publish(t.Context(), topicName, []byte(x)); err != nil {
			t.Fatal(err)
		}
	}
	waitFor(t, "what was sent", func() bool {
		return a.received().Received >= was+int64(len(payloads)) && a.batch.Figures().Queue == 0
	})
}

// What is refused outlives a restart, and is accepted once the mapping was mended: in order where the
// station has nothing newer, else it is said to be too late and stays.
func TestRefusedMessagesAreTakenAgain(t *testing.T) {
	broker := peers.Mosquitto(t)
	o := options(t, broker.Addr, "press-4", "press-5")
	o.Every.Clock, o.Every.Commit = 5*time.Millisecond, 5*time.Millisecond
	t0 := time.Now().Add(-10 * time.Minute).Unix()
	var old []string
	for i := range 300 {
		old = append(old, fmt.Sprintf(`{"t0":%d,"dt":0.01,"v":[%s612.4]}`, t0+int64(i), strings.Repeat("612.4,", 99)))
	}
	p, err := topic.Compile("boost/{site}/{station}/gateway/{channel}")
	if err != nil {
		t.Fatal(err)
	}
	o.Intake.Routes = append(o.Intake.Routes, o.Intake.Routes[0])
	o.Intake.Routes[2].Pattern, o.Intake.Routes[2].Format = p, payload.Scalar
	a, stop := running(t, o)
	sends(t, a, broker.Addr, "boost/northdock/press-4/outlet_pressure", fmt.Sprintf(`{"t0":%d,"dt":0.01,"v":[612.4]}`, t0-60))
	sends(t, a, broker.Addr, "boost/northdock/press-4/gateway/outlet_pressure", old...)
	sends(t, a, broker.Addr, "boost/northdock/press-5/gateway/outlet_pressure", old...)
	sums, err := a.Sums(t.Context())
	if err != nil || len(sums) != 1 || sums[0].Messages != 600 {
		t.Fatalf("kept %+v: %v", sums, err)
	}
	reason := sums[0].Reason
	if r, err := a.Take(t.Context(), "Ana", reason, 0); err != nil || r.Accepted != 0 || r.Refused != 600 || !slices.Equal(r.Still, []string{reason}) {
		t.Errorf("with the same mapping: %+v, %v", r, err)
	}
	stop()

	o.Intake.Routes[2].Format = payload.Auto
	a, stop = running(t, o)
	defer stop()
	// press-5 has newer samples by now, press-4 has not
	sends(t, a, broker.Addr, "boost/northdock/press-5/outlet_pressure", fmt.Sprintf(`{"t0":%d,"dt":1,"v":[612.4,612.4,612.4,612.4,612.4,612.4,612.4,612.4,612.4,612.4]}`, t0+400))
	settle(t, a)
	r, err := a.Take(t.Context(), "Ana", reason, 0)
	if err != nil || r.Accepted != 300 || r.Late != 300 || r.Refused != 0 || r.LateSamples != 0 || r.More {
		t.Errorf("%+v, %v", r, err)
	}
	if n := keptOf(t, a, reason); n != 300 {
		t.Errorf("%d messages stay", n)
	}
	logged(t, a, station.Key{Site: "northdock", Station: "press-4"}, 1+300*100)
	acts, err := a.store.LastActs(t.Context(), 10)
	if err != nil || !slices.ContainsFunc(acts, func(x history.Act) bool {
		return x.What == "take refused" && x.Who == "Ana" && x.Detail == "300 accepted, 300 too late, 0 still refused"
	}) {
		t.Errorf("audit %+v: %v", acts, err)
	}
	if n, err := a.Discard(t.Context(), "Ana", reason); n != 300 || err != nil || keptOf(t, a, reason) != 0 {
		t.Errorf("%d discarded: %v", n, err)
	}
	if _, err := a.Take(t.Context(), "Ana", string(letters.Held), 0); err == nil || !isRefusal(err) {
		t.Errorf("those that wait: %v", err)
	}
}

func isRefusal(err error) bool { _, ok := err.(*rules.Refusal); return ok }

var _ web.Refusals = (*App)(nil)
