package intake

import (
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/topic"
)

const now = station.Instant(1767225600 * station.Second)

func newIntake(t testing.TB) *Intake {
	t.Helper()
	p, err := topic.Compile("boost/{site}/{station}/{channel}")
	if err != nil {
		t.Fatal(err)
	}
	q, err := topic.Compile("line/{station}")
	if err != nil {
		t.Fatal(err)
	}
	in, err := New(Options{
		Routes:   []Route{{Pattern: p}, {Pattern: q, Format: payload.Block, PressureUnit: 1e5}},
		Fixed:    map[string]Fixed{"plc/7/db4": {Fields: topic.Fields{Station: "press-4", Channel: "cycles"}, Format: payload.Scalar}},
		Site:     "northdock",
		Stations: []station.Key{{Site: "northdock", Station: "press-4"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return in
}

const pressure = "boost/northdock/press-4/inlet_pressure"

func TestAccepts(t *testing.T) {
	in := newIntake(t)
	for _, c := range []struct {
		topic, data string
		channel     station.Channel
		value       float64
	}{
		{pressure, "612.4", station.InletPressure, 612.4e3},
		{"line/press-4", `{"t0":1767225600,"dt":1,"outlet_pressure":[9]}`, station.OutletPressure, 9e5},
		{"plc/7/db4", "17", station.Cycles, 17},
	} {
		rec, r := in.Accept(&Message{Topic: c.topic, Payload: []byte(c.data), Arrival: now})
		if r != nil {
			t.Errorf("%s: %v", c.topic, r)
			continue
		}
		if rec.Key != (station.Key{Site: "northdock", Station: "press-4"}) || rec.Blocks[0].Channel != c.channel || rec.Blocks[0].Values[0] != c.value {
			t.Errorf("%s: got %+v", c.topic, rec)
		}
	}
	if got := strings.Join(in.Filters(), " "); got != "boost/+/+/+ line/+ plc/7/db4" {
		t.Errorf("filters %q", got)
	}
}

func TestEachRefusalHasItsReason(t *testing.T) {
	block := func(t0, v string) string { return `{"t0":` + t0 + `,"dt":0.01,"v":[` + v + `]}` }
	for _, c := range []struct {
		m    Message
		want payload.Reason
	}{
		{Message{Topic: "boost/northdock/press-4"}, UnknownTopic},
		{Message{Topic: "boost/northdock/press-5/cycles", Payload: []byte("1")}, UnknownStation},
		{Message{Topic: "boost/northdock/press-4/voltage", Payload: []byte("1")}, payload.UnknownChannel},
		{Message{Topic: pressure, Payload: []byte(`{"t0":17672`)}, payload.NotJSON},
		{Message{Topic: pressure, Payload: []byte("NaN")}, payload.NotFinite},
		{Message{Topic: pressure, Payload: []byte(block("0", "1,2"))}, TimeTooOld},
		{Message{Topic: pressure, Payload: []byte(block("7258118400", "1,2"))}, TimeAhead},
		{Message{Topic: pressure, Payload: []byte(block("1767225600", "1,1e9"))}, ImplausiblePressure},
		{Message{Topic: pressure, Payload: []byte("-200")}, ImplausiblePressure},
		{Message{Topic: "boost/northdock/press-4/cycles", Payload: []byte("1.5")}, ImplausibleCount},
		{Message{Topic: "boost/northdock/press-4/cycles", Payload: []byte("-1")}, ImplausibleCount},
		{Message{Topic: "boost/northdock/press-4/supply_open", Payload: []byte("2")}, ImplausibleState},
		{Message{Topic: pressure, Payload: []byte("612"), Retained: true}, RetainedScalar},
		{Message{Topic: pressure, Payload: []byte("612"), Backlog: true}, StaleBacklog},
	} {
		in := newIntake(t)
		c.m.Arrival = now
		_, r := in.Accept(&c.m)
		if r == nil || r.Reason != c.want || r.Detail == "" {
			t.Errorf("%s %s: got %v, want %s", c.m.Topic, c.m.Payload, r, c.want)
			continue
		}
		if n := in.Refused()[string(c.want)]; n != 1 {
			t.Errorf("%s: counted %d times", c.want, n)
		}
	}
}

func TestTimedValuesAreTakenFromTheBacklog(t *testing.T) {
	in := newIntake(t)
	m := Message{Topic: pressure, Payload: []byte(`{"t0":1767222000,"dt":1,"v":[600,601]}`), Backlog: true, Retained: true, Arrival: now}
	if _, r := in.Accept(&m); r != nil {
		t.Error(r)
	}
}

func TestAThousandUnknownStationsStayBounded(t *testing.T) {
	in := newIntake(t)
	for i := range 1000 {
		in.Accept(&Message{Topic: fmt.Sprintf("boost/northdock/ghost-%d/cycles", i), Payload: []byte(strings.Repeat("9", 1000)), Arrival: now})
	}
	names, further := in.Strangers()
	if len(names) != keepNames || further != 1000-keepNames || in.Refused()[string(UnknownStation)] != 1000 {
		t.Errorf("%d names, %d further, %d counted", len(names), further, in.Refused()[string(UnknownStation)])
	}
}

func TestDiscarded(t *testing.T) {
	in := newIntake(t)
	if r := in.Discarded(200 << 20); in.Refused()[string(TooLarge)] != 1 || r.Reason != TooLarge {
		t.Errorf("got %+v", r)
	}
}

func TestConcurrentUse(t *testing.T) {
	in := newIntake(t)
	var wg sync.WaitGroup
	for g := range 4 {
		wg.Go(func() {
			for range 200 {
				in.Accept(&Message{Topic: fmt.Sprintf("x/%d", g), Arrival: now})
				in.Refused()
				in.Strangers()
			}
		})
	}
	wg.Wait()
	if n := in.Refused()[string(UnknownTopic)]; n != 800 {
		t.Errorf("counted %d", n)
	}
}

// The clock hears of times in messages that are accepted and of those that are refused for them, and not
// of what may have waited in a queue.
func TestDeviceTimesAreHeard(t *testing.T) {
	in := newIntake(t)
	var heard []station.Instant
	in.opt.Heard = func(_ station.Key, device, _ station.Instant) { heard = append(heard, device) }
	block := func(t0 string) []byte { return []byte(`{"t0":` + t0 + `,"dt":1,"v":[600,601]}`) }
	for _, m := range []Message{
		{Payload: block("1767225600")}, {Payload: block("1767229200")}, {Payload: []byte("612")},
		{Payload: block("1767225600"), Backlog: true}, {Payload: block("1767225600"), Retained: true}, {Payload: block("1767225600"), Undated: true},
	} {
		m.Topic, m.Arrival = pressure, now
		in.Accept(&m)
	}
	if len(heard) != 2 || heard[0] != now.Add(station.Second) || heard[1] != now.Add(3601*station.Second) {
		t.Errorf("heard %v", heard)
	}
}

// What arrived at an unknown time is accepted by the time it brings, and refused without one.
func TestUndatedMessages(t *testing.T) {
	in := newIntake(t)
	m := Message{Topic: pressure, Payload: []byte(`{"t0":1767222000,"dt":1,"v":[600,601]}`), Undated: true, Arrival: now}
	if rec, r := in.Accept(&m); r != nil || rec.Arrival != now.Add(-3599*station.Second) {
		t.Errorf("%+v %v", rec, r)
	}
	m.Payload = []byte("612")
	if _, r := in.Accept(&m); r == nil || r.Reason != StaleBacklog {
		t.Errorf("got %v", r)
	}
}

// A buffer of a weekend: 60 h are taken where the topic says so, 48 h elsewhere.
func TestAgeByTopic(t *testing.T) {
	in := newIntake(t)
	p, err := topic.Compile("weekend/{site}/{station}/{channel}")
	if err != nil {
		t.Fatal(err)
	}
	o := in.opt
	o.Routes = append(o.Routes, Route{Pattern: p, MaxAge: 60 * time.Hour})
	if in, err = New(o); err != nil {
		t.Fatal(err)
	}
	if in.MaxAge() != 60*time.Hour {
		t.Errorf("the greatest age is %s", in.MaxAge())
	}
	for _, c := range []struct {
		prefix string
		age    time.Duration
		taken  bool
	}{{"boost", 47 * time.Hour, true}, {"boost", 49 * time.Hour, false}, {"weekend", 59 * time.Hour, true}, {"weekend", 61 * time.Hour, false}} {
		m := Message{Topic: c.prefix + "/northdock/press-4/inlet_pressure", Payload: []byte(fmt.Sprintf(`{"t0":%f,"dt":0.01,"v":[600,601]}`, now.Add(-int64(c.age)).Seconds())), Arrival: now}
		if _, r := in.Accept(&m); (r == nil) != c.taken || r != nil && (r.Reason != TimeTooOld || !strings.Contains(r.Detail, "max_age")) {
			t.Errorf("%s, %s old: %v", c.prefix, c.age, r)
		}
	}
}
