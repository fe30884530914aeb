package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"google.golang.org/protobuf/encoding/protowire"

	"strokewise/deploy/peers"
)

// plugs writes a message of Sparkplug B field by field, by the field numbers of its specification.
func plugs(at time.Time, seq uint64, metrics ...[]byte) string {
	ms := uint64(at.UnixMilli())
	b := protowire.AppendVarint(protowire.AppendTag(nil, 1, protowire.VarintType), ms)
	for _, m := range metrics {
		m = protowire.AppendVarint(protowire.AppendTag(m, 3, protowire.VarintType), ms)
		b = protowire.AppendBytes(protowire.AppendTag(b, 2, protowire.BytesType), m)
	}
	return string(protowire.AppendVarint(protowire.AppendTag(b, 3, protowire.VarintType), seq))
}

// plug writes a metric of an unsigned integer.
func plug(name string, alias, v uint64) []byte {
	var b []byte
	if name != "" {
		b = protowire.AppendString(protowire.AppendTag(b, 1, protowire.BytesType), name)
	}
	b = protowire.AppendVarint(protowire.AppendTag(b, 2, protowire.VarintType), alias)
	b = protowire.AppendVarint(protowire.AppendTag(b, 4, protowire.VarintType), 7)
	return protowire.AppendVarint(protowire.AppendTag(b, 10, protowire.VarintType), v)
}

// packed writes a SenML pack in CBOR, by the labels of RFC 8428, table 4: -2 bn, -3 bt, -4 bu, 0 n, 2 v.
func packed(t testing.TB, station string, at time.Time, pa float64) string {
	b, err := cbor.Marshal([]map[int]any{{-2: "urn:dev:" + station + ":", -3: float64(at.UnixMicro()) / 1e6, -4: "Pa", 0: "outlet_pressure", 2: pa}})
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// payloadTopics are the topics of the table, stations its stations.
const payloadTopics = `
    - { match: "boost/{site}/{station}/{channel}" }
    - { match: "lines/{site}" , payload: line }
    - { match: "auto/{site}/{station}" }
    - match: "hall2/mach-{station}/state"
      payload: json
      decimal: comma
      time: { at: /ts, unit: ms }
      values:
        - { at: /ai/1, channel: outlet_pressure, loop: [0, 27648], span: [0 bar, 16 bar] }
        - { at: /p, channel: outlet_pressure, unit: bar }
    - match: "hall2/list"
      payload: json
      each: /list
      name_at: /id
      value_at: /val
      time: { at: /when }
      values:
        - { name: PT-101, station: s5, channel: outlet_pressure, factor: 2, unit: kPa }
        - { name: PT-102, station: s6, channel: outlet_pressure, unit: bar }
    - { match: "raw/{station}", channel: outlet_pressure, values: [{ loop: [0, 27648], span: [0 bar, 16 bar] }] }
    - { match: "comma/{station}/{channel}", decimal: comma }
    - { match: "{site}/gw.1/{station}", payload: sparkplug, names: "{station}.{channel}" }
    - { match: "rssi/{station}/{channel}", ignore: ["*"] }`

// A table of payloads, each published by mosquitto_pub to a real Mosquitto, and what a real run makes of
// it: the outlet pressure of its station on /metrics, or the reason and the words of its refusal. Rows are
// sent again and again with the time of the moment, as sensors do, until all pressures are shown.
func TestPayloadsOfGateways(t *testing.T) {
	broker := peers.Mosquitto(t)
	pub := peers.Find(t, "mosquitto_pub")
	host, port, _ := strings.Cut(broker.Addr, ":")
	unix := func(at time.Time) string { return fmt.Sprintf("%.3f", float64(at.UnixMicro())/1e6) }
	taken := []struct {
		station string
		pa      float64 // 1 bar = 1e5 Pa
		topic   string
		payload func(at time.Time, round int) string
	}{
		{"s0", 612e3, "boost/plant/s0/outlet_pressure", func(time.Time, int) string { return "612" }},
		{"s1", 613e3, "boost/plant/s1/outlet_pressure", func(at time.Time, _ int) string { return `{"t0":` + unix(at) + `,"v":[613]}` }},
		{"s2", 614e3, "boost/plant/s2/outlet_pressure", func(at time.Time, _ int) string {
			return `[{"bn":"urn:dev:s2:","bt":` + unix(at) + `,"bu":"hPa"},{"n":"outlet_pressure","v":6140},{"n":"outlet_pressure","u":"V","v":1},{"n":"humidity","u":"%RH","v":40}]`
		}},
		{"s3", 615e3, "auto/plant/s3", func(at time.Time, _ int) string { return packed(t, "s3", at, 615e3) }},
		{"s4", 8e5, "hall2/mach-s4/state", func(at time.Time, _ int) string {
			return fmt.Sprintf(`{"ts":%d,"ai":[7,13824],"fw":"2.1"}`, at.UnixMilli())
		}},
		{"s5", 616e3, "hall2/list", func(at time.Time, _ int) string {
			return `{"when":"` + at.UTC().Format(time.RFC3339Nano) + `","list":[{"id":"PT-101","val":308},{"id":"PT-102","val":"6.17"},{"id":"PT-102","val":"bad"},{"id":"TT-1","val":20}]}`
		}},
		{"s6", 617e3, "", nil}, // with s5
		{"s7", 4e5, "raw/s7", func(time.Time, int) string { return "6912" }},
		{"s8", 618e3, "lines/plant", func(at time.Time, _ int) string {
			return fmt.Sprintf("boost,station=s8 outlet_pressure=618,rssi=-70i %d\nbroken line\nboost,station=s9 outlet_pressure=619 %d\n", at.UnixNano(), at.UnixNano())
		}},
		{"s9", 619e3, "", nil}, // with s8
		{"s10", 620.5e3, "comma/s10/outlet_pressure", func(time.Time, int) string { return "620,5" }},
		{"s11", 621e3, "spBv1.0/plant/DDATA/gw.1/s11", func(at time.Time, round int) string {
			return plugs(at, uint64(2+round)%256, plug("", 7, 621))
		}},
		{"s12", 622e3, "hall2/mach-s12/state", func(at time.Time, _ int) string { return fmt.Sprintf(`{"ts":%d,"p":"6,22"}`, at.UnixMilli()) }},
		{"s13", 623e3, "rssi/s13/outlet_pressure", func(at time.Time, _ int) string { return `{"rssi":-70,"t0":` + unix(at) + `,"v":[623],"x":{"y":[1]}}` }},
	}
	refused := []struct{ topic, payload, reason, words string }{
		{"boost/plant/s0/outlet_pressure", "13824", "raw-count", "if 13824 is the raw count of an analogue card, scale it with loop"},
		{"boost/plant/s0/outlet_pressure", "612,4", "not-a-number", "say so with decimal: comma"},
		{"boost/plant/s0/outlet_pressure", `{"p":[1]}`, "unknown-channel", "auto took the payload for a block"},
		{"boost/plant/s0/supply_open", "AUF", "not-a-number", "on, off, open, closed"},
		{"raw/s7", "32767", "broken-wire", "look for a broken wire"},
		{"hall2/mach-s4/state", `{"ts":1,"ai":[1,2]}`, "time-too-old", "set its clock"},
		{"hall2/mach-s4/state", `{"ts":"2026-01-01T00:00:00","p":1}`, "bad-time", "is no number of ms"},
		{"hall2/mach-s4/state", `{"q":1}`, "no-member", "it has /q"},
		{"hall2/list", `{"list":[{"id":"XX","val":1}]}`, "unknown-channel", "map it in values"},
		{"lines/plant", "boost,station=nobody outlet_pressure=1 " + fmt.Sprint(time.Now().UnixNano()), "unknown-station", "nobody"},
		{"lines/plant", "boost station", "bad-line", "cannot read line 1"},
		{"spBv1.0/plant/DDATA/gw.1/s12", plugs(time.Now(), 0, plug("", 9, 1)), "not-born", ""},
		{"spBv1.0/plant/NDATA/gw.1", "\xff\xff", "bad-sparkplug", "no protobuf message"},
		{"auto/plant/s3", "\x82\xa1\x00", "bad-senml", "cut off"},
	}
	config := write(t, "strokewise.yaml", fmt.Sprintf(`version: 1
http: { listen: "127.0.0.1:0" }
mqtt:
  broker: tcp://%s
  client_id: payloads
  topics:%s
data: %s
sites: [{ id: plant }]
stations:
`, broker.Addr, payloadTopics, t.TempDir())+stationsNamed(len(taken)))
	c := start(t, "run", "--config", config)
	c.ready()
	folder := t.TempDir()
	send := func(topic, payload string) {
		t.Helper()
		file := filepath.Join(folder, "payload")
		if err := os.WriteFile(file, []byte(payload), 0o600); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command(pub, "-h", host, "-p", port, "-q", "1", "-t", topic, "-f", file).CombinedOutput(); err != nil {
			t.Fatalf("mosquitto_pub: %v: %s", err, out)
		}
	}
	for _, r := range refused {
		send(r.topic, r.payload)
	}
	now := time.Now()
	send("spBv1.0/plant/NBIRTH/gw.1", plugs(now, 0, plug("bdSeq", 1, 0)))
	send("spBv1.0/plant/DBIRTH/gw.1/s11", plugs(now, 1, plug("s11.outlet_pressure", 7, 621)))
	missing := func(body string) string {
		for _, r := range taken {
			v, ok := metric(body, `strokewise_outlet_pressure_pascals{basis="gauge",branch="",site="plant",station="`+r.station+`"}`)
			if !ok || v < r.pa-1 || v > r.pa+1 {
				return fmt.Sprintf("%s: %g %v, want %g", r.station, v, ok, r.pa)
			}
		}
		return ""
	}
	for until, round := time.Now().Add(patience), 0; ; round++ {
		for _, r := range taken {
			if r.payload != nil {
				send(r.topic, r.payload(time.Now(), round))
			}
		}
		_, body := c.get("/metrics")
		lacks := missing(body)
		if lacks == "" {
			break
		}
		if time.Now().After(until) {
			var out bytes.Buffer
			execute(t.Context(), []string{"refused", "list", "--url", "http://" + c.addr}, &out, &out)
			t.Fatalf("%s\n%s\n%s\n%s", lacks, body, out.String(), c.said())
		}
	}
	for _, r := range refused {
		var out bytes.Buffer
		execute(t.Context(), []string{"refused", "show", r.reason, "-n", "50", "--url", "http://" + c.addr}, &out, &out)
		if !strings.Contains(out.String(), r.topic) || !strings.Contains(out.String(), r.words) {
			t.Errorf("%s %q: not under %s with %q:\n%s", r.topic, r.payload, r.reason, r.words, out.String())
		}
	}
	if said := c.said(); !strings.Contains(said, "topics=auto/{site}/{station} payload=senml") || !strings.Contains(said, "spBv1.0/plant/NCMD/gw.1") {
		t.Errorf("it does not say what auto took, or does not ask for a birth:\n%s", said)
	}
}

func stationsNamed(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "  - { id: s%d }\n", i)
	}
	return b.String()
}

// What was refused by one mapping is taken again after a restart with a mended one.
func TestRefusedByAMappingThatIsMended(t *testing.T) {
	broker := peers.Mosquitto(t)
	pub := peers.Find(t, "mosquitto_pub")
	host, port, _ := strings.Cut(broker.Addr, ":")
	data := t.TempDir()
	config := func(topics string) string {
		return write(t, "strokewise.yaml", fmt.Sprintf(`version: 1
http: { listen: "127.0.0.1:0" }
mqtt: { broker: "tcp://%s", client_id: mended, topics: [%s] }
data: %s
sites: [{ id: plant }]
stations: [{ id: s0 }]
`, broker.Addr, topics, data))
	}
	c := start(t, "run", "--config", config(`{ match: "gw/{station}/{channel}", payload: scalar }`))
	c.ready()
	message := fmt.Sprintf(`{"ts":%d,"value":6.12}`, time.Now().UnixMilli())
	if out, err := exec.Command(pub, "-h", host, "-p", port, "-q", "1", "-t", "gw/s0/outlet_pressure", "-m", message).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_pub: %v: %s", err, out)
	}
	c.await("one stored", "/metrics", func(b string) bool { v, _ := metric(b, "strokewise_refused_stored_total"); return v == 1 })
	c.interrupt()
	c = start(t, "run", "--config", config(`{ match: "gw/{station}/{channel}", payload: json, value_at: /value, time: { at: /ts }, pressure_unit: bar }`))
	c.ready()
	var out bytes.Buffer
	code := execute(t.Context(), []string{"refused", "take", "not-a-number", "--who", "Ana", "--url", "http://" + c.addr}, &out, &out)
	if code != 0 || !strings.Contains(out.String(), "not-a-number: 1 accepted") {
		t.Errorf("exit code %d: %s", code, out.String())
	}
}

// strokewise payload try prints what would come of messages, without a broker.
func TestPayloadTry(t *testing.T) {
	config := write(t, "strokewise.yaml", "version: 1\nmqtt:\n  broker: tcp://127.0.0.1:1\n  topics:"+payloadTopics+"\nsites: [{ id: plant }]\nstations:\n"+stationsNamed(14))
	at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	birth, deviceBirth := write(t, "a", plugs(at, 0, plug("bdSeq", 1, 0))), write(t, "b", plugs(at, 1, plug("s11.outlet_pressure", 7, 621)))
	value := write(t, "c", plugs(at, 2, plug("", 7, 622)))
	for _, c := range []struct {
		args []string
		code int
		says []string
	}{
		{[]string{"--topic", "hall2/mach-s4/state", write(t, "d", `{"ts":1767225599000,"ai":[1,13824]}`)}, 0,
			[]string{"read as json", "plant/s4 outlet_pressure: 800 kPa gauge at 2025-12-31T23:59:59Z (its own time)"}},
		{[]string{"--topic", "hall2/list", write(t, "e", `{"when":1767225600,"list":[{"id":"PT-101","val":308},{"id":"PT-102","val":"x"}]}`)}, 0,
			[]string{"plant/s5 outlet_pressure: 616 kPa gauge", "lost: not-a-number"}},
		{[]string{"--topic", "boost/plant/s0/outlet_pressure", write(t, "f", "13824")}, 1, []string{"refused: raw-count", "nothing of the message is taken"}},
		{[]string{"--topic", "spBv1.0/plant/NBIRTH/gw.1", "--then", "spBv1.0/plant/DBIRTH/gw.1/s11", "--then", "spBv1.0/plant/DDATA/gw.1/s11", birth, deviceBirth, value}, 0,
			[]string{"plant/s11 outlet_pressure: 621 kPa gauge", "plant/s11 outlet_pressure: 622 kPa gauge"}},
		{[]string{"--topic", "spBv1.0/plant/DDATA/gw.1/s11", value}, 1, []string{"refused: not-born", "would be asked for its birth on spBv1.0/plant/NCMD/gw.1"}},
		{[]string{"--topic", "auto/plant/s3", write(t, "g", packed(t, "s3", at, 6e5))}, 0, []string{"read as senml", "600 kPa gauge"}},
	} {
		var out bytes.Buffer
		args := append([]string{"payload", "try", "--config", config, "--arrival", "2026-01-01T00:00:00Z"}, c.args...)
		if code := execute(t.Context(), args, &out, &out); code != c.code {
			t.Errorf("%v: exit code %d: %s", c.args, code, out.String())
		}
		for _, says := range c.says {
			if !strings.Contains(out.String(), says) {
				t.Errorf("%v: does not say %q:\n%s", c.args, says, out.String())
			}
		}
	}
}
