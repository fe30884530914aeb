package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"strokewise/analyzer/station"
	"strokewise/cmd/internal/config"
	"strokewise/collector/discover"
	"strokewise/collector/intake"
	pb "strokewise/collector/sparkplug/sparkplugpb"
	"strokewise/deploy/peers"
)

// truth is what a station's sensors read: inlet 6.10 to 6.40 bar, outlet 8.8 to 9.4 bar, a count.
func truth(k int) (inlet, outlet float64, count int) {
	share := 0.5 + 0.5*math.Sin(float64(k)/5)
	return 6.1e5 + 0.3e5*share, 8.8e5 + 0.6e5*share, 900 + k/4
}

func metric64(name string, v float64) *pb.Metric {
	kind := uint32(10) // Double (Sparkplug 3.0, 6.4.16)
	return &pb.Metric{Name: &name, Datatype: &kind, Value: &pb.Metric_DoubleValue{DoubleValue: v}}
}

// From messages to a file to readings: what is proposed for each way of writing passes the check, and with it
// the same messages become the pressures and counts that the sensors had.
func TestWhatIsProposedReadsTheMessages(t *testing.T) {
	const at = station.Instant(1_767_225_600_000_000_000)
	type message struct{ topic, payload string }
	for name, write := range map[string]func(k int) []message{
		"plain numbers in bar": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", fmt.Sprintf("%.3f", in/1e5)}, {"x/b", fmt.Sprintf("%.3f", out/1e5)}, {"x/c", fmt.Sprint(n)}}
		},
		"decimal commas": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", strings.Replace(fmt.Sprintf("%.3f", in/1e5), ".", ",", 1)}, {"x/b", strings.Replace(fmt.Sprintf("%.3f", out/1e5), ".", ",", 1)}, {"x/c", fmt.Sprint(n)}}
		},
		"block of channels": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", fmt.Sprintf(`{"t0": %d, "dt": 0.5, "inlet_pressure": [%.2f, %.2f], "outlet_pressure": [%.2f, %.2f], "cycles": [%d, %d]}`, int64(at)/1e9+int64(k), in/1e3, in/1e3, out/1e3, out/1e3, n, n)}}
		},
		"JSON in psi": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", fmt.Sprintf(`{"ts": %d, "s": {"p one": %.4f, "p/two": %.4f}, "n": %d}`, int64(at)/1e6+int64(k)*1000, in/6894.757, out/6894.757, n)}}
		},
		"list of named values": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", fmt.Sprintf(`{"d": [{"tag": "PT1", "val": %.4f}, {"tag": "PT2", "val": %.4f}, {"tag": "C", "val": %d}]}`, in/1e5, out/1e5, n)}}
		},
		"SenML": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", fmt.Sprintf(`[{"bn": "k:", "bt": %d, "n": "1", "u": "Pa", "v": %.0f}, {"n": "2", "u": "Pa", "v": %.0f}, {"n": "3", "v": %d}]`, int64(at)/1e9+int64(k), in, out, n)}}
		},
		"line protocol": func(k int) []message {
			in, out, n := truth(k)
			return []message{{"x/a", fmt.Sprintf("m,l=3 a=%.4f,b=%.4f,c=%di %d", in/1e5, out/1e5, n, int64(at)+int64(k)*1e9)}}
		},
		"Sparkplug": func(k int) []message {
			in, out, n := truth(k)
			ms, seq, kind := uint64(at/1e6)+uint64(k)*1000, uint64(k%256), "NDATA"
			p := &pb.Payload{Timestamp: &ms, Seq: &seq, Metrics: []*pb.Metric{metric64("AI/1", in/1e5), metric64("AI/2", out/1e5), metric64("CT", float64(n))}}
			if k == 0 {
				kind = "NBIRTH"
			}
			data, err := proto.Marshal(p)
			if err != nil {
				t.Fatal(err)
			}
			return []message{{"spBv1.0/g/" + kind + "/node-7", string(data)}}
		},
	} {
		t.Run(name, func(t *testing.T) {
			l := discover.New()
			const n = 60
			for k := range n {
				for _, m := range write(k) {
					l.Take(&discover.Message{Topic: m.topic, Payload: []byte(m.payload), At: at.Add(int64(k) * station.Second)})
				}
			}
			f := l.Findings()
			p := f.Plan()
			p.Broker = "tcp://127.0.0.1:1883"
			if err := p.Check(f); err != nil || len(p.Stations) != 1 || len(p.Stations[0].Channels) != 3 {
				t.Fatalf("%v, %+v", err, f.Stations)
			}
			text := discover.Write(f, p)
			cfg, err := config.Parse(text, "x.yaml", config.Options{})
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			o, err := routes(cfg)
			if err != nil {
				t.Fatal(err)
			}
			o.Stations = cfg.Keys()
			in, err := intake.New(o)
			if err != nil {
				t.Fatal(err)
			}
			got := map[station.Channel]float64{}
			for k := range n {
				for _, m := range write(k) {
					taken, refusal := in.Decide(&intake.Message{Topic: m.topic, Payload: []byte(m.payload), Arrival: at.Add(int64(k)*station.Second + station.Second/2)})
					if refusal != nil {
						t.Fatalf("%v\n%s", refusal, text)
					}
					taken.Each(func(r *station.Record) {
						for i := range r.Blocks {
							b := &r.Blocks[i]
							got[b.Channel] = b.Values[b.Len()-1]
						}
					})
				}
			}
			inlet, outlet, count := truth(n - 1)
			for c, want := range map[station.Channel]float64{station.InletPressure: inlet, station.OutletPressure: outlet, station.Cycles: float64(count)} {
				if math.Abs(got[c]-want) > 1e-4*want {
					t.Errorf("%s is %g, want %g\n%s", c, got[c], want, text)
				}
			}
		})
	}
}

// What people fill in for the plate is taken: each key is one of the configuration, and its example is valid.
func TestPlateKeysAreThoseOfTheConfiguration(t *testing.T) {
	f := &discover.Findings{Topics: []discover.Topic{{Name: "a", Payload: "scalar"}}, Series: []discover.Series{{}}}
	p := &discover.Plan{Broker: "tcp://127.0.0.1:1883", Site: "s", Stations: []discover.Planned{{ID: "x", Channels: []discover.Choice{{Channel: station.Cycles}}, Plate: map[string]string{}}}}
	bare := parsedPlate(t, discover.Write(f, p))
	for i, step := range discover.Steps() {
		for _, k := range step.Keys {
			p.Stations[0].Plate[k.Name] = k.Example
		}
		if step.Buys == "" {
			t.Errorf("step %d buys nothing", i)
		}
		now := parsedPlate(t, discover.Write(f, p))
		if now == bare {
			t.Errorf("step %d changes nothing of the plate", i)
		}
		bare = now
	}
}

func parsedPlate(t *testing.T, text []byte) station.Plate {
	t.Helper()
	cfg, err := config.Parse(text, "x.yaml", config.Options{})
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return cfg.Stations[0].Plate
}

// The command listens to a real broker, writes what check takes, and writes over nothing.
func TestDiscover(t *testing.T) {
	broker := peers.Mosquitto(t)
	playing, stop := context.WithCancel(t.Context())
	defer stop()
	gateway(t, playing, broker.Addr, "press-4")
	file := filepath.Join(t.TempDir(), "found.yaml")
	var out, said bytes.Buffer
	args := []string{"discover", "--broker", broker.Addr, "--for", "5s", "--site", "hall", "-o", file}
	if code := execute(t.Context(), args, &out, &said); code != exitOK {
		t.Fatalf("exit code %d: %s", code, said.String())
	}
	text, err := os.ReadFile(file)
	if err != nil || !strings.Contains(string(text), "hall/gw7") || !strings.Contains(said.String(), "gw7/ai1") {
		t.Fatalf("%v\n%s\n%s", err, text, said.String())
	}
	if code := execute(t.Context(), []string{"check", "--config", file}, &out, &said); code != exitOK {
		t.Errorf("check: exit code %d: %s\n%s", code, said.String(), text)
	}
	if code := execute(t.Context(), args, &out, &said); code != exitFault || !strings.Contains(said.String(), "not written over") {
		t.Errorf("the file is written over: exit code %d: %s", code, said.String())
	}
	out.Reset()
	if code := execute(t.Context(), []string{"discover", "--broker", broker.Addr, "--for", "2s", "--json"}, &out, &said); code != exitOK {
		t.Fatalf("exit code %d: %s", code, said.String())
	}
	var f discover.Findings
	if err := json.Unmarshal(out.Bytes(), &f); err != nil || len(f.Series) != 3 {
		t.Errorf("%v: %s", err, out.String())
	}
}

// An address that cannot be one is refused with what to write, and no password travels in clear.
func TestDiscoverRefusesAddresses(t *testing.T) {
	secret := write(t, "password", "canary-word")
	for args, want := range map[string]string{
		"--broker ws://a":                         "scheme",
		"--broker tcp://u:canary-word@a":          "fields of their own",
		"--broker tcp://a/b":                      "expected an address",
		"--broker tcp://broker.example --user u":  "in clear",
		"--broker tcp://127.0.0.1:1 --for 999h":   "up to 24h",
		"--broker 127.0.0.1:1 --for 100ms":        "nothing was heard",
		"--broker a.example --password " + secret: "nothing was heard",
	} {
		var out, said bytes.Buffer
		if strings.HasPrefix(args, "--broker a.example") {
			args += " --user u"
			want = "in clear"
		}
		if code := execute(t.Context(), append([]string{"discover"}, strings.Fields(args)...), &out, &said); code != exitFault || !strings.Contains(said.String(), want) || strings.Contains(said.String(), "canary-word") {
			t.Errorf("%s: exit code %d: %s", args, code, said.String())
		}
	}
}

// buys are figures that the answers to a step make known, by the step's first key. Relief valve and hoses buy alarms.
var buys = map[string][]string{
	"booster.set_pressure":    {"set_pressure_kpa"},
	"tank.volume":             {"stored_energy_j"},
	"booster.drive_bore":      {"reachable_pressure_kpa", "supply_conductance_l_s_bar", "inlet_over_delivered_ratio"},
	"supply.bore":             {"pipe_conductance_l_s_bar"},
	"booster.max_stroke_rate": {"load_ratio"},
}

// What a step of the plate data is said to buy is unknown before it is answered, and known afterwards: over four
// minutes of a virtual station that rests now and then, or the first of one that does not come to its set.
func TestPlateDataBuyWhatIsSaid(t *testing.T) {
	dir := t.TempDir()
	var traces []string
	for station, length := range map[string]string{"press-4": "4m", "clamp-2": "1m"} {
		file := filepath.Join(dir, station+".csv")
		if code := execute(t.Context(), []string{"rig", "record", "--station", station, "--for", length, "--rate", "10", "--from", "2026-03-02T08:00:00Z", "--out", file}, os.Stderr, os.Stderr); code != exitOK {
			t.Fatalf("exit code %d", code)
		}
		traces = append(traces, file)
	}
	f := &discover.Findings{Topics: []discover.Topic{{Name: "a", Payload: "scalar"}}, Series: []discover.Series{{}}}
	p := &discover.Plan{Broker: "tcp://127.0.0.1:1883", Site: "s", Stations: []discover.Planned{{ID: "x", Channels: []discover.Choice{{Channel: station.Cycles}}, Plate: map[string]string{}}}}
	before := known(t, discover.Write(f, p), traces)
	found := 0
	for _, step := range discover.Steps() {
		for _, k := range step.Keys {
			p.Stations[0].Plate[k.Name] = k.Example
		}
		now := known(t, discover.Write(f, p), traces)
		for _, name := range buys[step.Keys[0].Name] {
			bought := false
			for i := range traces {
				bought = bought || now[i][name] && !before[i][name]
			}
			if found++; !bought {
				t.Errorf("%s is not bought by %s", name, step.Keys[0].Name)
			}
		}
		before = now
	}
	if found != 7 {
		t.Errorf("%d figures were looked at", found)
	}
}

// known returns the figures that replays of traces know, for each trace.
func known(t *testing.T, cfg []byte, traces []string) (out []map[string]bool) {
	t.Helper()
	file := write(t, "plant.yaml", string(cfg))
	for _, trace := range traces {
		var text, said bytes.Buffer
		if code := execute(t.Context(), []string{"replay", "--config", file, "--station", "x", "--json", trace}, &text, &said); code != exitOK {
			t.Fatalf("exit code %d: %s", code, said.String())
		}
		var report struct {
			Estimates map[string]struct{ Value *float64 }
		}
		if err := json.Unmarshal(text.Bytes(), &report); err != nil {
			t.Fatal(err)
		}
		of := map[string]bool{}
		for name, e := range report.Estimates {
			of[name] = e.Value != nil
		}
		out = append(out, of)
	}
	return out
}
