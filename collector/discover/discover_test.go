package discover

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"strokewise/analyzer/station"
	"strokewise/collector/payload"
	"strokewise/collector/rig"
)

const began = station.Instant(1_767_225_600_000_000_000)

// unlabelled plays virtual stations for a while under topics that say nothing, and returns what each topic
// is: the station and the channel.
func unlabelled(t *testing.T, l *Listener, seconds int, write func(c station.Channel, v float64) string, names ...string) map[string]string {
	t.Helper()
	specs, err := rig.Plant(began)
	if err != nil {
		t.Fatal(err)
	}
	truth := map[string]string{}
	var all []*rig.Station
	for _, n := range names {
		s, err := rig.Find(specs, n)
		if err != nil {
			t.Fatal(err)
		}
		s.Sensors.Rate = 10 // what a gateway sends
		all = append(all, rig.New(s, began, 4711))
	}
	order := rand.New(rand.NewPCG(1, 2)).Perm(3 * len(names))
	for k := range seconds {
		now := began.Add(int64(k+1) * station.Second)
		for i, s := range all {
			for _, b := range s.Until(now) {
				if b.Channel > station.Cycles {
					continue
				}
				topic := fmt.Sprintf("gw/x%d", order[3*i+int(b.Channel)])
				truth[topic] = names[i] + " " + b.Channel.String()
				for n := range b.Values {
					l.Take(&Message{Topic: topic, Payload: []byte(write(b.Channel, b.Values[n])), At: b.At(n)})
				}
			}
		}
	}
	return truth
}

// Three stations behind nine topics without a name that says anything: what belongs together is found by what
// moves together, inlet and outlet by which is higher, the unit by where pressures lie. Truth is the model's.
func TestStationsWithoutNames(t *testing.T) {
	for unit, write := range map[string]func(c station.Channel, v float64) string{
		"bar":  func(_ station.Channel, v float64) string { return fmt.Sprintf("%.2f", v/1e5) },
		"kPa":  func(_ station.Channel, v float64) string { return fmt.Sprintf("%.1f", v/1e3) },
		Counts: func(_ station.Channel, v float64) string { return fmt.Sprintf("%.0f", v/1.6e6*27648) },
	} {
		t.Run(unit, func(t *testing.T) {
			l := New()
			truth := unlabelled(t, l, 60, func(c station.Channel, v float64) string {
				if !c.IsPressure() {
					return fmt.Sprintf("%.0f", v)
				}
				return write(c, v)
			}, "press-4", "press-9", "pack-1")
			f := l.Findings()
			if len(f.Series) != 9 || len(f.Stations) != 3 {
				t.Fatalf("%d series, %d stations: %+v", len(f.Series), len(f.Stations), f.Stations)
			}
			for _, s := range f.Stations {
				of := map[string]bool{}
				for _, a := range s.Channels {
					name, channel, _ := strings.Cut(truth[f.Topics[f.Series[a.Series].Topic].Name], " ")
					of[name] = true
					if channel != a.Channel {
						t.Errorf("%s: %s of %s is taken for %s: %s", s.ID, channel, name, a.Channel, a.Why)
					}
					if a.Sure >= 1 || a.Why == "" {
						t.Errorf("%s %s: sure %g, why %q", s.ID, a.Channel, a.Sure, a.Why)
					}
					if g := f.Series[a.Series].Best(); a.Channel != "cycles" && (g.Is != Pressure || g.Unit != unit) {
						t.Errorf("%s %s: %+v", s.ID, a.Channel, f.Series[a.Series].Guesses)
					}
				}
				if len(of) != 1 || len(s.Channels) != 3 {
					t.Errorf("%s is made of %v: %+v", s.ID, of, s.Channels)
				}
			}
		})
	}
}

// Topics of one station that stand together are one station, named by what they share, whatever moves.
func TestStationByItsTopics(t *testing.T) {
	l := New()
	for k := range 40 {
		for name, v := range map[string]string{"p_out": "8.91", "p_in": "6.12", "n": fmt.Sprint(900 + k/7)} {
			l.Take(&Message{Topic: "hall3/crusher 1/" + name, Payload: []byte(v), At: began.Add(int64(k) * station.Second)})
		}
	}
	f := l.Findings()
	if len(f.Stations) != 1 || f.Stations[0].ID != "crusher-1" || len(f.Stations[0].Channels) != 3 {
		t.Fatalf("%+v", f.Stations)
	}
	for _, a := range f.Stations[0].Channels {
		want := map[string]string{"hall3/crusher 1/p_out": "outlet_pressure", "hall3/crusher 1/p_in": "inlet_pressure", "hall3/crusher 1/n": "cycles"}[f.Topics[f.Series[a.Series].Topic].Name]
		if a.Channel != want {
			t.Errorf("%+v, want %s", a, want)
		}
	}
}

// Each way of writing is recognised, with its values by name, and its time where it has one.
func TestPayloads(t *testing.T) {
	ms := fmt.Sprint(int64(began) / 1e6)
	for _, c := range []struct{ name, payload, format, values string }{
		{"plain number", "6.12", "scalar", "=6.12"},
		{"decimal comma", "6,12", "scalar", "=6.12"},
		{"word", "open", "scalar", "=1"},
		{"block of the topic's channel", `{"t0": 1767225600.0, "dt": 0.5, "v": [612.4, 612.1]}`, "block", "=612.4 =612.1"},
		{"block of channels", `{"t0": 1767225600.0, "dt": 0.5, "inlet_pressure": [612.4], "cycles": [7]}`, "block", "inlet_pressure=612.4 cycles=7"},
		{"JSON", `{"ts": ` + ms + `, "p": {"in": 6.1, "out": "9.0"}, "ok": true, "v/x": 3}`, "json", "/ok=1 /p/in=6.1 /p/out=9 /v~1x=3"},
		{"list in JSON", `{"ai": [1.5, 2.5]}`, "json", "/ai/0=1.5 /ai/1=2.5"},
		{"named list", `{"d": [{"tag": "PT1", "val": 6.1}, {"tag": "PT2", "val": 9.1}]}`, "json", "PT1=6.1 PT2=9.1"},
		{"SenML", `[{"bn": "k/", "n": "a", "u": "Pa", "v": 612000}, {"n": "t", "u": "Cel", "v": 20}, {"n": "c", "v": 8}]`, "senml", "k/a=612000 k/c=8 k/t=293.15"},
		{"array that is no SenML", `[{"id": "x", "reading": 5}]`, "json", "x=5"},
		{"line protocol", "boost,m=3 p1=6.1,n=12i " + fmt.Sprint(int64(began)), "line", "/fields/n=12 /fields/p1=6.1"},
	} {
		l := New()
		l.Take(&Message{Topic: "a/b", Payload: []byte(c.payload), At: began})
		x := extraction{topic: l.topic("a/b"), message: &Message{Topic: "a/b", Payload: []byte(c.payload), At: began}, births: &l.births}
		x.read()
		var got []string
		for _, v := range x.values {
			got = append(got, fmt.Sprintf("%s=%g", v.name, v.v))
		}
		if x.format.String() != c.format || strings.Join(got, " ") != c.values || x.problem != "" {
			t.Errorf("%s: %s %q %s; want %s %q", c.name, x.format, strings.Join(got, " "), x.problem, c.format, c.values)
		}
	}
}

// A Sparkplug edge node is read once its birth was heard, and not before.
func TestSparkplugNeedsItsBirth(t *testing.T) {
	l := New()
	l.Take(&Message{Topic: "spBv1.0/g/NDATA/n", Payload: []byte{0x18, 0x05}, At: began})
	f := l.Findings()
	if len(f.Topics) != 1 || f.Topics[0].Name != "spBv1.0/g/n" || !strings.Contains(f.Topics[0].Problem, string(payload.NotBorn)) {
		t.Errorf("%+v", f.Topics)
	}
}

// What a broker had kept is heard of, but says nothing of rates and ranges.
func TestRetainedIsNoReading(t *testing.T) {
	l := New()
	l.Take(&Message{Topic: "a", Payload: []byte("12"), At: began, Retained: true})
	if f := l.Findings(); len(f.Topics) != 1 || f.Topics[0].Retained != 1 || len(f.Series) != 0 {
		t.Errorf("%+v", f)
	}
}

// However much a broker sends, no more is remembered than the bounds say, and the rest is counted.
func TestBounds(t *testing.T) {
	l := New()
	deep := strings.Repeat(`{"a":`, 500) + "1" + strings.Repeat("}", 500)
	wide := "{"
	for i := range 500 {
		wide += fmt.Sprintf(`"k%d":%d,`, i, i)
	}
	wide += `"z":1}`
	long := strings.Repeat("x", 70_000)
	for i := range 3000 {
		at := began.Add(int64(i) * station.Second / 10)
		for _, p := range []string{deep, wide, "17", long} {
			if i%100 != 0 && p != "17" {
				continue
			}
			l.Take(&Message{Topic: fmt.Sprintf("t/%d/%.1s", i, p), Payload: []byte(p), At: at})
		}
		l.Take(&Message{Topic: strings.Repeat("y", 300+i), Payload: []byte("1"), At: at})
	}
	f := l.Findings()
	if len(l.topics) != maxTopics || len(f.Series) > maxSeries || l.left == 0 {
		t.Errorf("%d topics, %d series, %d left out", len(l.topics), len(f.Series), l.left)
	}
	for _, x := range l.topics {
		if len(x.series) > maxOfTopic {
			t.Errorf("%s has %d series", x.name, len(x.series))
		}
	}
	if _, err := json.Marshal(f); err != nil {
		t.Error(err)
	}
}

// Births are remembered up to a number of bytes.
func TestBirthsAreBounded(t *testing.T) {
	l := New()
	birth := append([]byte{0x18, 0x00, 0x2a, 0xff, 0x7f}, make([]byte, 30_000)...) // seq 0, and bytes that are no part of a payload
	for i := range 400 {
		l.Take(&Message{Topic: fmt.Sprintf("spBv1.0/g/NBIRTH/n%d", i), Payload: birth, At: began})
	}
	if p := l.topics[399].problem; !strings.Contains(p, "births") {
		t.Errorf("the last birth: %q", p)
	}
}

// The grid covers all that was heard, however long, and sums nothing twice.
func TestGridWidens(t *testing.T) {
	l := New()
	const n = 5000
	for i := range n {
		l.Take(&Message{Topic: "a", Payload: []byte(fmt.Sprint(i % 10)), At: began.Add(int64(i) * station.Second)})
	}
	var got int32
	for _, s := range l.series[0].slots {
		got += s.n
	}
	if used := l.used(); got != n || used < numSlots/2 || used > numSlots {
		t.Errorf("%d values in %d slots of %d s, want %d values", got, used, l.width/station.Second, n)
	}
}

func FuzzTake(f *testing.F) {
	f.Add("a/b", []byte(`{"a": [{"b": 1}]}`), []byte("6,1"))
	f.Add("spBv1.0/g/DBIRTH/n/d", []byte{0x18, 1}, []byte("m x=1"))
	f.Add("", []byte(`[{"n":"a","v":1}]`), []byte{0x81, 0xa0})
	f.Fuzz(func(t *testing.T, topic string, first, second []byte) {
		l := New()
		for i := range 30 {
			l.Take(&Message{Topic: topic, Payload: first, At: began.Add(int64(i) * station.Second)})
			l.Take(&Message{Topic: topic + "/x", Payload: second, At: began.Add(int64(i) * station.Second)})
		}
		found := l.Findings()
		p := found.Plan()
		if err := p.Check(found); err != nil {
			t.Errorf("what is proposed does not hold: %v", err)
		}
		Write(found, p)
		if _, err := json.Marshal(found); err != nil {
			t.Error(err)
		}
	})
}
