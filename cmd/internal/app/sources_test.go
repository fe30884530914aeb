package app

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/intake"
	"strokewise/collector/letters"
	"strokewise/collector/mqtt"
	"strokewise/collector/topic"
	"strokewise/deploy/peers"
)

// Two sites, each with its broker, whose gateways use the same topics: a message belongs to the site of its broker, one that was
// refused too. One broker that is away is named, and the other goes on.
func TestABrokerForEachSite(t *testing.T) {
	north, south := peers.Mosquitto(t), peers.Mosquitto(t)
	p, err := topic.Compile("press/{station}/{channel}")
	if err != nil {
		t.Fatal(err)
	}
	o := Options{Data: t.TempDir(), MaxBytes: 1e9, Keep: time.Hour, Listen: "127.0.0.1:0", Intake: intake.Options{Routes: []intake.Route{{Pattern: p}}},
		MQTT: mqtt.Options{Brokers: []string{"tcp://" + north.Addr}, ClientID: "test"}, MQTTSite: "north",
		Brokers: []Broker{{Name: "south", Site: "south", MQTT: mqtt.Options{Brokers: []string{"tcp://" + south.Addr}, ClientID: "test"}}}}
	for _, site := range []string{"north", "south"} {
		o.Stations = append(o.Stations, Station{Plate: station.Plate{Key: station.Key{Site: site, Station: "press-4"}}, Revision: "1"})
	}
	a, stop := running(t, o)
	defer func() { stop() }()
	send := func(addr, id string, first float64) {
		t.Helper()
		c, err := mqtt.NewPublisher(t.Context(), "tcp://"+addr, "sensors")
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		msg := fmt.Sprintf(`{"t0":%d,"dt":1,"v":[%g,%g]}`, time.Now().Unix(), first, first+1)
		if err := c.Publish(t.Context(), "press/"+id+"/outlet_pressure", []byte(msg)); err != nil {
			t.Fatal(err)
		}
	}
	send(north.Addr, "press-4", 600)
	send(south.Addr, "press-4", 700)
	send(south.Addr, "press-5", 800) // not configured
	for site, want := range map[string]float64{"north": 600e3, "south": 700e3} {
		if got := logged(t, a, station.Key{Site: site, Station: "press-4"}, 2); got.Values[0] != want {
			t.Errorf("%s: %v", site, got.Values)
		}
	}
	waitFor(t, "the refused message", func() bool {
		return a.intake.Refused()[string(intake.UnknownStation)] == 1 && a.batch.Figures().Queue == 0
	})
	waitFor(t, "its letter", func() bool {
		list, err := a.letters.Latest(t.Context(), letters.Label(intake.UnknownStation), 1)
		return err == nil && len(list) == 1 && list[0].Site == "south" && strings.Contains(list[0].Detail, "south/press-5")
	})
	list, _ := a.letters.Latest(t.Context(), letters.Label(intake.UnknownStation), 1)
	if _, r := a.again(&list[0]); r == nil || !strings.Contains(r.Detail, "south/press-5") {
		t.Errorf("taken again: %v", r)
	}

	south.Kill()
	waitFor(t, "the loss", func() bool {
		err := a.Ready()
		return err != nil && strings.Contains(err.Error(), "broker-south: not connected to the broker tcp://"+south.Addr)
	})
	by := a.Pipeline()
	if b := by.Brokers; len(b) != 2 || b[0].Name != "main" || !b[0].Connected || b[1].Connected || b[1].Messages != 2 || by.Connected {
		t.Errorf("brokers %+v, connected %v", b, by.Connected)
	}
	send(north.Addr, "press-4", 605)
	logged(t, a, station.Key{Site: "north", Station: "press-4"}, 4)
	south.Restart()
	waitFor(t, "the return", func() bool { return a.Ready() == nil })
}
